/* The curves of every type, over volts far beyond what a tube can see: finite, smooth, with exact
 * derivatives, and rising and falling as a tube's must. */
#include "tube/types.h"

#include <float.h>
#include <math.h>

static double wild(base_random *random, const double *scale, size_t scales) {
    double unit = 2 * base_random_unit(random) - 1;
    return unit * scale[base_random_bits(random) % scales];
}

/* Volts of either sign from a fraction of a volt to kilovolts, the grid to +-1000. */
static tube_volts wild_volts(base_random *random) {
    static const double plate[] = {1, 20, 500, 5000}, grid[] = {0.5, 5, 50, 1000};
    tube_volts volts = {wild(random, plate, 4), wild(random, plate, 4), wild(random, grid, 4)};
    return volts;
}

static tube_state wild_state(base_random *random) {
    tube_state state = {0.1 + base_random_unit(random), 0.2 + 2 * base_random_unit(random),
                        0.01 * base_random_unit(random)};
    return state;
}

static const double *current(const tube_point *point, int i) {
    return i == 0 ? &point->plate : i == 1 ? &point->screen : &point->grid;
}

static void for_each_unit(void **state, void (*check)(const tube_unit *, base_random *)) {
    base_random random;
    base_random_seed(&random, 1);
    for (size_t t = 0; t < tube_library_count(*state); t++)
        for (int u = 0; u < tube_library_at(*state, t)->units; u++)
            check(&tube_library_at(*state, t)->unit[u], &random);
}

/* ---- derivatives --------------------------------------------------------------------------- */

/* Central difference of fourth order of current i by *x. */
static double slope(const tube_unit *unit, const tube_state *state, const tube_volts *volts,
                    double *x, int i) {
    const double at = *x, h = 3e-4;
    static const double weight[5] = {1, -8, 0, 8, -1};
    double sum = 0;
    for (int k = -2; k <= 2; k++) {
        tube_point point;
        *x = at + k * h;
        tube_current(unit, state, volts, &point);
        sum += weight[k + 2] * *current(&point, i);
    }
    *x = at;
    return sum / (12 * h);
}

static void check_derivatives_at(const tube_unit *unit, tube_state state, tube_volts volts) {
    tube_point point;
    double *by_volts[3] = {&volts.plate, &volts.screen, &volts.grid};
    double *by_state[3] = {&state.emission, &state.screen, &state.gas};
    tube_current(unit, &state, &volts, &point);
    double size = fabs(point.plate) + fabs(point.screen) + fabs(point.grid) + 1e-9;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            double d = slope(unit, &state, &volts, by_volts[j], i);
            double s = slope(unit, &state, &volts, by_state[j], i);
            assert_true(fabs(d - point.d[i][j]) <= 1e-5 * fabs(d) + 1e-9 * size);
            assert_true(fabs(s - point.by_state[i][j]) <= 1e-5 * fabs(s) + 1e-9 * size);
        }
}

static void check_derivatives(const tube_unit *unit, base_random *random) {
    for (int n = 0; n < 400; n++) {
        tube_volts volts = wild_volts(random);
        /* a diode's slope is continuous at zero, but no difference across zero shows it */
        if (unit->kind == TUBE_DIODE && fabs(volts.plate) < 0.05) continue;
        check_derivatives_at(unit, wild_state(random), volts);
    }
}

static void derivatives_are_exact(void **state) {
    for_each_unit(state, check_derivatives);
}

static void check_finite(const tube_unit *unit, base_random *random) {
    static const double extreme[] = {0,    -0.0,  1e-300, 1e6,     -1e6,
                                     1e15, 1e155, -1e300, DBL_MAX, -DBL_MAX};
    (void)random;
    for (int n = 0; n < 1000; n++) {
        tube_volts volts = {extreme[n % 10], extreme[n / 10 % 10], extreme[n / 100]};
        tube_point point;
        tube_current(unit, &TUBE_BOGEY, &volts, &point);
        for (int i = 0; i < 3; i++) {
            assert_true(isfinite(*current(&point, i)));
            for (int j = 0; j < 3; j++)
                assert_true(isfinite(point.d[i][j]) && isfinite(point.by_state[i][j]));
        }
    }
}

static void finite_at_any_volts(void **state) {
    for_each_unit(state, check_finite);
}

/* ---- what a tube does ---------------------------------------------------------------------- */

static void check_monotone(const tube_unit *unit, base_random *random) {
    for (int n = 0; n < 300; n++) {
        tube_volts volts = wild_volts(random);
        tube_point p;
        tube_current(unit, &TUBE_BOGEY, &volts, &p);
        assert_true(p.plate >= 0 && p.screen >= 0 && p.grid >= 0);
        assert_true(p.d[0][0] >= 0 && p.d[0][2] >= 0 && p.d[2][2] >= 0);
        assert_true(p.d[0][1] + p.d[1][1] >= 0); /* the cathode's current rises with the screen */
        assert_true(p.d[2][0] <= 0);             /* a higher plate takes from the grid */
    }
}

