/* Small signals: gain and phase on the solved operating point. */
#include <math.h>
#include <string.h>

#include "signal_impl.h"

#define SENSE_HERTZ 400.0 /* where feedback is judged: a usual test tone, in every amp's middle */

/* ---- making it ---- */

/* Counts the entries, names them, and makes room for their values. */
static bool make_pattern(solve_signal *signal, const signal_point *at) {
    solve_pattern *pattern = &signal->pattern;
    base_arena *arena = signal->arena;
    signal_stamp(signal, at);
    *pattern = (solve_pattern){.unknowns = signal->unknowns, .entries = signal->cursor};
    pattern->row_name = base_arena_take(arena, pattern->entries, sizeof(int));
    pattern->column_name = base_arena_take(arena, pattern->entries, sizeof(int));
    if (!pattern->row_name || !pattern->column_name) return false;
    signal_stamp(signal, at);
    if (!solve_compress(arena, pattern)) return false;
    size_t values = (size_t)pattern->nonzeros + 1;
    signal->c = base_arena_take(arena, values, sizeof(double));
    signal->g = base_arena_take(arena, values, sizeof(double));
    signal->matrix = base_arena_take(arena, 2 * values, sizeof(double));
    signal->volts = base_arena_take(arena, 2 * (size_t)signal->unknowns, sizeof(double));
    signal->other = base_arena_take(arena, 2 * (size_t)signal->unknowns, sizeof(double));
    if (!signal->c || !signal->g || !signal->matrix || !signal->volts || !signal->other)
        return false;
    signal->symbolic =
        klu_analyze(signal->unknowns, pattern->column_start, pattern->row, &signal->common);
    return signal->symbolic != NULL;
}

/* Ohms looking into the secondary, with its first end in phase with the first plate or against it.
 */
static double ohms_into(solve_signal *signal, const signal_point *at,
                        signal_transformer *transformer, double sense) {
    const solve_branch *branch = &signal->system->branch[transformer->branch[2]];
    int plus = branch->a < 0 ? -1 : signal->of_unknown[branch->a];
    int minus = branch->b < 0 ? -1 : signal->of_unknown[branch->b];
    transformer->sense = sense;
    solve_signal_set(signal, at->work, at->numbers, at->x);
    if (!signal_factor(signal, 2 * M_PI * SENSE_HERTZ * I)) return INFINITY;
    memset(signal->volts, 0, 2 * (size_t)signal->unknowns * sizeof(double));
    if (plus >= 0) signal->volts[2 * plus] = 1;
    if (minus >= 0) signal->volts[2 * minus] = -1;
    signal_solve(signal);
    return cabs(signal_at(signal->volts, plus) - signal_at(signal->volts, minus));
}

/* A drawing does not say which way round the secondary is. The builder found the way in which the
 * amp does not howl: feedback is negative, and lowers the ohms that the speaker looks into. */
static void find_senses(solve_signal *signal, const signal_point *at) {
    for (size_t i = 0; i < signal->transformers; i++) {
        signal_transformer *transformer = &signal->transformer[i];
        if (transformer->branch[2] < 0) continue;
        double against = ohms_into(signal, at, transformer, -1);
        double with = ohms_into(signal, at, transformer, 1);
        transformer->sense = against < with * (1 - 1e-6) ? -1 : 1;
    }
}

static bool make(solve_signal *signal) {
    const solve_system *system = signal->system;
    const double *numbers = solve_nominal(system);
    solve_work *work = solve_work_new(system);
    double *x = base_arena_take(signal->arena, (size_t)system->unknowns, sizeof *x);
    bool made = false;
    if (work && x && signal_make(signal)) {
        solve_result result = solve_point(work, numbers, NULL, x);
        signal_point at = {work, numbers, x};
        made = result.outcome != SOLVE_NO_MEMORY && make_pattern(signal, &at);
        if (made) find_senses(signal, &at);
    }
    solve_work_free(work);
    return made;
}

solve_signal *solve_signal_new(const solve_system *system) {
    base_arena *arena = base_arena_new();
    solve_signal *signal = arena ? base_arena_take(arena, 1, sizeof *signal) : NULL;
    if (!signal) {
        base_arena_free(arena);
        return NULL;
    }
    *signal = (solve_signal){.system = system, .arena = arena};
    klu_defaults(&signal->common);
    signal->common.tol = 0.1; /* rows of currents beside rows of volts: size before sparsity */
    if (make(signal)) return signal;
    solve_signal_free(signal);
    return NULL;
}

void solve_signal_free(solve_signal *signal) {
    if (!signal) return;
    if (signal->numeric) klu_z_free_numeric(&signal->numeric, &signal->common);
    if (signal->symbolic) klu_free_symbolic(&signal->symbolic, &signal->common);
    base_arena_free(signal->arena);
}

/* ---- numbers, factors, solutions ---- */

void solve_signal_set(solve_signal *signal, solve_work *work, const double *numbers,
                      const double *x) {
    size_t size = ((size_t)signal->pattern.nonzeros + 1) * sizeof(double);
    memset(signal->g, 0, size);
    memset(signal->c, 0, size);
    signal_stamp(signal, &(signal_point){work, numbers, x});
}

