/* The equations of an instant: linear parts, then tubes, diodes, rectifiers and tones. */
#include <math.h>
#include <string.h>

#include "time_impl.h"

/* ---- made once ---- */

/* Where each unit's sixteen slopes and each diode's four go, from the entries of signal_stamp. */
void time_places(solve_run *run) {
    const solve_system *system = run->system;
    signal_point at = {run->work, run->numbers, NULL};
    signal_stamp_linear(run->net, &at);
    const int *entry = run->net->pattern.place + run->net->cursor;
    for (size_t u = 0; u < system->units; u++)
        for (int i = 0; i < 3; i++)
            for (int j = 0; j < 3; j++, entry += 4) {
                run->place[u][4 * i + j] = entry[0];
                run->place[u][4 * i + 3] = entry[1];
                run->place[u][12 + j] = entry[2];
                run->place[u][15] = entry[3];
            }
    for (size_t k = 0; k < system->diodes + system->cycles; k++, entry += 4)
        memcpy(run->pair[k], entry, sizeof run->pair[k]);
}

static int ours(const solve_run *run, int unknown) {
    return unknown < 0 ? -1 : run->net->of_unknown[unknown];
}

/* ---- on new numbers ---- */

/* G and C on the numbers as they are now. Nothing but a choke at a rectifier's output would leave
 * its volts to no law while no side conducts: wiring has some capacitance. */
void time_linear(solve_run *run) {
    size_t size = ((size_t)run->net->pattern.nonzeros + 1) * sizeof(double);
    signal_point at = {run->work, run->numbers, NULL};
    memset(run->net->g, 0, size);
    memset(run->net->c, 0, size);
    signal_stamp_linear(run->net, &at);
    for (int i = 0; i < run->net->currents_from; i++)
        run->net->c[run->net->pattern.place[i]] += TIME_STRAY_F;
    for (size_t i = 0; i < run->system->cycles; i++) {
        const int *pair = run->pair[run->system->diodes + i];
        const double sign[4] = {1, -1, -1, 1};
        for (int k = 0; k < 4; k++)
            run->net->c[pair[k]] += sign[k] * TIME_WIRING_F;
    }
    run->fixed_for = 0;
    run->factors_for = INFINITY;
    run->stale = true;
}

void time_drives(solve_run *run) {
    for (size_t i = 0; i < run->system->cycles; i++)
        solve_drive_warm(run->system, &run->system->cycle[i], run->numbers, 1, &run->drive[i]);
}

/* ---- charge ---- */

static void charge_of(double farads, int a, int b, const double *x, double *out) {
    double charge = farads * (solve_at(x, a) - solve_at(x, b));
    if (a >= 0) out[a] += charge;
    if (b >= 0) out[b] -= charge;
}

void time_charge(const solve_run *run, const double *x, double *out) {
    const solve_signal *net = run->net;
    for (int i = 0; i < net->unknowns; i++)
        out[i] = i < net->currents_from ? TIME_STRAY_F * x[i] : 0;
    for (size_t i = 0; i < net->stores; i++) {
        const signal_store *store = &net->store[i];
        if (store->a == store->b)
            out[store->a] += store->value * x[store->a];
        else
            charge_of(store->value, store->a, store->b, x, out);
    }
    for (size_t i = 0; i < run->system->cycles; i++)
        charge_of(TIME_WIRING_F, ours(run, run->system->cycle[i].out),
                  ours(run, run->system->cycle[i].ret), x, out);
}

/* ---- the residual and the Jacobian ---- */

/* residual = fixed x - right */
static void linear_residual(solve_run *run, const double *x) {
    const solve_pattern *pattern = &run->net->pattern;
    for (int i = 0; i < pattern->unknowns; i++)
        run->residual[i] = -run->step.right[i];
    for (int j = 0; j < pattern->unknowns; j++)
        for (int k = pattern->column_start[j]; k < pattern->column_start[j + 1]; k++)
            run->residual[pattern->row[k]] += run->fixed[k] * x[j];
}

/* `current` leaves a and arrives at b. */
static void flow(solve_run *run, int a, int b, double current) {
    if (a >= 0) run->residual[a] += current;
    if (b >= 0) run->residual[b] -= current;
}

static void stamp_pair(solve_run *run, size_t pair, double siemens) {
    const int *place = run->pair[pair];
    run->value[place[0]] += siemens;
    run->value[place[1]] -= siemens;
    run->value[place[2]] -= siemens;
    run->value[place[3]] += siemens;
}

static tube_volts unit_volts(const solve_run *run, size_t index, const double *x) {
    const int *node = run->unit_node[index];
    double cathode = solve_at(x, node[3]);
    tube_volts volts = {.plate = solve_at(x, node[0]) - cathode};
    if (node[1] >= 0) volts.screen = x[node[1]] - cathode;
    if (node[2] >= 0) volts.grid = x[node[2]] - cathode;
    return volts;
}

