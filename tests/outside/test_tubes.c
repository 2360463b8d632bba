/* The fitted curves against figures from outside: every published point, and checks that no fit
 * has seen: resistance-coupled amplifier charts, cathode-biased points, Child and Langmuir's law.
 * All figures stand in units of their source; each names it. Most are from memory. */
#include "tube/types.h"

#include <gsl/gsl_multiroots.h>
#include <math.h>

static const tube_unit *unit_of(void **state, const char *type, int unit) {
    const tube_type *found = tube_find(*state, type);
    assert_non_null(found);
    return &found->unit[unit];
}

/* ---- published points ---------------------------------------------------------------------- */

/* Plate current, mu and transconductance of the curve at a point; mu of a pentode is of screen to
 * grid at constant cathode current. */
static void figures_at(const tube_unit *unit, const tube_fit *point, double figure[3]) {
    tube_point at;
    tube_volts volts = {point->plate_v, point->screen_v, point->grid_v};
    tube_current(unit, &TUBE_BOGEY, &volts, &at);
    double space_gm = at.d[0][2] + at.d[1][2], space_gs = at.d[0][1] + at.d[1][1];
    bool whole = point->triode;
    figure[0] = whole ? at.plate + at.screen : at.plate;
    figure[2] = whole ? space_gm : at.d[0][2];
    figure[1] = whole                        ? space_gm / (space_gs + at.d[0][0] + at.d[1][0])
                : unit->kind == TUBE_PENTODE ? space_gm / space_gs
                                             : at.d[0][2] / at.d[0][0];
}

/* Points whose sources contradict another point of the same type: bounded, not on target. */
static const struct {
    const char *type, *point;
    double bound;
} exceptions[] = {
    {"12AY7", "class A1 250 V (secondary lists)", 0.12}, /* mu printed 44 and 40 */
    {"25L6", "class A1 110 V (second table)", 0.15},     /* 9000 and 8000 umho */
    {"5Y3GT", "tube drop (other tables)", 0.25},         /* 60 V and 50 V */
    {"6SQ7", "class A1 250 V (earlier editions)", 0.25}, /* 1.1 and 0.9 mA */
    {"6SQ7", "class A1 100 V (second table)", 0.30},     /* 0.5 and 0.4 mA */
};

static double bound_of(const char *type, const tube_fit *point) {
    for (size_t i = 0; i < sizeof exceptions / sizeof *exceptions; i++)
        if (!strcmp(exceptions[i].type, type) && !strcmp(exceptions[i].point, point->name))
            return exceptions[i].bound;
    return 0;
}

/* Targets: plate current 10 %, mu 7 %, transconductance 12 %, at every point of every type. */
static void published_points(void **state) {
    static const double target[3] = {0.10, 0.07, 0.12};
    static const int quantity[3] = {0, 2, 4};
    size_t points = 0, excused = 0;
    double worst[3] = {0};
    for (size_t t = 0; t < tube_library_count(*state); t++) {
        const tube_type *type = tube_library_at(*state, t);
        assert_true(type->fits > 0);
        for (size_t i = 0; i < type->fits; i++, points++) {
            const tube_fit *point = &type->fit[i];
            double figure[3], bound = bound_of(type->name, point);
            figures_at(&type->unit[point->unit < 0 ? 0 : point->unit], point, figure);
            assert_int_equal(bound > 0, point->exception != NULL);
            excused += bound > 0;
            for (int q = 0; q < 3; q++) {
                double off = figure[q] / point->published[quantity[q]] - 1;
                if (isnan(off)) continue;
                if (fabs(off) > (bound > 0 ? bound : target[q]))
                    fail_msg("%s, %s: figure %d is off by %.1f %%", type->name, point->name, q,
                             100 * off);
                if (!bound) worst[q] = fmax(worst[q], fabs(off));
            }
        }
    }
    print_message("%zu points, %zu with conflicting sources; worst: plate current %.1f %%, mu %.1f "
                  "%%, transconductance %.1f %%\n",
                  points, excused, 100 * worst[0], 100 * worst[1], 100 * worst[2]);
    assert_true(points >= 90);
    assert_int_equal(excused, sizeof exceptions / sizeof *exceptions);
}

/* ---- a stage on its cathode resistor ------------------------------------------------------- */

/* Resistors of one stage; the electrodes' supplies are to the cathode's lower end. A pair on one
 * cathode resistor is a stage of one tube on twice that resistor. */
typedef struct stage {
    const tube_unit *unit;
    double plate_supply_v, plate_ohm, screen_supply_v, screen_ohm, cathode_ohm;
    tube_point at;
} stage;

