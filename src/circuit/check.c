/* What `check` adds to reading: things that may be meant so, and seldom are. */
#include "check_impl.h"

#include <strings.h>

/* ---- groups -------------------------------------------------------------------------------- */

groups circuit_groups_new(check *check) {
    groups made = {base_arena_take(check->arena, check->amp->nodes, sizeof *made.of)};
    for (size_t i = 0; made.of && i < check->amp->nodes; i++)
        made.of[i] = (int)i;
    if (!made.of) check->no_memory = true;
    return made;
}

int circuit_group_of(const groups *groups, int node) {
    while (groups->of[node] != node)
        node = groups->of[node] = groups->of[groups->of[node]];
    return node;
}

void circuit_group_join(groups *groups, int a, int b) {
    if (a < 0 || b < 0) return;
    groups->of[circuit_group_of(groups, a)] = circuit_group_of(groups, b);
}

bool circuit_group_same(const groups *groups, int a, int b) {
    return a >= 0 && b >= 0 && circuit_group_of(groups, a) == circuit_group_of(groups, b);
}

void circuit_group_wire(groups *groups, const circuit_part *part) {
    int way = (int)part->position;
    if (part->kind == CIRCUIT_FUSE) circuit_group_join(groups, part->end[0], part->end[1]);
    if (part->kind == CIRCUIT_SWITCH && way > 0)
        circuit_group_join(groups, part->end[0], part->end[way]);
    if (part->kind == CIRCUIT_JACK && part->position == 0)
        circuit_group_join(groups, part->end[0], part->end[2]);
}

static void group_heater(groups *groups, const circuit_part *tube) {
    int node[3], count = circuit_heater_nodes(tube, node);
    for (int i = 1; i < count; i++)
        circuit_group_join(groups, node[0], node[i]);
}

void circuit_group_dc(groups *groups, const circuit_part *part) {
    switch (part->kind) {
    case CIRCUIT_CAPACITOR:
        break;
    case CIRCUIT_TUBE:
        group_heater(groups, part);
        break;
    case CIRCUIT_JACK:
        circuit_group_join(groups, part->end[0], part->end[2]);
        break;
    case CIRCUIT_RECTIFIER: /* its diodes tie the winding to what they feed */
        for (int k = 0; k < 2; k++)
            circuit_group_join(groups, part->end[0], part->rectifier.ac[k]);
        circuit_group_join(groups, part->end[0], part->end[1]);
        break;
    case CIRCUIT_OUTPUT_TRANSFORMER:
        circuit_group_join(groups, part->end[0], part->end[1]);
        circuit_group_join(groups, part->end[1], part->end[2]);
        circuit_group_join(groups, part->end[3], part->end[4]);
        break;
    default:
        for (int end = 1; end < part->ends; end++)
            circuit_group_join(groups, part->end[0], part->end[end]);
    }
}

/* ---- looking at tubes ---------------------------------------------------------------------- */

int circuit_unit_node(const circuit_part *tube, int unit, tube_electrode electrode) {
    for (int pin = 1; pin <= tube->tube->pins; pin++) {
        const tube_pin *it = &tube->tube->pin[pin];
        bool ours = it->unit == unit || it->unit == -1;
        if (it->electrode == electrode && ours && tube->end[pin] >= 0) return tube->end[pin];
    }
    return -1;
}

bool circuit_is_heater_pin(const tube_type *type, int pin) {
    int heaters = 0; /* with one only, the cathode (or the filament's other end) is the second */
    for (int other = 1; other <= type->pins; other++)
        heaters += type->pin[other].electrode == TUBE_HEATER;
    tube_electrode it = type->pin[pin].electrode;
    return it == TUBE_HEATER || it == TUBE_HEATER_TAP || (it == TUBE_CATHODE && heaters < 2);
}

int circuit_heater_nodes(const circuit_part *tube, int node[3]) {
    int count = 0;
    for (int pin = 1; pin <= tube->tube->pins && count < 3; pin++)
        if (circuit_is_heater_pin(tube->tube, pin) && tube->end[pin] >= 0)
            node[count++] = tube->end[pin];
    return count;
}

int circuit_node_named(const circuit *amp, const char *name) {
    for (size_t i = 0; i < amp->nodes; i++)
        if (strcasecmp(amp->node[i].name, name) == 0) return (int)i;
    return -1;
}

void circuit_check(const circuit *amp, base_errors *errors) {
    check check = {amp, errors, base_arena_new(), false};
    if (check.arena) {
        circuit_check_supply(&check);
        circuit_check_tubes(&check);
        circuit_check_heaters(&check);
        circuit_check_paths(&check);
    }
    if (!check.arena || check.no_memory)
        base_errors_add(errors, BASE_MEMORY, (base_place){amp->about.file, 0, 0},
                        "no memory to check it|close other programs");
    base_arena_free(check.arena);
}
