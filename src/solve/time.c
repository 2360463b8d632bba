/* An amp in time: making it, starting it, running it on. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "time_impl.h"

/* ---- making it ---- */

static bool take_vectors(solve_run *run) {
    time_step *s = &run->step;
    size_t n = (size_t)run->net->unknowns;
    double **lists[] = {&s->charge,      &s->middle_charge, &s->next_charge,   &s->x,
                        &s->middle,      &s->next,          &s->flow,          &s->next_flow,
                        &s->middle_flow, &s->before,        &s->before_middle, &s->right,
                        &run->residual,  &run->move,        &run->weight};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (!(*lists[i] = base_arena_take(run->arena, n, sizeof(double)))) return false;
    size_t values = (size_t)run->net->pattern.nonzeros + 1;
    run->fixed = base_arena_take(run->arena, values, sizeof(double));
    run->value = base_arena_take(run->arena, values, sizeof(double));
    return run->fixed && run->value;
}

static bool take_elements(solve_run *run) {
    const solve_system *system = run->system;
    base_arena *arena = run->arena;
    size_t heats = system->units + system->cycles, pairs = system->diodes + system->cycles;
    run->numbers = base_arena_take(arena, system->slots, sizeof(double));
    run->heat = base_arena_take(arena, heats + 1, sizeof *run->heat);
    run->emission = base_arena_take(arena, heats + 1, sizeof(double));
    run->drive = base_arena_take(arena, system->cycles + 1, sizeof *run->drive);
    run->place = base_arena_take(arena, system->units + 1, sizeof *run->place);
    run->unit_node = base_arena_take(arena, system->units + 1, sizeof *run->unit_node);
    run->tangent = base_arena_take(arena, system->units + 1, sizeof *run->tangent);
    run->heeded = base_arena_take(arena, system->cycles + 1, sizeof(double));
    run->pair = base_arena_take(arena, pairs + 1, sizeof *run->pair);
    return run->numbers && run->heat && run->emission && run->drive && run->place &&
           run->unit_node && run->tangent && run->heeded && run->pair;
}

static void number_units(solve_run *run) {
    for (size_t i = 0; i < run->system->units; i++)
        for (int k = 0; k < 4; k++) {
            int unknown = run->system->unit[i].node[k];
            run->unit_node[i][k] = unknown < 0 ? -1 : run->net->of_unknown[unknown];
        }
}

static bool make(solve_run *run) {
    run->net = solve_signal_new(run->system);
    run->work = solve_work_new(run->system);
    if (!run->net || !run->work || !take_vectors(run) || !take_elements(run)) return false;
    memcpy(run->numbers, run->system->nominal, run->system->slots * sizeof(double));
    number_units(run);
    time_heats_make(run);
    time_places(run);
    solve_pattern *pattern = &run->net->pattern;
    run->symbolic =
        klu_analyze(pattern->unknowns, pattern->column_start, pattern->row, &run->common);
    return run->symbolic != NULL;
}

solve_run *solve_run_new(const solve_system *system) {
    base_arena *arena = base_arena_new();
    solve_run *run = arena ? base_arena_take(arena, 1, sizeof *run) : NULL;
    if (!run) {
        base_arena_free(arena);
        return NULL;
    }
    *run = (solve_run){.system = system, .arena = arena};
    run->hertz = circuit_about_of(system->amp)->mains_hertz;
    klu_defaults(&run->common);
    run->common.scale = -1;
    run->common.tol = 0.1; /* as the small signals' */
    if (make(run)) return run;
    solve_run_free(run);
    return NULL;
}

void solve_run_free(solve_run *run) {
    if (!run) return;
    if (run->numeric) klu_free_numeric(&run->numeric, &run->common);
    if (run->symbolic) klu_free_symbolic(&run->symbolic, &run->common);
    solve_signal_free(run->net);
    solve_work_free(run->work);
    base_arena_free(run->arena);
}

/* ---- starting it ---- */

