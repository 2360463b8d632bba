/* An amp beside itself with parts changed. */
#include "margins_impl.h"

#define MOVED 0.01 /* of the limit: less is not worth a line */

typedef struct swapper {
    service_swap *out;
    service_bench bench[2];
    base_errors *errors;
} swapper;

/* ---- tubes and nodes ----------------------------------------------------------------------- */

static service_swap_tube *tube_row(service_swap *out, const service_tube *tube) {
    for (size_t i = 0; i < out->tubes; i++)
        if (strcmp(out->tube[i].tube, tube->tube) == 0 &&
            strcmp(out->tube[i].unit, tube->unit) == 0)
            return &out->tube[i];
    service_swap_tube *row = &out->tube[out->tubes++];
    *row = (service_swap_tube){.tube = tube->tube, .unit = tube->unit};
    return row;
}

static bool list_tubes(swapper *swap) {
    service_swap *out = swap->out;
    service_tube *list[2];
    size_t count[2];
    for (int side = 0; side < 2; side++) {
        list[side] = service_tubes_list(&swap->bench[side], out->arena, &count[side]);
        if (!list[side]) return false;
    }
    out->tube = base_arena_take(out->arena, count[0] + count[1] + 1, sizeof *out->tube);
    for (int side = 0; out->tube && side < 2; side++)
        for (size_t i = 0; i < count[side]; i++)
            tube_row(out, &list[side][i])->side[side] = list[side][i];
    return out->tube != NULL;
}

/* The node of the other amp that bears the same name; -1: none. */
static int node_named(const circuit *amp, const char *name) {
    for (size_t i = 1; i < circuit_nodes(amp); i++)
        if (strcmp(circuit_node_at(amp, i)->name, name) == 0) return (int)i;
    return -1;
}

static bool list_nodes(swapper *swap) {
    service_swap *out = swap->out;
    const circuit *amp = swap->bench[0].amp;
    size_t nodes = circuit_nodes(amp);
    bool *supply = base_arena_take(out->arena, nodes, sizeof *supply);
    out->node = base_arena_take(out->arena, nodes + 1, sizeof *out->node);
    if (!supply || !out->node || !diagnose_supply_nodes(amp, supply)) return false;
    for (size_t i = 1; i < nodes; i++) {
        const char *name = circuit_node_at(amp, i)->name;
        int other = node_named(swap->bench[1].amp, name);
        double volts = service_volts(&swap->bench[0], (int)i, 0);
        if (!supply[i] || !isfinite(volts)) continue;
        out->node[out->nodes++] = (service_swap_node){
            name, {volts, other < 0 ? NAN : service_volts(&swap->bench[1], other, 0)}};
    }
    return true;
}

/* ---- margins ------------------------------------------------------------------------------- */

static bool over(const service_margin *margin) {
    return margin && margin->state == SERVICE_OVER;
}

static bool moved(const service_swap_margin *row) {
    const service_margin *a = row->side[0], *b = row->side[1];
    if (!a || !b || a->state != b->state) return true;
    if (isnan(a->share) || isnan(b->share)) return fabs(a->is - b->is) > MOVED * fabs(a->is);
    return fabs(a->share - b->share) > MOVED;
}

static void sort_row(service_swap *out, service_swap_margin row) {
    if (over(row.side[1]) && !over(row.side[0])) out->broken[out->brokens++] = row;
    if (over(row.side[0]) && !over(row.side[1])) out->mended[out->mendeds++] = row;
    if (moved(&row)) out->margin[out->margins++] = row;
}

static bool pair_margins(swapper *swap) {
    service_swap *out = swap->out;
    size_t room = out->side[0].margins + out->side[1].margins + 1;
    out->margin = base_arena_take(out->arena, room, sizeof *out->margin);
    out->broken = base_arena_take(out->arena, room, sizeof *out->broken);
    out->mended = base_arena_take(out->arena, room, sizeof *out->mended);
    if (!out->margin || !out->broken || !out->mended) return false;
    for (size_t i = 0; i < out->side[1].margins; i++) {
        const service_margin *row = &out->side[1].margin[i];
        sort_row(out, (service_swap_margin){{service_margins_same(&out->side[0], row), row}});
    }
    for (size_t i = 0; i < out->side[0].margins; i++) {
        const service_margin *row = &out->side[0].margin[i];
        if (!service_margins_same(&out->side[1], row))
            sort_row(out, (service_swap_margin){{row, NULL}});
    }
    return true;
}

