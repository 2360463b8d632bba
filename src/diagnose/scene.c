/* Scenes: the amp made ready for one kind of reading, and every point's answer to it. */
#include "symptoms_impl.h"

#include <complex.h>
#include <stdlib.h>
#include <string.h>

#define STEP 0.02          /* of a number's logarithm, for differences */
#define HARMONICS 3        /* of the mains that hum is summed over: 1, 2, 4 */
#define COLD 1e-6          /* of the mains' volts: none */
#define METER_FARADS 1e-10 /* of a meter's leads; common practice, no source */

static const int harmonic[HARMONICS] = {1, 2, 4};

struct diagnose_scene {
    diagnose_test test;
    solve_probe probe; /* cold: the two points; else unused */
    base_arena *arena;
    int index;
    unsigned turn;
    size_t width;    /* of a field */
    double **beside; /* by varied slot, then by extra without a slot */
};

/* ---- what varies --------------------------------------------------------------------------- */

static bool seen(const diagnose_scenes *scenes, int slot) {
    for (int i = 0; i < scenes->varieds; i++)
        if (scenes->varied[i] == slot) return true;
    return false;
}

static void add_varied(diagnose_scenes *scenes, int slot) {
    if (slot >= 0 && !seen(scenes, slot)) scenes->varied[scenes->varieds++] = slot;
}

static void add_extra(diagnose_scenes *scenes, diagnose_extra extra) {
    if (extra.slot >= 0 && seen(scenes, extra.slot)) return; /* a latent of DC already */
    scenes->extra[scenes->extras++] = extra;
    add_varied(scenes, extra.slot);
}

/* Good capacitors and tubes: electrolytics are sold with -20 +50 %, others with 10 to 20 %; series
 * ohms differ by half either way; the slope of a tube's curve is wrong by some 8 % where its
 * current is right. Judgement. */
#define ELECTROLYTIC_SPREAD 0.20
#define CAPACITOR_SPREAD 0.07
#define ESR_SPREAD 0.40
#define SLOPE_SPREAD 0.08

static void add_extras(diagnose_scenes *scenes, const diagnose_engine *engine) {
    const solve_system *system = engine->bench.system;
    for (size_t i = 0; i < solve_slots(system); i++) {
        const solve_slot *slot = solve_slot_at(system, i);
        if (slot->what == SOLVE_ESR)
            add_extra(scenes, (diagnose_extra){(int)i, -1, -1, ESR_SPREAD});
        if (slot->part < 0) continue;
        const circuit_part *part = circuit_part_at(engine->bench.amp, (size_t)slot->part);
        bool large = part->material == CIRCUIT_ELECTROLYTIC;
        double stated = isfinite(part->tolerance) ? part->tolerance / 2 : CAPACITOR_SPREAD;
        if (slot->what == SOLVE_FARADS)
            add_extra(scenes,
                      (diagnose_extra){(int)i, -1, -1, large ? ELECTROLYTIC_SPREAD : stated});
        if (slot->what == SOLVE_GAS)
            add_extra(scenes, (diagnose_extra){-1, slot->part, slot->which, SLOPE_SPREAD});
    }
    scenes->wide = engine->columns + scenes->extras + 1;
}

static bool make_room(diagnose_scenes *scenes, const diagnose_engine *engine) {
    size_t slots = solve_slots(engine->bench.system);
    base_arena *arena = scenes->arena;
    scenes->signal = solve_signal_new(engine->bench.system);
    scenes->numbers = base_arena_take(arena, slots, sizeof(double));
    scenes->gradient = base_arena_take(arena, slots, sizeof(double));
    scenes->x = base_arena_take(arena, solve_unknowns(engine->bench.system), sizeof(double));
    scenes->volts = base_arena_take(arena, circuit_nodes(engine->bench.amp), sizeof *scenes->volts);
    scenes->varied = base_arena_take(arena, slots + 1, sizeof(int));
    scenes->extra = base_arena_take(arena, 2 * slots + 1, sizeof *scenes->extra);
    return scenes->signal && scenes->numbers && scenes->gradient && scenes->x && scenes->volts &&
           scenes->varied && scenes->extra;
}