static void currents_rise_with_volts(void **state) {
    for_each_unit(state, check_monotone);
}

/* Along a load line from cut-off to zero bias the plate current only rises, the plate only falls.
 */
static void check_load_line(const tube_unit *unit, base_random *random) {
    (void)random;
    if (unit->kind == TUBE_DIODE) return;
    double supply = unit->region.plate_v[1], ohms = supply / (1.2 * unit->region.plate_a[1]);
    double before = -1;
    for (double grid = unit->region.grid_v[0]; grid <= 0; grid -= unit->region.grid_v[0] / 50) {
        double low = 0, high = supply / ohms;
        for (int i = 0; i < 60; i++) {
            double amps = (low + high) / 2;
            tube_volts volts = {supply - amps * ohms, unit->region.screen_v[1], grid};
            tube_point p;
            tube_current(unit, &TUBE_BOGEY, &volts, &p);
            *(p.plate > amps ? &low : &high) = amps;
        }
        assert_true(low > before);
        before = low;
    }
}

static void load_lines_are_monotone(void **state) {
    for_each_unit(state, check_load_line);
}

static void check_reverse(const tube_unit *unit, base_random *random) {
    (void)random;
    double screen = unit->kind == TUBE_PENTODE ? unit->region.screen_v[1] : 0;
    tube_volts on = {unit->region.plate_v[1], screen, 0}, off = {-50, screen, 0};
    tube_point normal, reverse;
    tube_current(unit, &TUBE_BOGEY, &on, &normal);
    tube_current(unit, &TUBE_BOGEY, &off, &reverse);
    assert_true(reverse.plate < 2e-3 * normal.plate);
    if (unit->kind == TUBE_PENTODE) assert_true(reverse.screen > 0.5 * normal.plate);
}

/* Below zero the plate takes nothing; in a pentode the screen takes what the plate leaves. */
static void plate_below_zero(void **state) {
    for_each_unit(state, check_reverse);
}

static void check_no_screen(const tube_unit *unit, base_random *random) {
    (void)random;
    if (unit->kind != TUBE_PENTODE) return;
    tube_volts normal = {250, 100, 0}, none = {250, 0, 0};
    tube_point with, without;
    tube_current(unit, &TUBE_BOGEY, &normal, &with);
    tube_current(unit, &TUBE_BOGEY, &none, &without);
    assert_true(without.plate < 0.15 * with.plate);
    assert_true(without.screen < 0.02 * with.screen);
}

/* Without its screen's volts a pentode is a triode of a very high mu: hardly any current. */
static void screen_without_volts(void **state) {
    for_each_unit(state, check_no_screen);
}

static void grid_current_of_a_high_mu_triode(void **state) {
    const tube_unit *unit = &tube_find(*state, "12AX7")->unit[0];
    tube_point foot, zero, above, low;
    tube_current(unit, &TUBE_BOGEY, &(tube_volts){150, 0, -0.7}, &foot);
    tube_current(unit, &TUBE_BOGEY, &(tube_volts){150, 0, 0}, &zero);
    tube_current(unit, &TUBE_BOGEY, &(tube_volts){150, 0, 1}, &above);
    tube_current(unit, &TUBE_BOGEY, &(tube_volts){5, 0, 1}, &low);
    /* about 1 uA between -0.5 and -0.9 V; tens of uA at zero (common practice, no source) */
    assert_true(foot.grid > 0.2e-6 && foot.grid < 3e-6);
    assert_true(zero.grid > 20e-6 && zero.grid < 200e-6);
    assert_true(above.grid > 0.2e-3 && above.grid < 2e-3);
    assert_true(low.grid > above.grid);
}

static void this_very_tube(void **state) {
    const tube_unit *unit = &tube_find(*state, "6V6GT")->unit[0];
    tube_volts volts = {250, 250, -12.5};
    tube_point bogey, weak, gassy, greedy;
    tube_current(unit, &TUBE_BOGEY, &volts, &bogey);
    tube_current(unit, &(tube_state){0.5, 1, 0}, &volts, &weak);
    tube_current(unit, &(tube_state){1, 1, 1e-4}, &volts, &gassy);
    tube_current(unit, &(tube_state){1, 2, 0}, &volts, &greedy);
    assert_true(fabs(weak.plate / bogey.plate - 0.5) < 1e-12);
    assert_true(fabs(gassy.grid + 1e-4 * bogey.plate - bogey.grid) < 1e-12);
    assert_true(greedy.screen > 1.7 * bogey.screen && greedy.screen < 2 * bogey.screen);
    assert_true(fabs(greedy.plate + greedy.screen - bogey.plate - bogey.screen) < 1e-12);
    tube_current(unit, &(tube_state){1, 1e9, 0}, &volts, &greedy); /* no share is past the whole */
    assert_true(greedy.plate >= 0);
}

