/* The currents at each unknown and their derivatives. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

double solve_branch_ohms(const solve_branch *branch, const double *numbers) {
    double ohms = branch->factor * numbers[branch->slot[0]];
    for (int k = 1; k < branch->slots; k++)
        ohms += numbers[branch->slot[k]];
    return fmax(ohms, branch->heater ? SOLVE_WARM_LEAST : SOLVE_LEAST);
}

static double branch_emf(const solve_system *system, const solve_branch *branch,
                         const double *numbers) {
    if (!branch->source) return 0;
    double volts = branch->emf < 0 ? 1 : numbers[branch->emf];
    return volts * numbers[system->mains] / branch->drawn;
}

static void add(solve_work *work, double *matrix, int entry, double siemens) {
    matrix[work->system->place[entry]] += siemens;
}

/* What does not depend on the volts: the branches' conductances and sources. */
void solve_fix(solve_work *work, const double *numbers) {
    const solve_system *system = work->system;
    memset(work->fixed, 0, ((size_t)system->nonzeros + 1) * sizeof *work->fixed);
    for (int i = 0; i < system->unknowns; i++)
        add(work, work->fixed, i, solve_gmin(system, i));
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        double siemens = 1 / solve_branch_ohms(branch, numbers);
        work->siemens[i] = siemens;
        work->emf[i] = branch_emf(system, branch, numbers);
        add(work, work->fixed, branch->at, siemens);
        add(work, work->fixed, branch->at + 1, -siemens);
        add(work, work->fixed, branch->at + 2, -siemens);
        add(work, work->fixed, branch->at + 3, siemens);
    }
}

/* `current` leaves unknown a and arrives at b. */
static void flow(solve_work *work, int a, int b, double current) {
    double size = fabs(current);
    if (a >= 0) {
        work->residual[a] += current;
        if (size > work->flow[a]) work->flow[a] = size;
    }
    if (b >= 0) {
        work->residual[b] -= current;
        if (size > work->flow[b]) work->flow[b] = size;
    }
}

/* ---- heaters warm cathodes ---- */

/* Mean heater current over its rated one; a heater that is not drawn counts as warm. */
double solve_heat_ratio(const solve_work *work, const solve_heat *heat, const double *x) {
    if (heat->branches == 0) return 1;
    double sum = 0;
    for (int k = 0; k < heat->branches; k++) {
        const solve_branch *branch = &work->system->branch[heat->branch[k]];
        sum +=
            fabs(solve_at(x, branch->a) - solve_at(x, branch->b)) * work->siemens[heat->branch[k]];
    }
    return sum / heat->branches / heat->rated_a;
}

/* Adds d current / d ratio to the columns of the heater's ends in row `row` of a block. */
static void stamp_heat(solve_work *work, const solve_heat *heat, const double *x, int entry,
                       double by_ratio) {
    for (int k = 0; k < heat->branches; k++) {
        const solve_branch *branch = &work->system->branch[heat->branch[k]];
        double volts = solve_at(x, branch->a) - solve_at(x, branch->b);
        double slope = work->siemens[heat->branch[k]] / heat->branches / heat->rated_a;
        double by_volts = by_ratio * (volts < 0 ? -slope : slope);
        add(work, work->value, entry + 2 * k, by_volts);
        add(work, work->value, entry + 2 * k + 1, -by_volts);
    }
}

/* ---- tube units ---- */

void solve_unit_volts(const solve_unit *unit, const double *x, tube_volts *volts) {
    double cathode = solve_at(x, unit->node[3]);
    volts->plate = solve_at(x, unit->node[0]) - cathode;
    volts->screen = unit->node[1] < 0 ? 0 : solve_at(x, unit->node[1]) - cathode;
    volts->grid = unit->node[2] < 0 ? 0 : solve_at(x, unit->node[2]) - cathode;
}

void solve_unit_state(const solve_work *work, const solve_unit *unit, const double *numbers,
                      const double *x, tube_state *state) {
    double slope, ratio = solve_heat_ratio(work, &unit->heat, x);
    state->emission = numbers[unit->emission] * tube_heater_emission(ratio, &slope);
    state->screen = unit->screen < 0 ? 1 : numbers[unit->screen];
    state->gas = numbers[unit->gas];
}

