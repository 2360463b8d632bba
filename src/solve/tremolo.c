/* The tremolo's oscillator: which tube, does it start, how fast, and with how much to spare. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tremolo_impl.h"

#define SLOWEST 0.3   /* Hz that may be a tremolo's; common practice, no source */
#define QUICKEST 20.0 /* from here on it is heard as a tone */
#define MOST_GAIN 4.0 /* an oscillator that needs more than this times its gain is none */
#define LEAST_GAIN 0.01
#define CLOSE_GAIN 0.005 /* how closely a critical gain is found */
#define HALVINGS 14
#define SETTLE_ROUNDS 20
#define SETTLED 0.01     /* growth a cycle that is none */
#define LONGEST_STEP 0.4 /* of the gain's logarithm: further, and the mode may be lost */

/* ---- the fastest rising mode in the band ---- */

static solve_outcome find_mode(solve_signal *signal, double below, solve_mode *best) {
    solve_mode all[SOLVE_MODES_MOST];
    size_t count;
    solve_outcome outcome = solve_slow_modes(signal, below, all, SOLVE_MODES_MOST, &count);
    *best = (solve_mode){-INFINITY, 0};
    for (size_t i = 0; i < count && best->hertz == 0; i++)
        if (all[i].hertz >= SLOWEST && all[i].hertz < QUICKEST) *best = all[i];
    return outcome;
}

solve_outcome tremolo_mode(solve_signal *signal, solve_mode *best) {
    return find_mode(signal, INFINITY, best);
}

static bool on_transformer(const circuit *amp, int node) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER &&
            (part->end[0] == node || part->end[2] == node))
            return true;
    }
    return false;
}

bool tremolo_output(const solve_system *system, const solve_unit *unit) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)unit->part);
    int plate = part->end[unit->type->pin[TUBE_PLATE]];
    return unit->node[2] >= 0 && plate > 0 && on_transformer(system->amp, plate);
}

static double complex share(const solve_signal *signal, int unknown) {
    return unknown < 0 ? 0 : signal_at(signal->volts, signal->of_unknown[unknown]);
}

/* Volts grid to cathode of the output tubes, all taken together, for one at the oscillator's plate:
 * what swings a pair's two grids against each other is a thump and no tremolo. */
static double reach_of(solve_signal *signal, const solve_mode *mode, int oscillator) {
    const solve_system *system = signal->system;
    double complex sum = 0;
    int tubes = 0;
    if (solve_mode_shape(signal, mode) != SOLVE_CONVERGED) return NAN;
    double plate = cabs(share(signal, system->unit[oscillator].node[0]));
    for (size_t i = 0; i < system->units; i++) {
        const solve_unit *unit = &system->unit[i];
        if (!tremolo_output(system, unit)) continue;
        sum += share(signal, unit->node[2]) - share(signal, unit->node[3]);
        tubes++;
    }
    return tubes > 0 && plate > 0 ? cabs(sum) / tubes / plate : 0;
}

/* ---- how much gain ---- */

/* The mode with one unit's gain multiplied. */
static solve_mode mode_with(solve_signal *signal, const signal_point *at, int unit, double gain) {
    solve_mode mode;
    signal->gain[unit] = gain;
    solve_signal_set(signal, at->work, at->numbers, at->x);
    solve_outcome outcome = tremolo_mode(signal, &mode);
    signal->gain[unit] = 1;
    return outcome == SOLVE_CONVERGED ? mode : (solve_mode){NAN, 0};
}

/* The factor at which the mode just rises; INFINITY: none up to MOST_GAIN; LEAST_GAIN: it rises
 * without the unit. */
static double critical_gain(solve_signal *signal, const signal_point *at, int unit) {
    double low = LEAST_GAIN, high = MOST_GAIN;
    if (!(mode_with(signal, at, unit, high).growth > 0)) return INFINITY;
    if (mode_with(signal, at, unit, low).growth > 0) return low;
    while (high > low * (1 + CLOSE_GAIN)) {
        double middle = sqrt(low * high);
        if (mode_with(signal, at, unit, middle).growth > 0)
            high = middle;
        else
            low = middle;
    }
    return high;
}

/* ---- one point ---- */

static void set_with(tremolo_bench *bench, const double *numbers, int unit, double gain) {
    solve_signal *signal = bench->at.signal;
    signal->gain[unit] = gain;
    solve_signal_set(signal, bench->at.work, numbers, bench->trial);
    signal->gain[unit] = 1;
}

/* A swing grows until the bends of the tube's curve have taken its gain down to what just keeps it
 * up: its lasting speed is that of the mode at that gain. Followed there by the secant rule in the
 * gain's logarithm; false where the mode is lost on the way. */
static bool settle(tremolo_bench *bench, const double *numbers, int unit, solve_mode *mode) {
    double at = 0, growth = mode->growth, step = -0.05;
    for (int round = 0; round < SETTLE_ROUNDS; round++) {
        double before = growth;
        at += step;
        set_with(bench, numbers, unit, exp(at));
        if (signal_follow(bench->at.signal, mode) != SOLVE_CONVERGED) return false;
        growth = mode->growth;
        if (fabs(growth) < SETTLED * mode->hertz) return true;
        double slope = (growth - before) / step;
        step = fmin(fmax(-growth / slope, -LONGEST_STEP), LONGEST_STEP);
        if (!isfinite(step) || at + step > 0) return false;
    }
    return false;
}

