/* Any bytes as a tube type: it never crashes, says what is wrong, and what it accepts has curves
 * that are finite at any volts. */
#include "tube.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

static void use(const tube_type *type) {
    static const double volts[] = {-1e6, -300, 0, 1, 250, 1e6};
    for (int u = 0; u < type->units; u++)
        for (int n = 0; n < 6 * 6 * 6; n++) {
            tube_point point;
            tube_volts at = {volts[n % 6], volts[n / 6 % 6], volts[n / 36]};
            tube_current(&type->unit[u], &TUBE_BOGEY, &at, &point);
            demand(isfinite(point.plate) && isfinite(point.screen) && isfinite(point.grid));
            for (int i = 0; i < 9; i++)
                demand(isfinite(point.d[i / 3][i % 3]));
        }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    tube_library *library = tube_library_new();
    base_errors *errors = base_errors_new();
    demand(library && errors);
    base_code code = tube_library_add(library, "fuzz.yaml", (const char *)data, size, errors);
    demand(tube_library_count(library) == (code == BASE_OK));
    demand(base_errors_worst(errors) == code);
    if (code == BASE_OK) use(tube_library_at(library, 0));
    base_errors_free(errors);
    tube_library_free(library);
    return 0;
}
