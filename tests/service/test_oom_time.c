/* Allocations of the output stage and of a start made to fail: a complaint, or the whole answer. */
#include "amp.h"

#include "../oom.h"

#define STRIDE 23 /* a start makes many: every so many-th fails */

static amp on_bench;

static void make_output(bool failing) {
    static const service_output_asked asked = {NAN, 8, NAN};
    base_errors *errors = base_errors_new();
    service_output *output = service_output_new(on_bench.system, &asked, errors);
    if (!failing) assert_non_null(output);
    if (!output && errors) assert_true(base_errors_count(errors) > 0);
    service_output_free(output);
    base_errors_free(errors);
}

static void test_output(void **state) {
    (void)state;
    amp_open(&on_bench, "wren-hollow", NULL, NULL);
    oom_seen = 0;
    make_output(false);
    long all = oom_seen;
    for (long at = 0; at < all; at += all / 60 + 1) {
        oom_fails_at = at;
        oom_seen = 0;
        make_output(true);
    }
    oom_fails_at = -1;
    make_output(false);
    amp_close(&on_bench);
}

static void make_powerup(bool failing) {
    static const service_powerup_asked asked = {.mains = NAN};
    base_errors *errors = base_errors_new();
    service_powerup *powerup = service_powerup_new(on_bench.system, &asked, errors);
    if (!failing) assert_non_null(powerup);
    if (!powerup && errors) assert_true(base_errors_count(errors) > 0);
    service_powerup_free(powerup);
    base_errors_free(errors);
}

static void test_powerup(void **state) {
    (void)state;
    amp_open(&on_bench, "wren-hollow", NULL, NULL);
    oom_seen = 0;
    make_powerup(false);
    long all = oom_seen;
    for (long at = 0; at < all && at < 20 * STRIDE; at += STRIDE) {
        oom_fails_at = at;
        oom_seen = 0;
        make_powerup(true);
    }
    oom_fails_at = -1;
    amp_close(&on_bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_output),
                                       cmocka_unit_test(test_powerup)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
