/* gridleak restore: a backup in the place of the shop's store. */
#include "shop_impl.h"

static void run(cli *cli) {
    cli_shop shop;
    if (!cli_shop_find(cli, 1, &shop) ||
        job_restore(shop.path, cli->argument[0], cli_now(), cli->errors) != BASE_OK)
        return;
    base_text_add(&cli->out, "Restored: %s\nWhat stood there before is kept beside it.\n",
                  shop.path);
    cli_json_set(cli, cli->json, "shop", http_json_text(shop.path));
}

const cli_command cli_restore = {
    .name = "restore",
    .arguments = "BACKUP [SHOP]",
    .summary = "Put a backup in the place of the shop's store",
    .about = "The backup is checked first. The store that stands there is not lost: it is kept "
             "beside, under another name. Close the bench before.\n\n" CLI_SHOP_HELP,
    .examples = "  gridleak restore /media/stick/gridleak-2025-03-01T12-00-00.store\n",
    .least = 1,
    .most = 2,
    .run = run,
};