/* ---- the tremolo --------------------------------------------------------------------------- */

/* Is there a capacitor or resistor among the changes that can be of a tremolo, and a tremolo? */
static bool find_tremolo(service_bench *bench, solve_tremolo *out) {
    solve_signal *signal = solve_signal_new(bench->system);
    solve_trial given = {signal, bench->work, bench->numbers, bench->x};
    *out = (solve_tremolo){.part = -1};
    if (!signal) return false;
    solve_signal_set(signal, bench->work, bench->numbers, bench->x);
    solve_outcome outcome = solve_tremolo_quick(&given, out);
    solve_signal_free(signal);
    return outcome == SOLVE_CONVERGED && out->part >= 0;
}

bool service_swap_tremolo(service_swap *swap, const service_swap_side side[2]) {
    base_errors *quiet = base_errors_new();
    for (int i = 0; quiet && i < 2; i++) {
        service_bench bench;
        if (service_bench_open(&bench, side[i].system, side[i].mains, quiet) != BASE_OK) continue;
        if (find_tremolo(&bench, &swap->tremolo[i])) swap->has_tremolo = true;
        service_bench_close(&bench);
    }
    base_errors_free(quiet);
    return quiet != NULL;
}

/* ---- both sides ---------------------------------------------------------------------------- */

static base_code open_side(swapper *swap, int side, const service_swap_side *given) {
    service_margins *margins = &swap->out->side[side];
    base_errors *own = base_errors_new();
    margins->arena = swap->out->arena;
    if (!own) return service_no_memory(swap->errors);
    base_code code =
        service_margins_open(given->system, given->mains, &swap->bench[side], margins, own);
    if (code == BASE_OK) {
        swap->out->mains_v[side] = margins->mains_v;
    } else if (code == BASE_UNSOLVED && side == 1) {
        const base_error *error = base_errors_at(own, 0);
        base_errors_add(swap->errors, code, (base_place){0},
                        "with this change the amp has no operating point that was found: %s|%s",
                        error->cause, "take back one change at a time until it has one");
    } else {
        base_errors_append(swap->errors, own);
    }
    base_errors_free(own);
    return code;
}

static bool fill(swapper *swap) {
    service_swap *out = swap->out;
    out->amp = circuit_about_of(swap->bench[0].amp)->name;
    out->change =
        circuit_differences(swap->bench[0].amp, swap->bench[1].amp, out->arena, &out->changes);
    return out->change && list_tubes(swap) && list_nodes(swap) && pair_margins(swap);
}

service_swap *service_swap_new(const service_swap_side *before, const service_swap_side *after,
                               base_errors *errors) {
    base_arena *arena = base_arena_new();
    swapper swap = {.out = arena ? base_arena_take(arena, 1, sizeof *swap.out) : NULL,
                    .errors = errors};
    bool whole = false;
    if (swap.out) {
        swap.out->arena = arena;
        if (open_side(&swap, 0, before) == BASE_OK) {
            if (open_side(&swap, 1, after) == BASE_OK) {
                whole = fill(&swap);
                if (!whole) service_no_memory(errors);
                service_bench_close(&swap.bench[1]);
            }
            service_bench_close(&swap.bench[0]);
        }
    } else {
        service_no_memory(errors);
    }
    if (whole) return swap.out;
    base_arena_free(arena);
    return NULL;
}

void service_swap_free(service_swap *swap) {
    if (swap) base_arena_free(swap->arena);
}

bool service_swap_mains(const char **changes, double *mains, base_errors *errors) {
    size_t kept = 0;
    for (size_t i = 0; changes[i]; i++) {
        const char *change = changes[i], *equals = strchr(change, '=');
        size_t length = equals ? (size_t)(equals - change) : 0;
        double volts;
        changes[kept] = change;
        if (length != 5 || strncasecmp(change, "mains", 5) != 0) {
            kept++;
            continue;
        }
        base_place place = {.file = change};
        if (base_value_read(equals + 1, BASE_VOLTS, place, &volts, errors) != BASE_OK) return false;
        if (!(volts >= 50 && volts <= 300)) {
            base_errors_add(errors, BASE_VALUE, place,
                            "no mains has %.4g V|give volts from 50 to 300", volts);
            return false;
        }
        *mains = volts;
    }
    changes[kept] = NULL;
    return true;
}
