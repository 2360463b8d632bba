/* The output stage: which tubes it has, and a cycle of it with the mean of every current settled.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "output_impl.h"

#define ROUNDS 60
#define CLOSE_A 2e-7   /* a mean current that has settled */
#define SPEAKER_DC 0.8 /* parts.c */
#define HARMONICS (SOLVE_HARMONICS + 3)

/* ---- which tubes ---- */

/* On which side of an output transformer is this unit's plate? -1: on none. */
static int side_of(const solve_system *system, const solve_unit *unit, int *transformer) {
    const circuit_part *tube = circuit_part_at(system->amp, (size_t)unit->part);
    int plate = tube->end[unit->type->pin[TUBE_PLATE]];
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind != CIRCUIT_OUTPUT_TRANSFORMER || plate <= 0) continue;
        *transformer = (int)i;
        if (part->end[0] == plate) return 0;
        if (part->end[2] == plate) return 1;
    }
    return -1;
}

static void find_tubes(solve_output *stage) {
    for (size_t i = 0; i < stage->system->units && stage->tubes < SOLVE_OUTPUT_TUBES; i++) {
        const solve_unit *unit = &stage->system->unit[i];
        int transformer, side = side_of(stage->system, unit, &transformer);
        if (side < 0 || unit->node[2] < 0) continue;
        if (stage->tubes > 0 && transformer != stage->transformer) continue;
        stage->transformer = transformer;
        stage->tube[stage->tubes] = (output_tube){.unit = i, .side = side};
        stage->node[3 * stage->tubes] = unit->node[0];
        stage->node[3 * stage->tubes + 1] = unit->node[1];
        stage->node[3 * stage->tubes + 2] = unit->node[3];
        stage->tubes++;
    }
    stage->ports = 3 * stage->tubes;
}

static void find_speakers(solve_output *stage) {
    const solve_system *system = stage->system;
    for (size_t i = 0; i < circuit_parts(system->amp) && stage->speakers < OUTPUT_SPEAKERS; i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind != CIRCUIT_SPEAKER || part->end[0] < 0 || part->end[1] < 0) continue;
        stage->speaker[stage->speakers++] =
            (output_speaker){(int)i, solve_dc(system, part->end[0]), solve_dc(system, part->end[1]),
                             solve_slot_find(system, (int)i, SOLVE_OHMS, 0)};
    }
}

/* What comes before the output tubes is still, so that no feedback drives their grids: those follow
 * the drive alone. */
static void silence(solve_output *stage) {
    for (size_t i = 0; i < stage->system->units; i++) {
        bool own = false;
        for (int k = 0; k < stage->tubes; k++)
            own = own || stage->tube[k].unit == i;
        if (!own) stage->signal->gain[i] = 0;
    }
}

/* ---- making it ---- */

static bool make(solve_output *stage) {
    size_t size = (size_t)stage->system->unknowns;
    stage->x = base_arena_take(stage->arena, size, sizeof(double));
    stage->inject = base_arena_take(stage->arena, size, sizeof(double));
    stage->work = solve_work_new(stage->system);
    stage->signal = solve_signal_new(stage->system);
    if (!stage->x || !stage->inject || !stage->work || !stage->signal) return false;
    silence(stage);
    return true;
}

solve_output *solve_output_new(const solve_system *system, int *tubes) {
    base_arena *arena = base_arena_new();
    solve_output *stage = arena ? base_arena_take(arena, 1, sizeof *stage) : NULL;
    *tubes = -1;
    if (!stage) {
        base_arena_free(arena);
        return NULL;
    }
    *stage = (solve_output){.system = system, .arena = arena};
    find_tubes(stage);
    find_speakers(stage);
    *tubes = stage->tubes;
    if (stage->tubes > 0 && make(stage)) return stage;
    solve_output_free(stage);
    return NULL;
}

void solve_output_free(solve_output *stage) {
    if (!stage) return;
    solve_signal_free(stage->signal);
    solve_work_free(stage->work);
    base_arena_free(stage->arena);
}

/* ---- the mean point ---- */

/* The mean currents beyond the curves' at the mean point, as amperes that leave each unknown.
 * Returns how far they are from those set before, and goes part of the way. */
static double take_means(solve_output *stage, double part) {
    double change = 0;
    for (int i = 0; i < stage->ports; i++) {
        double more = -stage->mean[i] - stage->mean_set[i];
        change = fmax(change, fabs(more));
        stage->mean_set[i] += part * more;
    }
    memset(stage->inject, 0, (size_t)stage->system->unknowns * sizeof(double));
    for (int i = 0; i < stage->ports; i++)
        if (stage->node[i] >= 0) stage->inject[stage->node[i]] += stage->mean_set[i];
    return change;
}