/* A winding's or coil's current at an operating point, from the volts across its ohms. */
static double branch_amperes(const solve_run *run, int index, const double *x) {
    const solve_branch *branch = &run->system->branch[index];
    return (solve_at(x, branch->a) - solve_at(x, branch->b)) /
           solve_branch_ohms(branch, run->numbers);
}

static void start_hot(solve_run *run, const double *x) {
    const solve_signal *net = run->net;
    for (int i = 0; i < run->system->unknowns; i++)
        if (net->of_unknown[i] >= 0) run->step.x[net->of_unknown[i]] = x[i];
    for (size_t i = 0; i < net->esrs; i++)
        run->step.x[net->esr[i].inner] = solve_at(run->step.x, net->esr[i].a);
    for (size_t i = 0; i < net->coils; i++)
        run->step.x[net->coil[i].current] = branch_amperes(run, net->coil[i].branch, x);
    for (size_t i = 0; i < net->transformers; i++) {
        const signal_transformer *t = &net->transformer[i];
        const double turns[3] = {t->turns, -t->turns, t->sense};
        for (int k = 0; k < 3; k++) {
            if (t->branch[k] < 0) continue;
            double current = branch_amperes(run, t->branch[k], x);
            run->step.x[t->current[k]] = current;
            run->step.x[t->flux] += turns[k] * current;
        }
    }
}

/* On numbers that have changed: all that follows from them, and the volts of the next instant. */
static solve_outcome take_numbers(solve_run *run) {
    if (solve_not_finite(run->system, run->numbers) >= 0) return SOLVE_NOT_FINITE;
    for (size_t i = 0; i < run->system->units; i++)
        run->tangent[i].emission = -1;
    time_linear(run);
    time_drives(run);
    return time_heats_aim(run);
}

solve_outcome solve_run_start(solve_run *run, const solve_course *course, const double *x) {
    size_t heats = run->system->units + run->system->cycles;
    run->course = *course;
    run->change = 0;
    run->seconds = run->since = 0;
    run->started_hot = x != NULL || course->warm;
    run->count = (solve_run_count){0};
    memset(run->heeded, 0, run->system->cycles * sizeof(double));
    memcpy(run->numbers, course->numbers, run->system->slots * sizeof(double));
    for (size_t i = 0; i < heats; i++)
        run->heat[i].start = run->heat[i].target = 0;
    solve_outcome outcome = take_numbers(run);
    if (outcome != SOLVE_CONVERGED) return outcome;
    time_heats_start(run, run->started_hot);
    memset(run->step.x, 0, (size_t)run->net->unknowns * sizeof(double));
    if (x) start_hot(run, x);
    return time_settle(run);
}

/* ---- running it ---- */

static solve_outcome make_changes(solve_run *run) {
    const solve_course *course = &run->course;
    double now = course->change[run->change].seconds;
    while (run->change < course->changes && course->change[run->change].seconds <= now) {
        const solve_change *change = &course->change[run->change++];
        run->numbers[change->slot] = change->number;
    }
    solve_outcome outcome = take_numbers(run);
    return outcome == SOLVE_CONVERGED ? time_settle(run) : outcome;
}

solve_outcome solve_run_to(solve_run *run, double seconds, solve_look *look, void *own) {
    const solve_course *course = &run->course;
    const double close = 1e-12;
    while (run->seconds < seconds - close) {
        bool changes = run->change < course->changes;
        double next = changes ? course->change[run->change].seconds : INFINITY;
        solve_outcome outcome = next <= run->seconds + close
                                    ? make_changes(run)
                                    : time_advance(run, fmin(seconds, next));
        if (outcome != SOLVE_CONVERGED) return outcome;
        if (look && !look(own, run)) break;
    }
    return SOLVE_CONVERGED;
}

/* ---- looking at it ---- */

double solve_run_seconds(const solve_run *run) {
    return run->seconds;
}

double solve_run_volts(const solve_run *run, int node) {
    if (node == 0) return 0;
    int unknown = solve_dc(run->system, node);
    return unknown < 0 ? NAN : run->step.x[run->net->of_unknown[unknown]];
}

solve_run_count solve_run_counted(const solve_run *run) {
    return run->count;
}
