/* Every allocation of margins, a swap, a value, another mains and fuses made to fail in turn:
 * nothing and a complaint of memory, or the whole. */
#include "changed.h"

#include "../oom.h"

static changed on_bench;

static void judge(bool failing, const void *made, const base_errors *errors) {
    if (!failing) assert_non_null(made);
    if (!made && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
}

static void make_margins(bool failing) {
    base_errors *errors = base_errors_new();
    service_margins *margins = service_margins_new(on_bench.amp.system, NAN, false, errors);
    judge(failing, margins, errors);
    for (size_t i = 0; margins && i < margins->margins; i++)
        assert_non_null(margins->margin[i].remedy);
    service_margins_free(margins);
    base_errors_free(errors);
}

static void make_swap(bool failing) {
    base_errors *errors = base_errors_new();
    service_swap_side sides[2] = {{on_bench.amp.system, NAN}, {on_bench.system, 117}};
    service_swap *swap = service_swap_new(&sides[0], &sides[1], errors);
    judge(failing, swap, errors);
    if (swap) assert_true(swap->tubes == 3 && swap->mendeds > 0);
    service_swap_free(swap);
    base_errors_free(errors);
}

static void make_value(bool failing) {
    base_errors *errors = base_errors_new();
    service_value *value =
        service_value_new(on_bench.amp.system, NAN, "R12", "V2 dissipation 85%", errors);
    judge(failing, value, errors);
    if (value) assert_true(value->found && value->stock[1].mends);
    service_value_free(value);
    base_errors_free(errors);
}

static void make_mains(bool failing) {
    base_errors *errors = base_errors_new();
    service_mains *mains = service_mains_new(on_bench.amp.system, 124, errors);
    judge(failing, mains, errors);
    for (size_t i = 0; mains && i < mains->remedies; i++)
        assert_true(*mains->remedy[i].fit && mains->remedy[i].mends);
    service_mains_free(mains);
    base_errors_free(errors);
}

static void make_fuses(bool failing) {
    base_errors *errors = base_errors_new();
    service_fuses *fuses = service_fuses_new(on_bench.amp.system, NAN, false, errors);
    judge(failing, fuses, errors);
    if (fuses) assert_true(fuses->fuses == 1 && *fuses->fuse[0].right && *fuses->fuse[0].why);
    service_fuses_free(fuses);
    base_errors_free(errors);
}

static char *text;
static void make_change(bool failing) {
    const char *changes[] = {"R12=1k,10W", "V1=12AY7", NULL};
    base_errors *errors = base_errors_new();
    char *made =
        circuit_change_text(on_bench.amp.circuit, text, on_bench.amp.tubes, changes, errors);
    judge(failing, made, errors);
    if (made) assert_non_null(strstr(made, "12AY7"));
    free(made);
    base_errors_free(errors);
}

static void test_all(void **state) {
    (void)state;
    changed_open(&on_bench, "wren-hollow", (const char *[]){"R12=1k", NULL});
    text = support_file("data/amps/wren-hollow.yaml", NULL);
    assert_true(oom_each(make_margins) > 5);
    assert_true(oom_each(make_swap) > 10);
    assert_true(oom_each(make_value) > 10);
    assert_true(oom_each(make_mains) > 10);
    assert_true(oom_each(make_fuses) > 5);
    assert_true(oom_each(make_change) > 5);
    free(text);
    changed_close(&on_bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_all)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
