/* gridleak check: what is wrong or suspicious in an amp file. */
#include "cli.h"

static void tell(cli *cli, const circuit *amp, size_t warnings) {
    const circuit_about *about = circuit_about_of(amp);
    size_t tubes = 0;
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_TUBE) tubes++;
    base_text_add(&cli->out, "%s%s%s  %zu parts, %zu tubes, %zu nodes\n",
                  cli_style_on(cli, CLI_HEAD), about->name, cli_style_on(cli, CLI_PLAIN),
                  circuit_parts(amp), tubes, circuit_nodes(amp));
    if (warnings == 0)
        base_text_add(&cli->out, "The file is in order, and nothing in it is odd.\n");
    else
        base_text_add(&cli->out, "The file is in order. %zu thing%s to look at:\n", warnings,
                      warnings == 1 ? "" : "s");
    cli_json_set(cli, cli->json, "amp", http_json_text(about->name));
    cli_json_set(cli, cli->json, "file", http_json_text(about->file));
    cli_json_set(cli, cli->json, "parts", json_integer((json_int_t)circuit_parts(amp)));
    cli_json_set(cli, cli->json, "tubes", json_integer((json_int_t)tubes));
    cli_json_set(cli, cli->json, "nodes", json_integer((json_int_t)circuit_nodes(amp)));
}

static void tell_warnings(cli *cli) {
    for (size_t i = 0; i < base_errors_count(cli->errors); i++) {
        const base_error *error = base_errors_at(cli->errors, i);
        base_text_add(&cli->out, "\n");
        if (error->file && error->line > 0)
            base_text_add(&cli->out, "%s:%d:%d:\n  ", error->file, error->line, error->column);
        else
            base_text_add(&cli->out, "  ");
        cli_fill(cli, 2, 2, error->cause);
        base_text_add(&cli->out, "  -> ");
        cli_fill(cli, 5, 5, error->remedy);
    }
    cli->warnings_told = true;
}

static void run(cli *cli) {
    cli_amp amp;
    if (cli_amp_open(cli, cli->argument[0], &amp)) {
        circuit_check(amp.amp, cli->errors);
        if (base_errors_worst(cli->errors) == BASE_OK) service_suspicious(amp.system, cli->errors);
        if (base_errors_worst(cli->errors) == BASE_OK) {
            tell(cli, amp.amp, base_errors_count(cli->errors));
            tell_warnings(cli);
        }
    }
    cli_amp_close(&amp);
}

const cli_command cli_check = {
    .name = "check",
    .arguments = "AMP",
    .summary = "Say what is wrong or odd in an amp's file",
    .about =
        "AMP is the path of a YAML file that describes the amp (docs/amp-file.md), or the name of "
        "an amp of the library (`gridleak amps` lists them; the beginning of a name is enough).\n\n"
        "Every complaint is told at once, with its place in the file and what to do. A file that "
        "cannot be an amp ends with a non-zero status. What is only odd (a tube past its rating, "
        "a grid with no path to ground, a printed voltage that does not fit) is listed and does "
        "not stop anything.",
    .examples = "  gridleak check wren-hollow\n  gridleak check my-amp.yaml\n",
    .least = 1,
    .most = 1,
    .run = run,
};