diagnose_scenes *diagnose_scenes_of(diagnose_engine *engine) {
    if (engine->scenes) return engine->scenes;
    base_arena *arena = base_arena_new();
    diagnose_scenes *scenes = arena ? base_arena_take(arena, 1, sizeof *scenes) : NULL;
    if (!scenes) {
        base_arena_free(arena);
        return NULL;
    }
    scenes->arena = arena;
    if (!make_room(scenes, engine)) {
        diagnose_scenes_free(scenes);
        return NULL;
    }
    for (int l = 0; l < engine->latents.count; l++)
        for (int k = 0; k < 2; k++)
            add_varied(scenes, engine->latents.latent[l].slot[k]);
    add_extras(scenes, engine);
    return engine->scenes = scenes;
}

void diagnose_scenes_free(diagnose_scenes *scenes) {
    if (!scenes) return;
    for (int s = 0; s < DIAGNOSE_SCENES; s++)
        if (scenes->scene[s]) base_arena_free(scenes->scene[s]->arena);
    solve_signal_free(scenes->signal);
    base_arena_free(scenes->arena);
}

void diagnose_scenes_turn(diagnose_engine *engine) {
    if (engine->scenes) engine->scenes->turn++;
}

/* ---- solving one ---------------------------------------------------------------------------- */

static void set_stage(const diagnose_engine *engine, const diagnose_scene *scene, double *numbers) {
    const diagnose_test *test = &scene->test;
    if (test->quantity == DIAGNOSE_SIGNAL && test->input >= 0)
        solve_plug_in(engine->bench.system, test->input, numbers);
    if (test->quantity == DIAGNOSE_COLD && engine->mains_slot >= 0)
        numbers[engine->mains_slot] *= COLD;
    diagnose_action_apply(&test->action, numbers);
}

static bool is_cold(const diagnose_scene *scene) {
    return scene->test.quantity == DIAGNOSE_COLD;
}

/* With these numbers, before the scene is set in them. */
static bool solve_scene(diagnose_engine *engine, const diagnose_scene *scene, double *numbers,
                        const double *start, double *x) {
    set_stage(engine, scene, numbers);
    solve_result result =
        solve_point(engine->here->work, numbers, is_cold(scene) ? NULL : start, x);
    return result.outcome <= SOLVE_CONTINUED;
}

bool diagnose_scene_visit(diagnose_engine *engine, const diagnose_scene *scene,
                          diagnose_point *point) {
    diagnose_bench *bench = point->solved ? diagnose_bench_of(engine, point) : NULL;
    if (!bench) return false;
    engine->here = bench;
    diagnose_numbers_of(engine, point, engine->work_numbers);
    return solve_scene(engine, scene, engine->work_numbers, point->x, engine->work_x);
}

static void put_volts(const diagnose_engine *engine, const double complex *volts, double scale,
                      double *field) {
    size_t nodes = circuit_nodes(engine->bench.amp);
    for (size_t n = 0; n < nodes; n++) {
        field[2 * n] = scale * creal(volts[n]);
        field[2 * n + 1] = scale * cimag(volts[n]);
    }
}

static bool put_signal(diagnose_engine *engine, const diagnose_scene *scene, solve_signal *signal,
                       double *field) {
    diagnose_scenes *scenes = engine->scenes;
    const diagnose_test *test = &scene->test;
    if (solve_signal_at(signal, &test->source, NULL, test->hertz) != SOLVE_CONVERGED) return false;
    for (size_t n = 0; n < circuit_nodes(engine->bench.amp); n++)
        scenes->volts[n] = solve_signal_volts(signal, (int)n);
    put_volts(engine, scenes->volts, test->drive, field);
    return true;
}

static int harmonics_of(const diagnose_engine *engine, const diagnose_test *test, int order[]) {
    double mains = circuit_about_of(engine->bench.amp)->mains_hertz;
    memcpy(order, harmonic, sizeof harmonic);
    if (test->hertz == 0) return HARMONICS;
    order[0] = (int)nearbyint(test->hertz / mains);
    return 1;
}

