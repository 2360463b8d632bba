/* A good amp of the drawing, drawn at random, and what is wrong with it. The spreads are those that
 * docs/method.md gives for good parts, drawn here by their own rules. */
#include "practice_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHOWS 4.0 /* deviations of a good amp: less is no exercise */
#define DRAWS 300
#define METER_ERROR 0.005

bool practice_amp_open(practice_amp *amp, const solve_system *system, diagnose_engine *engine,
                       uint64_t seed, base_errors *errors) {
    size_t slots = solve_slots(system), unknowns = solve_unknowns(system);
    *amp = (practice_amp){.system = system, .engine = engine, .work = solve_work_new(system)};
    base_random_seed(&amp->random, seed);
    amp->numbers = calloc(slots + 1, sizeof(double));
    amp->good = calloc(slots + 1, sizeof(double));
    amp->cold = calloc(unknowns + 1, sizeof(double));
    amp->x = calloc(unknowns + 1, sizeof(double));
    amp->healthy = calloc(diagnose_places(engine) + 1, sizeof(double));
    amp->faulty = calloc(diagnose_places(engine) + 1, sizeof(double));
    if (!amp->work || !amp->numbers || !amp->good || !amp->cold || !amp->x || !amp->healthy ||
        !amp->faulty) {
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left for the practice amp|close other programs");
        return false;
    }
    if (solve_point(amp->work, solve_nominal(system), NULL, amp->cold).outcome <= SOLVE_CONTINUED)
        return true;
    base_errors_add(errors, BASE_UNSOLVED, (base_place){0},
                    "this amp has no operating point to practise on|gridleak chart tells why");
    return false;
}

void practice_amp_close(practice_amp *amp) {
    solve_work_free(amp->work);
    free(amp->numbers);
    free(amp->good);
    free(amp->cold);
    free(amp->x);
    free(amp->healthy);
    free(amp->faulty);
}

bool practice_solve(practice_amp *amp) {
    return solve_point(amp->work, amp->numbers, amp->cold, amp->x).outcome <= SOLVE_CONTINUED;
}

double practice_read(practice_amp *amp, const solve_probe *probe, double *open) {
    solve_probe bare = *probe;
    bare.meter_ohms = INFINITY;
    double without = solve_read(amp->work, amp->numbers, amp->x, &bare, NULL, NULL);
    double with = solve_read_loaded(amp->work, amp->numbers, amp->x, probe);
    if (open) *open = without;
    return isnan(with) ? without : with;
}

/* ---- a good amp ---------------------------------------------------------------------------- */

/* One standard deviation of ln(number) of good parts; 0: it does not vary. */
static double spread_of(const practice_amp *amp, const solve_slot *slot) {
    const circuit_part *part =
        slot->part < 0 ? NULL : circuit_part_at(solve_circuit(amp->system), (size_t)slot->part);
    switch (slot->what) {
    case SOLVE_MAINS:
        return 0.02;
    case SOLVE_OHMS:
        if (!part || part->kind != CIRCUIT_RESISTOR) return 0.05;
        return isfinite(part->tolerance) ? part->tolerance / 2 : 0.05;
    case SOLVE_FARADS:
        return 0.1;
    case SOLVE_EMISSION:
        return 0.08;
    case SOLVE_SCREEN:
        return 0.15;
    case SOLVE_VOLTS:
        return 0.01;
    case SOLVE_HEATER:
        return 0.02;
    default:
        return 0;
    }
}

static void draw_good(practice_amp *amp) {
    for (size_t i = 0; i < solve_slots(amp->system); i++) {
        const solve_slot *slot = solve_slot_at(amp->system, i);
        double far = fmax(-2, fmin(2, base_random_normal(&amp->random)));
        amp->good[i] = solve_nominal(amp->system)[i] * exp(spread_of(amp, slot) * far);
    }
}

/* ---- a fault ------------------------------------------------------------------------------- */

static void put_in(practice_amp *amp, const diagnose_fault *fault, int severity) {
    for (int s = 0; s < fault->sets; s++)
        amp->numbers[fault->slot[s]] = fault->number[s][severity];
}

/* What each place reads now. */
static void read_all(practice_amp *amp, double *volts) {
    for (size_t i = 0; i < diagnose_places(amp->engine); i++)
        volts[i] = practice_read(amp, &diagnose_place_at(amp->engine, i)->probe, NULL);
}

