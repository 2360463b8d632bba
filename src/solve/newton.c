/* Newton's method on the amp's equations, with damping; and, where it stalls, continuation. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

#define MOST_STEPS 60
#define CLOSE_A 1e-10      /* Kirchhoff, ten times closer than the contract */
#define CLOSE_PART 1e-8    /* of the largest current at the node */
#define CLOSE_VOLTS 1e-4   /* last step, relative to 1 V + |x| */
#define LONGEST_STEP 500.0 /* V that one step may move an unknown */

const char *solve_outcome_text(solve_outcome outcome) {
    static const char *const text[] = {
        [SOLVE_CONVERGED] = "solved",
        [SOLVE_CONTINUED] = "solved by continuation",
        [SOLVE_STALLED] = "no operating point was found",
        [SOLVE_SINGULAR] = "the equations are singular",
        [SOLVE_NOT_FINITE] = "a number is missing, not positive or beyond all sense",
        [SOLVE_NO_MEMORY] = "no memory left",
    };
    return text[outcome];
}

/* ---- memory ---- */

static bool take_arrays(solve_work *work) {
    const solve_system *system = work->system;
    size_t n = (size_t)system->unknowns, nz = (size_t)system->nonzeros + 1;
    double **lists[] = {&work->residual, &work->flow,    &work->step,
                        &work->trial,    &work->adjoint, &work->best};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (!(*lists[i] = base_arena_take(work->arena, n, sizeof(double)))) return false;
    work->value = base_arena_take(work->arena, nz, sizeof(double));
    work->fixed = base_arena_take(work->arena, nz, sizeof(double));
    work->siemens = base_arena_take(work->arena, system->branches + 1, sizeof(double));
    work->emf = base_arena_take(work->arena, system->branches + 1, sizeof(double));
    work->wave = base_arena_take(work->arena, system->cycles + 1, sizeof *work->wave);
    work->cycle_point = base_arena_take(work->arena, system->cycles + 1, sizeof *work->cycle_point);
    return work->value && work->fixed && work->siemens && work->emf && work->wave &&
           work->cycle_point;
}

solve_work *solve_work_new(const solve_system *system) {
    base_arena *arena = base_arena_new();
    solve_work *work = arena ? base_arena_take(arena, 1, sizeof *work) : NULL;
    if (!work) {
        base_arena_free(arena);
        return NULL;
    }
    *work = (solve_work){.system = system, .arena = arena, .probe_plus = -1, .probe_minus = -1};
    work->common = system->common;
    if (take_arrays(work)) return work;
    solve_work_free(work);
    return NULL;
}

void solve_work_free(solve_work *work) {
    if (!work) return;
    if (work->numeric) klu_free_numeric(&work->numeric, &work->common);
    base_arena_free(work->arena);
}

/* ---- the linear step ---- */

/* Refactors on the old pivots, or from the start where those fail or `anew` asks for it. */
bool solve_factor(solve_work *work, bool anew) {
    const solve_system *system = work->system;
    int *start = system->column_start, *row = system->row;
    if (work->numeric && !anew &&
        klu_refactor(start, row, work->value, system->symbolic, work->numeric, &work->common) &&
        work->common.status == KLU_OK)
        return true;
    if (work->numeric) klu_free_numeric(&work->numeric, &work->common);
    work->numeric = klu_factor(start, row, work->value, system->symbolic, &work->common);
    return work->numeric != NULL && work->common.status == KLU_OK;
}

static bool newton_step(solve_work *work, bool anew) {
    const solve_system *system = work->system;
    if (!solve_factor(work, anew)) return false;
    for (int i = 0; i < system->unknowns; i++)
        work->step[i] = -work->residual[i];
    klu_solve(system->symbolic, work->numeric, system->unknowns, 1, work->step, &work->common);
    for (int i = 0; i < system->unknowns; i++)
        if (!isfinite(work->step[i])) return false;
    return true;
}