static void stamp_unit(solve_work *work, const solve_unit *unit, const double *numbers,
                       const double *x) {
    tube_volts volts;
    tube_state state;
    tube_point point;
    double warm_slope;
    solve_unit_volts(unit, x, &volts);
    solve_unit_state(work, unit, numbers, x, &state);
    tube_current(unit->type, &state, &volts, &point);
    tube_heater_emission(solve_heat_ratio(work, &unit->heat, x), &warm_slope);
    const double current[3] = {point.plate, point.screen, point.grid};
    for (int i = 0; i < 3; i++) {
        flow(work, unit->node[i], unit->node[3], current[i]);
        double sum = point.d[i][0] + point.d[i][1] + point.d[i][2];
        double by_ratio = point.by_state[i][0] * numbers[unit->emission] * warm_slope;
        for (int j = 0; j < 3; j++) {
            add(work, work->value, unit->at + 8 * i + j, point.d[i][j]);
            add(work, work->value, unit->at + 24 + j, -point.d[i][j]);
        }
        add(work, work->value, unit->at + 8 * i + 3, -sum);
        add(work, work->value, unit->at + 27, sum);
        stamp_heat(work, &unit->heat, x, unit->at + 8 * i + 4, by_ratio);
        stamp_heat(work, &unit->heat, x, unit->at + 28, -by_ratio);
    }
}

/* ---- diodes and rectifiers ---- */

static void stamp_diode(solve_work *work, const solve_diode *diode, const double *numbers,
                        const double *x) {
    double slope, scale = diode->emission < 0 ? 1 : numbers[diode->emission];
    double volts = solve_at(x, diode->a) - solve_at(x, diode->b) - diode->offset;
    double current = tube_diode(diode->curve, scale, volts, &slope);
    flow(work, diode->a, diode->b, current);
    add(work, work->value, diode->at, slope);
    add(work, work->value, diode->at + 1, -slope);
    add(work, work->value, diode->at + 2, -slope);
    add(work, work->value, diode->at + 3, slope);
}

/* d ln(emission) / d ratio; kept finite for a stone-cold heater. */
static double warmth_slope(double ratio) {
    double slope, warm = tube_heater_emission(ratio, &slope);
    return slope / fmax(warm, 1e-12);
}

static void stamp_cycle(solve_work *work, size_t index, const double *numbers, const double *x) {
    const solve_cycle *cycle = &work->system->cycle[index];
    solve_drive drive;
    solve_drive_of(work, cycle, numbers, x, &drive);
    double volts = cycle->sign * (solve_at(x, cycle->out) - solve_at(x, cycle->ret));
    solve_cycle_at(work, index, &drive, volts);
    solve_cycle_point *point = &work->cycle_point[index];
    point->scale_by_ratio = warmth_slope(solve_heat_ratio(work, &cycle->heat, x));
    flow(work, cycle->ret, cycle->out, cycle->sign * point->current);
    double by_ratio = cycle->sign * point->by_ln_k * point->scale_by_ratio;
    add(work, work->value, cycle->at, -point->by_v);
    add(work, work->value, cycle->at + 1, point->by_v);
    stamp_heat(work, &cycle->heat, x, cycle->at + 2, -by_ratio);
    add(work, work->value, cycle->at + 6, point->by_v);
    add(work, work->value, cycle->at + 7, -point->by_v);
    stamp_heat(work, &cycle->heat, x, cycle->at + 8, by_ratio);
}

static void stamp_meter(solve_work *work, const double *x) {
    int plus = work->probe_plus;
    flow(work, plus, work->probe_minus, work->probe_a + work->probe_siemens * solve_at(x, plus));
    if (plus >= 0) add(work, work->value, plus, work->probe_siemens);
}

static void stamp_bound(solve_work *work, const double *x) {
    for (int i = 0; i < work->system->unknowns; i++) {
        work->residual[i] += work->bound * (x[i] - work->anchor[i]);
        add(work, work->value, i, work->bound);
    }
}

/* Residual (amperes that do not add up), largest flow and Jacobian at x. */
void solve_evaluate(solve_work *work, const double *numbers, const double *x) {
    const solve_system *system = work->system;
    memcpy(work->value, work->fixed, ((size_t)system->nonzeros + 1) * sizeof *work->value);
    for (int i = 0; i < system->unknowns; i++) {
        work->residual[i] = solve_gmin(system, i) * x[i];
        work->flow[i] = 0;
    }
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        double volts = solve_at(x, branch->a) - solve_at(x, branch->b) - work->emf[i];
        flow(work, branch->a, branch->b, volts * work->siemens[i]);
    }
    for (size_t i = 0; i < system->units; i++)
        stamp_unit(work, &system->unit[i], numbers, x);
    for (size_t i = 0; i < system->diodes; i++)
        stamp_diode(work, &system->diode[i], numbers, x);
    for (size_t i = 0; i < system->cycles; i++)
        stamp_cycle(work, i, numbers, x);
    for (int i = 0; work->inject && i < system->unknowns; i++)
        flow(work, i, -1, work->inject[i]);
    stamp_meter(work, x);
    if (work->bound > 0) stamp_bound(work, x);
}
