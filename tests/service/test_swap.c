/* A change tried on paper: what it breaks, what it mends, the amp before beside after. */
#include "changed.h"

static service_swap *swap_of(changed *it, double before, double after) {
    service_swap_side sides[2] = {{it->amp.system, before}, {it->system, after}};
    service_swap *swap = service_swap_new(&sides[0], &sides[1], it->amp.errors);
    assert_non_null(swap);
    assert_true(service_swap_tremolo(swap, sides));
    return swap;
}

static const service_swap_tube *tube(const service_swap *swap, const char *name) {
    for (size_t i = 0; i < swap->tubes; i++)
        if (strcmp(swap->tube[i].tube, name) == 0) return &swap->tube[i];
    fail_msg("no tube %s", name);
    return NULL;
}

static bool among(const service_swap_margin *row, size_t count, const char *part,
                  const char *what) {
    for (size_t i = 0; i < count; i++) {
        const service_margin *any = row[i].side[1] ? row[i].side[1] : row[i].side[0];
        if (strcmp(any->part, part) == 0 && strcmp(any->what, what) == 0) return true;
    }
    return false;
}

/* Common practice, no source: the single 6V6GT on 470 ohm that idles far over its rating is put
 * right with 1 kohm. The chart of each amp alone says the same of its tube. */
static void test_cathode_resistor(void **state) {
    (void)state;
    changed it;
    changed_open(&it, "wren-hollow", (const char *[]){"R12=1k", NULL});
    service_swap *swap = swap_of(&it, NAN, NAN);
    const service_tube *side = tube(swap, "V2")->side;
    assert_true(side[0].plate_w > 1.15 * side[0].rating[0].plate_w);
    assert_true(side[1].plate_w < 0.9 * side[1].rating[0].plate_w);
    assert_true(among(swap->mended, swap->mendeds, "V2", "plate dissipation"));
    assert_int_equal(swap->brokens, 0);
    assert_int_equal(swap->changes, 1);
    assert_string_equal(swap->change[0].to, "1k");
    service_chart *chart = service_chart_new(it.system, it.amp.priors, NAN, NULL, it.amp.errors);
    for (size_t i = 0; i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, "V2") == 0)
            assert_double_equal(chart->tube[i].plate_w, side[1].plate_w, 0.05);
    assert_false(swap->has_tremolo);
    service_chart_free(chart);
    service_swap_free(swap);
    changed_close(&it);
}

/* A vacuum rectifier drops tens of volts that silicon does not. */
static void test_silicon(void **state) {
    (void)state;
    changed it;
    changed_open(&it, "wren-hollow", (const char *[]){"V3=silicon", NULL});
    service_swap *swap = swap_of(&it, NAN, NAN);
    const service_tube *side = tube(swap, "V2")->side;
    assert_true(side[1].plate_v - side[0].plate_v > 30 && side[1].plate_v - side[0].plate_v < 90);
    assert_true(among(swap->margin, swap->margins, "main", "peak inverse volts"));
    assert_int_equal(swap->changes, 1);
    assert_string_equal(swap->change[0].key, "by");
    assert_string_equal(swap->change[0].undo, "put main back to by V3");
    service_swap_free(swap);
    changed_close(&it);
}

static void test_mains(void **state) {
    (void)state;
    changed it;
    const char *changes[] = {"mains=110", "C8=22u,500V", NULL};
    double mains = NAN;
    base_errors *errors = base_errors_new();
    assert_true(service_swap_mains(changes, &mains, errors));
    assert_true(mains == 110 && strcmp(changes[0], "C8=22u,500V") == 0 && !changes[1]);
    changed_open(&it, "wren-hollow", changes);
    service_swap *swap = swap_of(&it, NAN, mains);
    assert_true(swap->mains_v[0] == 120 && swap->mains_v[1] == 110);
    assert_double_equal(tube(swap, "V2")->side[1].heater_ratio /
                            tube(swap, "V2")->side[0].heater_ratio,
                        110.0 / 120, 0.01);
    assert_true(among(swap->mended, swap->mendeds, "C8", "volts with cold tubes"));
    service_swap_free(swap);
    changed_close(&it);
    const char *bad[] = {"mains=5", NULL};
    assert_false(service_swap_mains(bad, &mains, errors));
    assert_int_equal(base_errors_worst(errors), BASE_VALUE);
    base_errors_free(errors);
}

/* Common practice, no source: a tremolo that thumps at full depth is tamed by a smaller share of
 * it, and its speed stays. A larger capacitor in the phase shift slows it and leaves its depth. */
static void test_tremolo(void **state) {
    (void)state;
    changed it;
    changed_open(&it, "tidemark", (const char *[]){"P5=position:5", NULL});
    service_swap *swap = swap_of(&it, NAN, NAN);
    assert_true(swap->has_tremolo);
    const solve_swing *before = &swap->tremolo[0].swing, *after = &swap->tremolo[1].swing;
    assert_true(after->reach < 0.8 * before->reach);
    assert_double_equal(after->hertz / before->hertz, 1, 0.05);
    service_swap_free(swap);
    changed_close(&it);
    changed_open(&it, "tidemark", (const char *[]){"C13=22n", NULL});
    swap = swap_of(&it, NAN, NAN);
    before = &swap->tremolo[0].swing, after = &swap->tremolo[1].swing;
    assert_true(after->hertz < 0.95 * before->hertz);
    assert_double_equal(after->reach / before->reach, 1, 0.2);
    service_swap_free(swap);
    changed_close(&it);
}

/* A change that leaves no operating point to be found is refused, and named as the cause. */
static void test_unsolvable(void **state) {
    (void)state;
    changed it;
    changed_open(&it, "wren-hollow", (const char *[]){"R12=1k", NULL});
    service_swap_side sides[2] = {{it.amp.system, NAN}, {it.system, -1}};
    base_errors *errors = base_errors_new();
    assert_null(service_swap_new(&sides[0], &sides[1], errors));
    assert_int_equal(base_errors_worst(errors), BASE_UNSOLVED);
    assert_non_null(strstr(base_errors_at(errors, 0)->cause, "with this change"));
    base_errors_free(errors);
    changed_close(&it);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_cathode_resistor),
                                       cmocka_unit_test(test_silicon), cmocka_unit_test(test_mains),
                                       cmocka_unit_test(test_tremolo),
                                       cmocka_unit_test(test_unsolvable)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
