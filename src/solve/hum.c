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

static int node_of(const solve_system *system, int unknown) {
    return unknown < 0 ? 0 : system->node_of[unknown];
}

/* Each rectifier's output moved by its ripple in turn, and the sum of what that does. */
solve_outcome solve_hum(solve_signal *signal, const solve_work *work, int harmonic,
                        double _Complex *volts) {
    const solve_system *system = signal->system;
    size_t nodes = circuit_nodes(system->amp);
    for (size_t n = 0; n < nodes; n++)
        volts[n] = 0;
    for (size_t i = 0; i < system->cycles; i++) {
        const solve_cycle *cycle = &system->cycle[i];
        solve_source source = {node_of(system, cycle->out), node_of(system, cycle->ret), 0};
        double complex ripple = harmonic_of(cycle, &work->wave[i], harmonic);
        solve_outcome outcome = solve_signal_at(signal, &source, NULL, harmonic * cycle->hertz);
        if (outcome != SOLVE_CONVERGED) return outcome;
        for (size_t n = 1; n < nodes; n++)
            volts[n] += ripple * solve_signal_volts(signal, (int)n);
    }
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
        solve_outcome outcome = solve_hum(find->at.signal, find->at.work, harmonic, find->volts);
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
