/* The same circuits written down independently, as the currents that meet at each node of the
 * schematic, and solved by a general-purpose library. The supply's volts are taken as they are
 * (rectifiers have their own tests); tube currents come from the curves. */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_multiroots.h>

#include "solve/bench.h"

#define NODES 12

/* Volts at the nodes as the equations name them, and what is known. */
typedef struct nodes {
    const double *v; /* unknown */
    double b, n;     /* the supply, and the bias supply */
    const tube_library *tubes;
} nodes;

typedef struct schematic {
    const char *name, *text;
    const char *supply, *bias;
    const char *node[NODES]; /* NULL-ended, in the order of the unknowns */
    double guess[NODES];
    void (*equations)(const nodes *at, double *sum); /* currents that leave each node */
} schematic;

/* The unit whose plate is on that pin, at these volts to ground. */
static tube_point tube_at(const nodes *at, const char *name, int plate_pin, const double volts[4]) {
    const tube_type *type = tube_find(at->tubes, name);
    assert_non_null(type);
    int unit = 0;
    while (type->unit[unit].pin[TUBE_PLATE] != plate_pin)
        unit++;
    tube_volts to_cathode = {volts[0] - volts[3], volts[1] - volts[3], volts[2] - volts[3]};
    tube_point point;
    tube_current(&type->unit[unit], &TUBE_BOGEY, &to_cathode, &point);
    return point;
}

/* 117 V, 60 Hz, a transformer, silicon: it makes the supply B0 and, where asked, N0 below ground.
 */
#define SUPPLY(volts)                                                                              \
    "mains: {volts: 117, hertz: 60, drawn for: 117}\n"                                             \
    "power transformer:\n"                                                                         \
    "  T1:\n"                                                                                      \
    "    primary: {volts: 117, ohms: 3, at: [line, neutral]}\n"                                    \
    "    windings:\n"                                                                              \
    "      high: {volts: " volts "-0-" volts ", ohms: 60+60, at: [ac1, ground, ac2]}\n"            \
    "      low: {volts: 45, ohms: 30, at: [ac3, ground]}\n"                                        \
    "rectifiers:\n"                                                                                \
    "  main: {form: full wave, by: silicon, from: T1 high, out: B0}\n"                             \
    "  minus: {form: half wave, by: silicon, from: T1 low, out: N0, negative: true}\n"             \
    "capacitors:\n"                                                                                \
    "  C1: {value: 40u, at: [B0, ground], kind: electrolytic}\n"                                   \
    "  C2: {value: 40u, at: [ground, N0], kind: electrolytic}\n"

/* ---- two stages of a 12AX7 ---- */

static const char preamp_text[] =
    "amp: Two stages\n" SUPPLY("250") "tubes:\n"
                                      "  V1: {type: 12AX7}\n"
                                      "resistors:\n"
                                      "  R1: {value: 10k, at: [B0, B1]}\n"
                                      "  R2: {value: 100k, at: [B1, V1.1]}\n"
                                      "  R3: {value: 1k5, at: [V1.3, ground]}\n"
                                      "  R4: {value: 68k, at: [in, V1.2]}\n"
                                      "  R5: {value: 1M, at: [in, ground]}\n"
                                      "  R6: {value: 220k, at: [B1, V1.6]}\n"
                                      "  R7: {value: 820, at: [V1.8, ground]}\n"
                                      "  R8: {value: 1M, at: [V1.7, ground]}\n"
                                      "  R9: {value: 100k, at: [N0, ground]}\n";

static void preamp(const nodes *at, double *sum) {
    double b1 = at->v[0], p1 = at->v[1], k1 = at->v[2], in = at->v[3], g1 = at->v[4];
    double p2 = at->v[5], k2 = at->v[6], g2 = at->v[7];
    tube_point one = tube_at(at, "12AX7", 1, (double[]){p1, 0, g1, k1});
    tube_point two = tube_at(at, "12AX7", 6, (double[]){p2, 0, g2, k2});
    sum[0] = (b1 - at->b) / 10e3 + (b1 - p1) / 100e3 + (b1 - p2) / 220e3;
    sum[1] = (p1 - b1) / 100e3 + one.plate;
    sum[2] = k1 / 1500 - one.plate - one.grid;
    sum[3] = (in - g1) / 68e3 + in / 1e6;
    sum[4] = (g1 - in) / 68e3 + one.grid;
    sum[5] = (p2 - b1) / 220e3 + two.plate;
    sum[6] = k2 / 820 - two.plate - two.grid;
    sum[7] = g2 / 1e6 + two.grid;
}

