/* gridleak manual: the man page, from the same table as --help. Hidden: the build runs it. */
#include "cli.h"

#include <string.h>

/* Text for roff: its own signs escaped, no line that begins as a request. */
static void plain(base_text *out, const char *text) {
    for (const char *c = text; *c; c++) {
        bool start = c == text || c[-1] == '\n';
        if (start && (*c == '.' || *c == '\'')) base_text_add(out, "\\&");
        if (*c == '\\' || *c == '-')
            base_text_add(out, *c == '-' ? "\\-" : "\\e");
        else if (c[0] == '\n' && c[1] == '\n')
            base_text_add(out, "\n.PP"), base_text_add(out, "\n"), c++;
        else
            base_text_add(out, "%c", *c);
    }
}

static void examples(base_text *out, const char *text) {
    base_text_add(out, ".PP\nExamples:\n.nf\n");
    plain(out, text);
    base_text_add(out, ".fi\n");
}

static void options(base_text *out, const struct argp_option *option) {
    for (; option && option->name; option++) {
        base_text_add(out, ".TP\n.B ");
        plain(out, "--");
        plain(out, option->name);
        if (option->arg) base_text_add(out, " \\fI%s\\fR", option->arg);
        base_text_add(out, "\n");
        plain(out, option->doc);
        base_text_add(out, "\n");
    }
}

static void command(base_text *out, const cli_command *command) {
    base_text_add(out, ".SS \"gridleak %s %s\"\n", command->name, command->arguments);
    plain(out, command->summary);
    base_text_add(out, ".\n.PP\n");
    plain(out, command->about);
    base_text_add(out, "\n");
    options(out, command->options);
    if (command->examples) examples(out, command->examples);
}

/* Each status once, with the meanings of every code that ends with it. */
static void exit_statuses(base_text *out) {
    base_text_add(out, ".SH EXIT STATUS\n");
    for (int status = 0; status < 128; status++) {
        size_t told = 0;
        for (int code = 0; code < BASE_CODES; code++) {
            const base_code_row *row = base_code_of((base_code)code);
            if (code == BASE_SUSPICIOUS || row->exit_status != status) continue;
            if (told == 0) base_text_add(out, ".TP\n.B %d\n", status);
            plain(out, told++ ? "; " : "");
            plain(out, row->meaning);
        }
        if (told) base_text_add(out, "\n");
    }
}

static void run(cli *cli) {
    base_text *out = &cli->out;
    base_text_add(out,
                  ".TH GRIDLEAK 1 \"\" \"gridleak %s\" \"The amplifier bench\"\n"
                  ".SH NAME\ngridleak \\- find the part to blame in a tube guitar amplifier\n"
                  ".SH SYNOPSIS\n.B gridleak\n.I COMMAND\n[\\fIARGUMENT\\fR...]\n"
                  ".SH DESCRIPTION\n"
                  "Knows the amp's circuit, takes the volts that a meter shows, and says which "
                  "part is to blame, how sure that is, and which reading to take next.\n.PP\n"
                  "Tube amplifiers hold lethal voltages, also when unplugged. Before hands go in: "
                  "unplug, drain the capacitors, and measure that they are empty.\n"
                  ".SH COMMANDS\n"
                  "Every command takes \\-\\-json (docs/json.md) and \\-\\-help.\n",
                  GRIDLEAK_VERSION);
    for (size_t i = 0; cli_commands[i]; i++)
        if (!cli_commands[i]->hidden) command(out, cli_commands[i]);
    exit_statuses(out);
    cli_json_set(cli, cli->json, "manual", http_json_text(out->data));
}

const cli_command cli_manual = {
    .name = "manual",
    .arguments = "",
    .summary = "Print the man page",
    .about = "In the form that man(1) reads.",
    .hidden = true,
    .run = run,
};
