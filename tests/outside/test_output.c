/* The output stage against published typical operation: power at full drive, distortion, and what
 * the tubes draw then. */
#include "solve/bench.h"

/* One typical operation: a tube or a pair, on stiff supplies, driven up to its bias. */
typedef struct operation {
    const char *type;
    bool pair;
    double plate_v, screen_v, bias_v; /* bias_v 0: cathode bias through rk_ohms */
    double rk_ohms, load_ohms;        /* load from plate to plate for a pair */
    double watts, percent;            /* published; percent of distortion, 0: not published */
    double full_ma;                   /* plates together at full drive; 0: not published */
    double drive_v;                   /* peak at a grid; 0: up to its cathode */
} operation;

/* Receiving tube manual RC-19 (6V6GT, 6K6GT, 6L6, 6F6G, 35L6GT, 50L6GT), European data sheet
 * (EL84, 6BM8), data sheets of the first maker (5881, 6550): all from memory, as kept in the table
 * of facts that the tube curves were checked with. */
static const operation operations[] = {
    {"6V6GT", false, 180, 180, -8.5, 0, 5500, 2, 8, 30, 0},
    {"6V6GT", false, 250, 250, -12.5, 0, 5000, 4.5, 8, 47, 0},
    {"6V6GT", false, 315, 225, -13, 0, 8500, 5.5, 12, 35, 0},
    {"6V6GT", true, 250, 250, -15, 0, 10000, 10, 5, 79, 0},
    {"6V6GT", true, 285, 285, -19, 0, 8000, 14, 3.5, 92, 0},
    {"6K6GT", false, 250, 250, -18, 0, 7600, 3.4, 11, 0, 0},
    {"6K6GT", true, 285, 285, 0, 400, 12000, 9.8, 0, 61, 0},
    {"6F6G", false, 250, 250, -16.5, 0, 7000, 3.2, 8, 36, 0},
    {"6F6G", true, 315, 285, 0, 320, 10000, 10.5, 0, 0, 0},
    {"6L6", false, 250, 250, -14, 0, 2500, 6.5, 10, 79, 0},
    {"6L6", false, 350, 250, -18, 0, 4200, 10.8, 15, 66, 0},
    {"6L6", false, 300, 200, 0, 220, 4500, 6.5, 11, 54.5, 0},
    {"6L6", true, 360, 270, -22.5, 0, 6600, 26.5, 2, 132, 0},
    {"6L6", true, 360, 270, 0, 250, 9000, 24.5, 4, 100, 0},
    {"6L6GC", true, 450, 400, -37, 0, 5600, 55, 1.8, 210, 0},
    {"5881", false, 350, 250, -18, 0, 4200, 11.3, 13, 65, 0},
    {"EL84", true, 300, 300, -14.7, 0, 8000, 17, 4, 92, 0},
    {"6550", true, 400, 275, -23, 0, 3500, 55, 3, 270, 0},
    {"6BM8", false, 200, 200, -16, 0, 5600, 3.5, 10, 0, 9.3},
    {"35L6GT", false, 110, 110, -7.5, 0, 2500, 1.5, 10, 41, 0},
    {"50L6GT", false, 200, 110, -8, 0, 3000, 4.3, 10, 55, 0},
};
#define OPERATIONS (sizeof operations / sizeof *operations)

static int pin_of(const tube_type *type, tube_electrode electrode) {
    for (int u = 0; u < type->units; u++)
        if (type->unit[u].kind == TUBE_PENTODE) return type->unit[u].pin[electrode];
    return 0;
}

static void add_tube(base_text *text, const operation *o, const tube_type *type, int number) {
    int p = pin_of(type, TUBE_PLATE), s = pin_of(type, TUBE_SCREEN), g = pin_of(type, TUBE_GRID),
        k = pin_of(type, TUBE_CATHODE);
    base_text_add(text, "  V%d: {type: '%s', pins: {%d: p%d, %d: S, %d: g%d, %d: %s}}\n", number,
                  o->type, p, number, s, g, number, k, o->bias_v < 0 ? "ground" : "k");
}

