/* What a solution tells beside volts: tubes, supplies, watts, and how well currents add up. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

static bool rectifier_unit_at(solve_work *work, const double *numbers, const double *x, int part,
                              solve_tube *out) {
    const solve_system *system = work->system;
    for (size_t i = 0; i < system->cycles; i++) {
        const circuit_part *owner = circuit_part_at(system->amp, (size_t)system->cycle[i].part);
        if (owner->rectifier.tube != part) continue;
        const solve_cycle *cycle = &system->cycle[i];
        solve_supply supply;
        solve_supply_at(work, numbers, x, cycle->part, &supply);
        *out = (solve_tube){.cathode_v = solve_at(x, cycle->out), .inside = true};
        out->plate_a = supply.dc_a / cycle->sides;
        out->heater_ratio = cycle->heat.branches ? solve_heat_ratio(work, &cycle->heat, x) : NAN;
        return true;
    }
    return false;
}

bool solve_tube_at(solve_work *work, const double *numbers, const double *x, int part, int unit,
                   solve_tube *out) {
    const solve_system *system = work->system;
    for (size_t i = 0; i < system->units; i++) {
        const solve_unit *own = &system->unit[i];
        if (own->part != part || own->unit != unit) continue;
        tube_state state;
        *out = (solve_tube){.cathode_v = solve_at(x, own->node[3])};
        solve_unit_volts(own, x, &out->volts);
        solve_unit_state(work, own, numbers, x, &state);
        tube_current(own->type, &state, &out->volts, &out->point);
        out->plate_a = out->point.plate;
        out->screen_a = out->point.screen;
        out->grid_a = out->point.grid;
        out->heater_ratio = own->heat.branches ? solve_heat_ratio(work, &own->heat, x) : NAN;
        out->inside = tube_in_region(own->type, &out->volts, out->plate_a);
        return true;
    }
    const circuit_part *owner = circuit_part_at(system->amp, (size_t)part);
    bool exists = owner->kind == CIRCUIT_TUBE && unit < owner->tube->units;
    return exists && rectifier_unit_at(work, numbers, x, part, out);
}

/* Volts that a plate must bear backwards: the output and the peak of its own winding. */
static double peak_inverse(const solve_cycle *cycle, const solve_drive *drive, double dc_v) {
    return (dc_v + fmax(drive->peak[0], drive->peak[1])) / cycle->stack;
}

/* Peak to peak over all cycles of a rectifier: a doubler's two halves are filled in turn. */
static double joint_ripple(const solve_work *work, int part) {
    double low = INFINITY, high = -INFINITY;
    for (int j = 0; j < CYCLE_STEPS; j++) {
        double sum = 0;
        for (size_t i = 0; i < work->system->cycles; i++)
            if (work->system->cycle[i].part == part) sum += work->wave[i].ripple[j];
        low = fmin(low, sum);
        high = fmax(high, sum);
    }
    return high - low;
}

bool solve_supply_at(solve_work *work, const double *numbers, const double *x, int part,
                     solve_supply *out) {
    bool found = false;
    for (size_t i = 0; i < work->system->cycles; i++) {
        const solve_cycle *cycle = &work->system->cycle[i];
        if (cycle->part != part) continue;
        solve_drive drive;
        solve_drive_of(work, cycle, numbers, x, &drive);
        double volts = cycle->sign * (solve_at(x, cycle->out) - solve_at(x, cycle->ret));
        solve_cycle_at(work, i, &drive, volts);
        const solve_cycle_point *point = &work->cycle_point[i];
        if (!found) *out = (solve_supply){.dc_a = point->current};
        out->dc_v += volts;
        out->ripple_hz = cycle->hertz * cycle->sides * (found ? 2 : 1);
        out->peak_a = fmax(out->peak_a, point->peak_a);
        out->rms_a = fmax(out->rms_a, point->rms_a);
        out->peak_inverse_v = fmax(out->peak_inverse_v, peak_inverse(cycle, &drive, volts));
        for (int k = 0; k < cycle->sides; k++) {
            out->ac_v[k] = drive.peak[k] / sqrt(2);
            out->source_ohms[k] = drive.ohms[k];
        }
        double farads = drive.farads;
        out->first_cap_f = cycle->caps == 0 ? 0
                           : found ? out->first_cap_f * farads / (out->first_cap_f + farads)
                                   : farads;
        found = true;
    }
    if (found) out->ripple_pp_v = joint_ripple(work, part);
    return found;
}

double solve_part_watts(const solve_system *system, const double *numbers, const double *x,
                        int part) {
    double watts = 0;
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        if (branch->part != part || branch->source) continue;
        double volts = solve_at(x, branch->a) - solve_at(x, branch->b);
        watts += volts * volts / solve_branch_ohms(branch, numbers);
    }
    return watts;
}

void solve_kirchhoff(solve_work *work, const double *numbers, const double *x, double *error,
                     double *current) {
    solve_fix(work, numbers);
    solve_evaluate(work, numbers, x);
    *error = *current = 0;
    double worst = -1;
    for (int i = 0; i < work->system->unknowns; i++) {
        double excess = fabs(work->residual[i]) / (1e-9 + 1e-6 * work->flow[i]);
        if (excess <= worst) continue;
        worst = excess;
        *error = fabs(work->residual[i]);
        *current = work->flow[i];
    }
}