static bool put_hum(diagnose_engine *engine, const diagnose_scene *scene, solve_signal *signal,
                    const double *numbers, double *field) {
    diagnose_scenes *scenes = engine->scenes;
    int order[HARMONICS], count = harmonics_of(engine, &scene->test, order);
    for (int h = 0; h < count; h++) {
        if (solve_hum(signal, engine->here->work, numbers, order[h], scenes->volts) !=
            SOLVE_CONVERGED)
            return false;
        put_volts(engine, scenes->volts, 1,
                  field + 2 * (size_t)h * circuit_nodes(engine->bench.amp));
    }
    return true;
}

/* Of the amp that was visited last: as drawn, or wired otherwise. NULL: no memory. */
static solve_signal *signal_here(diagnose_engine *engine) {
    diagnose_bench *bench = engine->here;
    if (bench == &engine->bench) return engine->scenes->signal;
    if (!bench->signal) bench->signal = solve_signal_new(bench->system);
    return bench->signal;
}

/* At the point that was just linearised. */
static bool fill_signal(diagnose_engine *engine, const diagnose_scene *scene, solve_signal *signal,
                        const double *numbers, double *field) {
    switch (scene->test.quantity) {
    case DIAGNOSE_SIGNAL:
        return put_signal(engine, scene, signal, field);
    case DIAGNOSE_HUM:
        return put_hum(engine, scene, signal, numbers, field);
    case DIAGNOSE_SWING:
        return diagnose_swing_fill(engine, signal, field);
    default:
        return diagnose_quick_fill(signal, field);
    }
}

/* There, at the point that was just solved with these numbers. */
static bool fill(diagnose_engine *engine, const diagnose_scene *scene, const double *numbers,
                 const double *x, double *field) {
    solve_work *work = engine->here->work;
    solve_signal *signal = signal_here(engine);
    if (!signal) return false;
    switch (scene->test.quantity) {
    case DIAGNOSE_COLD:
        solve_read(work, numbers, x, &scene->probe, NULL, field);
        return isfinite(field[0]);
    case DIAGNOSE_DC:
        memcpy(field, x, scene->width * sizeof *field);
        return true;
    case DIAGNOSE_STATE:
        diagnose_state_fill(engine, numbers, x, field);
        return true;
    default:
        solve_signal_set(signal, work, numbers, x);
        return fill_signal(engine, scene, signal, numbers, field);
    }
}

const double *diagnose_scene_field(diagnose_engine *engine, diagnose_scene *scene,
                                   diagnose_point *point) {
    base_arena *arena = point->arena == engine->arena ? scene->arena : point->arena;
    if (!point->field) {
        point->field = base_arena_take(point->arena, DIAGNOSE_SCENES, sizeof *point->field);
        if (!point->field) return NULL;
    }
    if (point->field[scene->index]) return point->field[scene->index];
    if (!diagnose_scene_visit(engine, scene, point)) return NULL;
    double *field = base_arena_take(arena, scene->width, sizeof *field);
    if (!field || !fill(engine, scene, engine->work_numbers, engine->work_x, field)) return NULL;
    return point->field[scene->index] = field;
}

/* ---- beside the healthy amp ------------------------------------------------------------------ */

/* Gas is a number that may be none: stepped by what a good tube has. */
double diagnose_scene_step(const diagnose_engine *engine, int slot) {
    if (slot < 0) return STEP;
    bool gas = solve_slot_at(engine->bench.system, (size_t)slot)->what == SOLVE_GAS;
    return gas ? engine->number[NUMBER_GOOD_GAS] : STEP;
}

static void step_number(const diagnose_engine *engine, int slot, double *numbers) {
    bool gas = solve_slot_at(engine->bench.system, (size_t)slot)->what == SOLVE_GAS;
    numbers[slot] =
        gas ? numbers[slot] + diagnose_scene_step(engine, slot) : numbers[slot] * exp(STEP);
}

