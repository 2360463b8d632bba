/* Which parts can stop the tremolo: each number of the amp that can fail made to fail in turn. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "tremolo_impl.h"

#define OTHER_SPEED 0.10 /* a change of speed that is heard */
#define UNHEARD 0.25     /* part of its reach below which the output tubes hardly swing */
#define AMP_DEAD 0.3     /* part of an output tube's plate volts or current: the amp is dead */
#define SHORTED_OHMS 1.0
#define LEAKY_OHMS 1e6 /* stops many an oscillator and shows on no capacitance meter */
#define DRIED_OUT 0.1
#define WEAK 0.5
#define DRIFTED 1.5
#define CONTACT_OFF 1e9

typedef struct trial { /* one number made to fail */
    int slot, second;  /* second: of a pot turned, else -1 */
    double number, second_number;
    solve_upset upset;
} trial;

typedef struct search {
    tremolo_bench bench;
    int oscillator;
    solve_swing healthy;
    double output_v, output_a;
    solve_tremolo_part *out;
    size_t room, count;
} search;

/* ---- is the amp alive at all? ---- */

static void look_at_output(const search *find, const double *numbers, double *volts,
                           double *amperes) {
    const solve_system *system = find->bench.at.signal->system;
    *volts = *amperes = 0;
    for (size_t i = 0; i < system->units; i++) {
        const solve_unit *unit = &system->unit[i];
        solve_tube tube;
        if (!tremolo_output(system, unit) ||
            !solve_tube_at(find->bench.at.work, numbers, find->bench.trial, unit->part, unit->unit,
                           &tube))
            continue;
        *volts = fmax(*volts, tube.volts.plate);
        *amperes = fmax(*amperes, tube.plate_a);
    }
}

static bool amp_is_dead(const search *find, const double *numbers) {
    double volts, amperes;
    look_at_output(find, numbers, &volts, &amperes);
    return volts < AMP_DEAD * find->output_v || amperes < AMP_DEAD * find->output_a;
}

/* ---- one trial ---- */

static solve_effect effect_of(const search *find, const solve_swing *swing) {
    if (!swing->swings) return SOLVE_STOPS;
    if (swing->reach < UNHEARD * find->healthy.reach) return SOLVE_UNHEARD;
    double speed = swing->hertz / find->healthy.hertz;
    if (speed < 1 - OTHER_SPEED) return SOLVE_SLOWER;
    return speed > 1 + OTHER_SPEED ? SOLVE_FASTER : SOLVE_NO_EFFECT;
}

static bool is_turn(solve_upset upset) {
    return upset == SOLVE_TURNED_DOWN || upset == SOLVE_TURNED_UP;
}

static void keep(search *find, const trial *one, solve_effect effect, const solve_swing *swing) {
    const solve_slot *slot = &find->bench.at.signal->system->slot[one->slot];
    solve_tremolo_part line = {slot->part, slot->what, slot->which,
                               one->upset, effect,     swing->hertz};
    if (find->count < find->room) find->out[find->count] = line;
    find->count++;
}

/* An amp that is dead as a whole, or has no operating point, says nothing of its tremolo. */
static solve_outcome run(search *find, const trial *one) {
    double *numbers = find->bench.changed;
    double before = numbers[one->slot], second = one->second < 0 ? 0 : numbers[one->second];
    solve_swing swing;
    numbers[one->slot] = one->number;
    if (one->second >= 0) numbers[one->second] = one->second_number;
    solve_outcome outcome = tremolo_try(&find->bench, numbers, find->oscillator, &swing);
    if (outcome == SOLVE_CONVERGED && !amp_is_dead(find, numbers)) {
        solve_effect effect = effect_of(find, &swing);
        if (effect != SOLVE_NO_EFFECT) keep(find, one, effect, &swing);
    }
    numbers[one->slot] = before;
    if (one->second >= 0) numbers[one->second] = second;
    return outcome;
}

/* ---- what can happen to each number ---- */

static trial plain(int slot, double number, solve_upset upset) {
    return (trial){slot, -1, number, 0, upset};
}

static int of_capacitor(const search *find, int slot, trial *list) {
    const solve_system *system = find->bench.at.signal->system;
    const circuit_part *part = circuit_part_at(system->amp, (size_t)system->slot[slot].part);
    double now = find->bench.at.numbers[slot];
    if (system->slot[slot].what == SOLVE_LEAK) {
        list[0] = plain(slot, SHORTED_OHMS, SOLVE_SHORTED);
        list[1] = plain(slot, fmin(LEAKY_OHMS, now / 2), SOLVE_LEAKY);
        return 2;
    }
    list[0] = plain(slot, SIGNAL_NO_CAPACITANCE, SOLVE_OPENED);
    list[1] = plain(slot, DRIED_OUT * now, SOLVE_DRIED_OUT);
    return part->material == CIRCUIT_ELECTROLYTIC ? 2 : 1;
}

