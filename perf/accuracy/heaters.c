/* The heaters, an alternating circuit of their own: linear, solved before the rest. */
#include "world_impl.h"

#include <lapacke.h>

static int heater_ends(const world *world, int part, tube_electrode electrode, int pins[2]) {
    const tube_type *type = circuit_part_at(world->amp, (size_t)part)->tube;
    int count = 0;
    for (int pin = 1; pin <= type->pins && count < 2; pin++)
        if (type->pin[pin].electrode == electrode && world_node(world, part, pin) >= 0)
            pins[count++] = pin;
    return count;
}

/* Two ends, and a mid-tap where it is joined; a filament that is the cathode ends there. */
int world_heaters(const world *world, int part, world_heater heater[2]) {
    int end[2], tap[2], cathode[2];
    int ends = heater_ends(world, part, TUBE_HEATER, end);
    int taps = world_rectifies(world, part) ? 0 : heater_ends(world, part, TUBE_HEATER_TAP, tap);
    if (ends == 0) return 0;
    if (ends == 1 && taps == 0) {
        if (heater_ends(world, part, TUBE_CATHODE, cathode) == 0) return 0;
        end[1] = cathode[0];
    }
    int first = world_node(world, part, end[0]);
    if (taps == 0) {
        heater[0] = (world_heater){first, world_node(world, part, end[1]), 1, end[0]};
        return 1;
    }
    int middle = world_node(world, part, tap[0]);
    for (int k = 0; k < ends; k++)
        heater[k] = (world_heater){world_node(world, part, end[k]), middle, 0.5, end[k]};
    return ends;
}

static double heater_ohms(const world *world, int part, const world_heater *heater) {
    return world->part[part].heater * heater->part + 0.02;
}

/* A source behind ohms, as its current into the node. */
static void feed(world *world, const int node[2], double volts, double ohms) {
    world_join(world->j, world->size, node[0], node[1], 1 / ohms);
    if (node[0] > 0) world->step[node[0] - 1] += volts / ohms;
    if (node[1] > 0) world->step[node[1] - 1] -= volts / ohms;
}

static double primary_volts(const world *world, const char *transformer) {
    for (size_t i = 0; i < world->parts; i++) {
        const circuit_part *part = circuit_part_at(world->amp, i);
        if (part->kind == CIRCUIT_WINDING && part->winding.primary &&
            strcmp(part->winding.transformer, transformer) == 0)
            return part->winding.volts[0];
    }
    return world->mains;
}

static void join_winding(world *world, const circuit_part *part, const world_part *own) {
    if (!part->winding.heater) return;
    double turns = world->mains / primary_volts(world, part->winding.transformer);
    for (int half = 0; half + 1 < part->ends; half++) {
        bool open = own->ohms[half] >= WORLD_OPEN;
        feed(world, &part->end[half], own->volts[half] * turns, open ? WORLD_OPEN : 0.005);
    }
}

static void join_part(world *world, int index, const circuit_part *part) {
    const world_part *own = &world->part[index];
    int size = world->size, way = (int)part->position;
    world_heater heater[2];
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
    case CIRCUIT_LAMP:
    case CIRCUIT_FUSE:
        world_join(world->j, size, part->end[0], part->end[1], 1 / own->ohms[0]);
        break;
    case CIRCUIT_POT:
        world_join(world->j, size, part->end[0], world_node(world, index, 1), 1 / own->ohms[0]);
        world_join(world->j, size, world_node(world, index, 1), part->end[2], 1 / own->ohms[1]);
        break;
    case CIRCUIT_SWITCH:
        if (way >= 1) world_join(world->j, size, part->end[0], part->end[way], 1 / own->contact);
        break;
    case CIRCUIT_TUBE:
        for (int k = world_heaters(world, index, heater); k-- > 0;)
            world_join(world->j, size, heater[k].a, heater[k].b,
                       1 / heater_ohms(world, index, &heater[k]));
        break;
    case CIRCUIT_WINDING:
        join_winding(world, part, own);
        break;
    default:
        break;
    }
}

/* With no transformer the mains itself stands between line and neutral. */
static void join_mains(world *world) {
    base_errors *errors = base_errors_new();
    circuit_place line, neutral;
    bool transformer = false;
    for (size_t i = 0; i < world->parts; i++)
        transformer |= circuit_part_at(world->amp, i)->kind == CIRCUIT_WINDING;
    if (!transformer &&
        circuit_place_find(world->amp, "line", (base_place){0}, &line, errors) == BASE_OK &&
        circuit_place_find(world->amp, "neutral", (base_place){0}, &neutral, errors) == BASE_OK)
        feed(world, (int[]){line.node, neutral.node}, world->mains, 0.4);
    base_errors_free(errors);
}

/* With a mid-tap, the half on the lower pin warms the unit on pins 1 to 3. */
static bool warms(const circuit_part *part, int unit, const world_heater *heater, int other) {
    if (part->tube->units != 2) return true;
    bool low = part->tube->unit[unit].pin[TUBE_PLATE] <= 3;
    return low == (heater->pin < other);
}

static void warm_tube(world *world, int index, const double *heat) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)index);
    world_heater heater[2];
    int count = world_heaters(world, index, heater);
    for (int unit = 0; unit < part->tube->units; unit++) {
        double ratio = count ? 0 : 1, times = 0;
        for (int k = 0; k < count; k++) {
            if (count == 2 && !warms(part, unit, &heater[k], heater[1 - k].pin)) continue;
            double amps =
                fabs(heat[heater[k].a] - heat[heater[k].b]) / heater_ohms(world, index, &heater[k]);
            ratio += amps / part->tube->heater_a;
            times++;
        }
        world->warm[index][unit] = law_warmth(times > 0 ? ratio / times : ratio);
    }
}

void world_warm_up(world *world) {
    int n = world->size;
    memset(world->j, 0, (size_t)(n * n) * sizeof(double));
    memset(world->step, 0, (size_t)n * sizeof(double));
    for (int i = 0; i < n; i++)
        world->j[i * n + i] = 1e-9;
    join_mains(world);
    for (size_t i = 0; i < world->parts; i++)
        join_part(world, (int)i, circuit_part_at(world->amp, i));
    memset(world->heat, 0, (size_t)(n + 1) * sizeof(double));
    if (LAPACKE_dgesv(LAPACK_COL_MAJOR, n, 1, world->j, n, world->pivot, world->step, n) == 0)
        memcpy(world->heat + 1, world->step, (size_t)n * sizeof(double));
    for (size_t i = 0; i < world->parts; i++)
        if (circuit_part_at(world->amp, i)->kind == CIRCUIT_TUBE)
            warm_tube(world, (int)i, world->heat);
}