static void unit_point(const solve_run *run, size_t index, const tube_volts *volts,
                       tube_point *point) {
    const solve_unit *unit = &run->system->unit[index];
    tube_state state = {.emission = run->emission[index],
                        .screen = unit->screen < 0 ? 1 : run->numbers[unit->screen],
                        .gas = run->numbers[unit->gas]};
    tube_current(unit->type, &state, volts, point);
}

#define AT_PLATE 5 /* a plate or screen bends the current this much less than a grid, at least */

static bool near_enough(const solve_run *run, size_t index, const tube_volts *now) {
    const time_tangent *from = &run->tangent[index];
    double change = fabs(run->emission[index] - from->emission);
    return change <= 1e-9 && fabs(now->plate - from->volts.plate) <= AT_PLATE * run->near &&
           fabs(now->screen - from->volts.screen) <= AT_PLATE * run->near &&
           fabs(now->grid - from->volts.grid) <= run->near;
}

/* The unit's currents: from its curve, or from the tangent to it at volts so near that the error,
 * of second order, is far below what is allowed. */
static void unit_currents(solve_run *run, size_t index, const double *x, double current[3]) {
    time_tangent *from = &run->tangent[index];
    tube_volts now = unit_volts(run, index, x);
    if (!near_enough(run, index, &now)) {
        from->volts = now;
        from->emission = run->emission[index];
        unit_point(run, index, &now, &from->point);
    }
    const double at[3] = {from->point.plate, from->point.screen, from->point.grid};
    double plate = now.plate - from->volts.plate, screen = now.screen - from->volts.screen,
           grid = now.grid - from->volts.grid;
    for (int i = 0; i < 3; i++) {
        const double *d = from->point.d[i];
        current[i] = at[i] + d[0] * plate + d[1] * screen + d[2] * grid;
    }
}

static void stamp_unit(solve_run *run, size_t index, const double *x, bool slopes) {
    const int *node = run->unit_node[index], *place = run->place[index];
    double current[3];
    unit_currents(run, index, x, current);
    for (int i = 0; i < 3; i++)
        flow(run, node[i], node[3], current[i]);
    for (int i = 0; slopes && i < 3; i++) {
        const double *d = run->tangent[index].point.d[i];
        double sum = d[0] + d[1] + d[2];
        for (int j = 0; j < 3; j++) {
            run->value[place[4 * i + j]] += d[j];
            run->value[place[12 + j]] -= d[j];
        }
        run->value[place[4 * i + 3]] -= sum;
        run->value[place[15]] += sum;
    }
}

static void stamp_diode(solve_run *run, size_t index, const double *x) {
    const solve_diode *diode = &run->system->diode[index];
    int a = ours(run, diode->a), b = ours(run, diode->b);
    double slope, scale = diode->emission < 0 ? 1 : run->numbers[diode->emission];
    double volts = solve_at(x, a) - solve_at(x, b) - diode->offset;
    flow(run, a, b, tube_diode(diode->curve, scale, volts, &slope));
    stamp_pair(run, index, slope);
}

/* ---- rectifiers ---- */

typedef struct instant { /* the mains' sine, and the volts that the rectifier's output stands at */
    double wave, output;
} instant;

/* One side's current at an instant, and its slope by the volts that drive it. */
static double side_current(const solve_run *run, size_t index, int k, instant at, double *siemens) {
    const solve_cycle *cycle = &run->system->cycle[index];
    const solve_drive *drive = &run->drive[index];
    double scale = drive->scale[k] * run->emission[run->system->units + index], inside;
    double volts = drive->peak[k] * cycle->side[k].phase_sign * at.wave - cycle->offset - at.output;
    double current = tube_diode_behind(cycle->curve, scale, drive->ohms[k], volts, &inside);
    *siemens = inside / (1 + drive->ohms[k] * inside);
    return current;
}

static double output_volts(const solve_run *run, const solve_cycle *cycle, const double *x) {
    return cycle->sign * (solve_at(x, ours(run, cycle->out)) - solve_at(x, ours(run, cycle->ret)));
}

static double wave_at(const solve_run *run, double seconds) {
    return sin(2 * M_PI * run->hertz * seconds + run->course.phase);
}

static void stamp_cycle(solve_run *run, size_t index, const double *x, double wave) {
    const solve_cycle *cycle = &run->system->cycle[index];
    instant at = {wave, output_volts(run, cycle, x)};
    double current = 0, siemens = 0;
    for (int k = 0; k < cycle->sides; k++) {
        double slope;
        current += side_current(run, index, k, at, &slope);
        siemens += slope;
    }
    flow(run, ours(run, cycle->ret), ours(run, cycle->out), cycle->sign * current);
    stamp_pair(run, run->system->diodes + index, siemens);
}

/* Volts that drive side k forwards `later` than now, its output going on as it ended the last step.
 */
static double side_drive(const solve_run *run, size_t index, int k, double later) {
    const solve_cycle *cycle = &run->system->cycle[index];
    const time_step *s = &run->step;
    double output = output_volts(run, cycle, s->x), slope = 0;
    if (s->last_h > 0)
        slope = (output - output_volts(run, cycle, s->before_middle)) / ((1 - GAMMA) * s->last_h);
    return run->drive[index].peak[k] * cycle->side[k].phase_sign *
               wave_at(run, run->seconds + later) -
           cycle->offset - output - slope * later;
}

