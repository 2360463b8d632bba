/* Hum: the rectifiers' ripple through every path of the amp. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "signal_impl.h"

#define RAISED 1.5     /* times: a rise that is heard */
#define DRIED_OUT 0.1  /* of its capacitance */
#define WORN 0.5       /* of its emission: a pair out of balance */
#define LEAST_HUM 1e-7 /* V at the speaker: less is none, and no rise of it is told */

/* The ripple's `harmonic`, V rms. What the cycle holds is the output's volts about their mean, at
 * equal steps of the mains' cycle. */
static double complex harmonic_of(const solve_cycle *cycle, const solve_wave *wave, int harmonic) {
    double complex sum = 0;
    for (int j = 0; j < CYCLE_STEPS; j++)
        sum += wave->ripple[j] * cexp(-2 * M_PI * I * harmonic * j / CYCLE_STEPS);
    return cycle->sign * sum * sqrt(2) / CYCLE_STEPS;
}

static int ours(const solve_signal *signal, int unknown) {
    return unknown < 0 ? -1 : signal->of_unknown[unknown];
}

static void add_nodes(const solve_signal *signal, double complex times, double complex *volts) {
    size_t nodes = circuit_nodes(signal->system->amp);
    for (size_t n = 1; n < nodes; n++)
        volts[n] += times * solve_signal_volts(signal, (int)n);
}

static void clear(solve_signal *signal) {
    memset(signal->volts, 0, 2 * (size_t)signal->unknowns * sizeof(double));
}

static void inject(solve_signal *signal, int a, int b, double complex amperes) {
    if (a >= 0) signal_put(signal->volts, a, signal_at(signal->volts, a) + amperes);
    if (b >= 0) signal_put(signal->volts, b, signal_at(signal->volts, b) - amperes);
}

/* A rectifier's output moved by its ripple: the amperes that do so are ripple / ohms seen there. */
static void add_ripple(solve_signal *signal, const solve_cycle *cycle, double complex ripple,
                       double complex *volts) {
    int out = ours(signal, cycle->out), ret = ours(signal, cycle->ret);
    clear(signal);
    inject(signal, out, ret, 1);
    signal_solve(signal);
    double complex ohms = signal_at(signal->volts, out) - signal_at(signal->volts, ret);
    if (cabs(ohms) > 0) add_nodes(signal, ripple / ohms, volts);
}

/* Each heater winding drives its volts behind its own ohms; what leaks from a heater to its cathode
 * takes them into the signal. Their phase is that of the sine that the rectifiers follow. */
static void add_heaters(solve_signal *signal, const double *numbers, double complex *volts) {
    const solve_system *system = signal->system;
    bool any = false;
    clear(signal);
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        if (branch->heater || branch->source || branch->emf < 0) continue;
        double emf = numbers[branch->emf] * numbers[system->mains] / branch->drawn;
        double amperes = emf / solve_branch_ohms(branch, numbers);
        inject(signal, ours(signal, branch->a), ours(signal, branch->b), -I * amperes);
        any = true;
    }
    if (!any) return;
    signal_solve(signal);
    add_nodes(signal, 1, volts);
}

/* Each rectifier's output moved by its ripple in turn, and the sum of what that does. */
solve_outcome solve_hum(solve_signal *signal, const solve_work *work, const double *numbers,
                        int harmonic, double _Complex *volts) {
    const solve_system *system = signal->system;
    double hertz = harmonic * circuit_about_of(system->amp)->mains_hertz;
    memset(volts, 0, circuit_nodes(system->amp) * sizeof *volts);
    if (!signal_factor(signal, 2 * M_PI * hertz * I))
        return signal->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY : SOLVE_SINGULAR;
    for (size_t i = 0; i < system->cycles; i++)
        add_ripple(signal, &system->cycle[i],
                   harmonic_of(&system->cycle[i], &work->wave[i], harmonic), volts);
    if (harmonic == 1) add_heaters(signal, numbers, volts);
    return SOLVE_CONVERGED;
}

/* ---- what would raise it ---- */

typedef struct search {
    solve_trial at;
    double *numbers, *trial;
    double _Complex *volts;
    double healthy;
    solve_hum_part *out;
    size_t room, count;
} search;

