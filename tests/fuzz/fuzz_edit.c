/* Any bytes as an amp file with an edit before it (does, part, key and value, a line each): no
 * crash, a reason for each refusal; a text that was edited can be edited back or is read again. */
#include "circuit.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

/* The next line, 0-ended in place; NULL: there is none. */
static char *line(char **rest) {
    char *start = *rest, *end = start ? strchr(start, '\n') : NULL;
    if (!end) return NULL;
    *end = 0;
    *rest = end + 1;
    return start;
}

static void demand_edited(const circuit_edit *edit, const char *text) {
    circuit_outline *outline = circuit_outline_new(text, strlen(text), NULL);
    demand(outline != NULL);
    if (edit->does == CIRCUIT_ADD) {
        const char *section = circuit_outline_section(outline, edit->part);
        demand(section != NULL);
        circuit_edit back = {CIRCUIT_REMOVE, edit->part, NULL, NULL};
        char *without = circuit_edit_text(text, strlen(text), &back, NULL);
        free(without);
    }
    circuit_outline_free(outline);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char *copy = malloc(size + 1), *rest = copy;
    demand(copy != NULL);
    memcpy(copy, data, size);
    copy[size] = 0;
    char *does = line(&rest), *part = line(&rest), *key = line(&rest), *value = line(&rest);
    if (value) {
        base_errors *errors = base_errors_new();
        circuit_edit edit = {(circuit_does)((unsigned char)does[0] % 3), part, key, value};
        size_t length = size - (size_t)(rest - copy);
        char *text = circuit_edit_text(rest, length, &edit, errors);
        demand((text != NULL) == (base_errors_worst(errors) == BASE_OK));
        if (text) demand_edited(&edit, text);
        for (size_t i = 0; i < base_errors_count(errors); i++)
            demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
        free(text);
        base_errors_free(errors);
    }
    free(copy);
    return 0;
}
