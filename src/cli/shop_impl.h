/* The shop's store, as the commands on it find and open it. */
#ifndef GRIDLEAK_CLI_SHOP_IMPL_H
#define GRIDLEAK_CLI_SHOP_IMPL_H

#include "cli_impl.h"
#include "job.h"

#define CLI_PATH 4096
#define CLI_SHOP_HELP                                                                              \
    "SHOP is the path of the shop's store. Without it: gridleak/shop.db in $XDG_DATA_HOME, which " \
    "is ~/.local/share where nothing else is set."

typedef struct cli_shop {
    char path[CLI_PATH], folder[CLI_PATH]; /* of the store; in which it stands */
    job_store *store;
    tube_library *tubes;
} cli_shop;

/* The path: argument `index`, else the usual one, whose folder is made (0700). false with a
 * complaint. */
bool cli_shop_find(cli *cli, int index, cli_shop *shop);
/* Finds and opens it, with the library inside the program. `make`: it may be a new one. Close it in
 * any case. */
bool cli_shop_open(cli *cli, int index, bool make, cli_shop *shop);
void cli_shop_close(cli_shop *shop);

/* The library's amps as store and server ask for them. */
const char *cli_shop_amp(void *nothing, const char *name, size_t *length);
const char *cli_shop_amp_name(void *names, size_t index); /* `names`: cli_amp_names */
typedef struct cli_amp_names {
    char name[64][128];
    size_t count;
} cli_amp_names;
void cli_amp_names_find(cli_amp_names *names);

int64_t cli_now(void); /* milliseconds since 1970 */

#endif
