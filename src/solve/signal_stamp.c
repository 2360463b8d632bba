/* The entries of G and C at a solved point. They come in one fixed order: the same walk counts
 * them, names them, and then, for each new point, writes them. */
#include <math.h>

#include "signal_impl.h"

#define SPEAKER_DC 0.8 /* a speaker's DC ohms as a part of those it is sold by (parts.c) */

static void put(solve_signal *signal, int row, int column, double g, double c) {
    size_t at = signal->cursor++;
    solve_pattern *pattern = &signal->pattern;
    if (signal->g) {
        signal->g[pattern->place[at]] += g;
        signal->c[pattern->place[at]] += c;
    } else if (pattern->row_name) {
        bool ground = row < 0 || column < 0;
        pattern->row_name[at] = ground ? -1 : row;
        pattern->column_name[at] = ground ? -1 : column;
    }
}

static void between(solve_signal *signal, int a, int b, double g, double c) {
    put(signal, a, a, g, c);
    put(signal, a, b, -g, -c);
    put(signal, b, a, -g, -c);
    put(signal, b, b, g, c);
}

static int ours(const solve_signal *signal, int unknown) {
    return unknown < 0 ? -1 : signal->of_unknown[unknown];
}

/* ---- plain parts ---- */

static double ohms_of(const solve_signal *signal, const signal_point *at, int index) {
    const solve_branch *branch = &signal->system->branch[index];
    double ohms = solve_branch_ohms(branch, at->numbers);
    if (branch->part < 0) return ohms;
    const circuit_part *part = circuit_part_at(signal->system->amp, (size_t)branch->part);
    return part->kind == CIRCUIT_SPEAKER ? ohms / SPEAKER_DC : ohms;
}

static void stamp_branches(solve_signal *signal, const signal_point *at) {
    const solve_system *system = signal->system;
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        if (branch->heater || signal->replaced[i]) continue;
        between(signal, ours(signal, branch->a), ours(signal, branch->b),
                1 / ohms_of(signal, at, (int)i), 0);
    }
}

static void stamp_stores(solve_signal *signal, const signal_point *at) {
    for (size_t i = 0; i < signal->stores; i++) {
        signal_store *store = &signal->store[i];
        if (store->farads >= 0)
            store->value = fmax(at->numbers[store->farads], SIGNAL_NO_CAPACITANCE);
        if (store->a == store->b)
            put(signal, store->a, store->a, 0, store->value);
        else
            between(signal, store->a, store->b, 0, store->value);
    }
}

static void stamp_esrs(solve_signal *signal, const signal_point *at) {
    for (size_t i = 0; i < signal->esrs; i++)
        between(signal, signal->esr[i].a, signal->esr[i].inner,
                1 / fmax(at->numbers[signal->esr[i].slot], SOLVE_LEAST), 0);
}

/* Row `current`: the volts across the branch, less its ohms times the current, make zero. The
 * current leaves a and arrives at b. */
static void stamp_series(solve_signal *signal, const signal_point *at, int index, int current) {
    const solve_branch *branch = &signal->system->branch[index];
    int a = ours(signal, branch->a), b = ours(signal, branch->b);
    put(signal, a, current, 1, 0);
    put(signal, b, current, -1, 0);
    put(signal, current, a, 1, 0);
    put(signal, current, b, -1, 0);
    put(signal, current, current, -ohms_of(signal, at, index), 0);
}

/* n e across the first half from plate to B+, -n e across the second, e across the secondary; the
 * ampere-turns n (i1 - i2) + is make the magnetising current m, and e = s L m. */
static void stamp_transformer(solve_signal *signal, const signal_point *at,
                              const signal_transformer *transformer) {
    const double turns[3] = {transformer->turns, -transformer->turns, transformer->sense};
    for (int k = 0; k < 3; k++) {
        if (transformer->branch[k] < 0) continue;
        stamp_series(signal, at, transformer->branch[k], transformer->current[k]);
        put(signal, transformer->current[k], transformer->turn, -turns[k], 0);
        put(signal, transformer->turn, transformer->current[k], turns[k], 0);
    }
    put(signal, transformer->turn, transformer->flux, -1, 0);
    put(signal, transformer->flux, transformer->turn, 1, 0);
}

/* ---- tubes and rectifiers ---- */

static void stamp_unit(solve_signal *signal, const signal_point *at, size_t index) {
    const solve_unit *unit = &signal->system->unit[index];
    tube_volts volts;
    tube_state state;
    tube_point point;
    int node[4];
    for (int k = 0; k < 4; k++)
        node[k] = ours(signal, unit->node[k]);
    solve_unit_volts(unit, at->x, &volts);
    solve_unit_state(at->work, unit, at->numbers, at->x, &state);
    tube_current(unit->type, &state, &volts, &point);
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++) {
            double slope = point.d[i][j] * (j == 2 && i != 2 ? signal->gain[index] : 1);
            put(signal, node[i], node[j], slope, 0);
            put(signal, node[i], node[3], -slope, 0);
            put(signal, node[3], node[j], -slope, 0);
            put(signal, node[3], node[3], slope, 0);
        }
}

static void stamp_diodes(solve_signal *signal, const signal_point *at) {
    const solve_system *system = signal->system;
    for (size_t i = 0; i < system->diodes; i++) {
        const solve_diode *diode = &system->diode[i];
        double slope, scale = diode->emission < 0 ? 1 : at->numbers[diode->emission];
        double volts = solve_at(at->x, diode->a) - solve_at(at->x, diode->b) - diode->offset;
        tube_diode(diode->curve, scale, volts, &slope);
        between(signal, ours(signal, diode->a), ours(signal, diode->b), slope, 0);
    }
}

/* A rectifier gives less as its output rises: beside its first capacitor its mean slope serves at
 * every frequency below the mains'. */
static void stamp_cycles(solve_signal *signal, const signal_point *at) {
    const solve_system *system = signal->system;
    for (size_t i = 0; i < system->cycles; i++)
        between(signal, ours(signal, system->cycle[i].out), ours(signal, system->cycle[i].ret),
                fmax(-at->work->cycle_point[i].by_v, 0), 0);
}

void signal_stamp_linear(solve_signal *signal, const signal_point *at) {
    signal->cursor = 0;
    for (int i = 0; i < signal->unknowns; i++) /* first: entry i is the diagonal of row i */
        put(signal, i, i, i < signal->currents_from ? SOLVE_GMIN : 0, 0);
    stamp_branches(signal, at);
    stamp_stores(signal, at);
    stamp_esrs(signal, at);
    for (size_t i = 0; i < signal->coils; i++)
        stamp_series(signal, at, signal->coil[i].branch, signal->coil[i].current);
    for (size_t i = 0; i < signal->transformers; i++)
        stamp_transformer(signal, at, &signal->transformer[i]);
}

void signal_stamp(solve_signal *signal, const signal_point *at) {
    signal_stamp_linear(signal, at);
    for (size_t i = 0; i < signal->system->units; i++)
        stamp_unit(signal, at, i);
    stamp_diodes(signal, at);
    stamp_cycles(signal, at);
}