/* Where the volts that drive a side pass through zero, by false position. */
static double side_turn(const solve_run *run, size_t index, int k, double most) {
    double low = side_drive(run, index, k, 0), high = side_drive(run, index, k, most);
    if (low == 0 || (low > 0) == (high > 0)) return most;
    double a = 0, b = most, c = most;
    for (int pass = 0; pass < 5; pass++) {
        c = a - low * (b - a) / (high - low);
        double w = side_drive(run, index, k, c);
        if ((w > 0) == (low > 0))
            a = c, low = w, high /= 2; /* the Illinois way: the other end is not to stay */
        else
            b = c, high = w, low /= 2;
    }
    return c;
}

#define HEED_S 0.5

double time_turn(const solve_run *run, double most, bool *onset) {
    *onset = false;
    for (size_t i = 0; i < run->system->cycles; i++)
        for (int k = 0; k < run->system->cycle[i].sides && run->seconds < run->heeded[i]; k++) {
            double turn = side_turn(run, i, k, most);
            if (turn >= most) continue;
            most = turn;
            *onset = side_drive(run, i, k, 0) < 0;
        }
    return most;
}

void time_heed(solve_run *run, double most) {
    for (size_t i = 0; i < run->system->cycles; i++)
        for (int k = 0; k < run->system->cycle[i].sides; k++)
            if (side_turn(run, i, k, most) < most) run->heeded[i] = run->seconds + HEED_S;
}

static void stamp_tone(solve_run *run, const solve_tone *tone, const double *x, double seconds) {
    int node = ours(run, solve_dc(run->system, tone->node));
    if (node < 0) return;
    double volts = tone->volts * sin(2 * M_PI * tone->hertz * seconds);
    run->residual[node] += (x[node] - volts) / tone->ohms;
    run->value[run->net->pattern.place[node]] += 1 / tone->ohms;
}

void time_evaluate(solve_run *run, const double *x, double seconds, bool slopes) {
    const solve_system *system = run->system;
    size_t values = (size_t)run->net->pattern.nonzeros + 1;
    if (slopes) memcpy(run->value, run->fixed, values * sizeof *run->value);
    linear_residual(run, x);
    double wave = wave_at(run, seconds);
    for (size_t i = 0; i < system->units; i++)
        stamp_unit(run, i, x, slopes);
    for (size_t i = 0; i < system->diodes; i++)
        stamp_diode(run, i, x);
    for (size_t i = 0; i < system->cycles; i++)
        stamp_cycle(run, i, x, wave);
    for (int i = 0; i < run->course.tones; i++)
        stamp_tone(run, &run->course.tone[i], x, seconds);
    run->count.evaluations++;
}

/* ---- looking at it ---- */

double solve_run_side(const solve_run *run, int part, int side) {
    double wave = wave_at(run, run->seconds), siemens;
    for (size_t i = 0; i < run->system->cycles; i++) {
        const solve_cycle *cycle = &run->system->cycle[i];
        if (cycle->part != part) continue;
        instant at = {wave, output_volts(run, cycle, run->step.x)};
        if (side < cycle->sides) return side_current(run, i, side, at, &siemens);
        side -= cycle->sides;
    }
    return NAN;
}

/* Ampere-turns in the secondary become amperes in the primary. */
solve_mains solve_run_mains(const solve_run *run) {
    double wave = wave_at(run, run->seconds), siemens;
    solve_mains mains = {.volts = sqrt(2) * run->numbers[run->system->mains] * wave};
    for (size_t i = 0; i < run->system->cycles; i++) {
        const solve_cycle *cycle = &run->system->cycle[i];
        instant at = {wave, output_volts(run, cycle, run->step.x)};
        for (int k = 0; k < cycle->sides; k++) {
            const solve_side *side = &cycle->side[k];
            double turns = side->volts < 0 ? 1 : run->numbers[side->volts] / side->drawn;
            mains.rectifier_a += turns * side->phase_sign * side_current(run, i, k, at, &siemens);
        }
    }
    mains.heater_a = time_heater_amperes(run, mains.volts);
    return mains;
}

bool solve_run_tube(const solve_run *run, int part, int unit, solve_tube *out) {
    for (size_t i = 0; i < run->system->units; i++) {
        const solve_unit *own = &run->system->unit[i];
        if (own->part != part || own->unit != unit) continue;
        *out = (solve_tube){.cathode_v = solve_at(run->step.x, run->unit_node[i][3]),
                            .heater_ratio = NAN};
        out->volts = unit_volts(run, i, run->step.x);
        unit_point(run, i, &out->volts, &out->point);
        out->plate_a = out->point.plate;
        out->screen_a = out->point.screen;
        out->grid_a = out->point.grid;
        out->inside = tube_in_region(own->type, &out->volts, out->plate_a);
        return true;
    }
    return false;
}
