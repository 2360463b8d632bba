/* Any bytes as a photo: refused with a reason, or kept as a JPEG of at most 2400 points that can be
 * read again. */
#include "store.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char hash[65];
    base_errors *errors = base_errors_new();
    base_code code = job_photo_add(fuzz_store(), data, size, hash, errors);
    demand(code == base_errors_worst(errors));
    demand((code == BASE_OK) == (strlen(hash) == 64));
    if (code == BASE_OK) {
        size_t length = 0;
        void *bytes = job_photo(fuzz_store(), hash, true, &length, errors);
        demand(bytes && length > 100 && memcmp(bytes, "\xff\xd8\xff", 3) == 0);
        free(bytes);
    }
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
    base_errors_free(errors);
    return 0;
}