/* ---- a single-ended 6V6GT on its cathode resistor ---- */

static const char single_text[] =
    "amp: Single-ended\n" SUPPLY("290") "output transformer:\n"
                                        "  T2: {primary: 5k, secondary: 4, ohms: 260,\n"
                                        "       at: [V1.3, B0], speaker: [spk, ground]}\n"
                                        "tubes:\n"
                                        "  V1: {type: 6V6GT}\n"
                                        "resistors:\n"
                                        "  R1: {value: 1k, at: [B0, B1]}\n"
                                        "  R2: {value: 470, at: [B1, V1.4]}\n"
                                        "  R3: {value: 470, at: [V1.8, ground]}\n"
                                        "  R4: {value: 1k5, at: [in, V1.5]}\n"
                                        "  R5: {value: 470k, at: [in, ground]}\n"
                                        "  R6: {value: 100k, at: [N0, ground]}\n";

static void single(const nodes *at, double *sum) {
    double p = at->v[0], b1 = at->v[1], s = at->v[2], k = at->v[3], in = at->v[4], g = at->v[5];
    tube_point tube = tube_at(at, "6V6GT", 3, (double[]){p, s, g, k});
    sum[0] = (p - at->b) / 260 + tube.plate;
    sum[1] = (b1 - at->b) / 1e3 + (b1 - s) / 470;
    sum[2] = (s - b1) / 470 + tube.screen;
    sum[3] = k / 470 - tube.plate - tube.screen - tube.grid;
    sum[4] = (in - g) / 1500 + in / 470e3;
    sum[5] = (g - in) / 1500 + tube.grid;
}

/* ---- a push-pull pair of 6L6GC on fixed bias, with screen resistors ---- */

static const char pair_text[] =
    "amp: Push-pull\n" SUPPLY("320") "output transformer:\n"
                                     "  T2: {primary: 4k2, secondary: 4, ohms: 46+52,\n"
                                     "       at: [V1.3, B0, V2.3], speaker: [spk, ground]}\n"
                                     "tubes:\n"
                                     "  V1: {type: 6L6GC, pins: {8: ground}}\n"
                                     "  V2: {type: 6L6GC, pins: {8: ground}}\n"
                                     "resistors:\n"
                                     "  R1: {value: 470, at: [B0, B1]}\n"
                                     "  R2: {value: 470, at: [B1, V1.4]}\n"
                                     "  R3: {value: 1k, at: [B1, V2.4]}\n"
                                     "  R4: {value: 8k2, at: [N0, bias]}\n"
                                     "  R5: {value: 47k, at: [bias, ground]}\n"
                                     "  R6: {value: 220k, at: [bias, V1.5]}\n"
                                     "  R7: {value: 220k, at: [bias, V2.5]}\n"
                                     "  R8: {value: 33k, at: [B1, ground]}\n";

static void pair(const nodes *at, double *sum) {
    double p1 = at->v[0], p2 = at->v[1], b1 = at->v[2], s1 = at->v[3], s2 = at->v[4];
    double bias = at->v[5], g1 = at->v[6], g2 = at->v[7];
    tube_point one = tube_at(at, "6L6GC", 3, (double[]){p1, s1, g1, 0});
    tube_point two = tube_at(at, "6L6GC", 3, (double[]){p2, s2, g2, 0});
    sum[0] = (p1 - at->b) / 46 + one.plate;
    sum[1] = (p2 - at->b) / 52 + two.plate;
    sum[2] = (b1 - at->b) / 470 + (b1 - s1) / 470 + (b1 - s2) / 1000 + b1 / 33e3;
    sum[3] = (s1 - b1) / 470 + one.screen;
    sum[4] = (s2 - b1) / 1000 + two.screen;
    sum[5] = (bias - at->n) / 8200 + bias / 47e3 + (bias - g1) / 220e3 + (bias - g2) / 220e3;
    sum[6] = (g1 - bias) / 220e3 + one.grid;
    sum[7] = (g2 - bias) / 220e3 + two.grid;
}

