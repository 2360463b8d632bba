/* Readings at a solution, and how each depends on every number: one adjoint solve a reading. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

static int unknown_at(const solve_system *system, int node, bool heater) {
    return heater ? solve_warm(system, node) : solve_dc(system, node);
}

bool solve_probe_exists(const solve_system *system, const solve_probe *probe) {
    int nodes[2] = {probe->plus, probe->minus};
    for (int k = 0; k < 2; k++) {
        if (nodes[k] < 0 || (size_t)nodes[k] >= circuit_nodes(system->amp)) return false;
        if (nodes[k] > 0 && unknown_at(system, nodes[k], probe->heater) < 0) return false;
    }
    return true;
}

/* ---- the gradient: minus lambda times (change of each current with each number) ---- */

/* `by` is d reading / d (current that leaves a and arrives at b). */
static double across(const double *lambda, int a, int b) {
    return solve_at(lambda, b) - solve_at(lambda, a);
}

/* What a gradient is made from: the solution, and lambda. */
typedef struct adjoint {
    const solve_work *work;
    const double *numbers, *x, *lambda;
    double *gradient; /* by slot; added to */
} adjoint;

static void by_branches(const adjoint *at) {
    const solve_work *work = at->work;
    const solve_system *system = work->system;
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        double by = across(at->lambda, branch->a, branch->b);
        if (by == 0) continue;
        double siemens = work->siemens[i];
        double volts = solve_at(at->x, branch->a) - solve_at(at->x, branch->b) - work->emf[i];
        double by_ln_ohms = -by * volts * siemens;
        for (int k = 0; k < branch->slots; k++) {
            double part = (k == 0 ? branch->factor : 1) * at->numbers[branch->slot[k]] * siemens;
            at->gradient[branch->slot[k]] += by_ln_ohms * part;
        }
        if (!branch->source) continue;
        double by_ln_emf = -by * work->emf[i] * siemens;
        at->gradient[system->mains] += by_ln_emf;
        if (branch->emf >= 0) at->gradient[branch->emf] += by_ln_emf;
    }
}

/* The ratio falls as the heater's own ohms or its contacts' rise. */
static void by_heat(const adjoint *at, const solve_heat *heat, double by_ratio) {
    const solve_work *work = at->work;
    for (int k = 0; k < heat->branches; k++) {
        const solve_branch *branch = &work->system->branch[heat->branch[k]];
        double siemens = work->siemens[heat->branch[k]];
        double volts = fabs(solve_at(at->x, branch->a) - solve_at(at->x, branch->b));
        double ratio = volts * siemens / heat->branches / heat->rated_a;
        for (int j = 0; j < branch->slots; j++) {
            double part = (j == 0 ? branch->factor : 1) * at->numbers[branch->slot[j]] * siemens;
            at->gradient[branch->slot[j]] -= by_ratio * ratio * part;
        }
    }
}

static void by_unit(const adjoint *at, const solve_unit *unit) {
    const solve_work *work = at->work;
    const double *numbers = at->numbers, *x = at->x;
    double by[3];
    for (int i = 0; i < 3; i++)
        by[i] = across(at->lambda, unit->node[i], unit->node[3]);
    if (by[0] == 0 && by[1] == 0 && by[2] == 0) return;
    tube_volts volts;
    tube_state state;
    tube_point point;
    double slope, warm = tube_heater_emission(solve_heat_ratio(work, &unit->heat, x), &slope);
    solve_unit_volts(unit, x, &volts);
    solve_unit_state(work, unit, numbers, x, &state);
    tube_current(unit->type, &state, &volts, &point);
    double sum[3] = {0, 0, 0};
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < 3; i++)
            sum[k] += by[i] * point.by_state[i][k];
    at->gradient[unit->emission] += sum[0] * warm * numbers[unit->emission];
    if (unit->screen >= 0) at->gradient[unit->screen] += sum[1] * numbers[unit->screen];
    at->gradient[unit->gas] += sum[2];
    by_heat(at, &unit->heat, sum[0] * slope * numbers[unit->emission]);
}

