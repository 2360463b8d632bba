/* How another's good amps differ from the drawing: by batch as much as part by part, skewed, with
 * parts replaced by what was at hand, a dirty board, contacts that are not zero ohms. Judgement
 * throughout; nothing here is taken from the priors that it is to test. */
#include "world_impl.h"

typedef struct batch {
    base_random *random;
    double carbon, film, copper, tubes; /* one draw for all parts of a kind in this amp */
} batch;

static double normal(base_random *random) {
    return base_random_normal(random);
}

static double uniform(base_random *random, double from, double to) {
    return from + (to - from) * base_random_unit(random);
}

static double log_uniform(base_random *random, double from, double to) {
    return from * pow(to / from, base_random_unit(random));
}

static double exponential(base_random *random) {
    return -log(1 - base_random_unit(random));
}

/* Within its tolerance, seldom beyond; old carbon has drifted up, some of it far. */
static void age_resistor(const circuit_part *part, world_part *own, batch *batch) {
    double tolerance = isfinite(part->tolerance) ? part->tolerance : 0.1;
    bool carbon = part->material == CIRCUIT_CARBON_COMPOSITION && part->original != 0;
    bool replaced = base_random_unit(batch->random) < (carbon ? 0.12 : 0.05);
    if (replaced) {
        /* The nearest that the drawer held: of a coarser series, but close to its marking. */
        double nearest = base_value_nearest(part->value, 12);
        own->ohms[0] = nearest * exp(0.01 * normal(batch->random));
        return;
    }
    double kind = carbon ? batch->carbon : batch->film;
    double ln = tolerance * (0.25 * kind + 0.35 * normal(batch->random));
    if (carbon) ln += 0.03 * exponential(batch->random) * (part->value > 90e3 ? 1.3 : 0.8);
    own->ohms[0] *= exp(ln);
}

static void age_pot(world_part *own, batch *batch) {
    double whole = (own->ohms[0] + own->ohms[1]) * exp(0.08 * normal(batch->random) + 0.02);
    double turn = own->ohms[0] / (own->ohms[0] + own->ohms[1]);
    turn = fmin(fmax(turn + uniform(batch->random, -0.06, 0.06), 0.001), 0.999);
    own->ohms[0] = whole * turn;
    own->ohms[1] = whole * (1 - turn);
}

static void age_capacitor(const circuit_part *part, world_part *own, batch *batch) {
    bool electrolytic = part->material == CIRCUIT_ELECTROLYTIC;
    bool replaced = part->original == 0 || base_random_unit(batch->random) < 0.2;
    if (electrolytic)
        own->leak *= log_uniform(batch->random, replaced ? 1 : 0.25, replaced ? 10 : 3);
    else if (part->material == CIRCUIT_PAPER && !replaced)
        own->leak = log_uniform(batch->random, 2e9, 1e11);
    own->esr *= log_uniform(batch->random, 1, replaced ? 3 : 15);
    own->farads *= exp(electrolytic ? uniform(batch->random, -0.25, replaced ? 0.4 : 0.1)
                                    : 0.08 * normal(batch->random));
}

static void age_coil(const circuit_part *part, world_part *own, batch *batch) {
    double turns = 0.012 * batch->copper + 0.006 * normal(batch->random);
    for (int half = 0; half < 2; half++) {
        own->ohms[half] *= exp(0.05 * batch->copper + 0.03 * normal(batch->random) + 0.02);
        own->volts[half] *= exp(turns + 0.004 * normal(batch->random));
    }
    if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER) own->contact *= exp(0.1 * normal(batch->random));
}

/* Used tubes have lost some: the spread has its long side below. */
static void age_tube(const circuit_part *part, world_part *own, batch *batch) {
    double type = 0.05 * batch->tubes;
    for (int unit = 0; unit < part->tube->units; unit++) {
        double worn = 0.05 * exponential(batch->random);
        own->emission[unit] = exp(0.04 + type + 0.07 * normal(batch->random) - worn);
        own->screen[unit] = exp(0.10 * batch->tubes + 0.18 * normal(batch->random));
        own->gas[unit] = 2e-6 * exponential(batch->random);
        own->grid_cathode[unit] = log_uniform(batch->random, 1e9, 1e12);
        own->plate_grid[unit] = log_uniform(batch->random, 3e10, 1e12);
        own->heater_cathode[unit] = log_uniform(batch->random, 2e7, 1e10);
    }
    own->heater *= exp(0.02 * normal(batch->random));
}

static void age_part(world *world, int index, batch *batch) {
    const circuit_part *part = circuit_part_at(world->amp, (size_t)index);
    world_part *own = &world->part[index];
    own->contact = log_uniform(batch->random, 0.01, 1.5);
    switch (part->kind) {
    case CIRCUIT_RESISTOR:
        age_resistor(part, own, batch);
        break;
    case CIRCUIT_POT:
        age_pot(own, batch);
        break;
    case CIRCUIT_CAPACITOR:
        age_capacitor(part, own, batch);
        break;
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_WINDING:
    case CIRCUIT_OUTPUT_TRANSFORMER:
        age_coil(part, own, batch);
        break;
    case CIRCUIT_TUBE:
        age_tube(part, own, batch);
        break;
    case CIRCUIT_FUSE:
        own->ohms[0] = log_uniform(batch->random, 0.02, 1);
        break;
    default:
        break;
    }
}

/* One node in four leaks to the chassis through its board or socket, with 50 M to 1 G; the others
 * hardly; a few leak to another node. */
static void dirty_board(world *world, base_random *random) {
    for (int node = 1; node < world->nodes; node++) {
        bool dirty = base_random_unit(random) < 0.25;
        world->board[node] =
            dirty ? log_uniform(random, 50e6, 1e9) : log_uniform(random, 1e9, 1e11);
    }
    for (int k = 0; k < 3; k++) {
        int a = 1 + (int)(base_random_unit(random) * (world->nodes - 1));
        int b = 1 + (int)(base_random_unit(random) * (world->nodes - 1));
        world_leak_add(world, a, b, log_uniform(random, 2e9, 2e10));
    }
}

void world_age(world *world, base_random *random) {
    batch batch = {.random = random,
                   .carbon = normal(random),
                   .film = normal(random),
                   .copper = normal(random),
                   .tubes = normal(random)};
    world_nominal(world);
    world->mains *= exp(fmin(fmax(0.022 * normal(random) + 0.005, -0.06), 0.06));
    for (size_t i = 0; i < world->parts; i++)
        age_part(world, (int)i, &batch);
    dirty_board(world, random);
}
