/* What differs between two amps of one drawing, and how to go back. */
#include "circuit_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

typedef struct differ {
    const circuit *from, *to;
    base_arena *arena;
    circuit_difference *list;
    size_t count;
    bool no_memory;
} differ;

/* ---- words --------------------------------------------------------------------------------- */

static const char *words(differ *differ, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static const char *words(differ *differ, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    const char *kept = base_arena_print_list(differ->arena, format, arguments);
    va_end(arguments);
    if (!kept) differ->no_memory = true;
    return kept;
}

static void note(differ *differ, circuit_difference difference) {
    if (!differ->no_memory) differ->list[differ->count++] = difference;
}

/* ---- one key ------------------------------------------------------------------------------- */

static void compare_text(differ *differ, const circuit_part *part, const char *key,
                         const char *const pair[2]) {
    const char *from = pair[0], *to = pair[1];
    if (!from && !to) return;
    if (from && to && strcasecmp(from, to) == 0) return;
    bool bare = strcmp(key, "value") == 0 || strcmp(key, "type") == 0;
    const char *undo;
    if (!from)
        undo = words(differ, "%s: the drawing does not state its %s", part->name, key);
    else if (strcmp(key, "original") == 0)
        undo = words(differ, "leave %s: it is a later part, in itself no harm", part->name);
    else if (bare)
        undo = words(differ, "put %s back to %s", part->name, from);
    else
        undo = words(differ, "put %s back to %s %s", part->name, key, from);
    note(differ, (circuit_difference){part->name, key, from, to, "change", undo});
}

static bool same(double a, double b) {
    return (isnan(a) && isnan(b)) || fabs(a - b) <= 1e-9 * fabs(a);
}

static void compare_number(differ *differ, const circuit_part *part, const char *key,
                           const double pair[2]) {
    const char *text[2] = {NULL, NULL};
    if (same(pair[0], pair[1])) return;
    for (int i = 0; i < 2; i++)
        if (!isnan(pair[i])) text[i] = words(differ, "%.6g", pair[i]);
    compare_text(differ, part, key, text);
}

/* ---- ends ---------------------------------------------------------------------------------- */

static const char *node_name(const circuit *amp, int node) {
    return node < 0 ? "nothing" : circuit_node_at(amp, (size_t)node)->name;
}

/* A node keeps any of its names when parts come and go, so it is looked up by name. */
static bool same_node(const differ *differ, int from, int to) {
    circuit_place place;
    if (from < 0 || to < 0) return from < 0 && to < 0;
    return circuit_place_find(differ->to, node_name(differ->from, from), (base_place){0}, &place,
                              NULL) == BASE_OK &&
           place.node == to;
}

/* A pin that only another part joined is left alone when that part goes: the tube's own joints are
 * as they were. */
static bool own_pin(const circuit *amp, const circuit_part *part, int end) {
    char name[64];
    snprintf(name, sizeof name, "%.50s.%d", part->name, end);
    return part->tube && strcasecmp(node_name(amp, part->end[end]), name) == 0;
}

static bool same_end(const differ *differ, const circuit_part *from, const circuit_part *to,
                     int end) {
    if (from->end[end] >= 0 && to->end[end] < 0) return own_pin(differ->from, from, end);
    if (from->end[end] < 0 && to->end[end] >= 0) return own_pin(differ->to, to, end);
    return same_node(differ, from->end[end], to->end[end]);
}

static const char *ends_listed(differ *differ, const circuit *amp, const circuit_part *part) {
    base_text text;
    base_text_init(&text, 512);
    for (int i = 0; i < part->ends; i++)
        if (part->end[i] >= 0)
            base_text_add(&text, "%s%s", text.length ? ", " : "", node_name(amp, part->end[i]));
    const char *kept = words(differ, "[%s]", text.data);
    base_text_free(&text);
    return kept;
}

static void compare_ends(differ *differ, const circuit_part *from, const circuit_part *to) {
    bool alike = from->ends == to->ends;
    for (int i = 0; i < from->ends && alike; i++)
        alike = same_end(differ, from, to, i);
    if (alike) return;
    const char *was = ends_listed(differ, differ->from, from),
               *is = ends_listed(differ, differ->to, to);
    const char *undo = words(differ, "join %s as it was: %s", from->name, was);
    note(differ, (circuit_difference){from->name, "at", was, is, "change", undo});
}

/* ---- one part ------------------------------------------------------------------------------ */

static const char *material_of(const circuit_part *part) {
    return part->material == CIRCUIT_UNSTATED ? NULL : circuit_material_name(part->material);
}

static const char *original_of(const circuit_part *part) {
    return part->original < 0 ? NULL : part->original ? "yes" : "no";
}

/* Values that are written, or the numbers where a kind of part has no written one. */
static void compare_value(differ *differ, const circuit_part *from, const circuit_part *to) {
    if (from->written && to->written && !same(from->value, to->value))
        compare_text(differ, from, "value", (const char *[2]){from->written, to->written});
    else if (!from->written || !to->written)
        compare_number(differ, from, "value", (double[2]){from->value, to->value});
}

/* The tube that it is made of, or the kind of its diodes. */
static const char *by_of(const circuit *amp, const circuit_part *part) {
    int tube = part->rectifier.tube;
    return tube >= 0 ? circuit_part_at(amp, (size_t)tube)->name : material_of(part);
}

/* "325-0-325", "6.3" */
static const char *winding_of(differ *differ, const circuit_part *part) {
    const double *volts = part->winding.volts;
    return part->ends > 2 && !part->winding.heater ? words(differ, "%g-0-%g", volts[0], volts[1])
                                                   : words(differ, "%g", volts[0] + volts[1]);
}

/* What only one kind of part has. */
static void compare_kind(differ *differ, const circuit_part *from, const circuit_part *to) {
    if (from->kind == CIRCUIT_RECTIFIER)
        compare_text(differ, from, "by",
                     (const char *[2]){by_of(differ->from, from), by_of(differ->to, to)});
    else
        compare_text(differ, from, "kind", (const char *[2]){material_of(from), material_of(to)});
    if (from->kind == CIRCUIT_WINDING)
        compare_text(differ, from, "volts",
                     (const char *[2]){winding_of(differ, from), winding_of(differ, to)});
    if (from->kind == CIRCUIT_INDUCTOR)
        compare_number(differ, from, "ohms", (double[2]){from->dc_ohms[0], to->dc_ohms[0]});
    if (from->kind == CIRCUIT_OUTPUT_TRANSFORMER)
        compare_number(differ, from, "primary", (double[2]){from->primary_ohms, to->primary_ohms});
}

static void compare_part(differ *differ, const circuit_part *from, const circuit_part *to) {
    if (from->tube || to->tube)
        compare_text(differ, from, "type",
                     (const char *[2]){from->tube ? from->tube->name : NULL,
                                       to->tube ? to->tube->name : NULL});
    compare_value(differ, from, to);
    compare_kind(differ, from, to);
    compare_number(differ, from, "watts", (double[2]){from->watts, to->watts});
    compare_number(differ, from, "volts", (double[2]){from->volts, to->volts});
    compare_number(differ, from, "tolerance", (double[2]){from->tolerance, to->tolerance});
    compare_number(differ, from, "position", (double[2]){from->position, to->position});
    compare_text(differ, from, "original", (const char *[2]){original_of(from), original_of(to)});
    compare_ends(differ, from, to);
}

static const char *put_back(differ *differ, const circuit_part *part) {
    const char *value = part->written ? part->written : part->tube ? part->tube->name : "";
    return words(differ, "put %s back in: %s%s%s", part->name, value, *value ? " at " : "at ",
                 ends_listed(differ, differ->from, part));
}

const circuit_difference *circuit_differences(const circuit *from, const circuit *to,
                                              base_arena *arena, size_t *count) {
    enum { KEYS = 10 }; /* that one part can differ in */
    differ differ = {.from = from, .to = to, .arena = arena};
    size_t most = KEYS * circuit_parts(from) + circuit_parts(to) + 1;
    *count = 0;
    differ.list = base_arena_take(arena, most, sizeof *differ.list);
    if (!differ.list) return NULL;
    for (size_t i = 0; i < circuit_parts(from) && !differ.no_memory; i++) {
        const circuit_part *part = circuit_part_at(from, i);
        int other = circuit_part_find(to, part->name);
        if (other >= 0)
            compare_part(&differ, part, circuit_part_at(to, (size_t)other));
        else
            note(&differ, (circuit_difference){part->name, NULL, part->written, NULL, "remove",
                                               put_back(&differ, part)});
    }
    for (size_t i = 0; i < circuit_parts(to) && !differ.no_memory; i++) {
        const circuit_part *part = circuit_part_at(to, i);
        if (circuit_part_find(from, part->name) < 0)
            note(&differ, (circuit_difference){part->name, NULL, NULL, part->written, "add",
                                               words(&differ, "take %s out again", part->name)});
    }
    *count = differ.count;
    return differ.no_memory ? NULL : differ.list;
}