/* By how many deviations of good amps some place reads another value than without the fault. */
static double shows(practice_amp *amp) {
    double most = 0;
    read_all(amp, amp->faulty);
    for (size_t i = 0; i < diagnose_places(amp->engine); i++) {
        const diagnose_place *place = diagnose_place_at(amp->engine, i);
        double error = hypot(place->spread, METER_ERROR * place->healthy) + 0.02;
        double shift = fabs(amp->faulty[i] - amp->healthy[i]);
        if (isfinite(shift)) most = fmax(most, shift / error);
    }
    return most;
}

/* One fault of the catalogue, as often as its prior says; parts only. */
static const diagnose_fault *draw_fault(practice_amp *amp) {
    size_t faults = diagnose_faults(amp->engine);
    double sum = 0;
    for (size_t i = 0; i < faults; i++)
        if (diagnose_fault_at(amp->engine, i)->part >= 0)
            sum += diagnose_fault_at(amp->engine, i)->prior;
    double left = base_random_unit(&amp->random) * sum;
    for (size_t i = 0; i < faults; i++) {
        const diagnose_fault *fault = diagnose_fault_at(amp->engine, i);
        if (fault->part < 0) continue;
        left -= fault->prior;
        if (left <= 0) return fault;
    }
    return NULL;
}

static bool is_new(const practice_amp *amp, const diagnose_fault *fault) {
    for (size_t i = 0; i < amp->faults; i++)
        if (amp->fault[i]->part == fault->part) return false;
    return true;
}

bool practice_put_in(practice_amp *amp) {
    memcpy(amp->numbers, amp->good, solve_slots(amp->system) * sizeof(double));
    for (size_t i = 0; i < amp->faults; i++)
        put_in(amp, amp->fault[i], amp->severity[i]);
    return true;
}

/* A fault counts when it shows by itself, and the amp has an operating point with all of them. */
static bool try_fault(practice_amp *amp, const diagnose_fault *fault, int severity) {
    memcpy(amp->numbers, amp->good, solve_slots(amp->system) * sizeof(double));
    put_in(amp, fault, severity);
    if (!practice_solve(amp) || shows(amp) < SHOWS) return false;
    amp->fault[amp->faults] = fault;
    amp->severity[amp->faults++] = severity;
    practice_put_in(amp);
    if (practice_solve(amp)) return true;
    amp->faults--;
    return false;
}

bool practice_hide(practice_amp *amp, size_t count) {
    draw_good(amp);
    amp->faults = 0;
    practice_put_in(amp);
    if (!practice_solve(amp)) return false;
    read_all(amp, amp->healthy);
    for (int draw = 0; draw < DRAWS && amp->faults < count; draw++) {
        const diagnose_fault *fault = draw_fault(amp);
        if (!fault) return false;
        int severity = (int)(base_random_bits(&amp->random) % (uint64_t)fault->severities);
        if (is_new(amp, fault)) try_fault(amp, fault, severity);
    }
    practice_put_in(amp);
    return amp->faults == count && practice_solve(amp);
}

/* ---- what it was --------------------------------------------------------------------------- */

const char *practice_part_name(const practice_amp *amp, const diagnose_fault *fault) {
    return circuit_part_at(solve_circuit(amp->system), (size_t)fault->part)->name;
}

void practice_what(const practice_amp *amp, size_t index, char *text, size_t size) {
    const diagnose_fault *fault = amp->fault[index];
    char value[32] = "";
    if (fault->mode == DIAGNOSE_LEAKY || fault->mode == DIAGNOSE_PLATE_GRID_LEAK)
        base_value_write(base_value_round(fault->severity[amp->severity[index]], 2), BASE_OHMS,
                         value, sizeof value);
    snprintf(text, size, "%s%s%s", diagnose_mode_name(fault->mode), *value ? ", some " : "", value);
}

bool practice_heal(practice_amp *amp, int part) {
    bool was_it = false;
    for (size_t i = 0; i < amp->faults; i++) {
        if (amp->fault[i]->part != part) continue;
        was_it = true;
        for (size_t k = i + 1; k < amp->faults; k++) {
            amp->fault[k - 1] = amp->fault[k];
            amp->severity[k - 1] = amp->severity[k];
        }
        amp->faults--;
        i--;
    }
    if (was_it) practice_put_in(amp);
    return was_it;
}
