/* Beliefs: what must hold of every one, and what a technician would expect. */
#include "amp.h"

static amp wren;

static int open_amp(void **state) {
    (void)state;
    amp_open(&wren, "wren-hollow", NULL);
    return 0;
}

static int close_amp(void **state) {
    (void)state;
    amp_close(&wren);
    return 0;
}

static diagnose_belief *believe(const diagnose_readings *readings) {
    diagnose_belief *belief = diagnose_run(wren.engine, readings, wren.errors);
    assert_non_null(belief);
    return belief;
}

/* Sums to one, falls, names groups that exist, is finite everywhere. */
static void check_whole(const diagnose_belief *belief) {
    double suspects = 0, groups = 0;
    size_t members = 0;
    assert_true(belief->suspects >= diagnose_faults(wren.engine));
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *one = &belief->suspect[i];
        assert_true(one->probability >= 0 && one->part[0] && one->what[0]);
        assert_true(i == 0 || one->probability <= belief->suspect[i - 1].probability);
        assert_true(one->group >= 0 && one->group < (int)belief->groups);
        suspects += one->probability;
    }
    for (size_t g = 0; g < belief->groups; g++) {
        assert_true(g == 0 || belief->group[g].probability <= belief->group[g - 1].probability);
        groups += belief->group[g].probability;
        members += belief->group[g].members;
    }
    for (size_t i = 0; i < belief->pairs; i++) {
        const diagnose_pair *one = &belief->pair[i];
        assert_true(one->probability >= 0 && one->part[0][0] && one->part[1][0] && one->words[0]);
        assert_true(i == 0 || one->probability <= belief->pair[i - 1].probability);
        assert_true(one->group >= 0 && one->group < (int)belief->groups);
        assert_true(one->fault[0] != one->fault[1]);
        suspects += one->probability;
    }
    assert_close(suspects, 1, 1e-9);
    assert_close(groups, 1, 1e-9);
    assert_int_equal(members, belief->suspects);
    assert_true(belief->nexts <= 5 && belief->reason[0]);
    for (size_t i = 0; i < belief->nexts; i++) {
        const diagnose_probe_next *next = &belief->next[i];
        assert_true(next->bits > 0 && next->cost >= 1 && next->at[0] && next->why[0]);
        /* a safer one may stand before one that tells a little more */
        assert_true(i == 0 || DIAGNOSE_ENOUGH * next->bits / next->cost <=
                                  belief->next[i - 1].bits / belief->next[i - 1].cost + 1e-12);
    }
    assert_true(isfinite(belief->entropy_bits) && belief->entropy_bits >= 0);
}

static void without_readings(void **state) {
    (void)state;
    diagnose_readings *readings = diagnose_readings_new();
    diagnose_belief *belief = believe(readings), *none = believe(NULL);
    check_whole(belief);
    assert_int_equal(belief->verdict, DIAGNOSE_NOT_ENOUGH);
    assert_true(belief->nexts > 0);
    for (size_t i = 0; i < belief->suspects; i++)
        assert_close(belief->suspect[i].probability,
                     diagnose_fault_at(wren.engine, (size_t)belief->suspect[i].fault)->prior, 1e-9);
    assert_close(none->suspect[0].probability, belief->suspect[0].probability, 1e-12);
    diagnose_belief_free(none);
    diagnose_belief_free(belief);
    diagnose_belief_free(NULL);
    diagnose_readings_free(readings);
}

/* The leaking capacitor of the demo, reading by reading. */
static const char *const leak[] = {"V3.8=378", "V2.3=365",   "V2.8=28.1",
                                   "V1.6=209", "V1.8=1.695", "V2.5=9.54"};

static diagnose_readings *read_leak(size_t count) {
    diagnose_readings *readings = diagnose_readings_new();
    for (size_t i = 0; i < count; i++)
        amp_read(&wren, readings, leak[i]);
    return readings;
}

static void the_leaking_capacitor(void **state) {
    (void)state;
    for (size_t count = 1; count <= 6; count++) {
        diagnose_readings *readings = read_leak(count);
        diagnose_belief *belief = believe(readings);
        check_whole(belief);
        assert_int_equal(belief->compares, count);
        if (count == 5) assert_int_equal(belief->verdict, DIAGNOSE_LEANING);
        if (count == 6) {
            assert_int_equal(belief->verdict, DIAGNOSE_SETTLED);
            assert_string_equal(belief->suspect[0].part, "C6");
            assert_true(belief->suspect[0].severity > 2.5e6 && belief->suspect[0].severity < 7e6);
            assert_int_equal(belief->nexts, 0);
            assert_non_null(strstr(belief->group[0].tell, "Pull V2"));
            assert_non_null(strstr(belief->group[0].tell, "drained"));
        }
        diagnose_belief_free(belief);
        diagnose_readings_free(readings);
    }
}

