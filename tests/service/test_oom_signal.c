/* Every allocation of response, hum and tremolo made to fail in turn: nothing and a complaint, or a
 * whole result. */
#include "amp.h"

#include "../oom.h"

static amp on_bench;
static const service_stand as_drawn = {.mains = NAN};

static void make_response(bool failing) {
    const service_response_ask ask = {.stand = as_drawn,
                                      .from = {NULL, "from"},
                                      .to = {NULL, "to"},
                                      .hertz = 1000,
                                      .low = 100,
                                      .high = 1000,
                                      .per_octave = 1,
                                      .scope = {-1, INFINITY, 0}};
    base_errors *errors = base_errors_new();
    service_response *found = service_response_of(on_bench.system, &ask, errors);
    if (!failing) assert_non_null(found);
    if (!found && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
    for (size_t i = 0; found && i < found->stages; i++)
        assert_non_null(found->stage[i].at);
    service_response_free(found);
    base_errors_free(errors);
}

static void make_hum(bool failing) {
    base_errors *errors = base_errors_new();
    service_hum *found = service_hum_of(on_bench.system, &as_drawn, errors);
    if (!failing) assert_non_null(found);
    if (!found && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
    service_hum_free(found);
    base_errors_free(errors);
}

static void make_tremolo(bool failing) {
    base_errors *errors = base_errors_new();
    service_tremolo *found = service_tremolo_of(on_bench.system, &as_drawn, errors);
    if (!failing) assert_non_null(found);
    if (!found && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
    service_tremolo_free(found);
    base_errors_free(errors);
}

static void each(const char *name, void make(bool failing)) {
    amp_open(&on_bench, name, NULL, NULL);
    assert_true(oom_each(make) > 5);
    amp_close(&on_bench);
}

static void test_response(void **state) {
    (void)state;
    each("thimble", make_response);
}

static void test_hum(void **state) {
    (void)state;
    each("thimble", make_hum);
}

static void test_tremolo(void **state) {
    (void)state;
    each("thimble", make_tremolo);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_response), cmocka_unit_test(test_hum),
                                       cmocka_unit_test(test_tremolo)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
