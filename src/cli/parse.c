/* The command line of one command, by its own table of options. */
#include "cli.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define OPTIONS 16

static const struct argp_option common[] = {
    {"json", CLI_JSON, 0, 0, "Print JSON, as docs/json.md describes it", 0},
    {"help", CLI_HELP, 0, 0, "Print this", 0},
    {0}};

base_code cli_usage(cli *cli, const char *format, ...) {
    char text[512];
    va_list list;
    va_start(list, format);
    vsnprintf(text, sizeof text, format, list);
    va_end(list);
    const char *bar = strchr(text, '|');
    return base_errors_add(cli->errors, BASE_USAGE, (base_place){0}, "%.*s|%s%sgridleak %s --help",
                           bar ? (int)(bar - text) : (int)strlen(text), text, bar ? bar + 1 : "",
                           bar ? "; see " : "see ", cli->command->name);
}

/* The option that `word` names in full or by a unique beginning, up to its "=". */
static const struct argp_option *named(const cli *cli, const char *word) {
    size_t length = strcspn(word, "=");
    const struct argp_option *tables[] = {cli->command->options, common};
    for (size_t t = 0; t < 2; t++)
        for (const struct argp_option *o = tables[t]; o && o->name; o++)
            if (strncmp(o->name, word, length) == 0) return o;
    return NULL;
}

static const char *nearest(const cli *cli, const char *word) {
    const char *names[OPTIONS];
    char bare[40];
    size_t count = 0;
    for (const struct argp_option *o = cli->command->options; o && o->name; o++)
        names[count++] = o->name;
    for (size_t i = 0; common[i].name; i++)
        names[count++] = common[i].name;
    snprintf(bare, sizeof bare, "%.*s", (int)strcspn(word, "="), word);
    return base_nearest_name(bare, names, count);
}

static void bad_option(cli *cli, const char *word) {
    const char *bare = word + strspn(word, "-");
    const struct argp_option *option = *word == '-' && word[1] == '-' ? named(cli, bare) : NULL;
    if (option && option->arg) {
        cli_usage(cli, "--%s needs a value|write --%s %s", option->name, option->name, option->arg);
    } else if (option) {
        cli_usage(cli, "--%s takes no value|leave out what follows the `=`", option->name);
    } else {
        const char *near = nearest(cli, bare);
        cli_usage(cli, "gridleak %s has no option `%.40s`%s%s%s", cli->command->name, word,
                  near ? "|did you mean `--" : "", near ? near : "", near ? "`?" : "");
    }
}

static void argument(cli *cli, const char *word) {
    if (cli->arguments == CLI_ARGUMENTS || cli->arguments == cli->command->most)
        cli_usage(cli, "`%.60s` is one argument too many", word);
    else
        cli->argument[cli->arguments++] = word;
}

static void print_help(cli *cli, const struct argp_state *state) {
    if (!cli->helped)
        argp_help(state->root_argp, stdout, ARGP_HELP_LONG | ARGP_HELP_USAGE | ARGP_HELP_DOC,
                  state->name);
    cli->helped = true;
}

static error_t take(int key, char *text, struct argp_state *state) {
    cli *cli = state->input;
    if (key == CLI_HELP)
        print_help(cli, state);
    else if (key >= CLI_JSON && key < CLI_KEYS)
        cli->option[key - CLI_JSON] = text ? text : "";
    else if (key == ARGP_KEY_ARG)
        argument(cli, text);
    else if (key == ARGP_KEY_ERROR)
        bad_option(cli, state->argv[state->next - 1]);
    else
        return ARGP_ERR_UNKNOWN;
    return 0;
}

static void tell_help(const cli *cli, base_text *doc) {
    base_text_init(doc, 16384);
    base_text_add(doc, "%s.\n\n%s\v", cli->command->summary, cli->command->about);
    if (cli->command->examples) base_text_add(doc, "Examples:\n%s", cli->command->examples);
}

void cli_parse(cli *cli, int argc, char **argv) {
    struct argp_option options[OPTIONS] = {{0}};
    size_t count = 0;
    for (const struct argp_option *o = cli->command->options; o && o->name; o++)
        options[count++] = *o;
    for (size_t i = 0; common[i].name; i++)
        options[count++] = common[i];
    base_text doc;
    tell_help(cli, &doc);
    struct argp argp = {options, take, cli->command->arguments, doc.failed ? NULL : doc.data, NULL,
                        NULL,    NULL};
    /* The meaning of --json must hold also where the command line is at fault. */
    for (int i = 1; i < argc; i++)
        if (strncmp(argv[i], "--json", 6) == 0) cli->option[0] = "";
    error_t failed = argp_parse(&argp, argc, argv, ARGP_NO_ERRS | ARGP_NO_HELP, NULL, cli);
    base_text_free(&doc);
    if (cli->helped) return;
    if (failed && base_errors_worst(cli->errors) == BASE_OK)
        cli_usage(cli, "the command line cannot be read");
    if (!failed && cli->arguments < cli->command->least &&
        base_errors_worst(cli->errors) == BASE_OK)
        cli_usage(cli, "gridleak %s needs %s", cli->command->name, cli->command->arguments);
}