/* One number of the healthy amp a little larger, or one tube's slopes. */
static bool step_aside(diagnose_engine *engine, diagnose_scene *scene, int slot,
                       const diagnose_extra *gain, double *field) {
    diagnose_scenes *scenes = engine->scenes;
    memcpy(scenes->numbers, engine->bench.numbers,
           solve_slots(engine->bench.system) * sizeof(double));
    engine->here = &engine->bench;
    if (slot >= 0) step_number(engine, slot, scenes->numbers);
    if (gain) solve_signal_gain(scenes->signal, gain->part, gain->unit, exp(STEP));
    bool good = solve_scene(engine, scene, scenes->numbers, engine->bench.x, scenes->x) &&
                fill(engine, scene, scenes->numbers, scenes->x, field);
    if (gain) solve_signal_gain(scenes->signal, gain->part, gain->unit, 1);
    return good;
}

static bool has_signal(const diagnose_scene *scene) {
    return scene->test.quantity == DIAGNOSE_SIGNAL || scene->test.quantity == DIAGNOSE_HUM;
}

/* DC under an action has its own gradient at each point, and symptoms have none: they need none of
 * this. */
static bool make_beside(diagnose_engine *engine, diagnose_scene *scene) {
    diagnose_scenes *scenes = engine->scenes;
    int count = scenes->varieds + scenes->extras;
    scene->beside = base_arena_take(scene->arena, (size_t)count + 1, sizeof *scene->beside);
    if (!scene->beside) return false;
    diagnose_quantity quantity = scene->test.quantity;
    bool none = quantity == DIAGNOSE_DC || quantity >= DIAGNOSE_STATE;
    for (int v = 0; v < count && !none; v++) {
        const diagnose_extra *gain =
            v < scenes->varieds ? NULL : &scenes->extra[v - scenes->varieds];
        int slot = v < scenes->varieds ? scenes->varied[v] : -1;
        if (gain && (gain->slot >= 0 || !has_signal(scene))) continue;
        double *field = base_arena_take(scene->arena, scene->width, sizeof *field);
        if (!field) return false;
        if (step_aside(engine, scene, slot, gain, field)) scene->beside[v] = field;
    }
    return true;
}

const double *diagnose_scene_beside(const diagnose_scene *scene, int varied) {
    return scene->beside[varied];
}

/* ---- finding, or making, one ------------------------------------------------------------------
 */

static bool same_scene(const diagnose_scene *scene, const diagnose_test *test,
                       const solve_probe *probe) {
    const diagnose_test *own = &scene->test;
    bool points = test->quantity != DIAGNOSE_COLD ||
                  (scene->probe.plus == probe->plus && scene->probe.minus == probe->minus);
    return own->quantity == test->quantity && points && own->input == test->input &&
           own->source.node == test->source.node && own->hertz == test->hertz &&
           own->drive == test->drive && diagnose_action_same(&own->action, &test->action);
}

static void drop(diagnose_engine *engine, int index) {
    diagnose_scene *scene = engine->scenes->scene[index];
    for (size_t p = 0; p < engine->points; p++)
        if (engine->point[p].field) engine->point[p].field[index] = NULL;
    diagnose_wirings_drop(engine, index);
    engine->scenes->scene[index] = NULL;
    base_arena_free(scene->arena);
}

/* A free place, or that of the scene that was asked for longest ago, but not in this run; -1. */
static int find_room(diagnose_engine *engine) {
    diagnose_scenes *scenes = engine->scenes;
    int oldest = -1;
    for (int s = 0; s < DIAGNOSE_SCENES; s++) {
        if (!scenes->scene[s]) return s;
        if (scenes->scene[s]->turn == scenes->turn) continue;
        if (oldest < 0 || scenes->scene[s]->turn < scenes->scene[oldest]->turn) oldest = s;
    }
    if (oldest >= 0) drop(engine, oldest);
    return oldest;
}

static size_t width_of(const diagnose_engine *engine, const diagnose_test *test) {
    size_t nodes = circuit_nodes(engine->bench.amp);
    if (test->quantity == DIAGNOSE_COLD) return 1;
    if (test->quantity == DIAGNOSE_DC) return solve_unknowns(engine->bench.system);
    if (test->quantity == DIAGNOSE_SIGNAL) return 2 * nodes;
    if (test->quantity == DIAGNOSE_STATE) return diagnose_state_width(engine);
    if (test->quantity == DIAGNOSE_SWING) return DIAGNOSE_SWING_WIDTH;
    if (test->quantity == DIAGNOSE_QUICK) return 1;
    return 2 * nodes * (test->hertz == 0 ? HARMONICS : 1);
}

