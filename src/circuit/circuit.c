/* Looking at an amp that was read. */
#include "circuit_impl.h"

#include <string.h>
#include <strings.h>

const char *circuit_kind_name(circuit_kind kind) {
    static const char *const names[CIRCUIT_KINDS] = {
        "resistor", "capacitor", "pot",  "switch",  "jack",      "inductor",           "diode",
        "fuse",     "lamp",      "tube", "winding", "rectifier", "output transformer", "speaker"};
    return kind < CIRCUIT_KINDS ? names[kind] : "part";
}

const char *circuit_material_name(circuit_material material) {
    static const char *const names[CIRCUIT_MATERIALS] = {
        "unstated", "carbon composition", "carbon film", "metal film", "wirewound", "paper",
        "film",     "electrolytic",       "mica",        "ceramic",    "silicon",   "selenium",
        "choke",    "field coil",         "slow",        "fast"};
    return material < CIRCUIT_MATERIALS ? names[material] : "unstated";
}

void circuit_free(circuit *amp) {
    if (amp) base_arena_free(amp->arena);
}

const circuit_about *circuit_about_of(const circuit *amp) {
    return &amp->about;
}

size_t circuit_parts(const circuit *amp) {
    return amp->parts;
}

const circuit_part *circuit_part_at(const circuit *amp, size_t index) {
    return &amp->part[index];
}

int circuit_part_find(const circuit *amp, const char *name) {
    return circuit_part_by_name(amp, name, strlen(name));
}

size_t circuit_nodes(const circuit *amp) {
    return amp->nodes;
}

const circuit_node *circuit_node_at(const circuit *amp, size_t index) {
    return &amp->node[index];
}

/* ---- places -------------------------------------------------------------------------------- */

static const place_entry *entry_find(const circuit *amp, const char *name) {
    size_t low = 0, high = amp->places;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        int order = strcasecmp(name, amp->place[middle].name);
        if (order == 0) return &amp->place[middle];
        if (order < 0)
            high = middle;
        else
            low = middle + 1;
    }
    return NULL;
}

/* A written name made fit to show. */
static const char *shown(const char *name, char *buffer, size_t size) {
    size_t i = 0;
    for (; name[i] && i + 1 < size; i++)
        buffer[i] =
            (unsigned char)name[i] < ' ' || name[i] == 0x7F || name[i] == '|' ? '?' : name[i];
    buffer[i] = 0;
    return buffer;
}

static base_code complain_place(const circuit *amp, const char *name, base_place at,
                                base_errors *errors) {
    char text[48];
    shown(name, text, sizeof text);
    int part = circuit_part_find(amp, name);
    const char *nearest = base_nearest_name(name, amp->name, amp->places);
    if (part >= 0)
        return base_errors_add(errors, BASE_UNKNOWN, at,
                               "%s is a part, not one place|name one of its ends: %s.1", text,
                               amp->part[part].name);
    if (nearest)
        return base_errors_add(errors, BASE_UNKNOWN, at,
                               "there is no place called %s|did you mean %s?", text, nearest);
    return base_errors_add(errors, BASE_UNKNOWN, at,
                           "there is no place called %s|write a node (B1), a tube's pin (V2.3) or "
                           "a part's end (R7.1)",
                           text);
}

base_code circuit_place_find(const circuit *amp, const char *name, base_place at,
                             circuit_place *place, base_errors *errors) {
    const place_entry *entry = entry_find(amp, name);
    if (!entry) return complain_place(amp, name, at, errors);
    if (entry->place.node < 0)
        return base_errors_add(errors, BASE_UNKNOWN, at,
                               "nothing joins %s in this amp|name a pin or node that is in use",
                               entry->name);
    *place = entry->place;
    return BASE_OK;
}

bool circuit_heater_pins(const circuit_part *tube, int *first, int *last) {
    *first = *last = 0;
    for (int pin = 1; pin <= tube->tube->pins; pin++) {
        if (!tube_heater_pin(tube->tube, pin) || tube->end[pin] < 0) continue;
        if (!*first)
            *first = pin;
        else if (tube->end[pin] != tube->end[*first])
            *last = pin;
    }
    return *last > 0;
}