static void by_side(const adjoint *at, const solve_cycle *cycle, int k, double by) {
    const solve_work *work = at->work;
    const double *numbers = at->numbers;
    double *gradient = at->gradient;
    const solve_side *side = &cycle->side[k];
    const solve_cycle_point *point = &work->cycle_point[cycle - work->system->cycle];
    double turns = side->volts < 0 ? 1 : numbers[side->volts] / side->drawn;
    double reflected = side->primary < 0 ? 0 : numbers[side->primary] * turns * turns;
    double ohms = reflected;
    for (int j = 0; j < side->ohm_slots; j++)
        ohms += numbers[side->ohms[j]];
    double by_ohm = by * point->by_ln_r[k] / fmax(ohms, 1e-9);
    for (int j = 0; j < side->ohm_slots; j++)
        gradient[side->ohms[j]] += by_ohm * numbers[side->ohms[j]];
    if (side->primary >= 0) gradient[side->primary] += by_ohm * reflected;
    gradient[work->system->mains] += by * point->by_ln_e[k];
    if (side->volts >= 0) gradient[side->volts] += by * point->by_ln_e[k] + 2 * by_ohm * reflected;
    if (side->emission >= 0) gradient[side->emission] += by * point->by_ln_k_side[k];
}

/* The farads are the sum of all, the series ohms those of solve_drive_of. */
static void by_capacitors(const adjoint *at, const solve_cycle *cycle, double by) {
    const double *numbers = at->numbers;
    const solve_cycle_point *point = &at->work->cycle_point[cycle - at->work->system->cycle];
    double farads = point->at.farads, esr = point->at.esr;
    for (int k = 0; k < cycle->caps; k++) {
        double part = numbers[cycle->cap[k]] / farads;
        double own =
            cycle->esr[k] < 0 || !(esr > 0) ? 0 : part * part * numbers[cycle->esr[k]] / esr;
        at->gradient[cycle->cap[k]] +=
            by * (point->by_ln_c * part + point->by_ln_esr * 2 * (own - (esr > 0 ? part : 0)));
        if (cycle->esr[k] >= 0) at->gradient[cycle->esr[k]] += by * point->by_ln_esr * own;
    }
}

static void by_cycle(const adjoint *at, const solve_cycle *cycle) {
    const solve_work *work = at->work;
    double by = cycle->sign * across(at->lambda, cycle->ret, cycle->out);
    if (by == 0) return;
    const solve_cycle_point *point = &work->cycle_point[cycle - work->system->cycle];
    for (int k = 0; k < cycle->sides; k++)
        by_side(at, cycle, k, by);
    by_capacitors(at, cycle, by);
    by_heat(at, &cycle->heat, by * point->by_ln_k * point->scale_by_ratio);
}

static void by_diode(const adjoint *at, const solve_diode *diode) {
    if (diode->emission < 0) return;
    double slope, volts = solve_at(at->x, diode->a) - solve_at(at->x, diode->b) - diode->offset;
    double current = tube_diode(diode->curve, at->numbers[diode->emission], volts, &slope);
    at->gradient[diode->emission] += across(at->lambda, diode->a, diode->b) * current;
}

static void fill_gradient(const solve_work *work, const double *numbers, const double *x,
                          const double *lambda, double *gradient) {
    const solve_system *system = work->system;
    const adjoint at = {work, numbers, x, lambda, gradient};
    memset(gradient, 0, system->slots * sizeof *gradient);
    by_branches(&at);
    for (size_t i = 0; i < system->units; i++)
        by_unit(&at, &system->unit[i]);
    for (size_t i = 0; i < system->diodes; i++)
        by_diode(&at, &system->diode[i]);
    for (size_t i = 0; i < system->cycles; i++)
        by_cycle(&at, &system->cycle[i]);
}

/* ---- readings ---- */

/* lambda = J^-T e; the current arriving at b and leaving a then changes the reading by
 * lambda[b] - lambda[a], and the source resistance is e . lambda. */
static void solve_adjoint(solve_work *work, int plus, int minus) {
    int n = work->system->unknowns;
    memset(work->adjoint, 0, (size_t)n * sizeof *work->adjoint);
    if (plus >= 0) work->adjoint[plus] += 1;
    if (minus >= 0) work->adjoint[minus] -= 1;
    klu_tsolve(work->system->symbolic, work->numeric, n, 1, work->adjoint, &work->common);
}