static solve_outcome why_no_step(const solve_work *work) {
    return work->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY : SOLVE_SINGULAR;
}

/* ---- damping ---- */

/* How far off: the largest error in volts if each node stood alone. */
static double merit(const solve_work *work) {
    const solve_system *system = work->system;
    double worst = 0;
    for (int i = 0; i < system->unknowns; i++) {
        double own = fabs(work->value[system->place[i]]);
        double volts = fabs(work->residual[i]) / own;
        if (!(volts <= worst)) worst = volts;
    }
    return worst;
}

static bool close_enough(const solve_work *work) {
    for (int i = 0; i < work->system->unknowns; i++)
        if (!(fabs(work->residual[i]) <= CLOSE_A + CLOSE_PART * work->flow[i])) return false;
    return true;
}

/* Each unknown on its own: one node left floating must not hold back the rest. */
static bool limit_step(solve_work *work) {
    bool limited = false;
    for (int i = 0; i < work->system->unknowns; i++)
        if (fabs(work->step[i]) > LONGEST_STEP) {
            work->step[i] = copysign(LONGEST_STEP, work->step[i]);
            limited = true;
        }
    return limited;
}

static bool small_step(const solve_work *work, const double *x) {
    for (int i = 0; i < work->system->unknowns; i++)
        if (fabs(work->step[i]) > CLOSE_VOLTS * (1 + fabs(x[i]))) return false;
    return true;
}

static void move(solve_work *work, const double *from, double part, double *to) {
    for (int i = 0; i < work->system->unknowns; i++)
        to[i] = from[i] + part * work->step[i];
}

/* Takes the step, or half of it where the whole makes things worse. To halve again and again would
 * creep: a tube that cuts off, or a grid left floating, must first get worse (tried: one halving
 * fails in no fault of the library's amps where five fail in one of ten). Returns the part taken.
 */
static double damped_move(solve_work *work, const double *numbers, double *x, double before) {
    int n = work->system->unknowns;
    memcpy(work->trial, x, (size_t)n * sizeof *x);
    move(work, work->trial, 1, x);
    solve_evaluate(work, numbers, x);
    if (merit(work) <= fmax(0.9 * before, 1e-9)) return 1;
    move(work, work->trial, 0.5, x);
    solve_evaluate(work, numbers, x);
    return 0.5;
}

static int worst_unknown(const solve_work *work) {
    int worst = 0;
    double most = -1;
    for (int i = 0; i < work->system->unknowns; i++) {
        double excess = fabs(work->residual[i]) / (CLOSE_A + CLOSE_PART * work->flow[i]);
        if (!(excess <= most)) {
            most = excess;
            worst = i;
        }
    }
    return worst;
}

static int node_near(const solve_system *system, int unknown) {
    if (unknown < 0 || unknown >= system->unknowns) return -1;
    return system->node_of[unknown];
}

static solve_result result_of(const solve_work *work, solve_outcome outcome, int steps) {
    solve_result result = {.outcome = outcome, .steps = steps, .where = -1, .outside_part = -1};
    for (int i = 0; i < work->system->unknowns; i++)
        result.residual = fmax(result.residual, fabs(work->residual[i]));
    bool singular = work->common.status == KLU_SINGULAR;
    if (outcome == SOLVE_STALLED || outcome == SOLVE_SINGULAR)
        result.where =
            node_near(work->system, singular ? work->common.singular_col : worst_unknown(work));
    return result;
}

/* Newton from x, in place, for at most `most` steps. solve_fix has been done. */
solve_result solve_newton(solve_work *work, const double *numbers, double *x, int most) {
    solve_evaluate(work, numbers, x);
    bool anew = false;
    for (int step = 1; step <= most; step++) {
        double before = merit(work);
        if (!newton_step(work, anew)) return result_of(work, why_no_step(work), step);
        bool limited = limit_step(work);
        double part = damped_move(work, numbers, x, before);
        if (part == 1 && !limited && close_enough(work) && small_step(work, x))
            return result_of(work, SOLVE_CONVERGED, step);
        anew = part < 1; /* a poor step may come from stale pivots */
    }
    return result_of(work, SOLVE_STALLED, most);
}

