/* The same amp with some leads on other nodes than the drawing says. */
#include "circuit_impl.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

static void *copy(base_arena *arena, const void *from, size_t count, size_t size) {
    void *to = base_arena_take(arena, count + 1, size);
    if (to && count) memcpy(to, from, count * size);
    return to;
}

static bool copy_all(circuit *to, const circuit *from) {
    to->part = copy(to->arena, from->part, from->parts, sizeof *to->part);
    to->node = copy(to->arena, from->node, from->nodes, sizeof *to->node);
    to->place = copy(to->arena, from->place, from->places, sizeof *to->place);
    return to->part && to->node && to->place;
}

static void place_moves(circuit *amp, const char *name, int node) {
    for (size_t i = 0; i < amp->places; i++)
        if (strcasecmp(amp->place[i].name, name) == 0) amp->place[i].place.node = node;
}

static void move(circuit *amp, const circuit_lead *lead) {
    circuit_part *part = &amp->part[lead->part];
    const char *end = circuit_end_name(part, lead->end);
    char name[160];
    if (part->end[lead->end] >= 0) amp->node[part->end[lead->end]].leads--;
    amp->node[lead->node].leads++;
    part->end[lead->end] = lead->node;
    snprintf(name, sizeof name, "%.120s.%d", part->name, circuit_end_number(part, lead->end));
    place_moves(amp, name, lead->node);
    if (!end) return;
    snprintf(name, sizeof name, "%.120s.%.30s", part->name, end);
    place_moves(amp, name, lead->node);
}

circuit *circuit_rewired(const circuit *amp, const circuit_lead *lead, size_t count) {
    base_arena *arena = base_arena_new();
    circuit *wired = arena ? base_arena_take(arena, 1, sizeof *wired) : NULL;
    if (!wired) {
        base_arena_free(arena);
        return NULL;
    }
    *wired = *amp;
    wired->arena = arena;
    if (!copy_all(wired, amp)) {
        base_arena_free(arena);
        return NULL;
    }
    for (size_t i = 0; i < count; i++)
        move(wired, &lead[i]);
    return wired;
}