/* ---- a long-tailed pair ---- */

static const char tailed_text[] =
    "amp: Long-tailed\n" SUPPLY("300") "tubes:\n"
                                       "  V1: {type: 12AT7, pins: {3: tail, 8: tail}}\n"
                                       "resistors:\n"
                                       "  R1: {value: 4k7, at: [B0, B1]}\n"
                                       "  R2: {value: 82k, at: [B1, V1.1]}\n"
                                       "  R3: {value: 100k, at: [B1, V1.6]}\n"
                                       "  R4: {value: 470, at: [tail, join]}\n"
                                       "  R5: {value: 22k, at: [join, foot]}\n"
                                       "  R6: {value: 4k7, at: [foot, ground]}\n"
                                       "  R7: {value: 1M, at: [V1.2, join]}\n"
                                       "  R8: {value: 1M, at: [V1.7, join]}\n"
                                       "  R9: {value: 100k, at: [N0, ground]}\n";

static void tailed(const nodes *at, double *sum) {
    double b1 = at->v[0], p1 = at->v[1], p2 = at->v[2], tail = at->v[3], join = at->v[4];
    double foot = at->v[5], g1 = at->v[6], g2 = at->v[7];
    tube_point one = tube_at(at, "12AT7", 1, (double[]){p1, 0, g1, tail});
    tube_point two = tube_at(at, "12AT7", 6, (double[]){p2, 0, g2, tail});
    sum[0] = (b1 - at->b) / 4700 + (b1 - p1) / 82e3 + (b1 - p2) / 100e3;
    sum[1] = (p1 - b1) / 82e3 + one.plate;
    sum[2] = (p2 - b1) / 100e3 + two.plate;
    sum[3] = (tail - join) / 470 - one.plate - one.grid - two.plate - two.grid;
    sum[4] = (join - tail) / 470 + (join - foot) / 22e3 + (join - g1) / 1e6 + (join - g2) / 1e6;
    sum[5] = (foot - join) / 22e3 + foot / 4700;
    sum[6] = (g1 - join) / 1e6 + one.grid;
    sum[7] = (g2 - join) / 1e6 + two.grid;
}

/* ---- a split-load inverter hung on the stage before ---- */

static const char split_text[] =
    "amp: Split load\n" SUPPLY("290") "tubes:\n"
                                      "  V1: {type: 12AX7, pins: {7: V1.1}}\n"
                                      "resistors:\n"
                                      "  R1: {value: 10k, at: [B0, B1]}\n"
                                      "  R2: {value: 220k, at: [B1, V1.1]}\n"
                                      "  R3: {value: 2k7, at: [V1.3, ground]}\n"
                                      "  R4: {value: 1M, at: [V1.2, ground]}\n"
                                      "  R5: {value: 56k, at: [B1, V1.6]}\n"
                                      "  R6: {value: 56k, at: [V1.8, ground]}\n"
                                      "  R7: {value: 100k, at: [N0, ground]}\n";

static void split(const nodes *at, double *sum) {
    double b1 = at->v[0], p1 = at->v[1], k1 = at->v[2], g1 = at->v[3], p2 = at->v[4];
    double k2 = at->v[5];
    tube_point one = tube_at(at, "12AX7", 1, (double[]){p1, 0, g1, k1});
    tube_point two = tube_at(at, "12AX7", 6, (double[]){p2, 0, p1, k2});
    sum[0] = (b1 - at->b) / 10e3 + (b1 - p1) / 220e3 + (b1 - p2) / 56e3;
    sum[1] = (p1 - b1) / 220e3 + one.plate + two.grid;
    sum[2] = k1 / 2700 - one.plate - one.grid;
    sum[3] = g1 / 1e6 + one.grid;
    sum[4] = (p2 - b1) / 56e3 + two.plate;
    sum[5] = k2 / 56e3 - two.plate - two.grid;
}

