/* gridleak practice --worked: seeded faults, found by the program or not. */
#include "practice_impl.h"

#include <stdio.h>
#include <string.h>

#define MOST_READINGS 60

typedef struct tally {
    long tried, found, named, readings, of_found;
} tally;

static void count(tally *tally, const practice_worked *worked) {
    tally->tried++;
    tally->found += worked->found;
    tally->named += worked->found && worked->named;
    tally->readings += worked->readings;
    if (worked->found) tally->of_found += worked->readings;
}

static void tell(cli *cli, const char *key, const char *words, const tally *tally) {
    double tried = tally->tried ? (double)tally->tried : 1;
    double found = tally->found ? (double)tally->found : 1;
    json_t *row = cli_json_object_in(cli, cli->json, key);
    cli_json_set(cli, row, "tried", json_integer(tally->tried));
    cli_json_set(cli, row, "found", json_integer(tally->found));
    cli_json_set(cli, row, "readings",
                 json_real(base_value_round((double)tally->readings / tried, 3)));
    cli_json_set(cli, row, "readings_when_found",
                 json_real(base_value_round((double)tally->of_found / found, 3)));
    base_text_add(&cli->out, "  %-22s found %ld of %ld; readings: %.1f, where found %.1f\n", words,
                  tally->found, tally->tried, (double)tally->readings / tried,
                  (double)tally->of_found / found);
}

static void add_row(cli *cli, json_t *rows, long seed, const practice_worked *worked) {
    json_t *row = cli_json_row_in(cli, rows);
    cli_json_set(cli, row, "seed", json_integer(seed));
    cli_json_set(cli, row, "part", http_json_text(worked->part));
    cli_json_set(cli, row, "what", http_json_text(worked->what));
    cli_json_set(cli, row, "found", json_boolean(worked->found));
    cli_json_set(cli, row, "blamed", http_json_text(worked->blamed));
    cli_json_set(cli, row, "readings", json_integer(worked->readings));
}

typedef struct trial {
    cli *cli;
    practice_options options;
    tally guided, fixed;
    long skipped;
} trial;

/* One seed, in both orders. A seed with which nothing shows is skipped. */
static bool try_seed(trial *trial, long seed, json_t *rows) {
    base_errors *own = base_errors_new();
    practice_worked guided, fixed;
    trial->options.seed = (uint64_t)seed;
    base_code code =
        own ? practice_work(&trial->options, false, MOST_READINGS, &guided, own) : BASE_MEMORY;
    if (code == BASE_OK) code = practice_work(&trial->options, true, MOST_READINGS, &fixed, own);
    base_errors_free(own);
    trial->skipped += code == BASE_UNSOLVED;
    if (code != BASE_OK) return code == BASE_UNSOLVED;
    count(&trial->guided, &guided);
    count(&trial->fixed, &fixed);
    add_row(trial->cli, rows, seed, &guided);
    if (!guided.found)
        base_text_add(&trial->cli->out, "  seed %ld: %s %s was not found, %s led\n", seed,
                      guided.part, guided.what, guided.blamed);
    return true;
}

static void run(trial *trial, long first, long seeds) {
    cli *cli = trial->cli;
    json_t *rows = cli_json_list_in(cli, cli->json, "seeds");
    for (long i = 0; i < seeds; i++)
        if (!try_seed(trial, first + i, rows)) {
            base_errors_add(cli->errors, BASE_MEMORY, (base_place){0},
                            "seed %ld could not be worked|close other programs", first + i);
            return;
        }
    base_text_add(&cli->out, "\n");
    tell(cli, "guided", "in the guide's order", &trial->guided);
    tell(cli, "fixed", "the chart, top down", &trial->fixed);
    if (trial->skipped)
        base_text_add(&cli->out, "  %ld seeds skipped: nothing that shows\n", trial->skipped);
}

void cli_practice_worked(cli *cli, const cli_amp *amp, const diagnose_priors *priors) {
    diagnose_options defaults = diagnose_defaults();
    trial trial = {.cli = cli, .options = {.system = amp->system, .priors = priors}};
    long first = cli_practice_number(cli, CLI_SEED, 0, 1000000000, 1);
    long seeds = cli_practice_number(cli, CLI_SEEDS, 1, 10000, 20);
    trial.options.faults = (int)cli_practice_number(cli, CLI_FAULTS, 1, 2, 1);
    if (base_errors_worst(cli->errors) != BASE_OK) return;
    trial.options.engine = diagnose_engine_new(amp->system, priors, &defaults, cli->errors);
    if (trial.options.engine) run(&trial, first, seeds);
    diagnose_engine_free(trial.options.engine);
}
