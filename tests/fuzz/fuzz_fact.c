/* Any bytes as a fact: a line with its kind, then its body. Taken or refused with a reason; what
 * was taken is seen, and can be taken back. */
#include "store.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void add(const job_fact *fact) {
    base_errors *errors = base_errors_new();
    json_t *taken = json_pack("{s:s, s:s, s:s}", "owner", "Ada", "complaint", "hum", "amp", "x");
    int64_t job, id = 0;
    demand(job_create(fuzz_store(), taken, 1, &job, errors) == BASE_OK);
    if (job_add(fuzz_store(), job, fact, 2, &id, errors) == BASE_OK) {
        json_t *view = job_view(fuzz_store(), job, errors);
        demand(view != NULL);
        json_decref(view);
        base_code back = job_undo(fuzz_store(), job, id, 3, NULL, errors);
        demand(back == BASE_OK || base_errors_count(errors) > 0);
    } else {
        demand(base_errors_worst(errors) != BASE_OK);
    }
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
    json_decref(taken);
    base_errors_free(errors);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    const uint8_t *end = memchr(data, '\n', size);
    if (!end) return 0;
    char *kind = calloc(1, (size_t)(end - data) + 1);
    if (kind) memcpy(kind, data, (size_t)(end - data));
    size_t length = size - (size_t)(end + 1 - data);
    json_t *body = json_loadb((const char *)end + 1, length, JSON_DECODE_ANY, NULL);
    job_fact fact = {.kind = kind, .body = body};
    if (body && kind) add(&fact);
    json_decref(body);
    free(kind);
    return 0;
}
