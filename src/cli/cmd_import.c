/* gridleak import: a store from an export. */
#include "shop_impl.h"

static void run(cli *cli) {
    cli_shop shop = {0};
    if (cli_shop_open(cli, 1, true, &shop) &&
        job_import(shop.store, cli->argument[0], cli->errors) == BASE_OK) {
        base_text_add(&cli->out, "Imported into %s\n", shop.path);
        cli_json_set(cli, cli->json, "shop", http_json_text(shop.path));
        cli_json_set(cli, cli->json, "file", http_json_text(cli->argument[0]));
    }
    cli_shop_close(&shop);
}

const cli_command cli_import = {
    .name = "import",
    .arguments = "FILE [SHOP]",
    .summary = "Make a store from an export",
    .about = "The store must be new or empty. All of the file comes in, or nothing.\n\n" //
    CLI_SHOP_HELP,
    .examples = "  gridleak import shop.json new-shop.db\n",
    .least = 1,
    .most = 2,
    .run = run,
};
