/* What drives a rectifier of this very amp. */
#include "world_impl.h"

/* Through closed switches and fuses the same point, as far as a first capacitor is concerned. */
static int same_point(const world *world, int node, int from) {
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        int way = part->kind == CIRCUIT_FUSE ? 1 : (int)part->position;
        if (part->kind != CIRCUIT_FUSE && part->kind != CIRCUIT_SWITCH) continue;
        if (way < 1 || part->end[way] < 0) continue;
        if (part->end[0] == node && part->end[way] != from) return part->end[way];
        if (part->end[way] == node && part->end[0] != from) return part->end[0];
    }
    return -1;
}

static bool at_point(const world *world, int node, int point) {
    int from = -1;
    for (int hop = 0; hop < 4 && point >= 0; hop++) {
        if (node == point) return true;
        int next = same_point(world, point, from);
        from = point;
        point = next;
    }
    return false;
}

/* Farads from output to return; failing any, the henries of the choke that follows. */
static void find_filter(const world *world, const world_supply *supply, cycle_drive *drive) {
    bool any = false;
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        if (part->kind != CIRCUIT_CAPACITOR) continue;
        for (int k = 0; k < 2; k++)
            if (at_point(world, part->end[k], supply->out) &&
                at_point(world, part->end[1 - k], supply->back)) {
                drive->farads += world->part[i].farads;
                drive->esr = fmax(drive->esr, world->part[i].esr);
                any = true;
            }
    }
    if (any) return;
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        if (part->kind != CIRCUIT_INDUCTOR) continue;
        if (part->end[0] == supply->out || part->end[1] == supply->out)
            drive->henries = part->value;
    }
    if (drive->henries == 0) drive->farads = 1e-8;
}

static const circuit_part *primary_of(const world *world, const char *transformer, int *index) {
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        *index = (int)i;
        if (part->kind == CIRCUIT_WINDING && part->winding.primary &&
            strcmp(part->winding.transformer, transformer) == 0)
            return part;
    }
    *index = -1;
    return NULL;
}

static double lead_ohms(const world *world, const circuit_rectifier *from, int side) {
    double ohms = 0;
    for (int k = 0; k < 4 && from->through[k] >= 0; k++) {
        const circuit_part *part = circuit_part_at(world->amp, (size_t)from->through[k]);
        const world_part *own = &world->part[from->through[k]];
        if (from->side[k] != 0 && from->side[k] != side + 1) continue;
        ohms += part->kind == CIRCUIT_SWITCH ? own->contact : own->ohms[0];
    }
    return ohms;
}

/* Volts and ohms of one side: its half of the winding, the primary's share, what is in its lead. */
static void feed_side(const world *world, const world_supply *supply, int side,
                      cycle_drive *drive) {
    const circuit_rectifier *from = &circuit_part_at(world->amp, (size_t)supply->part)->rectifier;
    double rms = world->mains, ohms = lead_ohms(world, from, side);
    if (from->winding >= 0) {
        const circuit_part *winding = circuit_part_at(world->amp, (size_t)from->winding);
        const world_part *own = &world->part[from->winding];
        int half = supply->winding_half[side], index;
        const circuit_part *primary = primary_of(world, winding->winding.transformer, &index);
        double turns = own->volts[half] / (primary ? primary->winding.volts[0] : world->mains);
        rms = turns * world->mains;
        ohms += own->ohms[half];
        if (primary) ohms += world->part[index].ohms[0] * turns * turns;
    }
    drive->peak[side] = M_SQRT2 * rms * world->scale;
    drive->ohms[side] = ohms + 0.1;
    drive->phase[side] = supply->phase[side];
}

static bool lifted(const world *world, int part, int end) {
    return end > 0 && world_node(world, part, end) >= world->nodes;
}

static void add_tube(const world *world, int tube, cycle_drive *drive) {
    const tube_type *type = circuit_part_at(world->amp, (size_t)tube)->tube;
    drive->tube = true;
    drive->law = world->law[tube][0];
    for (int side = 0; side < drive->sides; side++) {
        int unit = side < type->units ? side : type->units - 1;
        const int *pin = type->unit[unit].pin;
        bool open = lifted(world, tube, pin[TUBE_PLATE]) || lifted(world, tube, pin[TUBE_CATHODE]);
        double emission = world->part[tube].emission[unit] * world->warm[tube][unit];
        drive->emission[side] = fmax(emission, 1e-9);
        if (open || emission < 1e-4) drive->ohms[side] = WORLD_OPEN;
    }
}

/* false: nothing feeds it. */
bool world_drive(const world *world, const world_supply *supply, cycle_drive *drive) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)supply->part);
    *drive =
        (cycle_drive){.sides = supply->sides, .hertz = circuit_about_of(world->amp)->mains_hertz};
    for (int side = 0; side < supply->sides; side++)
        feed_side(world, supply, side, drive);
    find_filter(world, supply, drive);
    if (part->rectifier.tube >= 0) {
        add_tube(world, part->rectifier.tube, drive);
    } else {
        bool selenium = part->material == CIRCUIT_SELENIUM;
        drive->drop = (selenium ? 3.0 : 0.75) * supply->diodes;
        drive->bulk = (selenium ? 90.0 : 0.6) * supply->diodes;
        for (int side = 0; side < supply->sides; side++) {
            int own = supply->phase[side] < 0 && supply->sides == 1 ? 1 : side;
            if (world->part[supply->part].ohms[own] >= WORLD_OPEN) drive->ohms[side] = WORLD_OPEN;
        }
    }
    return drive->peak[0] > 1e-3 || drive->peak[1] > 1e-3;
}
