/* Opening AMP: from a path or from the library, to a system ready to solve. */
#include "cli_impl.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

bool cli_amp_on_mains(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.winding < 0) return true;
    }
    return false;
}

/* A word with a slash or an ending is a path; so is one that a file has and no library amp has in
 * full: what stands here under that very name is meant rather than an amp that begins with it. */
static bool is_path(const char *name) {
    struct stat found;
    if (strchr(name, '/') || strchr(name, '.')) return true;
    return !cli_library_has(name) && stat(name, &found) == 0 && !S_ISDIR(found.st_mode);
}

static const char *text_of(cli *cli, const char *name, cli_amp *amp, const char **file,
                           size_t *length) {
    if (is_path(name)) {
        *file = name;
        return amp->read = cli_read_file(cli, name, length);
    }
    const cli_file *inside = cli_library_amp(cli, name);
    if (!inside) return NULL;
    *file = inside->name;
    *length = inside->length;
    return inside->data;
}

static void tell_danger(cli *cli, const circuit *amp) {
    json_t *dangers = cli_json_list_in(cli, cli->json, "dangers");
    if (!cli_amp_on_mains(amp)) return;
    cli_json_add(cli, dangers, json_string(CLI_DANGER));
    cli_danger(cli);
}

bool cli_amp_open(cli *cli, const char *name, cli_amp *amp) {
    const char *file = NULL;
    size_t length = 0;
    *amp = (cli_amp){0};
    const char *text = text_of(cli, name, amp, &file, &length);
    if (!text) return false;
    amp->text = text;
    amp->tubes = cli_tubes(cli);
    if (!amp->tubes) return false;
    amp->amp = circuit_read(file, text, length, amp->tubes, cli->errors);
    if (!amp->amp) return false;
    tell_danger(cli, amp->amp);
    amp->system = solve_system_new(amp->amp, cli->errors);
    return amp->system != NULL;
}

void cli_amp_close(cli_amp *amp) {
    solve_system_free(amp->system);
    circuit_free(amp->amp);
    tube_library_free(amp->tubes);
    free(amp->read);
    *amp = (cli_amp){0};
}