/* What the curve asks beyond the amperes assumed, plate and screen. */
static int stage_excess(const gsl_vector *amps, void *of, gsl_vector *excess) {
    stage *s = of;
    double plate = gsl_vector_get(amps, 0), screen = gsl_vector_get(amps, 1);
    double cathode_v = (plate + screen) * s->cathode_ohm;
    tube_volts volts = {s->plate_supply_v - plate * s->plate_ohm - cathode_v,
                        s->screen_supply_v - screen * s->screen_ohm - cathode_v, -cathode_v};
    tube_current(s->unit, &TUBE_BOGEY, &volts, &s->at);
    gsl_vector_set(excess, 0, (s->at.plate - plate) * 1e3);
    gsl_vector_set(excess, 1, (s->at.screen - screen) * 1e3);
    return GSL_SUCCESS;
}

/* The operating point by GSL's hybrid root finder, begun near no current. */
static void stage_solve(stage *s) {
    gsl_multiroot_function function = {stage_excess, 2, s};
    gsl_multiroot_fsolver *solver = gsl_multiroot_fsolver_alloc(gsl_multiroot_fsolver_hybrids, 2);
    gsl_vector *amps = gsl_vector_alloc(2), *excess;
    gsl_vector_set(amps, 0, 1e-4);
    gsl_vector_set(amps, 1, s->screen_supply_v > 0 ? 2e-5 : 0);
    assert_int_equal(gsl_multiroot_fsolver_set(solver, &function, amps), GSL_SUCCESS);
    int status = GSL_CONTINUE;
    for (int i = 0; i < 200 && status == GSL_CONTINUE; i++) {
        assert_int_equal(gsl_multiroot_fsolver_iterate(solver), GSL_SUCCESS);
        excess = gsl_multiroot_fsolver_f(solver);
        status = gsl_multiroot_test_residual(excess, 1e-9);
    }
    assert_int_equal(status, GSL_SUCCESS);
    stage_excess(gsl_multiroot_fsolver_root(solver), s, gsl_multiroot_fsolver_f(solver));
    gsl_vector_free(amps);
    gsl_multiroot_fsolver_free(solver);
}

static void check_off(const char *what, double computed, double published, double tolerance) {
    double off = computed / published - 1;
    print_message("%s: %.4g, published %.4g: %+.1f %%\n", what, computed, published, 100 * off);
    if (!(fabs(off) <= tolerance)) fail_msg("%s is off by %.1f %%", what, 100 * off);
}

/* One row of a chart: supply V, plate load, next grid leak, cathode resistor, screen resistor,
 * gain at 5 V rms output. */
typedef double row[6];

/* Midband gain A = mu RL / (RL + rp) with cathode and screen bypassed, RL = plate load beside the
 * next grid leak. */
static void check_gains(void **state, const char *type, double tolerance, const row *rows,
                        size_t count) {
    for (size_t i = 0; i < count; i++) {
        const double *r = rows[i];
        char what[80];
        stage s = {.unit = unit_of(state, type, 0),
                   .plate_supply_v = r[0],
                   .plate_ohm = r[1],
                   .screen_supply_v = r[4] > 0 ? r[0] : 0,
                   .screen_ohm = r[4],
                   .cathode_ohm = r[3]};
        stage_solve(&s);
        tube_small small = tube_small_signal(&s.at);
        double load = 1 / (1 / r[1] + 1 / r[2]);
        snprintf(what, sizeof what, "%s, %g V, %g ohm into %g ohm: gain", type, r[0], r[1], r[2]);
        check_off(what, small.mu * load / (load + small.rp), r[5], tolerance);
    }
}

#define GAINS(type, tolerance, rows)                                                               \
    check_gains(state, type, tolerance, rows, sizeof(rows) / sizeof *(rows))

/* Receiving tube manual, resistance-coupled amplifier charts (RC-13, RC-19 onward), from memory; no
 * fit saw them. The 6SN7's chart prints a gain of 14 in every row, a whole number; the manual's own
 * mu of 20 and rp of 7.7 kohm (at 9 mA) give 16 into the second row's 33 kohm. The two disagree,
 * and the curve follows the points: hence 20 %. */
static void resistance_coupled_charts(void **state) {
    static const row of_12ax7[] = {
        {90, 100e3, 220e3, 4700, 0, 35},  {180, 220e3, 470e3, 3500, 0, 59},
        {300, 100e3, 100e3, 1300, 0, 45}, {300, 100e3, 470e3, 1700, 0, 57},
        {300, 220e3, 220e3, 2200, 0, 59}, {300, 220e3, 1e6, 3100, 0, 68},
        {300, 470e3, 1e6, 5200, 0, 73},
    };
    static const row of_6sl7[] = {
        {90, 220e3, 470e3, 7800, 0, 34},  {180, 220e3, 470e3, 4100, 0, 42},
        {300, 100e3, 100e3, 1500, 0, 34}, {300, 220e3, 470e3, 3200, 0, 46},
        {300, 470e3, 1e6, 6300, 0, 50},
    };
    static const row of_6sn7[] = {
        {180, 100e3, 250e3, 2830, 0, 14}, {300, 50e3, 100e3, 1270, 0, 14},
        {300, 50e3, 250e3, 1500, 0, 14},  {300, 100e3, 250e3, 2440, 0, 14},
        {300, 100e3, 500e3, 2700, 0, 14},
    };
    static const row of_12au7[] = {
        {300, 47e3, 100e3, 1200, 0, 12},
        {300, 100e3, 220e3, 3000, 0, 12},
        {300, 220e3, 470e3, 8800, 0, 12},
    };
    static const row of_6sf5[] = {
        {300, 100e3, 250e3, 1600, 0, 49},
        {300, 250e3, 500e3, 3200, 0, 63},
    };
    static const row of_6sj7[] = {
        {300, 100e3, 100e3, 500, 350e3, 67},
        {300, 250e3, 250e3, 850, 890e3, 139},
        {300, 250e3, 500e3, 860, 1.1e6, 167},
        {300, 500e3, 1e6, 1410, 2.2e6, 238},
    };
    GAINS("12AX7", 0.10, of_12ax7);
    GAINS("6SL7GT", 0.10, of_6sl7);
    GAINS("6SN7GTB", 0.20, of_6sn7);
    GAINS("12AU7", 0.12, of_12au7);
    GAINS("6SF5", 0.12, of_6sf5);
    GAINS("6SJ7", 0.17, of_6sj7); /* starved to a tenth of its rated current: the hardest */
}