/* Volts rms across the speakers, all harmonics together. */
static solve_outcome at_speakers(search *find, double *total) {
    const circuit *amp = find->at.signal->system->amp;
    double square = 0;
    for (int harmonic = 1; harmonic <= SOLVE_HARMONICS; harmonic++) {
        solve_outcome outcome =
            solve_hum(find->at.signal, find->at.work, find->numbers, harmonic, find->volts);
        if (outcome != SOLVE_CONVERGED) return outcome;
        for (size_t i = 0; i < circuit_parts(amp); i++) {
            const circuit_part *part = circuit_part_at(amp, i);
            if (part->kind != CIRCUIT_SPEAKER || part->end[0] < 0 || part->end[1] < 0) continue;
            double across = cabs(find->volts[part->end[0]] - find->volts[part->end[1]]);
            square += across * across;
        }
    }
    *total = sqrt(square);
    return SOLVE_CONVERGED;
}

static solve_outcome run(search *find, int slot, double part_of, solve_upset upset) {
    double before = find->numbers[slot], total = 0;
    const solve_slot *own = &find->at.signal->system->slot[slot];
    find->numbers[slot] = part_of * before;
    solve_result result = solve_point(find->at.work, find->numbers, find->at.x, find->trial);
    solve_outcome outcome = result.outcome;
    if (outcome == SOLVE_CONVERGED || outcome == SOLVE_CONTINUED) {
        solve_signal_set(find->at.signal, find->at.work, find->numbers, find->trial);
        outcome = at_speakers(find, &total);
    }
    find->numbers[slot] = before;
    if (outcome != SOLVE_CONVERGED || total < fmax(RAISED * find->healthy, LEAST_HUM))
        return outcome;
    if (find->count < find->room)
        find->out[find->count] = (solve_hum_part){own->part, own->which, upset, total};
    find->count++;
    return outcome;
}

static solve_outcome run_slot(search *find, int slot) {
    const solve_system *system = find->at.signal->system;
    const solve_slot *own = &system->slot[slot];
    if (own->part < 0) return SOLVE_CONVERGED;
    const circuit_part *part = circuit_part_at(system->amp, (size_t)own->part);
    if (own->what == SOLVE_FARADS && part->material == CIRCUIT_ELECTROLYTIC)
        return run(find, slot, DRIED_OUT, SOLVE_DRIED_OUT);
    if (own->what == SOLVE_EMISSION) return run(find, slot, WORN, SOLVE_WEAKENED);
    return SOLVE_CONVERGED;
}

static int loudest_first(const void *a, const void *b) {
    const solve_hum_part *x = a, *y = b;
    return (x->volts < y->volts) - (x->volts > y->volts);
}

static solve_outcome run_all(search *find) {
    const solve_system *system = find->at.signal->system;
    solve_outcome outcome = at_speakers(find, &find->healthy);
    for (int slot = 0; slot < (int)system->slots && outcome != SOLVE_NO_MEMORY; slot++)
        outcome = run_slot(find, slot);
    return outcome == SOLVE_NO_MEMORY ? outcome : SOLVE_CONVERGED;
}

solve_outcome solve_hum_parts(const solve_trial *given, solve_hum_part *out, size_t room,
                              size_t *count) {
    const solve_system *system = given->signal->system;
    search find = {.at = *given, .out = out, .room = room};
    find.numbers = malloc(system->slots * sizeof(double));
    find.trial = malloc((size_t)system->unknowns * sizeof(double));
    find.volts = malloc(circuit_nodes(system->amp) * sizeof *find.volts);
    solve_outcome outcome = SOLVE_NO_MEMORY;
    *count = 0;
    if (find.numbers && find.trial && find.volts) {
        memcpy(find.numbers, given->numbers, system->slots * sizeof(double));
        outcome = run_all(&find);
        *count = find.count;
        if (room > 0) qsort(out, find.count < room ? find.count : room, sizeof *out, loudest_first);
        solve_point(given->work, given->numbers, given->x, find.trial);
        solve_signal_set(given->signal, given->work, given->numbers, find.trial);
    }
    free(find.numbers);
    free(find.trial);
    free(find.volts);
    return outcome;
}