solve_outcome tremolo_try(tremolo_bench *bench, const double *numbers, int oscillator,
                          solve_swing *out) {
    solve_signal *signal = bench->at.signal;
    solve_mode mode;
    *out = (solve_swing){.reach = NAN};
    solve_result result = solve_point(bench->at.work, numbers, bench->at.x, bench->trial);
    if (result.outcome != SOLVE_CONVERGED && result.outcome != SOLVE_CONTINUED)
        return result.outcome;
    solve_signal_set(signal, bench->at.work, numbers, bench->trial);
    solve_outcome outcome = tremolo_mode(signal, &mode);
    if (outcome != SOLVE_CONVERGED) return outcome;
    *out = (solve_swing){solve_mode_rises(&mode), mode.hertz, mode.growth, NAN};
    if (!out->swings || oscillator < 0) return SOLVE_CONVERGED;
    if (settle(bench, numbers, oscillator, &mode)) out->hertz = mode.hertz;
    out->reach = reach_of(signal, &mode, oscillator);
    return SOLVE_CONVERGED;
}

solve_outcome solve_swing_small(solve_signal *signal, int part, int unit, solve_swing *out) {
    const solve_system *system = signal->system;
    solve_mode mode;
    *out = (solve_swing){.reach = NAN};
    solve_outcome outcome = find_mode(signal, QUICKEST, &mode);
    if (outcome != SOLVE_CONVERGED) return outcome;
    *out = (solve_swing){solve_mode_rises(&mode), mode.hertz, mode.growth, NAN};
    for (size_t i = 0; out->swings && i < system->units; i++)
        if (system->unit[i].part == part && system->unit[i].unit == unit)
            out->reach = reach_of(signal, &mode, (int)i);
    return SOLVE_CONVERGED;
}

/* ---- which tube ---- */

/* The unit without which it would not swing, with the least to spare where there are several: a
 * loop through the supply has more than one. */
static int find_oscillator(const tremolo_bench *bench, bool starts, double *gain) {
    const solve_system *system = bench->at.signal->system;
    signal_point at = {bench->at.work, bench->at.numbers, bench->trial};
    int found = -1;
    *gain = INFINITY;
    for (size_t i = 0; i < system->units; i++) {
        if (system->unit[i].node[2] < 0) continue;
        double needed = critical_gain(bench->at.signal, &at, (int)i);
        bool holds = starts ? needed > LEAST_GAIN && needed <= 1 : isfinite(needed);
        bool better = found < 0 || (starts ? needed > *gain : needed < *gain);
        if (!holds || !better) continue;
        found = (int)i;
        *gain = needed;
    }
    return found;
}

/* The part of its emission at which it stops, the point solved anew each time; 0: it never does. */
static double critical_emission(tremolo_bench *bench, int oscillator, double *numbers) {
    int slot = bench->at.signal->system->unit[oscillator].emission;
    double whole = numbers[slot], low = LEAST_GAIN, high = 1;
    solve_swing swing;
    for (int k = 0; k < HALVINGS; k++) {
        double middle = k == 0 ? low : sqrt(low * high);
        numbers[slot] = whole * middle;
        bool swings = tremolo_try(bench, numbers, -1, &swing) == SOLVE_CONVERGED && swing.swings;
        if (swings && k == 0) high = 0;
        if (swings)
            high = fmin(high, middle);
        else
            low = middle;
    }
    numbers[slot] = whole;
    return high;
}

/* ---- the whole ---- */

bool tremolo_bench_make(tremolo_bench *bench) {
    const solve_system *system = bench->at.signal->system;
    bench->trial = malloc((size_t)system->unknowns * sizeof(double));
    bench->changed = malloc(system->slots * sizeof(double));
    if (!bench->trial || !bench->changed) return false;
    memcpy(bench->changed, bench->at.numbers, system->slots * sizeof(double));
    return true;
}

/* Leaves the factors and the network of the point itself, for what follows. */
void tremolo_bench_done(tremolo_bench *bench) {
    if (bench->trial) {
        solve_point(bench->at.work, bench->at.numbers, bench->at.x, bench->trial);
        solve_signal_set(bench->at.signal, bench->at.work, bench->at.numbers, bench->at.x);
    }
    free(bench->trial);
    free(bench->changed);
}

solve_outcome solve_tremolo_find(const solve_trial *given, solve_tremolo *out) {
    tremolo_bench bench = {.at = *given};
    const solve_system *system = given->signal->system;
    *out = (solve_tremolo){.part = -1, .unit = -1, .gain = INFINITY, .emission = NAN};
    solve_outcome outcome = SOLVE_NO_MEMORY;
    if (tremolo_bench_make(&bench)) outcome = tremolo_try(&bench, given->numbers, -1, &out->swing);
    int found = -1;
    if (outcome == SOLVE_CONVERGED) found = find_oscillator(&bench, out->swing.swings, &out->gain);
    if (found >= 0) {
        out->part = system->unit[found].part;
        out->unit = system->unit[found].unit;
        outcome = tremolo_try(&bench, given->numbers, found, &out->swing);
        if (out->swing.swings) out->emission = critical_emission(&bench, found, bench.changed);
    }
    tremolo_bench_done(&bench);
    return outcome;
}