double solve_read(solve_work *work, const double *numbers, const double *x,
                  const solve_probe *probe, double *gradient, double *source_ohms) {
    int plus = unknown_at(work->system, probe->plus, probe->heater);
    int minus = unknown_at(work->system, probe->minus, probe->heater);
    double volts = solve_at(x, plus) - solve_at(x, minus);
    if (probe->heater && volts < 0) { /* rms volts have no sign, whichever lead is where */
        int kept = plus;
        plus = minus;
        minus = kept;
        volts = -volts;
    }
    bool loads = isfinite(probe->meter_ohms) && !probe->heater;
    if (!gradient && !source_ohms && !loads) return volts;
    solve_adjoint(work, plus, minus);
    double source = solve_at(work->adjoint, plus) - solve_at(work->adjoint, minus);
    double shown = loads ? probe->meter_ohms / (probe->meter_ohms + source) : 1;
    if (source_ohms) *source_ohms = source;
    if (gradient) {
        fill_gradient(work, numbers, x, work->adjoint, gradient);
        for (size_t i = 0; loads && i < work->system->slots; i++)
            gradient[i] *= shown;
    }
    return volts * shown;
}

/* From a node to ground the meter is one more conductance at the node. */
static bool load_to_ground(solve_work *work, const double *numbers, const solve_probe *probe,
                           double *volts) {
    double sign = work->probe_plus < 0 ? -1 : 1;
    if (work->probe_plus < 0) work->probe_plus = work->probe_minus;
    work->probe_minus = -1;
    work->probe_siemens = 1 / probe->meter_ohms;
    bool settled = solve_newton(work, numbers, work->best, 40).outcome == SOLVE_CONVERGED;
    *volts = sign * solve_at(work->best, work->probe_plus);
    return settled;
}

/* Between two nodes it would be an entry that the pattern does not have: there its current is
 * found instead, by the source resistance at the probes. */
static bool load_between(solve_work *work, const double *numbers, const solve_probe *probe,
                         double source, double *volts) {
    work->probe_a = *volts / (probe->meter_ohms + source);
    for (int pass = 0; pass < 12; pass++) {
        if (solve_newton(work, numbers, work->best, 40).outcome != SOLVE_CONVERGED) return false;
        *volts = solve_at(work->best, work->probe_plus) - solve_at(work->best, work->probe_minus);
        double error = *volts - work->probe_a * probe->meter_ohms;
        if (fabs(error) <= 1e-9 + 1e-7 * fabs(*volts)) return true;
        work->probe_a += error / (probe->meter_ohms + source);
    }
    return false;
}

/* The gradient at the loaded point: to ground the meter is in the Jacobian already; between two
 * nodes it takes its part of the open reading's. */
static void loaded_gradient(solve_work *work, const double *numbers, const solve_probe *probe,
                            double *gradient) {
    bool ground = work->probe_siemens > 0;
    double sign = ground && probe->plus == 0 ? -1 : 1;
    solve_adjoint(work, work->probe_plus, work->probe_minus);
    double source =
        solve_at(work->adjoint, work->probe_plus) - solve_at(work->adjoint, work->probe_minus);
    double shown = ground ? sign : probe->meter_ohms / (probe->meter_ohms + source);
    fill_gradient(work, numbers, work->best, work->adjoint, gradient);
    for (size_t i = 0; i < work->system->slots; i++)
        gradient[i] *= shown;
}

double solve_read_loaded(solve_work *work, const double *numbers, const double *x,
                         const solve_probe *probe) {
    return solve_read_joined(work, numbers, x, probe, NULL);
}

double solve_read_joined(solve_work *work, const double *numbers, const double *x,
                         const solve_probe *probe, double *gradient) {
    double source, shown = solve_read(work, numbers, x, probe, gradient, &source);
    if (!isfinite(probe->meter_ohms) || probe->heater) return shown;
    size_t size = (size_t)work->system->unknowns * sizeof *x;
    memcpy(work->best, x, size);
    work->probe_plus = solve_dc(work->system, probe->plus);
    work->probe_minus = solve_dc(work->system, probe->minus);
    double volts = solve_at(x, work->probe_plus) - solve_at(x, work->probe_minus);
    bool ground = work->probe_plus < 0 || work->probe_minus < 0;
    bool settled = ground ? load_to_ground(work, numbers, probe, &volts)
                          : load_between(work, numbers, probe, source, &volts);
    if (settled && gradient) loaded_gradient(work, numbers, probe, gradient);
    work->probe_a = work->probe_siemens = 0;
    work->probe_plus = work->probe_minus = -1;
    memcpy(work->best, x, size);
    solve_newton(work, numbers, work->best, 5); /* the factors of x again, for what follows */
    return settled ? volts : NAN;
}