/* Three stiff supplies: B for plates, S for screens, N below ground for the bias. */
static char *text_of(const tube_library *tubes, const operation *o) {
    const tube_type *type = tube_find(tubes, o->type);
    base_text text;
    base_text_init(&text, 1 << 16);
    assert_non_null(type);
    base_text_add(&text,
                  "amp: %s\nmains: {volts: 117, hertz: 60, drawn for: 117}\n"
                  "power transformer:\n  T1:\n"
                  "    primary: {volts: 117, ohms: 0.01, at: [line, neutral]}\n"
                  "    windings:\n"
                  "      b: {volts: %g, ohms: 0.1, at: [ac1, ground]}\n"
                  "      s: {volts: %g, ohms: 0.1, at: [ac2, ground]}\n"
                  "      n: {volts: %g, ohms: 0.1, at: [ac3, ground]}\n",
                  o->type, o->plate_v / 1.4, o->screen_v / 1.4, fmax(-o->bias_v, 10) / 1.4);
    base_text_add(&text,
                  "rectifiers:\n"
                  "  xb: {form: half wave, by: silicon, from: T1 b, out: B}\n"
                  "  xs: {form: half wave, by: silicon, from: T1 s, out: S}\n"
                  "  xn: {form: half wave, by: silicon, from: T1 n, out: N, negative: true}\n"
                  "tubes:\n");
    add_tube(&text, o, type, 1);
    if (o->pair) add_tube(&text, o, type, 2);
    base_text_add(&text,
                  "output transformer:\n  T2: {primary: %g, secondary: 8, ohms: %s, henries: 1000, "
                  "at: [p1, B%s], speaker: [spk, ground]}\n"
                  "speaker: {LS1: {ohms: 8, at: [spk, ground]}}\n"
                  "capacitors:\n  C1: {value: 10000u, at: [B, ground]}\n"
                  "  C2: {value: 10000u, at: [S, ground]}\n"
                  "  C3: {value: 10000u, at: [N, ground]}\n",
                  o->load_ohms, o->pair ? "0.1+0.1" : "0.1", o->pair ? ", p2" : "");
    if (o->rk_ohms > 0) base_text_add(&text, "  C4: {value: 10000u, at: [k, ground]}\n");
    base_text_add(&text,
                  "resistors:\n  R1: {value: 100k, at: [g1, %s]}\n"
                  "  R2: {value: 100k, at: [N, ground]}\n",
                  o->bias_v < 0 ? "N" : "ground");
    if (o->pair)
        base_text_add(&text, "  R3: {value: 100k, at: [g2, %s]}\n", o->bias_v < 0 ? "N" : "ground");
    if (o->rk_ohms > 0) base_text_add(&text, "  R4: {value: %g, at: [k, ground]}\n", o->rk_ohms);
    assert_false(text.failed);
    return text.data;
}

static void bring(bench *b, const char *winding, const char *node, double volts) {
    int slot = bench_slot(b, winding, SOLVE_VOLTS, 0);
    for (int pass = 0; pass < 8; pass++) {
        bench_solve(b);
        b->numbers[slot] *= volts / bench_volts(b, node, "ground");
    }
    bench_solve(b);
}

/* Published plate volts are to the cathode, with the drop of cathode bias added to the supply. */
static void bring_supplies(bench *b, const operation *o) {
    for (int pass = 0; pass < 3; pass++) {
        double cathode = o->rk_ohms > 0 ? bench_volts(b, "k", "ground") : 0;
        bring(b, "T1 b", "B", o->plate_v + cathode);
        bring(b, "T1 s", "S", o->screen_v + cathode);
    }
    if (o->bias_v < 0) bring(b, "T1 n", "N", o->bias_v);
}

typedef struct tally {
    double power, worst_power, current;
    int powers, currents;
} tally;

static void try(const tube_library *tubes, const operation *o, tally *sum) {
    char *text = text_of(tubes, o);
    bench b = bench_of_text(tubes, o->type, text);
    solve_output_cycle cycle;
    int count;
    free(text);
    bench_solve(&b);
    bring_supplies(&b, o);
    solve_output *stage = solve_output_new(b.system, &count);
    assert_int_equal(count, o->pair ? 2 : 1);
    assert_int_equal(solve_output_at(stage, b.numbers, 0, &cycle), SOLVE_CONVERGED);
    double idle = cycle.supply_a;
    for (int pass = 0; pass < 6; pass++) { /* the bias of a cathode resistor rises with the drive */
        double drive = o->drive_v > 0 ? o->drive_v : fabs(cycle.tube[0].mean_grid_v);
        assert_int_equal(solve_output_at(stage, b.numbers, drive, &cycle), SOLVE_CONVERGED);
    }
    double off = cycle.watts / o->watts - 1;
    print_message("%-7s %s %3.0f V: %5.2f W of %4.1f (%+3.0f %%), %4.1f %% distortion of %4.1f, "
                  "%3.0f mA then of %3.0f (%3.0f idle)\n",
                  o->type, o->pair ? "pair" : "one ", o->plate_v, cycle.watts, o->watts, 100 * off,
                  100 * cycle.distortion, o->percent, 1e3 * cycle.supply_a, o->full_ma, 1e3 * idle);
    sum->power += fabs(off);
    sum->powers++;
    sum->worst_power = fmax(sum->worst_power, fabs(off));
    if (o->full_ma > 0) {
        sum->current += fabs(1e3 * cycle.supply_a / o->full_ma - 1);
        sum->currents++;
    }
    solve_output_free(stage);
    bench_free(&b);
}

static void test_typical_operation(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    tally sum = {0};
    for (size_t i = 0; i < OPERATIONS; i++)
        try(tubes, &operations[i], &sum);
    print_message(
        "power off by %.0f %% in the mean, %.0f %% at worst; plate current at full drive by "
        "%.0f %%\n",
        100 * sum.power / sum.powers, 100 * sum.worst_power, 100 * sum.current / sum.currents);
    assert_true(sum.power / sum.powers < 0.12);
    assert_true(sum.worst_power < 0.25);
    assert_true(sum.current / sum.currents < 0.08);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_typical_operation)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