static const schematic schematics[] = {
    {"two stages",
     preamp_text,
     "B0",
     "N0",
     {"B1", "V1.1", "V1.3", "in", "V1.2", "V1.6", "V1.8", "V1.7"},
     {320, 200, 1.5, 0, 0, 200, 1, 0},
     preamp},
    {"single-ended",
     single_text,
     "B0",
     "N0",
     {"V1.3", "B1", "V1.4", "V1.8", "in", "V1.5"},
     {360, 360, 355, 20, 0, 0},
     single},
    {"push-pull",
     pair_text,
     "B0",
     "N0",
     {"V1.3", "V2.3", "B1", "V1.4", "V2.4", "bias", "V1.5", "V2.5"},
     {430, 430, 420, 420, 420, -50, -50, -50},
     pair},
    {"long-tailed",
     tailed_text,
     "B0",
     "N0",
     {"B1", "V1.1", "V1.6", "tail", "join", "foot", "V1.2", "V1.7"},
     {390, 250, 250, 40, 39, 7, 39, 39},
     tailed},
    {"split load",
     split_text,
     "B0",
     "N0",
     {"B1", "V1.1", "V1.3", "V1.2", "V1.6", "V1.8"},
     {380, 150, 1.5, 0, 230, 152},
     split},
};

/* ---- solving them ---- */

typedef struct sums {
    const schematic *s;
    nodes at;
} sums;

/* In milliamperes, so that the library's residual is of the size of the volts. */
static int evaluate(const gsl_vector *x, void *given, gsl_vector *f) {
    sums *g = given;
    double volts[NODES], sum[NODES];
    for (size_t i = 0; i < x->size; i++)
        volts[i] = gsl_vector_get(x, i);
    g->at.v = volts;
    g->s->equations(&g->at, sum);
    for (size_t i = 0; i < x->size; i++)
        gsl_vector_set(f, i, 1e3 * sum[i]);
    return GSL_SUCCESS;
}

static void solve_schematic(sums *given, size_t count, double *volts) {
    gsl_multiroot_function function = {evaluate, count, given};
    gsl_multiroot_fsolver *solver =
        gsl_multiroot_fsolver_alloc(gsl_multiroot_fsolver_hybrids, count);
    gsl_vector_const_view start = gsl_vector_const_view_array(given->s->guess, count);
    gsl_multiroot_fsolver_set(solver, &function, &start.vector);
    int status = GSL_CONTINUE;
    for (int pass = 0; pass < 2000 && status == GSL_CONTINUE; pass++) {
        if (gsl_multiroot_fsolver_iterate(solver)) break;
        status = gsl_multiroot_test_residual(solver->f, 1e-9);
    }
    assert_int_equal(gsl_multiroot_test_residual(solver->f, 1e-7), GSL_SUCCESS);
    for (size_t i = 0; i < count; i++)
        volts[i] = gsl_vector_get(solver->x, i);
    gsl_multiroot_fsolver_free(solver);
}

static double worst_gap(bench *b, const schematic *s, size_t count, const double *volts) {
    double worst = 0;
    for (size_t i = 0; i < count; i++) {
        double ours = bench_volts(b, s->node[i], "ground");
        double gap = fabs(ours - volts[i]) / fmax(fabs(volts[i]), 1);
        if (gap > 1e-3)
            print_message("  %s %s: %.6f V, the library %.6f V\n", s->name, s->node[i], ours,
                          volts[i]);
        worst = fmax(worst, gap);
    }
    return worst;
}

/* Node voltages agree to 0.1 %. */
static void test_schematics(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    gsl_set_error_handler_off();
    double worst = 0;
    for (size_t i = 0; i < sizeof schematics / sizeof *schematics; i++) {
        const schematic *s = &schematics[i];
        bench b = bench_of_text(tubes, s->name, s->text);
        bench_solve(&b);
        sums given = {s,
                      {NULL, bench_volts(&b, s->supply, "ground"),
                       bench_volts(&b, s->bias, "ground"), tubes}};
        size_t count = 0;
        while (count < NODES && s->node[count])
            count++;
        double volts[NODES];
        solve_schematic(&given, count, volts);
        double gap = worst_gap(&b, s, count, volts);
        print_message("%-14s B0 %.1f V, %s %.2f V: largest gap %.4f %%\n", s->name, given.at.b,
                      s->node[1], volts[1], 100 * gap);
        worst = fmax(worst, gap);
        bench_free(&b);
    }
    assert_true(worst <= 1e-3);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_schematics)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