static diagnose_scene *make(diagnose_engine *engine, int index, const diagnose_test *test,
                            const solve_probe *probe) {
    base_arena *arena = base_arena_new();
    diagnose_scene *scene = arena ? base_arena_take(arena, 1, sizeof *scene) : NULL;
    if (!scene) {
        base_arena_free(arena);
        return NULL;
    }
    *scene = (diagnose_scene){.test = *test, .probe = *probe, .arena = arena, .index = index};
    scene->probe.meter_ohms = INFINITY;
    scene->width = width_of(engine, test);
    engine->scenes->scene[index] = scene;
    if (make_beside(engine, scene)) return scene;
    drop(engine, index);
    return NULL;
}

bool diagnose_scene_find(diagnose_engine *engine, const diagnose_test *test,
                         const solve_probe *probe, diagnose_scene **scene) {
    diagnose_scenes *scenes = diagnose_scenes_of(engine);
    *scene = NULL;
    if (!scenes) return false;
    for (int s = 0; s < DIAGNOSE_SCENES && !*scene; s++)
        if (scenes->scene[s] && same_scene(scenes->scene[s], test, probe))
            *scene = scenes->scene[s];
    int room = *scene ? -1 : find_room(engine);
    if (room >= 0) *scene = make(engine, room, test, probe);
    if (*scene) (*scene)->turn = scenes->turn;
    return *scene != NULL;
}

/* ---- values -----------------------------------------------------------------------------------
 */

static double complex volts_at(const double *field, int node) {
    return field[2 * node] + field[2 * node + 1] * I;
}

double diagnose_scene_value(const diagnose_engine *engine, const diagnose_scene *scene,
                            const double *field, const solve_probe *probe) {
    size_t nodes = circuit_nodes(engine->bench.amp);
    double square = 0;
    if (is_cold(scene)) return field[0];
    if (!has_signal(scene)) {
        solve_probe bare = *probe;
        bare.meter_ohms = INFINITY;
        return solve_read(engine->bench.work, engine->bench.numbers, field, &bare, NULL, NULL);
    }
    for (size_t from = 0; from < scene->width; from += 2 * nodes) {
        double across =
            cabs(volts_at(field + from, probe->plus) - volts_at(field + from, probe->minus));
        square += across * across;
    }
    return sqrt(square);
}

/* In the healthy amp; of hum at twice the mains' frequency. The divider of the meter and of the
 * ohms seen at the place, the generator's own being joined: from what a volt behind the meter's own
 * leaves there. */
double diagnose_scene_load(diagnose_engine *engine, diagnose_scene *scene,
                           const solve_probe *probe) {
    solve_signal *signal = engine->scenes->signal;
    double mains = circuit_about_of(engine->bench.amp)->mains_hertz;
    double hertz = scene->test.hertz > 0 ? scene->test.hertz : 2 * mains;
    if (!isfinite(probe->meter_ohms) || !diagnose_scene_visit(engine, scene, &engine->point[0]))
        return 1;
    solve_signal_set(signal, engine->bench.work, engine->work_numbers, engine->work_x);
    double complex own = 1 / (1 / probe->meter_ohms + 2 * M_PI * hertz * METER_FARADS * I);
    solve_source source = {probe->plus, probe->minus, cabs(own)};
    solve_scope generator = {scene->test.source.node, scene->test.source.ohms, 0};
    bool driven = scene->test.quantity == DIAGNOSE_SIGNAL;
    if (solve_signal_at(signal, &source, driven ? &generator : NULL, hertz) != SOLVE_CONVERGED)
        return 1;
    double complex there =
        solve_signal_volts(signal, probe->plus) - solve_signal_volts(signal, probe->minus);
    double complex seen = cabs(own) * there / (1 - there);
    double left = cabs(own / (own + seen));
    return isfinite(left) ? left : 1;
}
