/* The catalogue of every library amp: complete, weighed, and solved. */
#include "amp.h"

static const char *const amps[] = {"choirloft", "granary", "millrace", "porchlight", "saltpan",
                                   "slipway",   "thimble", "tidemark", "wren-hollow"};
#define AMPS (sizeof amps / sizeof *amps)

static void check_fault(const amp *amp, const diagnose_fault *fault) {
    double weight = 0;
    assert_true(fault->prior > 0 && fault->prior < 1);
    assert_true(fault->severities >= 1 && fault->severities <= DIAGNOSE_SEVERITIES);
    for (int k = 0; k < fault->severities; k++) {
        weight += fault->weight[k];
        assert_true(fault->severities == 1 || fault->severity[k] > 0);
        for (int s = 0; s < fault->sets; s++)
            assert_true(isfinite(fault->number[s][k]) && fault->number[s][k] >= 0);
    }
    assert_close(weight, 1, 1e-9);
    for (int s = 0; s < fault->sets; s++)
        assert_true(fault->slot[s] >= 0 && fault->slot[s] < (int)solve_slots(amp->system));
}

/* From mild to grave, so that each point is the next one's start. */
static void check_order(const diagnose_fault *fault) {
    if (fault->severities < 3) return;
    bool rising = fault->severity[1] > fault->severity[0];
    for (int k = 1; k < fault->severities; k++)
        assert_true((fault->severity[k] > fault->severity[k - 1]) == rising);
}

static void whole_and_weighed(void **state) {
    (void)state;
    bool seen[DIAGNOSE_MODES] = {false};
    for (size_t a = 0; a < AMPS; a++) {
        amp amp;
        double sum = 0;
        amp_open(&amp, amps[a], NULL);
        for (size_t f = 0; f < diagnose_faults(amp.engine); f++) {
            const diagnose_fault *fault = diagnose_fault_at(amp.engine, f);
            check_fault(&amp, fault);
            check_order(fault);
            seen[fault->mode] = true;
            sum += fault->prior;
        }
        assert_close(sum, 1, 1e-9);
        assert_int_equal(diagnose_fault_at(amp.engine, 0)->mode, DIAGNOSE_NOTHING);
        assert_int_equal(diagnose_fault_at(amp.engine, 1)->mode, DIAGNOSE_UNMODELLED);
        assert_null(diagnose_fault_at(amp.engine, diagnose_faults(amp.engine)));
        /* one point in two hundred may have no solution */
        assert_true(diagnose_unsolved(amp.engine) * 200 <= diagnose_points(amp.engine));
        amp_close(&amp);
    }
    for (int mode = 0; mode < DIAGNOSE_MISWIRED; mode++) { /* the rest are of wiring */
        if (!seen[mode])
            print_message("no amp has a part that can be %s\n",
                          diagnose_mode_key((diagnose_mode)mode));
        assert_true(seen[mode]);
    }
}

static void expect_modes(const amp *amp, const char *part, const diagnose_mode *modes, int count) {
    for (int i = 0; i < count; i++)
        if (amp_fault(amp, part, modes[i]) < 0)
            fail_msg("%s cannot be %s", part, diagnose_mode_key(modes[i]));
}