/* The order in which readings come changes nothing. */
static void order_does_not_matter(void **state) {
    (void)state;
    diagnose_readings *readings = read_leak(6), *turned = diagnose_readings_new();
    for (size_t i = 6; i-- > 0;)
        amp_read(&wren, turned, leak[i]);
    diagnose_belief *a = believe(readings), *b = believe(turned), *again = believe(readings);
    assert_int_equal(a->verdict, b->verdict);
    for (size_t f = 0; f < diagnose_faults(wren.engine); f++) {
        double p = amp_suspect(a, (int)f)->probability;
        assert_close(amp_suspect(b, (int)f)->probability, p, 1e-7);
        assert_true(amp_suspect(again, (int)f)->probability == p); /* the same to the last bit */
    }
    diagnose_belief_free(a);
    diagnose_belief_free(b);
    diagnose_belief_free(again);
    diagnose_readings_free(readings);
    diagnose_readings_free(turned);
}

/* A reading that is simply wrong is named, and does not become a fault. */
static void a_wrong_reading(void **state) {
    (void)state;
    double *numbers = amp_numbers(&wren, -1, NAN);
    diagnose_readings *readings = amp_chart(&wren, numbers);
    int slip = amp_place(&wren, "B2");
    readings->reading[slip].volts /= 10;
    diagnose_belief *belief = believe(readings);
    check_whole(belief);
    for (size_t i = 0; i < belief->compares; i++)
        assert_true((belief->compare[i].chance_wrong > 0.9) == ((int)i == slip));
    assert_int_equal(amp_suspect(belief, 0)->group, 0);
    assert_true(belief->nexts > 0);
    assert_string_equal(belief->next[0].at, "B2");
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
}

static void a_good_amp(void **state) {
    (void)state;
    double *numbers = amp_numbers(&wren, -1, NAN);
    diagnose_readings *readings = amp_chart(&wren, numbers);
    diagnose_belief *belief = believe(readings);
    check_whole(belief);
    assert_int_equal(belief->verdict, DIAGNOSE_HEALTHY);
    /* what DC cannot show stays among what may be wrong */
    int open = amp_fault(&wren, "C1", DIAGNOSE_CAP_OPEN);
    assert_int_equal(amp_suspect(belief, open)->group, 0);
    assert_non_null(strstr(belief->group[0].tell, "do not show"));
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
}

/* Readings that no single fault gives: not one part is named. */
static void nonsense(void **state) {
    (void)state;
    static const char *const odd[] = {"V3.8=120", "B2=410",   "V2.8=-20", "V1.6=15",
                                      "V1.8=60",  "V2.5=133", "V1.1=399", "V1.3=-7"};
    diagnose_readings *readings = diagnose_readings_new();
    for (size_t i = 0; i < 8; i++)
        amp_read(&wren, readings, odd[i]);
    diagnose_belief *belief = believe(readings);
    check_whole(belief);
    assert_int_equal(belief->verdict, DIAGNOSE_STRANGE);
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
}

/* What only one reading shows is not settled until it was taken again. */
static void one_reading_is_not_enough(void **state) {
    (void)state;
    int fault = amp_fault(&wren, "C2", DIAGNOSE_LEAKY);
    double *numbers = amp_numbers(&wren, fault, 40e6);
    diagnose_readings *readings = amp_chart(&wren, numbers);
    readings->count = 0;
    amp_read(&wren, readings, "vol=4.61");
    diagnose_belief *belief = believe(readings);
    assert_int_not_equal(belief->verdict, DIAGNOSE_SETTLED);
    diagnose_belief_free(belief);
    amp_read(&wren, readings, "vol=4.59");
    belief = believe(readings);
    check_whole(belief);
    assert_string_equal(belief->suspect[0].part, "C2");
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
}

/* The mains as measured: a low one explains low readings. */
static void the_mains(void **state) {
    (void)state;
    int fault = amp_fault(&wren, "mains", DIAGNOSE_MAINS_OFF);
    double *numbers = amp_numbers(&wren, fault, NAN);
    diagnose_readings *readings = amp_chart(&wren, numbers);
    diagnose_belief *belief = believe(readings);
    assert_string_equal(belief->suspect[0].part, "mains");
    diagnose_belief_free(belief);
    readings->mains = 120; /* but it is right */
    belief = believe(readings);
    check_whole(belief);
    assert_string_not_equal(belief->suspect[0].part, "mains");
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    free(numbers);
}

static void predictions(void **state) {
    (void)state;
    diagnose_readings *readings = read_leak(6);
    diagnose_belief *belief = believe(readings);
    size_t grid = (size_t)amp_place(&wren, "V2.5");
    assert_close(diagnose_predicted(wren.engine, belief, 0, grid), 9.54, 1);
    assert_close(belief->compare[5].predicted, 9.54, 1);
    assert_true(isnan(diagnose_predicted(wren.engine, belief, belief->suspects, grid)));
    assert_true(isnan(diagnose_predicted(wren.engine, belief, 0, 10000)));
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(without_readings),
        cmocka_unit_test(the_leaking_capacitor),
        cmocka_unit_test(order_does_not_matter),
        cmocka_unit_test(a_wrong_reading),
        cmocka_unit_test(a_good_amp),
        cmocka_unit_test(nonsense),
        cmocka_unit_test(one_reading_is_not_enough),
        cmocka_unit_test(the_mains),
        cmocka_unit_test(predictions),
    };
    return cmocka_run_group_tests(tests, open_amp, close_amp);
}
