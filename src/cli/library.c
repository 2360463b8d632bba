/* What the program carries inside: the tube library and the amp library. */
#include "cli.h"
#include "files.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool below(const cli_file *file, const char *folder) {
    return strncmp(file->name, folder, strlen(folder)) == 0;
}

static bool add_type(cli *cli, tube_library *library, const cli_file *file) {
    return tube_library_add(library, file->name, file->data, file->length, cli->errors) == BASE_OK;
}

static tube_library *new_library(cli *cli) {
    tube_library *library = tube_library_new();
    if (!library)
        base_errors_add(cli->errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    return library;
}

tube_library *cli_tubes(cli *cli) {
    size_t count;
    const cli_file *files = cli_files(&count);
    tube_library *library = new_library(cli);
    for (size_t i = 0; library && i < count; i++)
        if (below(&files[i], "tubes/") && !add_type(cli, library, &files[i])) {
            tube_library_free(library);
            return NULL;
        }
    return library;
}

diagnose_priors *cli_priors(cli *cli) {
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, "priors/faults.yaml") == 0)
            return diagnose_priors_read(files[i].name, files[i].data, files[i].length, cli->errors);
    base_errors_add(cli->errors, BASE_FILE, (base_place){0},
                    "the table of faults is not in this program|build it again");
    return NULL;
}

meter_profiles *cli_meters(cli *cli) {
    size_t count;
    const cli_file *files = cli_files(&count);
    meter_profiles *profiles = meter_profiles_new();
    if (!profiles)
        base_errors_add(cli->errors, BASE_MEMORY, (base_place){0},
                        "no memory left for the meters|close other programs");
    for (size_t i = 0; profiles && i < count; i++)
        if (strncmp(files[i].name, "meters/", 7) == 0)
            meter_profiles_add(profiles, files[i].name, files[i].data, files[i].length,
                               cli->errors);
    return profiles;
}

/* ---- amps ---------------------------------------------------------------------------------- */

static void stem(const cli_file *file, char *buffer, size_t size) {
    const char *base = file->name + strlen("amps/");
    const char *dot = strrchr(base, '.');
    snprintf(buffer, size, "%.*s", dot ? (int)(dot - base) : (int)strlen(base), base);
}

/* Case folded; a space, a `-` and a `_` are one. */
static char folded(char c) {
    return c == ' ' || c == '_' ? '-' : (char)tolower((unsigned char)c);
}

static bool begins(const char *name, const char *with) {
    for (; *with; name++, with++)
        if (folded(*name) != folded(*with)) return false;
    return true;
}

bool cli_library_has(const char *name) {
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++) {
        char known[128];
        if (!below(&files[i], "amps/")) continue;
        stem(&files[i], known, sizeof known);
        if (strlen(known) == strlen(name) && begins(known, name)) return true;
    }
    return false;
}

static size_t matches(const char *name, const cli_file **found, base_text *list) {
    size_t count, hits = 0;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++) {
        char known[128];
        if (!below(&files[i], "amps/")) continue;
        stem(&files[i], known, sizeof known);
        if (!begins(known, name)) continue;
        base_text_add(list, "%s%s", hits++ ? ", " : "", known);
        *found = &files[i];
        if (strlen(known) == strlen(name)) return 1;
    }
    return hits;
}

static void unknown_amp(cli *cli, const char *name) {
    static char known[64][128];
    const char *names[64];
    base_text list;
    size_t count, amps = 0;
    const cli_file *files = cli_files(&count);
    base_text_init(&list, 8192);
    for (size_t i = 0; i < count && amps < 64; i++) {
        if (!below(&files[i], "amps/")) continue;
        stem(&files[i], known[amps], sizeof known[amps]);
        names[amps] = known[amps];
        base_text_add(&list, "%s%s", amps ? ", " : "", known[amps]);
        amps++;
    }
    const char *near = base_nearest_name(name, names, amps);
    base_errors_add(cli->errors, BASE_UNKNOWN, (base_place){0},
                    "no file and no amp of the library is called `%.60s`|%s%s%sthe library has: %s",
                    name, near ? "did you mean " : "", near ? near : "", near ? "? " : "",
                    list.data ? list.data : "");
    base_text_free(&list);
}

const cli_file *cli_library_amp(cli *cli, const char *name) {
    const cli_file *found = NULL;
    base_text list;
    base_text_init(&list, 8192);
    size_t hits = *name ? matches(name, &found, &list) : 0;
    if (hits > 1)
        base_errors_add(cli->errors, BASE_UNKNOWN, (base_place){0},
                        "`%.60s` is the beginning of %zu amps: %s|write a little more of the name",
                        name, hits, list.data);
    else if (hits == 0)
        unknown_amp(cli, name);
    base_text_free(&list);
    return hits == 1 ? found : NULL;
}
