/* What is ordered for an old part. The series are those of IEC 60063; the rest is common practice
 * with no source. */
#include "amp.h"

static service_old part(circuit_kind kind, circuit_material material, double value) {
    return (service_old){.kind = kind,
                         .material = material,
                         .value = value,
                         .volts = NAN,
                         .watts = NAN,
                         .across = NAN,
                         .burns = NAN,
                         .surge = NAN,
                         .most_f = NAN};
}

static service_substitute *of(const service_old *old) {
    base_errors *errors = base_errors_new();
    service_substitute *found = service_substitute_for("X1", old, errors);
    assert_non_null(found);
    assert_true(found->choices >= 1);
    for (size_t i = 0; i < found->choices; i++) {
        assert_true(found->choice[i].text[0] && found->choice[i].kind[0]);
        assert_true(strlen(found->choice[i].note) < 300);
    }
    base_errors_free(errors);
    return found;
}

static const service_choice *choice(const service_substitute *of, const char *text) {
    for (size_t i = 0; i < of->choices; i++)
        if (strcmp(of->choice[i].text, text) == 0) return &of->choice[i];
    return NULL;
}

static void check(const service_old *old, const char *first, const char *other) {
    service_substitute *found = of(old);
    assert_string_equal(found->choice[0].text, first);
    if (other && !choice(found, other)) fail_msg("%s, but no %s", first, other);
    service_substitute_free(found);
}

/* ---- electrolytics ------------------------------------------------------------------------- */

static void test_filters(void **state) {
    static const struct {
        double farads;
        const char *first, *other;
    } rows[] = {{20e-6, "22u 450 V electrolytic, axial", "22u 450 V electrolytic, radial"},
                {10e-6, "10u 450 V electrolytic, axial", NULL},
                {16e-6, "15u 450 V electrolytic, axial", "22u 450 V electrolytic, axial"},
                {8e-6, "10u 450 V electrolytic, axial", NULL},
                {32e-6, "33u 450 V electrolytic, axial", NULL},
                {40e-6, "47u 450 V electrolytic, axial", NULL},
                {45e-6, "47u 450 V electrolytic, axial", NULL}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_old old = part(CIRCUIT_CAPACITOR, CIRCUIT_ELECTROLYTIC, rows[i].farads);
        old.volts = 450;
        old.across = 380;
        old.surge = 420;
        check(&old, rows[i].first, rows[i].other);
    }
}

/* Never under the old rating, under a tenth over idle, or under what stands while it warms up. */
static void test_filter_volts(void **state) {
    static const struct {
        double rated, across, surge, volts;
    } rows[] = {{450, 300, 320, 450}, {350, 300, 320, 350}, {350, 330, 340, 400},
                {400, 380, 470, 500}, {NAN, 380, NAN, 450}, {25, 1.7, 1.7, 25},
                {63, 61, NAN, 100},   {100, 61, 61, 100},   {475, 388, 486, 500}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_old old = part(CIRCUIT_CAPACITOR, CIRCUIT_ELECTROLYTIC, 20e-6);
        old.volts = rows[i].rated;
        old.across = rows[i].across;
        old.surge = rows[i].surge;
        service_substitute *found = of(&old);
        assert_double_equal(found->choice[0].volts, rows[i].volts, 0);
        service_substitute_free(found);
    }
}

static void test_two_in_series(void **state) {
    (void)state;
    service_old old = part(CIRCUIT_CAPACITOR, CIRCUIT_ELECTROLYTIC, 20e-6);
    old.volts = 525;
    old.across = 480;
    old.surge = 560;
    service_substitute *found = of(&old);
    assert_string_equal(found->choice[0].text, "47u 350 V electrolytic, two in series");
    assert_non_null(strstr(found->choice[0].note, "220k 1 W across each"));
    assert_non_null(strstr(found->keep, "Do not keep it: it stands 560 V and is made for 525 V"));
    service_substitute_free(found);
}

