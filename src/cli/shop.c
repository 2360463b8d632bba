#include "shop_impl.h"

#include <errno.h>
#include <libgen.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

int64_t cli_now(void) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* ---- the library --------------------------------------------------------------------------- */

const char *cli_shop_amp(void *nothing, const char *name, size_t *length) {
    size_t count;
    const cli_file *files = cli_files(&count);
    char full[160];
    (void)nothing;
    snprintf(full, sizeof full, "amps/%.128s.yaml", name);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, full) == 0) {
            *length = files[i].length;
            return files[i].data;
        }
    return NULL;
}

void cli_amp_names_find(cli_amp_names *names) {
    size_t count;
    const cli_file *files = cli_files(&count);
    names->count = 0;
    for (size_t i = 0; i < count && names->count < 64; i++) {
        const char *base = files[i].name + strlen("amps/");
        if (strncmp(files[i].name, "amps/", 5) != 0) continue;
        char *name = names->name[names->count++];
        snprintf(name, sizeof names->name[0], "%.*s", (int)strcspn(base, "."), base);
    }
}

const char *cli_shop_amp_name(void *names, size_t index) {
    const cli_amp_names *all = names;
    return index < all->count ? all->name[index] : NULL;
}

/* ---- where it is --------------------------------------------------------------------------- */

static bool too_long(cli *cli) {
    base_errors_add(cli->errors, BASE_FILE, (base_place){0},
                    "the path of the shop is too long|give a shorter one");
    return false;
}

/* The folder and those above it, for this user alone. */
static bool make_folder(cli *cli, const char *path) {
    char part[CLI_PATH];
    snprintf(part, sizeof part, "%s", path);
    for (char *slash = strchr(part + 1, '/');; slash = strchr(slash + 1, '/')) {
        if (slash) *slash = 0;
        if (mkdir(part, 0700) != 0 && errno != EEXIST) {
            base_errors_add(cli->errors, BASE_FILE, (base_place){.file = part},
                            "the shop's folder cannot be made: %s|name the store by its path, as "
                            "in gridleak bench my-shop.db",
                            strerror(errno));
            return false;
        }
        if (!slash) return true;
        *slash = '/';
    }
}

static bool usual_path(cli *cli, cli_shop *shop) {
    const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
    bool set = data && *data == '/'; /* the XDG base directory rules: a relative one counts not */
    if (!set && !(home && *home)) {
        base_errors_add(cli->errors, BASE_FILE, (base_place){0},
                        "neither HOME nor XDG_DATA_HOME is set|name the shop's store by its path");
        return false;
    }
    int length = set ? snprintf(shop->folder, CLI_PATH, "%s/gridleak", data)
                     : snprintf(shop->folder, CLI_PATH, "%s/.local/share/gridleak", home);
    if (length + 16 > CLI_PATH) return too_long(cli);
    memcpy(shop->path, shop->folder, (size_t)length);
    strcpy(shop->path + length, "/shop.db");
    return make_folder(cli, shop->folder);
}

bool cli_shop_find(cli *cli, int index, cli_shop *shop) {
    char copy[CLI_PATH];
    *shop = (cli_shop){0};
    if (index >= cli->arguments) return usual_path(cli, shop);
    const char *given = cli->argument[index];
    if (strlen(given) + 64 > CLI_PATH) return too_long(cli);
    strcpy(shop->path, given);
    strcpy(copy, given);
    snprintf(shop->folder, CLI_PATH, "%s", dirname(copy));
    return true;
}

/* ---- open ---------------------------------------------------------------------------------- */

bool cli_shop_open(cli *cli, int index, bool make, cli_shop *shop) {
    if (!cli_shop_find(cli, index, shop)) return false;
    if (!make && access(shop->path, F_OK) != 0) {
        base_errors_add(cli->errors, BASE_FILE, (base_place){.file = shop->path},
                        "there is no such store: %s|gridleak bench makes one", strerror(errno));
        return false;
    }
    shop->tubes = cli_tubes(cli);
    shop->store = shop->tubes ? job_store_open(shop->path, cli->errors) : NULL;
    if (shop->store) job_store_use_library(shop->store, shop->tubes, cli_shop_amp, NULL);
    return shop->store != NULL;
}

void cli_shop_close(cli_shop *shop) {
    job_store_close(shop->store);
    tube_library_free(shop->tubes);
    shop->store = NULL;
    shop->tubes = NULL;
}