/* Points that set their own bias; plate and screen volts to the cathode. No fit saw the first two.
 */
static void cathode_biased_points(void **state) {
    static const struct {
        const char *type;
        double plate_v, screen_v, cathode_ohm, plate_ma, screen_ma;
    } points[] = {
        {"12AT7", 250, 0, 200, 10, 0},       /* manual, 12AT7, from memory */
        {"6AU6", 250, 125, 100, 7.6, 3.0},   /* manual, 6AU6, from memory */
        {"6L6", 250, 250, 170, 75, 5.4},     /* manual, 6L6, from memory */
        {"6F6", 315, 285, 640, 31, 6},       /* half of a pair on 320 ohm, from memory */
        {"6K6GT", 285, 285, 800, 27.5, 4.5}, /* half of a pair on 400 ohm, from memory */
        {"EL84", 250, 250, 135, 48, 5.5},    /* European data sheet, from memory */
    };
    for (size_t i = 0; i < sizeof points / sizeof *points; i++) {
        double bias_v = points[i].cathode_ohm * (points[i].plate_ma + points[i].screen_ma) * 1e-3;
        stage s = {.unit = unit_of(state, points[i].type, 0),
                   .plate_supply_v = points[i].plate_v + bias_v,
                   .screen_supply_v = points[i].screen_v > 0 ? points[i].screen_v + bias_v : 0,
                   .cathode_ohm = points[i].cathode_ohm};
        stage_solve(&s);
        check_off(points[i].type, s.at.plate * 1e3, points[i].plate_ma, 0.10);
        if (points[i].screen_v > 0)
            check_off("its screen", s.at.screen * 1e3, points[i].screen_ma, 0.40);
    }
}

/* Current as the 3/2 power of voltage (Child 1911, Langmuir 1913): 50 V at 275 mA means 43.7 V at
 * 225 mA, and the sheets of the 5U4GB print 44 V there (from memory). */
static void three_halves_power(void **state) {
    const tube_curve *curve = &unit_of(state, "5U4GB", 0)->curve;
    double slope, low = 0, high = 200;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        if (tube_diode(curve, 1, middle, &slope) < 0.225)
            low = middle;
        else
            high = middle;
    }
    assert_true(fabs(low - 44) < 0.5);
    double ratio = tube_diode(curve, 1, 50, &slope) / tube_diode(curve, 1, low, &slope);
    assert_true(fabs(ratio / pow(50 / low, 1.5) - 1) < 1e-3);
}

/* A 6V6GT on its cathode resistor, 25.48 V over 470 ohm, 362.2 V from plate to cathode: 132.1 % of
 * 14 W with a screen share of 5.8 % (common practice, no source). The readings make 54.2 mA of
 * cathode current. The screen's volts are not stated: near the plate's, as in such amps. A bogey
 * tube is looked up on the curve, and tubes differ: the bounds are loose. */
static void a_6v6_read_on_the_bench(void **state) {
    double cathode_a = 25.48 / 470, plate_w = cathode_a * (1 - 0.058) * 362.2;
    assert_true(fabs(plate_w / 14 - 1.321) < 0.0035);
    tube_point at;
    tube_volts volts = {362.2, 362.2, -25.48};
    tube_current(unit_of(state, "6V6GT", 0), &TUBE_BOGEY, &volts, &at);
    check_off("6V6GT cathode mA", 1e3 * (at.plate + at.screen), 1e3 * cathode_a, 0.20);
    check_off("6V6GT screen share", at.screen / (at.plate + at.screen), 0.058, 0.40);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_points),        cmocka_unit_test(resistance_coupled_charts),
        cmocka_unit_test(cathode_biased_points),   cmocka_unit_test(three_halves_power),
        cmocka_unit_test(a_6v6_read_on_the_bench),
    };
    return cmocka_run_group_tests(tests, types_set_up, types_tear_down);
}
