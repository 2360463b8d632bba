/* A tube's plate curves with what its amp does on them. */
#include "amp.h"

/* The current of a curve at those plate volts, straight between its points. */
static double on_curve(const service_curves *curves, size_t index, double plate_v) {
    const double *v = curves->plate_v, *a = curves->curve[index].plate_a;
    for (size_t i = 1; i < curves->points; i++)
        if (v[i] >= plate_v)
            return a[i - 1] + (a[i] - a[i - 1]) * (plate_v - v[i - 1]) / (v[i] - v[i - 1]);
    return a[curves->points - 1];
}

/* Idle lies between the curves on either side of its grid volts. */
static void check_idle(const service_curves *curves) {
    for (size_t i = 1; i < curves->curves; i++) {
        double upper = on_curve(curves, i - 1, curves->point_v);
        double lower = on_curve(curves, i, curves->point_v);
        if (curves->curve[i].grid_v > curves->grid_v) continue;
        double slack = 0.02 * curves->most_a;
        assert_true(curves->point_a <= upper + slack && curves->point_a >= lower - slack);
        return;
    }
    fail_msg("no curve lies below idle, %g V on the grid", curves->grid_v);
}

static void check_load(const service_curves *curves) {
    double run = curves->load_v[1] - curves->load_v[0],
           rise = curves->load_a[0] - curves->load_a[1];
    assert_double_equal(run / rise, curves->load_ohms, 1e-6 * curves->load_ohms);
    double at_idle = curves->load_a[1] + (curves->load_v[1] - curves->point_v) / curves->load_ohms;
    assert_double_equal(at_idle, curves->point_a, 1e-9);
    assert_true(curves->load_a[0] <= curves->most_a * (1 + 1e-9) && curves->load_v[0] >= 0);
    assert_true(curves->load_v[1] < curves->most_v);
}

static void check_shape(const service_curves *curves) {
    assert_true(curves->points >= 40 && curves->curves >= 4);
    assert_double_equal(curves->plate_v[0], 0, 0);
    assert_double_equal(curves->plate_v[curves->points - 1], curves->most_v, 1e-6);
    for (size_t i = 1; i < curves->points; i++) {
        assert_true(curves->plate_v[i] > curves->plate_v[i - 1]);
        assert_true(curves->curve[0].plate_a[i] >= curves->curve[0].plate_a[i - 1] - 1e-6);
    }
    for (size_t i = 1; i < curves->curves; i++)
        for (size_t k = 0; k < curves->points; k++)
            assert_true(curves->curve[i].plate_a[k] <= curves->curve[i - 1].plate_a[k]);
    assert_double_equal(curves->curve[0].grid_v, 0, 0);
    for (size_t i = 0; i < curves->limits; i++) {
        double watts = curves->limit_v[i] * curves->limit_a[i];
        assert_double_equal(watts, curves->limit_w, 1e-9);
        assert_true(curves->limit_v[i] <= curves->most_v * (1 + 1e-9));
        assert_true(curves->limit_a[i] <= curves->most_a * (1 + 1e-9));
    }
}

static void check_tube(amp *amp, const circuit_part *tube) {
    for (int unit = 0; unit < tube->tube->units; unit++) {
        service_curves *curves = service_curves_of(amp->system, NAN, tube->name, unit, amp->errors);
        bool diode = tube->tube->unit[unit].kind == TUBE_DIODE;
        if (diode) assert_null(curves);
        if (!curves) continue;
        check_shape(curves);
        check_idle(curves);
        if (!isnan(curves->load_ohms)) check_load(curves);
        service_curves_free(curves);
    }
}

static void test_library(void **state) {
    static const char *const names[] = {"choirloft", "granary",  "millrace", "porchlight",
                                        "saltpan",   "tidemark", "thimble",  "wren-hollow"};
    (void)state;
    for (size_t n = 0; n < sizeof names / sizeof *names; n++) {
        amp amp;
        amp_open(&amp, names[n], NULL, NULL);
        for (size_t i = 0; i < circuit_parts(amp.circuit); i++)
            if (circuit_part_at(amp.circuit, i)->kind == CIRCUIT_TUBE)
                check_tube(&amp, circuit_part_at(amp.circuit, i));
        amp_close(&amp);
    }
}

/* The 6V6GT of a 5 watt amp: what its chart says, and the rating that its data sheet does. */
static void test_output(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, NULL, amp.errors);
    service_curves *curves = service_curves_of(amp.system, NAN, "v2", 0, amp.errors);
    const service_tube *tube = NULL;
    for (size_t i = 0; i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, "V2") == 0) tube = &chart->tube[i];
    assert_non_null(tube);
    /* The chart's tubes draw the grid current of good ones besides, 0.1 uA. */
    assert_double_equal(curves->point_v, tube->plate_v - tube->cathode_v, 0.1);
    assert_double_equal(curves->point_a, tube->plate_a, 1e-4);
    assert_double_equal(curves->screen_v, tube->screen_v - tube->cathode_v, 0.1);
    assert_double_equal(curves->limit_w, 14, 0); /* receiving tube manual RC-30, 6V6GTA entry */
    assert_string_equal(curves->system, "design-maximum");
    assert_true(curves->limits > 0);
    service_curves_free(curves);
    service_chart_free(chart);
    amp_close(&amp);
}

/* A resistance-coupled stage: the line's slope is the plate load and the cathode resistor, and what
 * the dropping resistor adds to them. */
static void test_load(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_curves *curves = service_curves_of(amp.system, NAN, "V1", 0, amp.errors);
    double plate_load = 100e3, cathode = 1.5e3, dropping = 22e3;
    assert_double_equal(curves->load_ohms, plate_load + cathode + dropping, 2e3);
    assert_true(isnan(curves->screen_v));
    service_curves_free(curves);
    amp_close(&amp);
}

static void test_refused(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    assert_null(service_curves_of(amp.system, NAN, "V9", 0, amp.errors));
    assert_null(service_curves_of(amp.system, NAN, "R1", 0, amp.errors));
    assert_null(service_curves_of(amp.system, NAN, "V1", 2, amp.errors));
    assert_null(service_curves_of(amp.system, NAN, "V1", -1, amp.errors));
    assert_null(service_curves_of(amp.system, NAN, "V3", 0, amp.errors));
    assert_null(service_curves_of(amp.system, -5, "V1", 0, amp.errors));
    assert_true(amp_complains(&amp, "no tube \"V9\""));
    assert_true(amp_complains(&amp, "no unit 2"));
    assert_true(amp_complains(&amp, "is a diode"));
    assert_true(amp_complains(&amp, "no operating point"));
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_library),
                                       cmocka_unit_test(test_output), cmocka_unit_test(test_load),
                                       cmocka_unit_test(test_refused)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
