/* Every allocation of a drain plan, a set of date codes, a substitute and a tube's curves made to
 * fail in turn: nothing and a complaint, or the whole. */
#include "amp.h"

#include "../oom.h"

static amp on_bench;

/* Nothing comes with a complaint of memory; the first run, where none fails, gives something. */
static void judge(bool failing, const void *made, const base_errors *errors) {
    if (!failing) assert_non_null(made);
    if (!made && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
}

static void make_drain(bool failing) {
    base_errors *errors = base_errors_new();
    service_drain *drain = service_drain_new(on_bench.system, NAN, NAN, errors);
    judge(failing, drain, errors);
    for (size_t i = 0; drain && i < drain->steps; i++)
        assert_non_null(drain->step[i]);
    if (drain) assert_true(drain->capacitor[0].volts > 450); /* the cold amp's, not idle's */
    service_drain_free(drain);
    base_errors_free(errors);
}

static void make_dates(bool failing) {
    base_errors *errors = base_errors_new();
    service_dated codes[3] = {{.part = "P1"}, {.part = "P2"}, {.part = "T1"}};
    static const char *const texts[] = {"999-5732", "999-5801", "999-7440"};
    for (size_t i = 0; i < 3; i++)
        assert_int_equal(service_date_read(texts[i], (base_place){0}, &codes[i].code, errors),
                         BASE_OK);
    service_dates *dates = service_dates_of(codes, 3, 2026, 0, errors);
    judge(failing, dates, errors);
    if (dates) assert_true(dates->words && dates->odds == 1 && dates->odd[0].words);
    service_dates_free(dates);
    base_errors_free(errors);
}

static void make_substitute(bool failing) {
    base_errors *errors = base_errors_new();
    service_substitute *found = service_substitute_of(on_bench.system, NAN, "C8", errors);
    judge(failing, found, errors);
    for (size_t i = 0; found && i < found->choices; i++)
        assert_true(found->choice[i].text && found->choice[i].note);
    service_substitute_free(found);
    base_errors_free(errors);
}

static void make_curves(bool failing) {
    base_errors *errors = base_errors_new();
    service_curves *curves = service_curves_of(on_bench.system, NAN, "V2", 0, errors);
    judge(failing, curves, errors);
    if (curves) assert_true(curves->limit_v && curves->load_ohms > 0);
    service_curves_free(curves);
    base_errors_free(errors);
}

static void test_all(void **state) {
    (void)state;
    amp_open(&on_bench, "wren-hollow", NULL, NULL);
    assert_true(oom_each(make_drain) > 5);
    assert_true(oom_each(make_dates) > 2);
    assert_true(oom_each(make_substitute) > 5);
    assert_true(oom_each(make_curves) > 5);
    amp_close(&on_bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_all)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
