/* Any bytes as changes to an amp (a line each) and as targets for a value: no crash, a reason for
 * each refusal; what was changed is an amp file still, or is refused when it is read. */
#include "files.h"
#include "service.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define CHANGES 16

static struct {
    tube_library *tubes;
    circuit *amp;
    solve_system *system;
    const char *text;
} here;

static void demand(bool holds) {
    if (!holds) abort();
}

static void open_amp(void) {
    size_t count;
    if (here.system) return;
    const cli_file *files = cli_files(&count);
    base_errors *errors = base_errors_new();
    here.tubes = tube_library_new();
    for (size_t i = 0; i < count; i++) {
        if (strncmp(files[i].name, "tubes/", 6) == 0)
            tube_library_add(here.tubes, files[i].name, files[i].data, files[i].length, errors);
        if (strcmp(files[i].name, "amps/wren-hollow.yaml") == 0) here.text = files[i].data;
    }
    demand(here.text != NULL);
    here.amp = circuit_read("amp", here.text, strlen(here.text), here.tubes, errors);
    demand(here.amp != NULL);
    here.system = solve_system_new(here.amp, errors);
    demand(here.system != NULL);
    base_errors_free(errors);
}

static void demand_reasons(const base_errors *errors) {
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
}

static void try_changes(const char **changes) {
    double mains = 120;
    base_errors *errors = base_errors_new();
    bool kept = service_swap_mains(changes, &mains, errors);
    char *text =
        kept ? circuit_change_text(here.amp, here.text, here.tubes, changes, errors) : NULL;
    demand((text != NULL) == (base_errors_worst(errors) == BASE_OK));
    if (text) {
        circuit *amp = circuit_read("changed", text, strlen(text), here.tubes, errors);
        demand((amp != NULL) == (base_errors_worst(errors) == BASE_OK));
        circuit_free(amp);
    }
    demand_reasons(errors);
    free(text);
    base_errors_free(errors);
}

static void try_target(const char *text) {
    base_errors *errors = base_errors_new();
    base_arena *arena = base_arena_new();
    service_target target;
    base_code code = service_target_read(here.system, text, arena, &target, errors);
    demand((code == BASE_OK) == (base_errors_worst(errors) == BASE_OK));
    demand(code != BASE_OK || target.at);
    demand_reasons(errors);
    base_arena_free(arena);
    base_errors_free(errors);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char *copy = malloc(size + 1);
    const char *changes[CHANGES + 1] = {NULL};
    size_t count = 0;
    demand(copy != NULL);
    memcpy(copy, data, size);
    copy[size] = 0;
    open_amp();
    for (char *rest = copy, *line; count < CHANGES && (line = strsep(&rest, "\n"));)
        if (*line) changes[count++] = line;
    for (size_t i = 0; i < count; i++)
        try_target(changes[i]);
    try_changes(changes);
    free(copy);
    return 0;
}
