/* gridleak fuse: the rating and speed that serve, and what a wrong one does. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void tell_fuse(cli *cli, const service_fuse *fuse) {
    char title[128], line[384];
    snprintf(title, sizeof title, "%s  %s", fuse->part ? fuse->part : "NONE DRAWN", fuse->where);
    cli_heading(cli, title);
    base_text_add(&cli->out, "  right   %s%s%s\n", cli_style_on(cli, CLI_STRONG), fuse->right,
                  cli_style_on(cli, CLI_PLAIN));
    if (!isnan(fuse->fitted_a))
        base_text_add(&cli->out, "  drawn   %s%s%s\n",
                      cli_value_of(fuse->fitted_a, BASE_AMPERES).text,
                      fuse->fitted == CIRCUIT_UNSTATED ? "" : ", ",
                      fuse->fitted == CIRCUIT_UNSTATED ? "" : circuit_material_name(fuse->fitted));
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, fuse->why);
    if (!isnan(fuse->inrush_a)) {
        snprintf(line, sizeof line,
                 "As the filters charge: at most %s at the first peak, %.2g A2s in all, if the "
                 "rectifier is hot or of silicon.",
                 cli_value_of(fuse->inrush_a, BASE_AMPERES).text, fuse->inrush_a2s);
        if (!isnan(fuse->cold_a))
            snprintf(
                line + strlen(line), sizeof line - strlen(line),
                " From cold: %s in the first cycle%s, %.2g A2s in the first tenth of a second.",
                cli_value_of(fuse->cold_a, BASE_AMPERES).text,
                strcmp(fuse->where, "mains") == 0 ? ", heaters included" : "", fuse->cold_a2s);
        base_text_add(&cli->out, "  ");
        cli_fill(cli, 2, 2, line);
    }
    if (!*fuse->wrong) return;
    base_text_add(&cli->out, "  -> ");
    cli_fill(cli, 5, 5, fuse->wrong);
}

static void run(cli *cli) {
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    cli_amp amp = {0};
    service_fuses *fuses = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        fuses = service_fuses_new(amp.system, mains, true, cli->errors);
    if (fuses) {
        base_text_add(&cli->out, "%s%s%s  its fuses, on %.4g V\n", cli_style_on(cli, CLI_HEAD),
                      fuses->amp, cli_style_on(cli, CLI_PLAIN), fuses->mains_v);
        for (size_t i = 0; i < fuses->fuses; i++)
            tell_fuse(cli, &fuses->fuse[i]);
        base_text_add(&cli->out, "\n");
        cli_fill(
            cli, 0, 0,
            "Ratings are those of IEC 60127: such a fuse carries 1.5 times its rating for an "
            "hour. One marked by another standard may carry less: where the amp's label names "
            "a fuse, the label comes first. Unplug before you change one, and never bridge it.");
        cli_json_take(cli, http_json_fuses(fuses));
    }
    service_fuses_free(fuses);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0}, {0}};

const cli_command cli_fuse = {
    .name = "fuse",
    .arguments = "AMP",
    .summary = "Find the right fuses, and what a wrong one does",
    .about =
        "For each fuse, and for the mains where none is drawn: what it carries while the amp runs, "
        "what surges at switch-on, the rating and speed that serve, and what the one that the file "
        "names does instead: whether it opens with nothing wrong, or lets the transformer burn.",
    .examples = "  gridleak fuse wren-hollow\n  gridleak fuse millrace --mains 230\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