static void test_words(void **state) {
    (void)state;
    service_old old = part(CIRCUIT_CAPACITOR, CIRCUIT_ELECTROLYTIC, 16e-6);
    old.volts = 450;
    old.can = true;
    old.most_f = 20e-6;
    service_substitute *found = of(&old);
    assert_non_null(strstr(found->choice[0].note, "Mind the polarity."));
    assert_non_null(strstr(found->choice[0].note, "In place of 16u (-6 %)."));
    assert_non_null(strstr(found->choice[0].note, "under the chassis"));
    assert_null(strstr(found->choice[0].note, "first capacitor"));
    assert_non_null(
        strstr(choice(found, "22u 450 V electrolytic, axial")->note, "first capacitor is 20u"));
    service_substitute_free(found);
    old.plus_grounded = true;
    found = of(&old);
    assert_non_null(strstr(found->choice[0].note, "Plus goes to the chassis."));
    service_substitute_free(found);
}

/* ---- other capacitors ---------------------------------------------------------------------- */

static void test_films(void **state) {
    static const struct {
        double farads, rated, across, surge;
        const char *first;
    } rows[] = {{20e-9, 400, 210, 380, "22n 400 V film, axial"},
                {50e-9, 600, 210, 480, "47n 630 V film, axial"},
                {100e-9, 200, 210, 250, "100n 400 V film, axial"},
                {22e-9, 400, 210, 486, "22n 630 V film, axial"},
                {5e-9, 150, NAN, NAN, "4n7 160 V film, axial"},
                {4.7e-9, 1000, 0, 0, "4n7 1000 V film, axial"},
                {40e-9, 400, 0, 0, "39n 400 V film, axial"}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_old old = part(CIRCUIT_CAPACITOR, CIRCUIT_PAPER, rows[i].farads);
        old.volts = rows[i].rated;
        old.across = rows[i].across;
        old.surge = rows[i].surge;
        check(&old, rows[i].first, NULL);
    }
    service_old unknown =
        part(CIRCUIT_CAPACITOR, CIRCUIT_PAPER, 10e-9); /* no volts: none guessed */
    check(&unknown, "10n film, axial", NULL);
    unknown.material = CIRCUIT_ELECTROLYTIC;
    check(&unknown, "10n electrolytic, axial", NULL);
    service_old mica = part(CIRCUIT_CAPACITOR, CIRCUIT_MICA, 250e-12);
    mica.volts = 500;
    check(&mica, "270p 500 V mica", NULL);
}

/* ---- resistors ----------------------------------------------------------------------------- */

static void test_resistors(void **state) {
    static const struct {
        double ohms, rated, across, burns;
        const char *first, *other;
    } rows[] = {{100e3, 0.5, 114, 0.13, "100k 0.5 W carbon film", "100k 0.5 W metal film"},
                {100e3, 0.5, 180, 0.33, "100k 1 W metal oxide", "100k 1 W carbon film"},
                {250e3, 0.5, 10, 0, "240k 0.5 W carbon film", "270k 0.5 W carbon film"},
                {500e3, 0.5, 300, 0.2, "510k 1 W metal oxide", "470k 1 W metal oxide"},
                {470, 1, 40, 3.4, "470R 7 W wirewound", NULL},
                {10e3, NAN, NAN, NAN, "10k 0.5 W carbon film", NULL},
                {4.7e3, 2, 55, 0.64, "4k7 2 W metal oxide", NULL}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        service_old old = part(CIRCUIT_RESISTOR, CIRCUIT_CARBON_COMPOSITION, rows[i].ohms);
        old.watts = rows[i].rated;
        old.across = rows[i].across;
        old.burns = rows[i].burns;
        service_substitute *found = of(&old);
        assert_string_equal(found->choice[0].text, rows[i].first);
        if (rows[i].other) assert_non_null(choice(found, rows[i].other));
        bool hot = rows[i].burns * 2 > rows[i].rated;
        assert_int_equal(strstr(found->keep, "Do not keep it") != NULL, hot);
        service_substitute_free(found);
    }
}