void solve_signal_gain(solve_signal *signal, int part, int unit, double gain) {
    const solve_system *system = signal->system;
    for (size_t i = 0; i < system->units; i++)
        if (system->unit[i].part == part && system->unit[i].unit == unit) signal->gain[i] = gain;
}

/* The pivots that serve at 20 Hz need not serve at 20 kHz: factored afresh each time. */
bool signal_factor(solve_signal *signal, double complex s) {
    solve_pattern *pattern = &signal->pattern;
    for (int i = 0; i < pattern->nonzeros; i++) {
        double complex value = signal->g[i] + s * signal->c[i];
        signal->matrix[2 * i] = creal(value);
        signal->matrix[2 * i + 1] = cimag(value);
    }
    if (signal->numeric) klu_z_free_numeric(&signal->numeric, &signal->common);
    signal->numeric = klu_z_factor(pattern->column_start, pattern->row, signal->matrix,
                                   signal->symbolic, &signal->common);
    return signal->numeric && signal->common.status == KLU_OK;
}

void signal_solve(solve_signal *signal) {
    klu_z_solve(signal->symbolic, signal->numeric, signal->unknowns, 1, signal->volts,
                &signal->common);
}

static int unknown_of(const solve_signal *signal, int node) {
    int unknown = solve_dc(signal->system, node);
    return unknown < 0 ? -1 : signal->of_unknown[unknown];
}

/* A scope's probe is one more admittance from its node to ground: on the diagonal. */
static void join_scope(solve_signal *signal, const solve_scope *scope, double sign) {
    int unknown = scope ? unknown_of(signal, scope->node) : -1;
    if (unknown < 0) return;
    int place = signal->pattern.place[unknown];
    signal->g[place] += isfinite(scope->ohms) ? sign / scope->ohms : 0;
    signal->c[place] += sign * scope->farads;
}

static solve_outcome not_factored(const solve_signal *signal) {
    return signal->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY : SOLVE_SINGULAR;
}

/* One ampere into the source's ends gives the ohms Z seen there; the source's one volt behind its
 * own ohms then drives 1 / (ohms + Z). */
solve_outcome solve_signal_at(solve_signal *signal, const solve_source *source,
                              const solve_scope *scope, double hertz) {
    int plus = unknown_of(signal, source->node), minus = unknown_of(signal, source->back);
    join_scope(signal, scope, 1);
    bool factored = signal_factor(signal, 2 * M_PI * hertz * I);
    join_scope(signal, scope, -1);
    if (!factored) return not_factored(signal);
    memset(signal->volts, 0, 2 * (size_t)signal->unknowns * sizeof(double));
    if (plus >= 0) signal->volts[2 * plus] = 1;
    if (minus >= 0) signal->volts[2 * minus] = -1;
    signal_solve(signal);
    double complex ohms = signal_at(signal->volts, plus) - signal_at(signal->volts, minus);
    double complex amperes = 1 / (source->ohms + ohms);
    for (int i = 0; i < signal->unknowns; i++)
        signal_put(signal->volts, i, amperes * signal_at(signal->volts, i));
    return SOLVE_CONVERGED;
}

double _Complex solve_signal_volts(const solve_signal *signal, int node) {
    if (node == 0) return 0;
    int unknown = unknown_of(signal, node);
    return unknown < 0 ? NAN : signal_at(signal->volts, unknown);
}

/* ---- where a signal goes in, and where it is looked for ---- */

void solve_plug_in(const solve_system *system, int jack, double *numbers) {
    int contact = solve_slot_find(system, jack, SOLVE_CONTACT, 2);
    if (contact >= 0) numbers[contact] = SOLVE_OPEN;
}

static void add_stage(solve_stage stage, solve_stage *stages, size_t room, size_t *count) {
    if (*count < room) stages[*count] = stage;
    ++*count;
}

static void add_tube(const solve_system *system, const solve_unit *unit, solve_stage *stages,
                     size_t room, size_t *count) {
    const circuit_part *part = circuit_part_at(system->amp, (size_t)unit->part);
    static const tube_electrode look[2] = {TUBE_PLATE, TUBE_CATHODE};
    for (int k = 0; k < 2; k++) {
        int pin = unit->type->pin[look[k]];
        if (part->end[pin] <= 0 || solve_dc(system, part->end[pin]) < 0) continue;
        add_stage((solve_stage){unit->part, unit->unit, pin, part->end[pin], 0}, stages, room,
                  count);
    }
}

size_t solve_stages(const solve_system *system, solve_stage *stages, size_t room) {
    size_t count = 0;
    for (size_t i = 0; i < system->units; i++)
        if (system->unit[i].node[2] >= 0) add_tube(system, &system->unit[i], stages, room, &count);
    for (size_t i = 0; i < circuit_parts(system->amp); i++) {
        const circuit_part *part = circuit_part_at(system->amp, i);
        if (part->kind == CIRCUIT_SPEAKER && part->end[0] >= 0 && part->end[1] >= 0)
            add_stage((solve_stage){(int)i, -1, 0, part->end[0], part->end[1]}, stages, room,
                      &count);
    }
    return count;
}
