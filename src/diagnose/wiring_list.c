/* Which mistakes of wiring are looked for: a lead of a resistor, capacitor or control on another
 * node of its neighbourhood; two wires of a socket exchanged; the two leads that stand on two pins
 * of one socket exchanged; and the halves of a twin tube exchanged, which is no mistake.
 *
 * The neighbourhood of a node: the pins of the sockets that it has a pin on, and the other ends of
 * the parts that stand on it. Of ground it is that of the part's other end. */
#include "wiring_impl.h"

#include <stdio.h>
#include <string.h>

#define MOST_WIRINGS 4000
#define ORIGINAL 0.3 /* of the prior, for a part that was never touched; judgement */
#define REPLACED 4.0 /* and for one that somebody put in */

typedef struct lister {
    const diagnose_engine *engine;
    const circuit *amp;
    diagnose_wirings *wirings;
    bool *live;  /* by node: DC alone */
    bool *near_; /* by node: room for one neighbourhood */
    bool failed;
} lister;

/* ---- nodes --------------------------------------------------------------------------------- */

/* Nodes of heaters and of alternating current are left as they are drawn. */
static void mark_live(lister *list) {
    list->live[0] = true;
    for (size_t n = 1; n < circuit_nodes(list->amp); n++) {
        solve_probe dc = {.plus = (int)n, .meter_ohms = INFINITY}, warm = dc;
        warm.heater = true;
        list->live[n] = solve_probe_exists(list->engine->bench.system, &dc) &&
                        !solve_probe_exists(list->engine->bench.system, &warm);
    }
}

static int ends_of(const circuit_part *part) {
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
    case CIRCUIT_CAPACITOR:
        return 2;
    case CIRCUIT_POT:
        return 3;
    default:
        return 0;
    }
}

static bool stands_on(const circuit_part *part, int node) {
    int first = part->kind == CIRCUIT_TUBE ? 1 : 0;
    int last = part->kind == CIRCUIT_TUBE ? part->tube->pins : ends_of(part) - 1;
    for (int end = first; end <= last; end++)
        if (part->end[end] == node) return true;
    return false;
}

static void mark_near(lister *list, int node) {
    memset(list->near_, 0, circuit_nodes(list->amp) * sizeof(bool));
    for (size_t i = 0; i < circuit_parts(list->amp); i++) {
        const circuit_part *part = circuit_part_at(list->amp, i);
        int first = part->kind == CIRCUIT_TUBE ? 1 : 0;
        int last = part->kind == CIRCUIT_TUBE ? part->tube->pins : ends_of(part) - 1;
        if (!stands_on(part, node)) continue;
        for (int end = first; end <= last; end++)
            if (part->end[end] >= 0) list->near_[part->end[end]] = list->live[part->end[end]];
    }
    list->near_[node] = false;
}

/* ---- adding -------------------------------------------------------------------------------- */

static const char *node_name(const lister *list, int node) {
    return node == 0 ? "ground" : circuit_node_at(list->amp, (size_t)node)->name;
}

static double share_of(const circuit_part *part) {
    return part->original == 1 ? ORIGINAL : part->original == 0 ? REPLACED : 1;
}

static void add(lister *list, diagnose_wiring wiring, const char *words) {
    diagnose_wirings *wirings = list->wirings;
    if (wirings->count == MOST_WIRINGS) return;
    wiring.words = base_arena_text(list->engine->arena, words);
    list->failed |= !wiring.words;
    wirings->wiring[wirings->count++] = wiring;
}

/* ---- leads --------------------------------------------------------------------------------- */

static const char *by_end(const circuit_part *part, int end) {
    static const char *const pot[] = {" by its low end", " by its wiper", " by its high end"};
    return part->kind == CIRCUIT_POT ? pot[end] : "";
}

static bool is_end(const circuit_part *part, int node) {
    for (int end = 0; end < ends_of(part); end++)
        if (part->end[end] == node) return true;
    return false;
}

static void move_lead(lister *list, int index, int end) {
    const circuit_part *part = circuit_part_at(list->amp, (size_t)index);
    int from = part->end[end], other = part->end[end == 0 ? 1 : 0];
    if (from < 0 || !list->live[from]) return;
    mark_near(list, from == 0 ? other : from);
    for (size_t to = 0; to < circuit_nodes(list->amp); to++) {
        if (!list->near_[to] || is_end(part, (int)to)) continue;
        char words[200];
        snprintf(words, sizeof words, "joined%s to %.60s instead of %.60s", by_end(part, end),
                 node_name(list, (int)to), node_name(list, from));
        add(list,
            (diagnose_wiring){.mode = DIAGNOSE_MISWIRED,
                              .part = index,
                              .leads = 1,
                              .lead = {{index, end, (int)to}},
                              .share = share_of(part)},
            words);
    }
}

/* ---- sockets ------------------------------------------------------------------------------- */

static bool signal_pin(const lister *list, const circuit_part *tube, int pin) {
    tube_electrode electrode = tube->tube->pin[pin].electrode;
    bool named = electrode >= TUBE_PLATE && electrode <= TUBE_SUPPRESSOR;
    return named && tube->end[pin] >= 0 && list->live[tube->end[pin]] &&
           !tube_heater_pin(tube->tube, pin);
}