/* ---- continuation ---- */

/* Each unknown is held back by a conductance to where it was, which is then let go: the way of an
 * amp whose every node has a capacitor to ground. Always moves towards the operating point. */
static solve_result continuation(solve_work *work, const double *numbers, double *x) {
    int n = work->system->unknowns, steps = 0;
    solve_result result = {.outcome = SOLVE_STALLED};
    memcpy(work->best, x, (size_t)n * sizeof *x);
    work->anchor = work->best;
    double bound = 1e-2, hold = 0.3;
    for (int round = 0; round < 150 && bound > 1e-13; round++) {
        work->bound = bound;
        result = solve_newton(work, numbers, x, 25);
        steps += result.steps;
        if (result.outcome == SOLVE_CONVERGED) {
            memcpy(work->best, x, (size_t)n * sizeof *x);
            bound *= hold;
            hold = fmax(0.5 * hold, 0.05);
        } else {
            memcpy(x, work->best, (size_t)n * sizeof *x);
            bound = fmin(bound * 8, 10);
            hold = 0.7;
        }
    }
    work->bound = 0;
    result = solve_newton(work, numbers, x, MOST_STEPS);
    result.steps += steps;
    if (result.outcome == SOLVE_CONVERGED) result.outcome = SOLVE_CONTINUED;
    return result;
}

/* ---- the operating point ---- */

/* A part or a state of any amp lies far within these; past them doubles lose Kirchhoff's law. */
#define BEYOND_SENSE 1e20

int solve_not_finite(const solve_system *system, const double *numbers) {
    for (size_t i = 0; i < system->slots; i++) {
        bool zero_is_fine =
            system->slot[i].what == SOLVE_GAS || system->slot[i].what == SOLVE_VOLTS ||
            system->slot[i].what == SOLVE_EMISSION || system->slot[i].what == SOLVE_MAINS;
        bool sense = numbers[i] >= 1 / BEYOND_SENSE && numbers[i] <= BEYOND_SENSE;
        if (!sense && !(numbers[i] == 0 && zero_is_fine)) return (int)i;
    }
    return -1;
}

static void look_outside(solve_work *work, const double *x, solve_result *result) {
    for (size_t i = 0; i < work->system->units; i++) {
        const solve_unit *unit = &work->system->unit[i];
        tube_volts volts;
        tube_point point;
        solve_unit_volts(unit, x, &volts);
        tube_current(unit->type, &TUBE_BOGEY, &volts, &point);
        if (tube_in_region(unit->type, &volts, point.plate)) continue;
        result->outside = true;
        result->outside_part = unit->part;
        return;
    }
}

solve_result solve_point(solve_work *work, const double *numbers, const double *start, double *x) {
    size_t size = (size_t)work->system->unknowns * sizeof *x;
    int bad = solve_not_finite(work->system, numbers);
    if (bad >= 0)
        return (solve_result){.outcome = SOLVE_NOT_FINITE, .where = bad, .outside_part = -1};
    work->bound = 0;
    solve_fix(work, numbers);
    if (!start)
        memset(x, 0, size);
    else if (start != x)
        memcpy(x, start, size);
    solve_result result = solve_newton(work, numbers, x, start ? 30 : MOST_STEPS);
    if (result.outcome != SOLVE_CONVERGED && result.outcome != SOLVE_NO_MEMORY) {
        memset(x, 0, size);
        memset(work->wave, 0, work->system->cycles * sizeof *work->wave);
        int before = result.steps;
        result = continuation(work, numbers, x);
        result.steps += before;
    }
    if (result.outcome == SOLVE_CONVERGED || result.outcome == SOLVE_CONTINUED)
        look_outside(work, x, &result);
    return result;
}