/* ---- the rest ------------------------------------------------------------------------------ */

static void test_others(void **state) {
    (void)state;
    service_old old = part(CIRCUIT_POT, CIRCUIT_UNSTATED, 220e3);
    check(&old, "250k pot", NULL);
    old = part(CIRCUIT_FUSE, CIRCUIT_UNSTATED, 1);
    check(&old, "1 A fuse", NULL);
    old = part(CIRCUIT_RECTIFIER, CIRCUIT_SELENIUM, NAN);
    check(&old, "1 A 1000 V silicon diode", NULL);
}

static void test_refused(void **state) {
    static const circuit_kind kinds[] = {CIRCUIT_OUTPUT_TRANSFORMER, CIRCUIT_INDUCTOR, CIRCUIT_JACK,
                                         CIRCUIT_SPEAKER, CIRCUIT_RESISTOR};
    static const double values[] = {5e3, 8, NAN, 8, -1};
    (void)state;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        service_old old = part(kinds[i], CIRCUIT_UNSTATED, values[i]);
        base_errors *errors = base_errors_new();
        assert_null(service_substitute_for("T2", &old, errors));
        assert_int_equal(base_errors_worst(errors), BASE_VALUE);
        assert_non_null(strstr(base_errors_at(errors, 0)->cause, "no stock value"));
        base_errors_free(errors);
    }
}

/* ---- in an amp ----------------------------------------------------------------------------- */

/* Whatever the part, what is proposed stands its volts and twice its watts, and is a value of the
 * series. */
static void check_amp(const char *name) {
    amp amp;
    amp_open(&amp, name, NULL, NULL);
    for (size_t i = 0; i < circuit_parts(amp.circuit); i++) {
        const circuit_part *old = circuit_part_at(amp.circuit, i);
        bool resistor = old->kind == CIRCUIT_RESISTOR;
        if (!resistor && old->kind != CIRCUIT_CAPACITOR) continue;
        service_substitute *found = service_substitute_of(amp.system, NAN, old->name, amp.errors);
        assert_non_null(found);
        const service_choice *first = &found->choice[0];
        assert_double_equal(base_value_nearest(first->value, 24), first->value,
                            1e-9 * first->value);
        assert_true(fabs(log(first->value / old->value)) < log(1.26) ||
                    strstr(first->text, "two in series"));
        if (resistor) assert_true(first->watts >= 2 * found->old.burns);
        if (!resistor)
            assert_true(first->volts * (strstr(first->text, "two in") ? 2 : 1) >=
                        0.99 * fmax(found->old.across, found->old.surge));
        service_substitute_free(found);
    }
    amp_close(&amp);
}

static void test_amps(void **state) {
    (void)state;
    check_amp("wren-hollow");
    check_amp("saltpan");
}

static void test_in_amp(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_substitute *found = service_substitute_of(amp.system, NAN, "c6", amp.errors);
    assert_string_equal(found->part, "C6");
    assert_string_equal(found->choice[0].text, "22n 630 V film, axial");
    assert_non_null(strstr(found->keep, "between a plate and the next grid replace it"));
    service_substitute_free(found);
    found = service_substitute_of(amp.system, NAN, "main", amp.errors); /* made by V3 */
    assert_string_equal(found->choice[0].text, "5Y3GT");
    service_substitute_free(found);
    assert_null(service_substitute_of(amp.system, NAN, "C99", amp.errors));
    assert_true(amp_complains(&amp, "no part \"C99\""));
    amp_close(&amp);
}

/* ---- what it changes ----------------------------------------------------------------------- */

static const service_effect *effect(const service_substitute *of, const char *what) {
    for (size_t i = 0; i < of->effects; i++)
        if (strstr(of->effect[i].what, what)) return &of->effect[i];
    fail_msg("no effect on %s", what);
    return NULL;
}

