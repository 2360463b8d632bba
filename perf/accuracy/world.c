#include "world_impl.h"

#include <stdio.h>

/* ---- making it ----------------------------------------------------------------------------- */

static double or_else(double value, double otherwise) {
    return isfinite(value) && value > 0 ? value : otherwise;
}

bool world_rectifies(const world *world, int tube) {
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.tube == tube) return true;
    }
    return false;
}

static void fit_tubes(world *world) {
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        if (part->kind != CIRCUIT_TUBE) continue;
        for (int unit = 0; unit < part->tube->units; unit++) {
            double worst;
            world->law[i][unit] = law_fit(part->tube, unit, &worst);
            world->worst_fit = fmax(world->worst_fit, worst);
        }
    }
}

static void add_supply(world *world, world_supply supply) {
    if (world->supplies < 4) world->supply[world->supplies++] = supply;
}

/* A doubler is two rectifiers about the winding's far end. */
static void add_rectifier(world *world, int index) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)index);
    const circuit_rectifier *from = &part->rectifier;
    world_supply supply = {.part = index,
                           .out = part->end[0],
                           .back = part->end[1],
                           .sign = from->negative ? -1 : 1,
                           .sides = from->form == CIRCUIT_HALF_WAVE ? 1 : 2,
                           .winding_half = {from->from_b, from->from_b},
                           .phase = {1, -1},
                           .diodes = from->form == CIRCUIT_BRIDGE ? 2 : 1};
    if (from->form == CIRCUIT_FULL_WAVE) supply.winding_half[0] = 0, supply.winding_half[1] = 1;
    if (from->form == CIRCUIT_DOUBLER && from->winding >= 0) {
        const circuit_part *winding = circuit_part_at(world->amp, (size_t)from->winding);
        int middle = winding->end[winding->ends - 1];
        supply.sides = 1;
        supply.back = middle;
        add_supply(world, supply);
        supply.out = middle;
        supply.back = part->end[1];
        supply.phase[0] = -1;
    }
    add_supply(world, supply);
}

static bool take_room(world *world) {
    size_t n = (size_t)world->size, nodes = n + 1;
    double **lists[] = {&world->board, &world->heat,     &world->volts, &world->start,
                        &world->more,  &world->f,        &world->step,  &world->trial,
                        &world->next,  &world->heat_more};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (!(*lists[i] = calloc(nodes, sizeof(double)))) return false;
    world->part = calloc(world->parts, sizeof *world->part);
    world->law = calloc(world->parts, sizeof *world->law);
    world->warm = calloc(world->parts, sizeof *world->warm);
    world->g = calloc(n * n, sizeof(double));
    world->j = calloc(n * n, sizeof(double));
    world->lu = calloc(n * n, sizeof(double));
    world->pivot = calloc(n, sizeof(int));
    return world->part && world->law && world->warm && world->g && world->j && world->lu &&
           world->pivot;
}

world *world_new(const circuit *amp) {
    world *world = calloc(1, sizeof *world);
    if (!world) return NULL;
    world->amp = amp;
    world->parts = circuit_parts(amp);
    world->nodes = (int)circuit_nodes(amp);
    world->size = world->nodes - 1 + WORLD_LIFTS;
    bool good = take_room(world);
    for (size_t i = 0; good && i < world->parts; i++) {
        if (circuit_part_at(amp, i)->kind == CIRCUIT_DIODE) good = false;
        if (circuit_part_at(amp, i)->kind == CIRCUIT_RECTIFIER) add_rectifier(world, (int)i);
    }
    if (good) {
        fit_tubes(world);
        world_nominal(world);
        good = world_solve(world);
        memcpy(world->start, world->volts, (size_t)world->size * sizeof(double));
    }
    if (good) return world;
    world_free(world);
    return NULL;
}

void world_free(world *world) {
    if (!world) return;
    double *lists[] = {world->board, world->heat, world->volts, world->start, world->more,
                       world->f,     world->step, world->trial, world->next,  world->heat_more};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        free(lists[i]);
    free(world->part);
    free(world->law);
    free(world->warm);
    free(world->g);
    free(world->j);
    free(world->lu);
    free(world->pivot);
    free(world);
}

world_part *world_part_at(world *world, int part) {
    return &world->part[part];
}

double world_worst_fit(const world *world) {
    return world->worst_fit;
}

double world_mains(const world *world) {
    return world->mains;
}

/* ---- the drawing as it is ------------------------------------------------------------------ */

/* A power law through the taper's value at half turn; a trace of track stays at either end. */
static void turn_pot(const circuit_part *part, world_part *own) {
    double turn = part->position / 10;
    double below = pow(turn, log(part->taper) / log(0.5));
    below = fmin(fmax(below, 0.002), 0.998);
    own->ohms[0] = part->value * below;
    own->ohms[1] = part->value * (1 - below);
}

static void new_tube(const circuit_part *part, world_part *own) {
    own->heater = part->tube->heater_v / part->tube->heater_a;
    for (int unit = 0; unit < TUBE_UNITS; unit++) {
        own->emission[unit] = own->screen[unit] = 1;
        own->gas[unit] = 1e-6;
        own->grid_cathode[unit] = own->plate_grid[unit] = own->heater_cathode[unit] = WORLD_NONE;
    }
}

static void new_part(const circuit_part *part, world_part *own) {
    *own = (world_part){.leak = WORLD_NONE, .contact = 0.03};
    own->ohms[0] = own->ohms[1] = 0.03;
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
    case CIRCUIT_LAMP:
        own->ohms[0] = part->value;
        break;
    case CIRCUIT_SPEAKER:
        own->ohms[0] = 0.85 * part->value;
        break;
    case CIRCUIT_POT:
        turn_pot(part, own);
        break;
    case CIRCUIT_CAPACITOR:
        own->farads = part->value;
        if (part->material != CIRCUIT_ELECTROLYTIC) break;
        own->leak = 700 / part->value;
        own->esr = 1e-5 / part->value;
        break;
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_OUTPUT_TRANSFORMER:
        for (int half = 0; half < 2; half++)
            own->ohms[half] = or_else(part->dc_ohms[half], 0.1);
        own->contact = or_else(part->secondary_ohms, 0.3);
        break;
    case CIRCUIT_WINDING:
        for (int half = 0; half < 2; half++) {
            own->ohms[half] = or_else(part->winding.ohms[half], 0.02);
            own->volts[half] = part->winding.volts[half];
        }
        break;
    case CIRCUIT_TUBE:
        new_tube(part, own);
        break;
    default:
        break;
    }
}

void world_nominal(world *world) {
    for (size_t i = 0; i < world->parts; i++)
        new_part(circuit_part_at(world->amp, i), &world->part[i]);
    for (int node = 0; node <= world->size; node++)
        world->board[node] = 1e11;
    world->mains = circuit_about_of(world->amp)->mains_volts;
    world->leaks = world->lifts = 0;
    world->scale = 1;
    for (int s = 0; s < world->supplies; s++)
        world->supply[s].guess = 0;
}

bool world_leak_add(world *world, int a, int b, double ohms) {
    if (world->leaks == WORLD_LEAKS || a == b || a < 0 || b < 0) return false;
    world->leak[world->leaks++] = (world_leak){a, b, ohms};
    return true;
}

/* ---- where an end stands ------------------------------------------------------------------- */

int world_node(const world *world, int part, int end) {
    for (int k = 0; k < world->lifts; k++)
        if (world->lift[k].part == part && world->lift[k].end == end) return world->nodes + k;
    return circuit_part_at(world->amp, (size_t)part)->end[end];
}
