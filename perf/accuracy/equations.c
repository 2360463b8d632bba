/* The world's equations: currents that leave each node, dense, and Newton's way to where they
 * vanish. Volts are indexed by node; node 0 is the chassis, the unknowns are the rest. */
#include "world_impl.h"

#include <lapacke.h>

#define MOST_STEPS 60
#define MOST_MOVE 60.0 /* V in one step */
#define ENOUGH 2e-6    /* V */

/* ---- what does not depend on the volts ----------------------------------------------------- */

static void join(world *world, int a, int b, double ohms) {
    if (a >= 0 && b >= 0) world_join(world->g, world->size, a, b, 1 / ohms);
}

static void join_tube(world *world, int index, const circuit_part *part) {
    const world_part *own = &world->part[index];
    world_heater heater[2] = {{0, 0, 0, 0}};
    int count = world_heaters(world, index, heater);
    for (int k = 0; k < count; k++)
        join(world, heater[k].a, heater[k].b, own->heater * heater[k].part);
    if (world_rectifies(world, index)) return;
    for (int unit = 0; unit < part->tube->units; unit++) {
        const int *pin = part->tube->unit[unit].pin;
        int plate = world_node(world, index, pin[TUBE_PLATE]);
        int cathode = world_node(world, index, pin[TUBE_CATHODE]);
        int grid = pin[TUBE_GRID] ? world_node(world, index, pin[TUBE_GRID]) : -1;
        join(world, grid, cathode, own->grid_cathode[unit]);
        join(world, plate, grid, own->plate_grid[unit]);
        if (count > 0) join(world, cathode, heater[0].a, own->heater_cathode[unit]);
    }
}

static void join_pot(world *world, int index, const circuit_part *part) {
    int wiper = world_node(world, index, 1);
    join(world, part->end[0], wiper, world->part[index].ohms[0]);
    join(world, wiper, part->end[2], world->part[index].ohms[1]);
}

static void join_coils(world *world, const circuit_part *part, const world_part *own) {
    if (part->kind == CIRCUIT_WINDING) {
        for (int half = 0; part->winding.heater && half + 1 < part->ends; half++)
            join(world, part->end[half], part->end[half + 1], own->ohms[half]);
        return;
    }
    join(world, part->end[0], part->end[1], own->ohms[0]);
    join(world, part->end[2], part->end[1], own->ohms[1]);
    join(world, part->end[3], part->end[4], own->contact);
}

static void join_part(world *world, int index, const circuit_part *part) {
    const world_part *own = &world->part[index];
    int way = (int)part->position;
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_FUSE:
    case CIRCUIT_LAMP:
    case CIRCUIT_SPEAKER:
        join(world, part->end[0], part->end[1], own->ohms[0]);
        break;
    case CIRCUIT_CAPACITOR:
        join(world, part->end[0], part->end[1], own->leak);
        break;
    case CIRCUIT_POT:
        join_pot(world, index, part);
        break;
    case CIRCUIT_SWITCH:
        if (way >= 1) join(world, part->end[0], part->end[way], own->contact);
        break;
    case CIRCUIT_JACK:
        if (part->position == 0) join(world, part->end[0], part->end[2], own->contact);
        break;
    case CIRCUIT_WINDING:
    case CIRCUIT_OUTPUT_TRANSFORMER:
        join_coils(world, part, own);
        break;
    case CIRCUIT_TUBE:
        join_tube(world, index, part);
        break;
    default:
        break;
    }
}

static void join_all(world *world) {
    memset(world->g, 0, (size_t)(world->size * world->size) * sizeof(double));
    for (int node = 1; node <= world->size; node++)
        join(world, node, 0, world->board[node]);
    for (int k = 0; k < world->leaks; k++)
        join(world, world->leak[k].a, world->leak[k].b, world->leak[k].ohms);
    for (size_t i = 0; i < world->parts; i++)
        join_part(world, (int)i, circuit_part_at(world->amp, i));
    if (isfinite(world->meter.meter_ohms) && world->meter.meter_ohms > 0)
        join(world, world->meter.plus, world->meter.minus, world->meter.meter_ohms);
}

/* ---- tubes --------------------------------------------------------------------------------- */

static void flow(world *world, int node, double current) {
    if (node > 0) world->f[node - 1] += current;
}

static void slope(world *world, int row, int column, double siemens) {
    if (row > 0 && column > 0) world->j[(column - 1) * world->size + row - 1] += siemens;
}

static law_three unit_current(const world *world, int index, int unit, const double v[4]) {
    const world_part *own = &world->part[index];
    law_three volts = {v[0] - v[3], v[1] - v[3], v[2] - v[3]};
    law_three out = law_current(&world->law[index][unit], &volts, own->screen[unit]);
    double emission = own->emission[unit] * world->warm[index][unit];
    out.plate *= emission;
    out.screen *= emission;
    out.grid = out.grid * emission - own->gas[unit] * out.plate;
    return out;
}

