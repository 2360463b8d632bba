/* Any bytes as a value, in every quantity: it never crashes, says why it refuses, and what it
 * accepts it can write and read again. */
#include "base.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

static void write_and_read(double value, base_quantity quantity) {
    char text[32];
    double again;
    base_value_write(value, quantity, text, sizeof text);
    demand(base_value_read(text, quantity, (base_place){0}, &again, NULL) == BASE_OK);
    demand(fabs(again - value) <= 1e-12 * fabs(value));
}

static void read_as(const char *text, base_quantity quantity) {
    double value;
    base_errors *errors = base_errors_new();
    base_code code = base_value_read(text, quantity, (base_place){0}, &value, errors);
    demand(base_errors_count(errors) == (code != BASE_OK));
    demand(isfinite(value) == (code == BASE_OK));
    if (code == BASE_OK) {
        write_and_read(value, quantity);
    } else {
        demand(base_errors_at(errors, 0)->cause[0] && base_errors_at(errors, 0)->remedy[0]);
    }
    base_errors_free(errors);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char *text = malloc(size + 1);
    demand(text != NULL);
    memcpy(text, data, size);
    text[size] = 0;
    for (int quantity = 0; quantity < BASE_QUANTITIES; quantity++)
        read_as(text, quantity);
    free(text);
    return 0;
}
