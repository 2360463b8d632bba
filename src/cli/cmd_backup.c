/* gridleak backup: a checked copy of the shop's store. */
#include "shop_impl.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define KEEP 7

static int keep_of(cli *cli) {
    const char *text = cli_option(cli, CLI_KEEP);
    char *end = NULL;
    long keep = text ? strtol(text, &end, 10) : KEEP;
    if (text && (end == text || *end || keep < 1 || keep > 1000))
        cli_usage(cli, "--keep %.20s is no number of backups|give 1 to 1000", text);
    return (int)keep;
}

static bool make_folder(cli *cli, const char *folder) {
    if (mkdir(folder, 0700) == 0 || errno == EEXIST) return true;
    base_errors_add(cli->errors, BASE_FILE, (base_place){.file = folder},
                    "cannot be made: %s|name a folder in one that is there", strerror(errno));
    return false;
}

static void run(cli *cli) {
    cli_shop shop = {0};
    char *made = NULL;
    int keep = keep_of(cli);
    if (base_errors_worst(cli->errors) == BASE_OK && cli_shop_open(cli, 1, false, &shop) &&
        make_folder(cli, cli->argument[0]) &&
        job_backup(shop.store, cli->argument[0], keep, cli_now(), &made, cli->errors) == BASE_OK) {
        base_text_add(&cli->out, "Backed up and checked: %s\n", made);
        cli_json_set(cli, cli->json, "shop", http_json_text(shop.path));
        cli_json_set(cli, cli->json, "backup", http_json_text(made));
    }
    free(made);
    cli_shop_close(&shop);
}

static const struct argp_option options[] = {
    {"keep", CLI_KEEP, "N", 0, "How many backups stay in the folder: 7 when not given", 0}, {0}};

const cli_command cli_backup = {
    .name = "backup",
    .arguments = "FOLDER [SHOP]",
    .summary = "Make a checked copy of the shop's store",
    .about = "The copy is written beside its place, checked page by page, put on the disk, and "
             "only then given its name. It can be made while the bench is open. A store that is "
             "copied by hand while it is in use may not be whole: use this.\n\n" CLI_SHOP_HELP,
    .examples = "  gridleak backup /media/stick\n  gridleak backup backups my-shop.db --keep 30\n",
    .options = options,
    .least = 1,
    .most = 2,
    .run = run,
};
