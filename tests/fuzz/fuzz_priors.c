/* Any bytes as a priors file: it never crashes, and says with a remedy why it refuses. */
#include "diagnose.h"

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    base_errors *errors = base_errors_new();
    demand(errors != NULL);
    diagnose_priors *priors = diagnose_priors_read("fuzz", (const char *)data, size, errors);
    demand((priors != NULL) == (base_errors_worst(errors) == BASE_OK));
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
    diagnose_priors_free(priors);
    base_errors_free(errors);
    return 0;
}
