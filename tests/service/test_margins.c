/* Margins: each figure against the closed form of what it is, each state by its limit. */
#include "amp.h"

static const service_margin *row(const service_margins *in, const char *part, const char *what) {
    for (size_t i = 0; i < in->margins; i++)
        if (strcmp(in->margin[i].part, part) == 0 && strcmp(in->margin[i].what, what) == 0)
            return &in->margin[i];
    return NULL;
}

static const service_margin *must(const service_margins *in, const char *part, const char *what) {
    const service_margin *found = row(in, part, what);
    if (!found) fail_msg("no margin of %s, %s", part, what);
    return found;
}

static service_margins *margins_of(amp *amp, const char *name, const char *from, const char *to) {
    amp_open(amp, name, from, to);
    service_margins *margins = service_margins_new(amp->system, NAN, false, amp->errors);
    assert_non_null(margins);
    return margins;
}

/* V^2 / R, I V, and the peak of the winding on 110 % of the mains. */
static void test_figures(void **state) {
    (void)state;
    amp amp;
    service_margins *margins = margins_of(&amp, "wren-hollow", NULL, NULL);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, NULL, amp.errors);
    double bias = amp_line(chart, "V2.8")->volts;
    assert_double_equal(must(margins, "R12", "watts")->is, bias * bias / 470, 0.02);
    assert_double_equal(must(margins, "V2", "heater to cathode")->is, bias, 0.5);
    assert_double_equal(must(margins, "C7", "volts at idle")->is, bias, 0.2);
    double high = must(margins, "C8", "volts on 110 % mains")->is;
    assert_double_equal(high, 0.97 * sqrt(2) * 350 * 132 / 117, 0.02 * high);
    assert_true(must(margins, "C8", "volts with cold tubes")->is >
                1.2 * amp_line(chart, "V3.8")->volts);
    assert_double_equal(must(margins, "V2", "grid circuit, cathode bias")->is, 220e3 + 1.5e3, 2e3);
    assert_null(row(margins, "V2", "grid circuit, fixed bias"));
    assert_double_equal(must(margins, "V2", "heater")->is / 6.3, 120.0 / 117, 0.01);
    service_chart_free(chart);
    service_margins_free(margins);
    amp_close(&amp);
}

/* 5 V at 2 A on 2.5 % too much; two 6.3 V heaters and the lamp: 0.3 + 0.45 + 0.15 A. */
static void test_windings(void **state) {
    (void)state;
    amp amp;
    service_margins *margins = margins_of(&amp, "wren-hollow", NULL, NULL);
    const service_margin *filament = must(margins, "T1 rectifier heater", "current, rms");
    assert_double_equal(filament->is, 2 * 1.026 * 1.02, 0.06);
    assert_int_equal(filament->state, SERVICE_CLOSE); /* warmer, no more */
    assert_double_equal(must(margins, "T1 heaters", "current, rms")->is, 0.9, 0.05);
    const service_margin *high = must(margins, "T1 high voltage", "current, rms");
    assert_int_equal(high->state, SERVICE_UNRATED);
    assert_non_null(strstr(high->remedy, "no amperes are given"));
    service_margins_free(margins);
    amp_close(&amp);
}

static void test_order(void **state) {
    (void)state;
    amp amp;
    service_margins *margins = margins_of(&amp, "millrace", NULL, NULL);
    for (size_t i = 1; i < margins->margins; i++) {
        const service_margin *a = &margins->margin[i - 1], *b = &margins->margin[i];
        assert_true(a->state >= b->state);
        bool alike = a->state == b->state && a->moment == b->moment;
        if (alike && a->state != SERVICE_UNRATED) assert_true(a->share >= b->share);
        if (a->state == b->state && a->state == SERVICE_OVER) assert_true(a->moment <= b->moment);
        bool needs = a->state != SERVICE_WELL;
        assert_int_equal(*a->remedy != 0, needs);
    }
    assert_int_equal(must(margins, "V6", "grid circuit, fixed bias")->state, SERVICE_OVER);
    service_margins_free(margins);
    amp_close(&amp);
}

/* A capacitor and a resistor with no rating: which is missing, and what follows. */
static void test_unrated(void **state) {
    (void)state;
    amp amp;
    service_margins *margins =
        margins_of(&amp, "wren-hollow",
                   "electrolytic, volts: 475, original: no,\n       sits: "
                   "chassis, does: first filter",
                   "electrolytic, original: no,\n       sits: chassis, does: first filter");
    const service_margin *filter = must(margins, "C8", "volts with cold tubes");
    assert_int_equal(filter->state, SERVICE_UNRATED);
    assert_true(isnan(filter->limit) && isnan(filter->share));
    assert_non_null(strstr(filter->remedy, "no volts are given"));
    assert_non_null(strstr(filter->remedy, "500 V"));
    service_margins_free(margins);
    amp_close(&amp);
    margins = margins_of(&amp, "wren-hollow", "kind: wirewound, watts: 5,", "kind: wirewound,");
    assert_non_null(strstr(must(margins, "R12", "watts")->remedy, "no watts are given"));
    service_margins_free(margins);
    amp_close(&amp);
}

static void test_resistor(void **state) {
    (void)state;
    amp amp;
    service_margins *margins =
        margins_of(&amp, "wren-hollow", "kind: wirewound, watts: 5,", "kind: wirewound, watts: 1,");
    const service_margin *burnt = must(margins, "R12", "watts");
    assert_int_equal(burnt->state, SERVICE_OVER); /* some 1.2 W */
    assert_non_null(strstr(burnt->remedy, "fit one of 3 W"));
    service_margins_free(margins);
    amp_close(&amp);
}

/* Followed in time the filters come to no more than the bound; a directly heated rectifier brings
 * them close to it, one that warms slowly spares them some of it. */
static void test_in_time(void **state) {
    static const struct {
        const char *amp, *filter;
        double least, most; /* of the bound */
    } rows[] = {{"wren-hollow", "C8", 0.97, 1.005}, {"millrace", "C28", 0.8, 1.005}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        amp amp;
        service_margins *bound = margins_of(&amp, rows[i].amp, NULL, NULL);
        service_margins *true_one = service_margins_new(amp.system, NAN, true, amp.errors);
        assert_true(!bound->in_time && true_one->in_time);
        double part = must(true_one, rows[i].filter, "volts at power-up")->is /
                      must(bound, rows[i].filter, "volts with cold tubes")->is;
        print_message("%s: %.3f of the bound\n", rows[i].amp, part);
        assert_true(part > rows[i].least && part < rows[i].most);
        assert_null(row(true_one, rows[i].filter, "volts with cold tubes"));
        service_margins_free(true_one);
        service_margins_free(bound);
        amp_close(&amp);
    }
}

static void test_unsolved(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    assert_null(service_margins_new(amp.system, -1, false, amp.errors));
    assert_int_equal(base_errors_worst(amp.errors), BASE_UNSOLVED);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_figures),  cmocka_unit_test(test_windings),
        cmocka_unit_test(test_order),    cmocka_unit_test(test_unrated),
        cmocka_unit_test(test_resistor), cmocka_unit_test(test_in_time),
        cmocka_unit_test(test_unsolved),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