/* Ripple goes as 1 / C; common practice, no source: two filters of 20 and 10 uF in a can become 22
 * and 10 uF. */
static void test_can(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow",
             "C8: {value: 16u, at: [V3.8, ground], kind: electrolytic, volts: 475, original: no,\n"
             "       sits: chassis,",
             "C8: {value: 20u, at: [V3.8, ground], kind: electrolytic, volts: 450, original: no,\n"
             "       sits: can A,");
    service_substitute *found = service_substitute_of(amp.system, NAN, "C8", amp.errors);
    assert_non_null(found);
    assert_string_equal(found->choice[0].text, "22u 500 V electrolytic, axial");
    assert_non_null(strstr(found->choice[0].note, "can's lug"));
    assert_string_equal(found->can, "");
    const service_effect *ripple = effect(found, "ripple at V3.8");
    assert_double_equal(ripple->after / ripple->before, 20.0 / 22, 0.01);
    assert_non_null(strstr(found->difference, "nobody hears it"));
    service_substitute_free(found);
    amp_close(&amp);
    amp_open(&amp, "tidemark",
             "C20: {value: 8u, at: [B3, ground], kind: electrolytic, volts: 450, original: yes, "
             "sits: chassis,\n        does: inverter filter}\n  C21: {value: 8u, at: [B4, ground], "
             "kind: electrolytic, volts: 450, original: yes, sits: chassis,",
             "C20: {value: 10u, at: [B3, ground], kind: electrolytic, volts: 450, original: yes, "
             "sits: can B,\n        does: inverter filter}\n  C21: {value: 8u, at: [B4, ground], "
             "kind: electrolytic, volts: 450, original: yes, sits: can B,");
    found = service_substitute_of(amp.system, NAN, "C20", amp.errors);
    assert_double_equal(found->choice[0].value, 10e-6, 1e-12);
    assert_string_equal(found->can, "C21");
    service_substitute_free(found);
    amp_close(&amp);
}

/* Common practice, no source: bias capacitors become 100 uF at 100 V. */
static void test_bias(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "millrace", NULL, NULL);
    service_substitute *found = service_substitute_of(amp.system, NAN, "C34", amp.errors);
    assert_string_equal(found->choice[0].text, "100u 100 V electrolytic, axial");
    const service_effect *ripple = effect(found, "ripple at N1");
    assert_double_equal(ripple->after / ripple->before, 0.5, 0.03);
    service_substitute_free(found);
    amp_close(&amp);
}

/* 1 / (2 pi R C) with the plate load and tube on one side, the grid leak on the other. */
static void test_corner(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", "C6: {value: .022 mfd", "C6: {value: .025 mfd");
    service_substitute *found = service_substitute_of(amp.system, NAN, "C6", amp.errors);
    const service_effect *corner = effect(found, "corner frequency");
    double least = 1 / (2 * M_PI * (220e3 + 100e3) * 25e-9); /* no more than plate load and leak */
    assert_true(corner->before > least && corner->before < 1.35 * least);
    assert_double_equal(corner->after / corner->before, 25.0 / 22, 1e-6);
    assert_non_null(strstr(found->difference, "nobody hears it"));
    service_substitute_free(found);
    amp_close(&amp);
    amp_open(&amp, "tidemark", "C13: {value: 10n", "C13: {value: 20n");
    found = service_substitute_of(amp.system, NAN, "C13", amp.errors);
    assert_true(effect(found, "tremolo")->after > 0);
    service_substitute_free(found);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_filters),       cmocka_unit_test(test_filter_volts),
        cmocka_unit_test(test_two_in_series), cmocka_unit_test(test_words),
        cmocka_unit_test(test_films),         cmocka_unit_test(test_resistors),
        cmocka_unit_test(test_others),        cmocka_unit_test(test_refused),
        cmocka_unit_test(test_amps),          cmocka_unit_test(test_in_amp),
        cmocka_unit_test(test_can),           cmocka_unit_test(test_bias),
        cmocka_unit_test(test_corner)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