static void stamp_unit(world *world, const double *volts, int index, int unit) {
    const double h = 1e-4;
    const int *pin = circuit_part_at(world->amp, (size_t)index)->tube->unit[unit].pin;
    static const tube_electrode order[4] = {TUBE_PLATE, TUBE_SCREEN, TUBE_GRID, TUBE_CATHODE};
    int node[4];
    double v[4];
    for (int k = 0; k < 4; k++) {
        node[k] = pin[order[k]] ? world_node(world, index, pin[order[k]]) : 0;
        v[k] = node[k] > 0 ? volts[node[k]] : 0;
    }
    if (node[0] < 0 || node[3] < 0) return;
    for (int k = -1; k < 4; k++) {
        double moved[4] = {v[0], v[1], v[2], v[3]}, back[4] = {v[0], v[1], v[2], v[3]};
        if (k >= 0) moved[k] += h, back[k] -= h;
        law_three up = unit_current(world, index, unit, moved);
        double sum = up.plate + up.screen + up.grid;
        if (k < 0) {
            flow(world, node[0], up.plate);
            flow(world, node[1], up.screen);
            flow(world, node[2], up.grid);
            flow(world, node[3], -sum);
            continue;
        }
        law_three down = unit_current(world, index, unit, back);
        slope(world, node[0], node[k], (up.plate - down.plate) / (2 * h));
        slope(world, node[1], node[k], (up.screen - down.screen) / (2 * h));
        slope(world, node[2], node[k], (up.grid - down.grid) / (2 * h));
        sum -= down.plate + down.screen + down.grid;
        slope(world, node[3], node[k], -sum / (2 * h));
    }
}

static void stamp_diode(world *world, const double *volts, int index, int unit) {
    const int *pin = circuit_part_at(world->amp, (size_t)index)->tube->unit[unit].pin;
    int plate = world_node(world, index, pin[TUBE_PLATE]);
    int cathode = world_node(world, index, pin[TUBE_CATHODE]);
    if (plate < 0 || cathode < 0) return;
    double siemens, over = volts[plate] - volts[cathode];
    double current = world->warm[index][unit] * law_diode(&world->law[index][unit], over, &siemens);
    flow(world, plate, current);
    flow(world, cathode, -current);
    world_join(world->j, world->size, plate, cathode, siemens * world->warm[index][unit]);
}

static void stamp_tube(world *world, const double *volts, int index) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)index);
    if (world_rectifies(world, index)) return;
    for (int unit = 0; unit < part->tube->units; unit++)
        if (part->tube->unit[unit].kind == TUBE_DIODE)
            stamp_diode(world, volts, index, unit);
        else if (part->tube->unit[unit].pin[TUBE_PLATE])
            stamp_unit(world, volts, index, unit);
}

static bool stamp_supply(world *world, const double *volts, world_supply *supply) {
    cycle_drive drive;
    if (!world_drive(world, supply, &drive)) return true;
    double siemens, over = supply->sign * (volts[supply->out] - volts[supply->back]);
    double current = cycle_current(&drive, over, &supply->guess, &siemens);
    flow(world, supply->out, -supply->sign * current);
    flow(world, supply->back, supply->sign * current);
    world_join(world->j, world->size, supply->out, supply->back, -siemens);
    return isfinite(current);
}

/* ---- Newton -------------------------------------------------------------------------------- */

/* f and J at `volts`. false: a rectifier has no cycle there. */
static bool evaluate(world *world, const double *volts) {
    int n = world->size;
    memcpy(world->j, world->g, (size_t)(n * n) * sizeof(double));
    for (int i = 0; i < n; i++) {
        world->f[i] = 0;
        for (int k = 0; k < n; k++)
            world->f[i] += world->g[k * n + i] * volts[k + 1];
    }
    bool good = true;
    for (size_t i = 0; i < world->parts; i++)
        if (circuit_part_at(world->amp, i)->kind == CIRCUIT_TUBE) stamp_tube(world, volts, (int)i);
    for (int s = 0; s < world->supplies; s++)
        good &= stamp_supply(world, volts, &world->supply[s]);
    return good;
}

/* What the factors at hand make of f: a step in volts, into `to`. */
static double correction(world *world, double *to) {
    int n = world->size;
    memcpy(to, world->f, (size_t)n * sizeof(double));
    LAPACKE_dgetrs(LAPACK_COL_MAJOR, 'N', n, 1, world->lu, n, world->pivot, to, n);
    double most = 0;
    for (int i = 0; i < n; i++)
        most = isnan(to[i]) ? INFINITY : fmax(most, fabs(to[i]));
    return most;
}