static void exchange_pins(lister *list, int index) {
    const circuit_part *tube = circuit_part_at(list->amp, (size_t)index);
    for (int a = 1; a <= tube->tube->pins; a++)
        for (int b = a + 1; b <= tube->tube->pins; b++) {
            if (!signal_pin(list, tube, a) || !signal_pin(list, tube, b)) continue;
            if (tube->end[a] == tube->end[b]) continue;
            char words[200];
            snprintf(words, sizeof words, "with the wires of pins %d and %d exchanged", a, b);
            add(list,
                (diagnose_wiring){.mode = DIAGNOSE_MISWIRED,
                                  .part = index,
                                  .leads = 2,
                                  .lead = {{index, a, tube->end[b]}, {index, b, tube->end[a]}},
                                  .pins = true,
                                  .share = 1},
                words);
        }
}

/* A part's lead on pin a and another's on pin b, each on the other's. */
static void exchange_two(lister *list, int one, int a, int other, int b) {
    const circuit_part *first = circuit_part_at(list->amp, (size_t)one),
                       *second = circuit_part_at(list->amp, (size_t)other);
    int from = first->end[a], to = second->end[b];
    if (is_end(first, to) || is_end(second, from)) return;
    char words[200];
    snprintf(words, sizeof words, "joined to %.50s instead of %.50s, and %.40s the other way round",
             node_name(list, to), node_name(list, from), second->name);
    add(list,
        (diagnose_wiring){.mode = DIAGNOSE_MISWIRED,
                          .part = one,
                          .leads = 2,
                          .lead = {{one, a, to}, {other, b, from}},
                          .share = (share_of(first) + share_of(second)) / 4},
        words);
}

static void exchange_leads_between(lister *list, int from, int to) {
    for (size_t i = 0; i < circuit_parts(list->amp); i++) {
        const circuit_part *one = circuit_part_at(list->amp, i);
        for (int a = 0; a < ends_of(one) && a < 2; a++) {
            if (one->end[a] != from) continue;
            for (size_t k = 0; k < circuit_parts(list->amp); k++) {
                const circuit_part *other = circuit_part_at(list->amp, k);
                for (int b = 0; k != i && b < ends_of(other) && b < 2; b++)
                    if (other->end[b] == to) exchange_two(list, (int)i, a, (int)k, b);
            }
        }
    }
}

static void exchange_leads(lister *list, int index) {
    const circuit_part *tube = circuit_part_at(list->amp, (size_t)index);
    for (int a = 1; a <= tube->tube->pins; a++)
        for (int b = a + 1; b <= tube->tube->pins; b++) {
            if (!signal_pin(list, tube, a) || !signal_pin(list, tube, b)) continue;
            if (tube->end[a] == tube->end[b] || tube->end[a] == 0 || tube->end[b] == 0) continue;
            exchange_leads_between(list, tube->end[a], tube->end[b]);
        }
}

/* Two halves of one kind, each wired where the other is drawn. */
static void exchange_halves(lister *list, int index) {
    const circuit_part *tube = circuit_part_at(list->amp, (size_t)index);
    diagnose_wiring wiring = {
        .mode = DIAGNOSE_HALVES_EXCHANGED, .part = index, .pins = true, .share = 1};
    if (tube->tube->units != 2 || tube->tube->unit[0].kind != tube->tube->unit[1].kind) return;
    for (int electrode = TUBE_PLATE; electrode <= TUBE_SUPPRESSOR; electrode++) {
        int a = tube->tube->unit[0].pin[electrode], b = tube->tube->unit[1].pin[electrode];
        if (a == 0 || b == 0 || a == b) continue;
        if (!signal_pin(list, tube, a) || !signal_pin(list, tube, b)) return;
        if (tube->end[a] == tube->end[b]) continue;
        wiring.lead[wiring.leads++] = (circuit_lead){index, a, tube->end[b]};
        wiring.lead[wiring.leads++] = (circuit_lead){index, b, tube->end[a]};
    }
    char words[200];
    snprintf(words, sizeof words, "drawn as %.40sa, wired as %.40sb, which is no fault", tube->name,
             tube->name);
    if (wiring.leads) add(list, wiring, words);
}

/* ---- the whole ----------------------------------------------------------------------------- */

static bool rectifies(const circuit *amp, int tube) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.tube == tube) return true;
    }
    return false;
}

bool diagnose_wirings_list(const diagnose_engine *engine, diagnose_wirings *wirings) {
    lister list = {.engine = engine, .amp = engine->bench.amp, .wirings = wirings};
    size_t nodes = circuit_nodes(list.amp);
    list.live = base_arena_take(engine->arena, nodes, sizeof(bool));
    list.near_ = base_arena_take(engine->arena, nodes, sizeof(bool));
    wirings->wiring = base_arena_take(engine->arena, MOST_WIRINGS, sizeof *wirings->wiring);
    if (!list.live || !list.near_ || !wirings->wiring) return false;
    mark_live(&list);
    for (size_t i = 0; i < circuit_parts(list.amp); i++) {
        const circuit_part *part = circuit_part_at(list.amp, i);
        bool tube = part->kind == CIRCUIT_TUBE && !rectifies(list.amp, (int)i);
        for (int end = 0; end < ends_of(part); end++)
            move_lead(&list, (int)i, end);
        if (tube) exchange_halves(&list, (int)i);
        if (tube) exchange_pins(&list, (int)i);
        if (tube) exchange_leads(&list, (int)i);
    }
    return !list.failed;
}
