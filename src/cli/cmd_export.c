/* gridleak export: all that the shop knows, as one JSON file. */
#include "shop_impl.h"

static void run(cli *cli) {
    cli_shop shop = {0};
    if (cli_shop_open(cli, 1, false, &shop) &&
        job_export(shop.store, cli->argument[0], cli->errors) == BASE_OK) {
        base_text_add(&cli->out, "Exported: %s\n", cli->argument[0]);
        cli_json_set(cli, cli->json, "shop", http_json_text(shop.path));
        cli_json_set(cli, cli->json, "file", http_json_text(cli->argument[0]));
    }
    cli_shop_close(&shop);
}

const cli_command cli_export = {
    .name = "export",
    .arguments = "FILE [SHOP]",
    .summary = "Write all jobs, facts and photos as JSON",
    .about = "One list, an element a line, with nothing left out: `gridleak import` makes the same "
             "store from it again. docs/store.md says what each element means.\n\n" CLI_SHOP_HELP,
    .examples = "  gridleak export shop.json\n",
    .least = 1,
    .most = 2,
    .run = run,
};