/* The pot's whole track from one side of its wiper to the other. */
static int of_pot(const search *find, int slot, trial *list) {
    const solve_system *system = find->bench.at.signal->system;
    const double *numbers = find->bench.at.numbers;
    int other =
        solve_slot_find(system, system->slot[slot].part, SOLVE_OHMS, 1 - system->slot[slot].which);
    int count = 0;
    list[count++] = plain(slot, SOLVE_OPEN, SOLVE_OPENED);
    if (other < 0 || system->slot[slot].which != 0) return count;
    double whole = numbers[slot] + numbers[other], end = 1e-3 * whole;
    list[count++] = (trial){slot, other, end, whole - end, SOLVE_TURNED_DOWN};
    list[count++] = (trial){slot, other, whole - end, end, SOLVE_TURNED_UP};
    return count;
}

static int of_ohms(const search *find, int slot, circuit_kind kind, trial *list) {
    if (kind == CIRCUIT_POT) return of_pot(find, slot, list);
    if (kind != CIRCUIT_RESISTOR) return 0;
    list[0] = plain(slot, SOLVE_OPEN, SOLVE_OPENED);
    list[1] = plain(slot, DRIFTED * find->bench.at.numbers[slot], SOLVE_DRIFTED);
    return 2;
}

static int trials_of(const search *find, int slot, trial *list) {
    const solve_system *system = find->bench.at.signal->system;
    const solve_slot *own = &system->slot[slot];
    if (own->part < 0) return 0;
    circuit_kind kind = circuit_part_at(system->amp, (size_t)own->part)->kind;
    switch (own->what) {
    case SOLVE_OHMS:
        return of_ohms(find, slot, kind, list);
    case SOLVE_LEAK:
    case SOLVE_FARADS:
        return of_capacitor(find, slot, list);
    case SOLVE_CONTACT:
        list[0] = plain(slot, CONTACT_OFF, SOLVE_OPENED);
        return 1;
    case SOLVE_EMISSION:
        list[0] = plain(slot, WEAK * find->bench.at.numbers[slot], SOLVE_WEAKENED);
        return 1;
    default:
        return 0;
    }
}

/* Once a pin's contact is off, the tube's own part of it is known; a rectifier's are the supply's.
 */
static bool of_supply(const solve_system *system, int part) {
    for (size_t i = 0; part >= 0 && i < circuit_parts(system->amp); i++) {
        const circuit_part *own = circuit_part_at(system->amp, i);
        if (own->kind == CIRCUIT_RECTIFIER && own->rectifier.tube == part) return true;
    }
    return false;
}

static solve_outcome run_all(search *find) {
    const solve_system *system = find->bench.at.signal->system;
    for (int slot = 0; slot < (int)system->slots; slot++) {
        trial list[4];
        if (of_supply(system, system->slot[slot].part)) continue;
        int count = trials_of(find, slot, list);
        for (int k = 0; k < count; k++)
            if (run(find, &list[k]) == SOLVE_NO_MEMORY) return SOLVE_NO_MEMORY;
    }
    return SOLVE_CONVERGED;
}

static int oscillator_of(const solve_system *system, const solve_tremolo *tremolo) {
    for (size_t i = 0; i < system->units; i++)
        if (system->unit[i].part == tremolo->part && system->unit[i].unit == tremolo->unit)
            return (int)i;
    return -1;
}

static int in_order(const void *a, const void *b) {
    const solve_tremolo_part *x = a, *y = b;
    int turn = is_turn(x->upset) - is_turn(y->upset);
    int effect = (int)x->effect - (int)y->effect, part = x->part - y->part;
    return turn ? turn : effect ? effect : part ? part : (int)x->upset - (int)y->upset;
}

solve_outcome solve_tremolo_parts(const solve_trial *given, const solve_tremolo *tremolo,
                                  solve_tremolo_part *out, size_t room, size_t *count) {
    search find = {
        .bench = {.at = *given},
        .healthy = tremolo->swing,
        .out = out,
        .room = room,
    };
    *count = 0;
    find.oscillator = oscillator_of(given->signal->system, tremolo);
    if (find.oscillator < 0 || !tremolo->swing.swings) return SOLVE_CONVERGED;
    solve_outcome outcome = SOLVE_NO_MEMORY;
    if (tremolo_bench_make(&find.bench)) {
        memcpy(find.bench.trial, given->x,
               (size_t)given->signal->system->unknowns * sizeof(double));
        look_at_output(&find, given->numbers, &find.output_v, &find.output_a);
        outcome = run_all(&find);
    }
    tremolo_bench_done(&find.bench);
    *count = find.count;
    if (room > 0) qsort(out, find.count < room ? find.count : room, sizeof *out, in_order);
    return outcome;
}