static solve_outcome mean_point(solve_output *stage, const double *numbers) {
    stage->work->inject = stage->inject;
    solve_result result =
        solve_point(stage->work, numbers, stage->started ? stage->x : NULL, stage->x);
    stage->started = result.outcome <= SOLVE_CONTINUED;
    return stage->started ? SOLVE_CONVERGED : result.outcome;
}

static solve_outcome settle(solve_output *stage, const double *numbers, double drive) {
    double part = 1, last = INFINITY;
    for (int round = 0; round < ROUNDS; round++) {
        solve_outcome outcome = mean_point(stage, numbers);
        if (outcome != SOLVE_CONVERGED) return outcome;
        if (!output_linearise(stage, numbers))
            return stage->signal->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY
                                                                     : SOLVE_SINGULAR;
        if (!output_wave(stage, drive)) return SOLVE_STALLED;
        double change = take_means(stage, part);
        if (change < CLOSE_A) return SOLVE_CONVERGED;
        if (change > 0.7 * last) part = fmax(0.6 * part, 0.1);
        last = change;
    }
    return SOLVE_STALLED;
}

/* ---- what comes of it ---- */

static void sum_tube(const solve_output *stage, double drive, int k, solve_output_tube *out) {
    const output_tube *tube = &stage->tube[k];
    const solve_unit *unit = &stage->system->unit[tube->unit];
    *out = (solve_output_tube){
        .part = unit->part, .unit = unit->unit, .side = tube->side, .least_a = INFINITY};
    for (int s = 0; s < SOLVE_SAMPLES; s++) {
        const double *at = stage->volts[s] + 3 * k;
        double grid = drive * sin(2 * M_PI * s / SOLVE_SAMPLES);
        tube_volts volts = {tube->rest.plate + at[0] - at[2], tube->rest.screen + at[1] - at[2],
                            tube->rest.grid + (tube->side ? -grid : grid) - at[2]};
        tube_point now;
        tube_current(unit->type, &tube->state, &volts, &now);
        out->plate_v[s] = volts.plate;
        out->plate_a[s] = now.plate;
        out->grid_v[s] = volts.grid;
        out->mean_plate_v += volts.plate / SOLVE_SAMPLES;
        out->mean_plate_a += now.plate / SOLVE_SAMPLES;
        out->mean_screen_a += now.screen / SOLVE_SAMPLES;
        out->mean_grid_v += volts.grid / SOLVE_SAMPLES;
        out->plate_w += volts.plate * now.plate / SOLVE_SAMPLES;
        out->screen_w += volts.screen * now.screen / SOLVE_SAMPLES;
        out->least_a = fmin(out->least_a, now.plate);
        out->most_a = fmax(out->most_a, now.plate);
    }
}

static void sum_speakers(const solve_output *stage, const double *numbers,
                         solve_output_cycle *out) {
    for (int n = 0; n < stage->speakers; n++) {
        double ohms = numbers[stage->speaker[n].slot] / SPEAKER_DC;
        for (int s = 0; s < SOLVE_SAMPLES; s++) {
            double volts = 0;
            for (int j = 0; j < stage->ports; j++)
                volts += stage->reach[n][j] * (stage->extra[s][j] - stage->mean[j]);
            if (n == 0) out->speaker_v[s] = volts;
            out->watts += volts * volts / ohms / SOLVE_SAMPLES;
        }
    }
}

/* Fourier's sums over the cycle. */
static void sum_harmonics(solve_output_cycle *out) {
    double above = 0;
    for (int h = 1; h <= HARMONICS; h++) {
        double complex sum = 0;
        for (int s = 0; s < SOLVE_SAMPLES; s++)
            sum += out->speaker_v[s] * cexp(-2 * M_PI * I * h * s / SOLVE_SAMPLES);
        out->harmonic[h] = 2 * cabs(sum) / SOLVE_SAMPLES;
        if (h > 1) above += out->harmonic[h] * out->harmonic[h];
    }
    out->distortion = out->harmonic[1] > 0 ? sqrt(above) / out->harmonic[1] : NAN;
}

solve_outcome solve_output_at(solve_output *stage, const double *numbers, double drive,
                              solve_output_cycle *out) {
    solve_outcome outcome = settle(stage, numbers, drive);
    if (outcome != SOLVE_CONVERGED) {
        stage->started = false;
        memset(stage->mean, 0, sizeof stage->mean);
        memset(stage->mean_set, 0, sizeof stage->mean_set);
        return outcome;
    }
    const circuit_part *transformer =
        circuit_part_at(stage->system->amp, (size_t)stage->transformer);
    *out = (solve_output_cycle){.tubes = stage->tubes};
    for (int k = 0; k < stage->tubes; k++) {
        sum_tube(stage, drive, k, &out->tube[k]);
        out->supply_a += out->tube[k].mean_plate_a;
    }
    out->supply_v = solve_at(stage->x, solve_dc(stage->system, transformer->end[1]));
    sum_speakers(stage, numbers, out);
    sum_harmonics(out);
    return SOLVE_CONVERGED;
}