static bool factor(world *world) {
    int n = world->size;
    memcpy(world->lu, world->j, (size_t)(n * n) * sizeof(double));
    return LAPACKE_dgetrf(LAPACK_COL_MAJOR, n, n, world->lu, n, world->pivot) == 0;
}

/* Deuflhard's natural test: a step is taken whole, or halved until the old factors find the rest
 * of the way shorter than the step was. */
static bool newton(world *world, double *volts) {
    bool good = evaluate(world, volts);
    for (int pass = 0; pass < MOST_STEPS && good; pass++) {
        if (!factor(world)) return false;
        double most = correction(world, world->step), t = most > MOST_MOVE ? MOST_MOVE / most : 1;
        if (most < ENOUGH) return true;
        for (int half = 0; half < 7; half++, t /= 2) {
            for (int i = 0; i < world->size; i++)
                world->trial[i + 1] = volts[i + 1] - t * world->step[i];
            good = evaluate(world, world->trial);
            if (good && correction(world, world->next) < (1 - t / 2) * most + ENOUGH) break;
        }
        memcpy(volts + 1, world->trial + 1, (size_t)world->size * sizeof(double));
    }
    return false;
}

/* From cold the high voltage is brought up in steps. */
static bool bring_up(world *world, double *volts) {
    static const double levels[] = {0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1};
    memset(volts, 0, (size_t)(world->size + 1) * sizeof(double));
    bool good = true;
    for (size_t i = 0; good && i < sizeof levels / sizeof *levels; i++) {
        world->scale = levels[i];
        good = newton(world, volts);
    }
    world->scale = 1;
    return good;
}

static bool solve_from(world *world, const double *start, double *volts) {
    world_warm_up(world);
    join_all(world);
    memcpy(volts, start, (size_t)(world->size + 1) * sizeof(double));
    return newton(world, volts) || bring_up(world, volts);
}

bool world_solve(world *world) {
    double mains = world->mains, *kept = world->heat;
    world->meter = (solve_probe){0};
    world->mains = 1.01 * mains;
    world->heat = world->heat_more;
    bool good = solve_from(world, world->start, world->more);
    world->mains = mains;
    world->heat = kept;
    return good && solve_from(world, world->more, world->volts);
}

/* ---- readings ------------------------------------------------------------------------------ */

static double between(const double *volts, const solve_probe *probe) {
    return volts[probe->plus] - volts[probe->minus];
}

/* Ohms that the amp shows at the probes, from the factors of its solution. */
static double source_ohms(world *world, const solve_probe *probe) {
    memset(world->step, 0, (size_t)world->size * sizeof(double));
    if (probe->plus > 0) world->step[probe->plus - 1] = 1;
    if (probe->minus > 0) world->step[probe->minus - 1] = -1;
    LAPACKE_dgetrs(LAPACK_COL_MAJOR, 'N', world->size, 1, world->lu, world->size, world->pivot,
                   world->step, world->size);
    double plus = probe->plus > 0 ? world->step[probe->plus - 1] : 0;
    double minus = probe->minus > 0 ? world->step[probe->minus - 1] : 0;
    return plus - minus;
}

/* The amp solved again with the meter in it, and its own factors brought back. */
static double joined_volts(world *world, const solve_probe *probe) {
    size_t size = (size_t)world->size + 1;
    double *loaded = malloc(size * sizeof *loaded), shown = NAN;
    memcpy(loaded, world->volts, size * sizeof *loaded);
    world->meter = *probe;
    join_all(world);
    if (newton(world, loaded)) shown = between(loaded, probe);
    world->meter = (solve_probe){0};
    join_all(world);
    evaluate(world, world->volts);
    factor(world);
    free(loaded);
    return shown;
}

double world_volts(world *world, const solve_probe *probe, double *by_mains) {
    const double *volts = probe->heater ? world->heat : world->volts;
    const double *more = probe->heater ? world->heat_more : world->more;
    double bare = between(volts, probe), share = 1;
    *by_mains = (between(more, probe) - bare) / log(1.01);
    if (probe->heater) {
        *by_mains *= bare < 0 ? -1 : 1;
        return fabs(bare);
    }
    if (!isfinite(probe->meter_ohms) || fabs(bare) < 1e-4) return bare;
    double source = source_ohms(world, probe);
    share = probe->meter_ohms / (probe->meter_ohms + source);
    *by_mains *= share;
    if ((1 - share) * fabs(bare) < 0.02 || share > 0.99) return share * bare;
    double joined = joined_volts(world, probe);
    return isfinite(joined) ? joined : share * bare;
}
