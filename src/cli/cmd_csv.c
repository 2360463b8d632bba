/* gridleak csv: the readings as a table. */
#include "shop_impl.h"

#include <stdlib.h>

/* The job that --job names; 0: all. */
static int64_t job_of(cli *cli) {
    const char *text = cli_option(cli, CLI_JOB);
    char *end = NULL;
    int64_t job = text ? strtoll(text, &end, 10) : 0;
    if (text && (end == text || *end || job < 1))
        cli_usage(cli, "--job %.20s is no number of a job|the page shows it in its address", text);
    return job;
}

static void run(cli *cli) {
    cli_shop shop = {0};
    int64_t job = job_of(cli);
    if (base_errors_worst(cli->errors) == BASE_OK && cli_shop_open(cli, 1, false, &shop) &&
        job_csv(shop.store, job, cli->argument[0], cli->errors) == BASE_OK) {
        base_text_add(&cli->out, "Written: %s\n", cli->argument[0]);
        cli_json_set(cli, cli->json, "shop", http_json_text(shop.path));
        cli_json_set(cli, cli->json, "file", http_json_text(cli->argument[0]));
    }
    cli_shop_close(&shop);
}

static const struct argp_option options[] = {
    {"job", CLI_JOB, "N", 0, "The readings of this job only", 0}, {0}};

const cli_command cli_csv = {
    .name = "csv",
    .arguments = "FILE [SHOP]",
    .summary = "Write the readings as CSV",
    .about = "One line for each reading that stands. A cell that a spreadsheet would take for a "
             "formula gets a ' before it.\n\n" CLI_SHOP_HELP,
    .examples = "  gridleak csv readings.csv\n  gridleak csv readings.csv my-shop.db --job 7\n",
    .options = options,
    .least = 1,
    .most = 2,
    .run = run,
};
