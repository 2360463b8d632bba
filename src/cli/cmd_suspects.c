/* gridleak suspects: from readings to the part to blame, and to the next reading. */
#include "suspects_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- readings ------------------------------------------------------------------------------ */

static diagnose_readings *from_file(cli *cli, const solve_system *system, const char *path) {
    size_t length = 0;
    char *text = cli_read_file(cli, path, &length);
    diagnose_readings *readings =
        text ? diagnose_readings_read(system, path, text, length, cli->errors) : NULL;
    free(text);
    return readings;
}

static bool is_file(const char *word) {
    size_t length = strlen(word);
    if (strchr(word, '=')) return false;
    return (length > 5 && strcmp(word + length - 5, ".yaml") == 0) ||
           (length > 4 && strcmp(word + length - 4, ".yml") == 0);
}

/* The one argument after AMP that is a readings file. NULL: none. */
static const char *file_argument(cli *cli) {
    const char *path = NULL;
    for (int i = 1; i < cli->arguments; i++) {
        const char *word = cli->argument[i];
        if (!is_file(word)) continue;
        if (path)
            cli_usage(cli,
                      "`%.60s` and `%.60s` are two readings files|give one file; a reading is "
                      "written PLACE=VALUE",
                      path, word);
        path = word;
    }
    return path;
}

/* PLACE=VALUE is a reading; what is no file either is a symptom. */
static void add_argument(cli *cli, diagnose_readings *readings, const solve_system *system,
                         const diagnose_meter *meter, const char *word) {
    if (strchr(word, '='))
        diagnose_readings_add(readings, system, word, meter, cli->errors);
    else if (!is_file(word))
        diagnose_readings_tell(readings, system, word, (base_place){0}, cli->errors);
}

static diagnose_readings *gather(cli *cli, const solve_system *system,
                                 const diagnose_meter *meter) {
    const char *path = file_argument(cli);
    if (base_errors_worst(cli->errors) != BASE_OK) return NULL;
    diagnose_readings *readings = path ? from_file(cli, system, path) : diagnose_readings_new();
    if (!readings && !path)
        base_errors_add(cli->errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    for (int i = 1; readings && i < cli->arguments; i++)
        add_argument(cli, readings, system, meter, cli->argument[i]);
    return readings;
}

/* ---- the engine ---------------------------------------------------------------------------- */

static diagnose_engine *engine_for(cli *cli, const solve_system *system, const http_case *at) {
    const char *healthy = cli_option(cli, CLI_HEALTHY);
    diagnose_options options = diagnose_defaults();
    diagnose_readings *chart = healthy ? from_file(cli, system, healthy) : NULL;
    diagnose_priors *table = cli_priors(cli);
    diagnose_engine *engine = NULL;
    options.chart = chart;
    options.mains = at->measured ? at->mains : NAN;
    options.mains_spread = at->measured ? 0.005 : 0.03;
    options.meter = at->meter;
    options.tests = true;
    if (cli_option(cli, CLI_PAIRS)) options.pairs = DIAGNOSE_LOOK_ALWAYS;
    if (cli_option(cli, CLI_WIRING)) options.wiring = DIAGNOSE_LOOK_ALWAYS;
    if (table && base_errors_worst(cli->errors) == BASE_OK)
        engine = diagnose_engine_new(system, table, &options, cli->errors);
    diagnose_priors_free(table);
    diagnose_readings_free(chart);
    return engine;
}

/* ---- what the text and the JSON share ------------------------------------------------------ */

int cli_place_named(const diagnose_engine *engine, const char *at) {
    for (size_t i = 0; i < diagnose_places(engine); i++)
        if (strcmp(diagnose_place_at(engine, i)->at, at) == 0) return (int)i;
    return -1;
}

const char *cli_suspect_words(const diagnose_suspect *suspect, char *buffer, size_t size) {
    if (strcmp(suspect->part, "nothing") == 0)
        snprintf(buffer, size, "nothing wrong");
    else if (strcmp(suspect->part, "unmodelled") == 0)
        snprintf(buffer, size, "something that this program does not model");
    else
        snprintf(buffer, size, "%s %s", suspect->part, suspect->what);
    return buffer;
}

/* ---- the command --------------------------------------------------------------------------- */

static void judge(cli *cli, const solve_system *system, http_case *at) {
    diagnose_engine *engine = engine_for(cli, system, at);
    diagnose_belief *belief = engine ? diagnose_run(engine, at->readings, cli->errors) : NULL;
    if (belief && base_errors_worst(cli->errors) == BASE_OK) {
        at->engine = engine;
        at->belief = belief;
        cli_suspects_text(cli, at);
        cli_json_take(cli, http_json_suspects(at));
    }
    diagnose_belief_free(belief);
    diagnose_engine_free(engine);
}

static void run(cli *cli) {
    http_case at = {0};
    cli_amp amp = {0};
    if (!cli_bench(cli, &at.meter, &at.mains)) return;
    diagnose_readings *readings = NULL;
    if (cli_amp_open(cli, cli->argument[0], &amp)) readings = gather(cli, amp.system, &at.meter);
    if (readings && base_errors_worst(cli->errors) == BASE_OK) {
        if (isnan(at.mains)) at.mains = readings->mains;
        at.measured = isfinite(at.mains);
        if (!at.measured) at.mains = circuit_about_of(amp.amp)->mains_volts;
        at.amp = amp.amp;
        at.readings = readings;
        judge(cli, amp.system, &at);
    }
    diagnose_readings_free(readings);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"meter", CLI_METER, "OHMS", 0,
     "The meter's load: 10M (when not given) or \"20k per volt\" or \"20k per volt on 300\"", 0},
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {"healthy", CLI_HEALTHY, "READINGS.yaml", 0,
     "Readings of this very amp, or one like it, taken in health", 0},
    {"pairs", CLI_PAIRS, 0, 0, "Look at two faults at once even where one explains the readings",
     0},
    {"wiring", CLI_WIRING, 0, 0,
     "Look at leads on the wrong node even where a fault explains the readings", 0},
    {"all", CLI_ALL, 0, 0, "List every suspect, also those under 1 %", 0},
    {0}};

const cli_command cli_suspects = {
    .name = "suspects",
    .arguments = "AMP [READINGS.yaml] [PLACE=VALUE...]",
    .summary = "Say which parts could be to blame, and which reading to take next",
    .about =
        "Readings come from a file (docs/readings-file.md), from the command line, or both. PLACE "
        "is a tube's pin (V2.3), a node (B1), two places (V5.4-B2) or a part (R7: the volts "
        "across it). VALUE is in volts.\n\n"
        "Without readings it says where to put the probe first. Parts that no reading can tell "
        "apart are one group, with what would tell. When the readings do not settle it, it says "
        "so.",
    .examples = "  gridleak suspects wren-hollow\n"
                "  gridleak suspects wren-hollow V2.5=4.1 V2.8=31 B2=351\n"
                "  gridleak suspects my-amp.yaml readings.yaml --mains 121 --json\n",
    .options = options,
    .least = 1,
    .most = CLI_ARGUMENTS,
    .run = run,
};