static void small_signal(void **state) {
    const tube_unit *unit = &tube_find(*state, "12AX7")->unit[0];
    tube_point p;
    tube_current(unit, &TUBE_BOGEY, &(tube_volts){250, 0, -2}, &p);
    tube_small small = tube_small_signal(&p);
    assert_true(fabs(small.gm * small.rp / small.mu - 1) < 1e-12); /* mu = gm rp */
    tube_current(unit, &TUBE_BOGEY, &(tube_volts){250, 0, -20}, &p);
    small = tube_small_signal(&p);
    assert_true(isnan(small.mu) && isnan(small.rp) && small.gm < 1e-9);
}

static void heater_and_emission(void **state) {
    (void)state;
    double slope, before = 0, h = 1e-6;
    assert_true(fabs(tube_heater_emission(1, &slope) - 1) < 1e-12);
    assert_true(tube_heater_emission(0.9, &slope) > 0.95);
    assert_true(tube_heater_emission(0.5, &slope) < 0.05);
    assert_true(tube_heater_emission(0, &slope) < 1e-5);
    for (double ratio = 0; ratio < 1.5; ratio += 0.01) {
        double above, below, unused, now = tube_heater_emission(ratio, &slope);
        above = tube_heater_emission(ratio + h, &unused);
        below = tube_heater_emission(ratio - h, &unused);
        assert_true(fabs((above - below) / (2 * h) - slope) < 1e-6);
        assert_true(now >= before && isfinite(tube_heater_emission(1e6 * ratio, &unused)));
        before = now;
    }
}

static void a_rectifier(void **state) {
    const tube_unit *unit = &tube_find(*state, "GZ34")->unit[0];
    double slope, twice;
    double amps = tube_diode(&unit->curve, 1, 17, &slope);
    assert_true(fabs(amps / 0.225 - 1) < 0.01); /* European data sheet, GZ34, from memory */
    assert_true(fabs(tube_diode(&unit->curve, 2, 17, &twice) - 2 * amps) < 1e-12);
    assert_true(fabs(twice - 2 * slope) < 1e-12);
    assert_true(tube_diode(&unit->curve, 1, -400, &slope) == 0 && slope == 0);
}

/* With ohms in series the two share the volts: V = I R + v, and I is the diode's at v. */
static void a_rectifier_behind_resistance(void **state) {
    const tube_curve *curve = &tube_find(*state, "5Y3GT")->unit[0].curve;
    for (double volts = 1e-3; volts < 2000; volts *= 1.7)
        for (double ohms = 1e-3; ohms < 1e6; ohms *= 10) {
            double slope, inside, amps = tube_diode_behind(curve, 1, ohms, volts, &inside);
            double own = tube_diode(curve, 1, volts - amps * ohms, &slope);
            assert_true(fabs(own - amps) <= 1e-7 * amps + slope * 1e-13 * volts);
            assert_true(fabs(slope - inside) <= 1e-4 * inside);
        }
}

static void regions(void **state) {
    const tube_unit *unit = &tube_find(*state, "6L6GC")->unit[0];
    assert_true(tube_in_region(unit, &(tube_volts){450, 400, -37}, 0.058));
    assert_false(tube_in_region(unit, &(tube_volts){600, 400, -37}, 0.058));
    assert_false(tube_in_region(unit, &(tube_volts){450, 500, -37}, 0.058));
    assert_false(tube_in_region(unit, &(tube_volts){450, 400, 3}, 0.058));
    assert_false(tube_in_region(unit, &(tube_volts){450, 400, -37}, 0.9));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(derivatives_are_exact),
        cmocka_unit_test(finite_at_any_volts),
        cmocka_unit_test(currents_rise_with_volts),
        cmocka_unit_test(load_lines_are_monotone),
        cmocka_unit_test(plate_below_zero),
        cmocka_unit_test(screen_without_volts),
        cmocka_unit_test(grid_current_of_a_high_mu_triode),
        cmocka_unit_test(this_very_tube),
        cmocka_unit_test(small_signal),
        cmocka_unit_test(heater_and_emission),
        cmocka_unit_test(a_rectifier),
        cmocka_unit_test(a_rectifier_behind_resistance),
        cmocka_unit_test(regions),
    };
    return cmocka_run_group_tests(tests, types_set_up, types_tear_down);
}
