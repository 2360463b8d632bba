/* The tremolo found quickly: by which tube's gain its swing lives, and how it swings. What it has
 * to spare is left out. */
#include "tremolo_impl.h"

#include <math.h>

#define LESS 0.95 /* of a tube's gain, to see whether the swing minds */

/* How much slower the swing grows with a little less of one unit's gain; 0: it does not mind. */
static double minds(const solve_trial *given, const solve_mode *mode, size_t unit) {
    solve_signal *signal = given->signal;
    solve_mode followed = *mode;
    signal->gain[unit] = LESS;
    solve_signal_set(signal, given->work, given->numbers, given->x);
    bool kept = signal_follow(signal, &followed) == SOLVE_CONVERGED;
    signal->gain[unit] = 1;
    return kept ? mode->growth - followed.growth : 0;
}

static int oscillator(const solve_trial *given, const solve_mode *mode) {
    const solve_system *system = given->signal->system;
    double most = 0;
    int found = -1;
    for (size_t i = 0; i < system->units; i++) {
        double drop = system->unit[i].node[2] < 0 ? 0 : minds(given, mode, i);
        if (!(drop > most)) continue;
        most = drop;
        found = (int)i;
    }
    solve_signal_set(given->signal, given->work, given->numbers, given->x);
    return found;
}

solve_outcome solve_tremolo_quick(const solve_trial *given, solve_tremolo *out) {
    tremolo_bench bench = {.at = *given};
    const solve_system *system = given->signal->system;
    solve_mode mode;
    *out = (solve_tremolo){.part = -1, .unit = -1, .gain = NAN, .emission = NAN};
    out->swing.reach = NAN;
    solve_outcome outcome = tremolo_mode(given->signal, &mode);
    if (outcome != SOLVE_CONVERGED || !solve_mode_rises(&mode)) return outcome;
    int found = oscillator(given, &mode);
    if (found < 0) return SOLVE_CONVERGED;
    out->part = system->unit[found].part;
    out->unit = system->unit[found].unit;
    outcome = SOLVE_NO_MEMORY;
    if (tremolo_bench_make(&bench))
        outcome = tremolo_try(&bench, given->numbers, found, &out->swing);
    tremolo_bench_done(&bench);
    return outcome;
}