static void every_mode_of_a_part(void **state) {
    (void)state;
    static const diagnose_mode resistor[] = {DIAGNOSE_OPEN, DIAGNOSE_HIGH, DIAGNOSE_SHORTED};
    static const diagnose_mode capacitor[] = {DIAGNOSE_LEAKY, DIAGNOSE_SHORTED, DIAGNOSE_CAP_OPEN};
    static const diagnose_mode tube[] = {
        DIAGNOSE_WEAK,        DIAGNOSE_NO_EMISSION,        DIAGNOSE_GASSY,
        DIAGNOSE_HEATER_OPEN, DIAGNOSE_GRID_CATHODE_SHORT, DIAGNOSE_PLATE_GRID_LEAK,
        DIAGNOSE_PIN_OPEN,    DIAGNOSE_HEATER_CATHODE_LEAK};
    static const diagnose_mode rectifier[] = {DIAGNOSE_WEAK, DIAGNOSE_NO_EMISSION,
                                              DIAGNOSE_HEATER_OPEN, DIAGNOSE_PIN_OPEN};
    static const diagnose_mode pot[] = {DIAGNOSE_TRACK_OPEN, DIAGNOSE_WIPER_OPEN};
    static const diagnose_mode mains[] = {DIAGNOSE_MAINS_OFF};
    amp amp;
    amp_open(&amp, "wren-hollow", NULL);
    expect_modes(&amp, "R9", resistor, 3);
    expect_modes(&amp, "C6", capacitor, 3);
    expect_modes(&amp, "V2", tube, 8);
    expect_modes(&amp, "V3", rectifier, 4);
    expect_modes(&amp, "P1", pot, 2);
    expect_modes(&amp, "mains", mains, 1);
    assert_true(amp_fault(&amp, "V3", DIAGNOSE_GASSY) < 0); /* a rectifier has no grid */
    amp_close(&amp);
}

/* Old original electrolytics before film capacitors; high carbon resistors before low ones. */
static void priors_in_order(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL);
    const diagnose_engine *engine = amp.engine;
    double bypass =
        diagnose_fault_at(engine, (size_t)amp_fault(&amp, "C1", DIAGNOSE_CAP_OPEN))->prior;
    double paper = diagnose_fault_at(engine, (size_t)amp_fault(&amp, "C6", DIAGNOSE_LEAKY))->prior;
    double mica = diagnose_fault_at(engine, (size_t)amp_fault(&amp, "C3", DIAGNOSE_LEAKY))->prior;
    double high = diagnose_fault_at(engine, (size_t)amp_fault(&amp, "R9", DIAGNOSE_HIGH))->prior;
    double low = diagnose_fault_at(engine, (size_t)amp_fault(&amp, "R13", DIAGNOSE_HIGH))->prior;
    double wound = diagnose_fault_at(engine, (size_t)amp_fault(&amp, "R12", DIAGNOSE_HIGH))->prior;
    assert_true(bypass > mica && paper > mica);
    assert_true(high > low && low > wound);
    amp_close(&amp);
}

/* Each place once; the order of cost that bench practice gives. */
static void places_and_costs(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "millrace", NULL);
    for (size_t i = 0; i < diagnose_places(amp.engine); i++) {
        const diagnose_place *a = diagnose_place_at(amp.engine, i);
        assert_true(a->cost >= 1 && a->cost_why[0] && isfinite(a->healthy) && a->spread >= 0);
        for (size_t k = 0; k < i; k++) {
            const solve_probe *b = &diagnose_place_at(amp.engine, k)->probe;
            assert_false(a->probe.plus == b->plus && a->probe.minus == b->minus &&
                         a->probe.heater == b->heater);
        }
    }
    const diagnose_place *cathode = diagnose_place_at(amp.engine, (size_t)amp_place(&amp, "V1.3"));
    const diagnose_place *plate = diagnose_place_at(amp.engine, (size_t)amp_place(&amp, "V1.1"));
    const diagnose_place *supply = diagnose_place_at(amp.engine, (size_t)amp_place(&amp, "B3"));
    const diagnose_place *output = diagnose_place_at(amp.engine, (size_t)amp_place(&amp, "V6.3"));
    const diagnose_place *across = diagnose_place_at(amp.engine, (size_t)amp_place(&amp, "R45"));
    assert_true(cathode->cost < plate->cost && plate->cost < supply->cost);
    assert_true(supply->cost < output->cost && supply->cost < across->cost);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_and_weighed),
        cmocka_unit_test(every_mode_of_a_part),
        cmocka_unit_test(priors_in_order),
        cmocka_unit_test(places_and_costs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
