/* What comes from outside: files as bytes, and numbers from options. */
#include "cli.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char *remedy_of(int error) {
    switch (error) {
    case ENOENT:
        return "look at the spelling of the path; `gridleak amps` lists the amps that need no file";
    case EACCES:
        return "you may not read it: ask its owner, or copy it";
    case EISDIR:
        return "name a YAML file inside that folder";
    default:
        return "look at the disk or the path";
    }
}

static void cannot_read(cli *cli, const char *path, int error) {
    base_errors_add(cli->errors, BASE_FILE, (base_place){.file = path}, "cannot be read: %s|%s",
                    strerror(error), remedy_of(error));
}

/* Reads up to one byte past the limit, so that a stream without a size is measured too. */
static char *read_all(int handle, size_t *length, int *error) {
    size_t room = 65536, used = 0;
    char *text = malloc(room + 1);
    while (text) {
        ssize_t got = read(handle, text + used, room - used);
        if (got < 0 && errno == EINTR) continue;
        if (got < 0) *error = errno;
        if (got <= 0) break;
        used += (size_t)got;
        if (used > CLI_FILE_MAXIMUM) break;
        if (used < room) continue;
        char *more = realloc(text, (room *= 2) + 1);
        if (!more) free(text);
        text = more;
    }
    if (!text) *error = ENOMEM;
    if (text) text[used] = 0;
    *length = used;
    return text;
}

char *cli_read_file(cli *cli, const char *path, size_t *length) {
    int handle = open(path, O_RDONLY | O_CLOEXEC), error = 0;
    if (handle < 0) {
        cannot_read(cli, path, errno);
        return NULL;
    }
    char *text = read_all(handle, length, &error);
    close(handle);
    if (error)
        cannot_read(cli, path, error);
    else if (*length > CLI_FILE_MAXIMUM)
        base_errors_add(cli->errors, BASE_FILE, (base_place){.file = path},
                        "is larger than %u MB, which no amp or readings file is|name the right "
                        "file",
                        CLI_FILE_MAXIMUM >> 20);
    else
        return text;
    free(text);
    return NULL;
}

double cli_number(cli *cli, cli_key key, base_quantity quantity, double low, double high) {
    static const char *const names[] = {
        [CLI_METER - CLI_JSON] = "--meter", [CLI_MAINS - CLI_JSON] = "--mains",
        [CLI_PLATE - CLI_JSON] = "--plate", [CLI_SCREEN - CLI_JSON] = "--screen",
        [CLI_GRID - CLI_JSON] = "--grid",   [CLI_AT - CLI_JSON] = "--at",
        [CLI_OHMS - CLI_JSON] = "--ohms",   [CLI_KEYS - CLI_JSON] = NULL};
    const char *text = cli_option(cli, key);
    base_place place = {.file = names[key - CLI_JSON]};
    double value = NAN;
    if (!text) return NAN;
    if (base_value_read(text, quantity, place, &value, cli->errors) != BASE_OK) return NAN;
    if (value >= low && value <= high) return value;
    base_errors_add(cli->errors, BASE_VALUE, place,
                    "`%.40s` makes no sense here|give a number from %g to %g", text, low, high);
    return NAN;
}

bool cli_bench(cli *cli, diagnose_meter *meter, double *mains) {
    const char *text = cli_option(cli, CLI_METER);
    *meter = (diagnose_meter){.ohms = 10e6, .ohms_per_volt = NAN, .range = NAN, .accuracy = 0.005};
    if (text) diagnose_meter_read(text, (base_place){.file = "--meter"}, meter, cli->errors);
    *mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    return base_errors_worst(cli->errors) == BASE_OK;
}
