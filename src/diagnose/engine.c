/* What is fixed for one amp: the healthy point, the catalogue, the places, and every fault at every
 * severity solved once. */
#include "observe_impl.h"

#include <stdlib.h>
#include <string.h>

#define HEAVY 0.2    /* V that a meter takes away, from which a place counts as heavily loaded */
#define FLOATING 1e9 /* ohms to anything, from which a node counts as joined to nothing */

diagnose_options diagnose_defaults(void) {
    return (diagnose_options){
        .mains = NAN,
        .mains_spread = 0.03,
        .wrong = 0.01,
        .model_spread = 0.05,
        .screen_spread = 0.30,
        .unmodelled = 0.02,
        .nothing = 0.05,
        .printed = true,
        .faults = true,
        .chart = NULL,
        .meter = {.ohms = 10e6, .ohms_per_volt = NAN, .range = NAN, .accuracy = 0.005},
    };
}

/* ---- the healthy amp ----------------------------------------------------------------------- */

static base_code no_healthy_point(const diagnose_bench *bench, const solve_result *result,
                                  base_errors *errors) {
    base_place place = {.file = circuit_about_of(bench->amp)->file};
    if (result->outcome == SOLVE_NO_MEMORY)
        return base_errors_add(errors, BASE_MEMORY, place,
                               "no memory is left|close other programs and try again");
    return base_errors_add(errors, BASE_UNSOLVED, place,
                           "the healthy amp could not be solved (%s), so no reading can be judged"
                           "|check the amp file: a value off by a thousand, a missing joint",
                           solve_outcome_text(result->outcome));
}

static bool make_bench(diagnose_engine *engine, const solve_system *system) {
    diagnose_bench *bench = &engine->bench;
    size_t slots = solve_slots(system), unknowns = solve_unknowns(system);
    *bench = (diagnose_bench){.system = system, .amp = solve_circuit(system)};
    bench->work = solve_work_new(system);
    engine->here = bench;
    bench->numbers = base_arena_take(engine->arena, slots, sizeof(double));
    bench->x = base_arena_take(engine->arena, unknowns, sizeof(double));
    engine->work_numbers = base_arena_take(engine->arena, slots, sizeof(double));
    engine->work_gradient = base_arena_take(engine->arena, slots, sizeof(double));
    engine->work_x = base_arena_take(engine->arena, unknowns, sizeof(double));
    return bench->work && bench->numbers && bench->x && engine->work_numbers &&
           engine->work_gradient && engine->work_x;
}

static base_code solve_healthy(diagnose_engine *engine, base_errors *errors) {
    diagnose_bench *bench = &engine->bench;
    memcpy(bench->numbers, solve_nominal(bench->system),
           solve_slots(bench->system) * sizeof(double));
    engine->mains_slot = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    for (size_t i = 0; i < solve_slots(bench->system); i++)
        if (solve_slot_at(bench->system, i)->what == SOLVE_GAS)
            bench->numbers[i] = engine->number[NUMBER_GOOD_GAS];
    if (engine->mains_slot >= 0 && isfinite(engine->options.mains))
        bench->numbers[engine->mains_slot] = engine->options.mains;
    solve_result result = solve_point(bench->work, bench->numbers, NULL, bench->x);
    if (result.outcome > SOLVE_CONTINUED) return no_healthy_point(bench, &result, errors);
    return BASE_OK;
}

/* ---- the places ---------------------------------------------------------------------------- */

static void settle_place(diagnose_engine *engine, size_t index) {
    diagnose_bench *bench = &engine->bench;
    diagnose_place *place = &engine->places.place[index];
    double source,
        volts = solve_read(bench->work, bench->numbers, bench->x, &place->probe, NULL, &source);
    if (!place->probe.heater)
        place->probe.meter_ohms = diagnose_meter_ohms(&engine->options.meter, volts, source);
    engine->load[index] = diagnose_load_at(engine, bench->numbers, bench->x, &place->probe);
    const solve_probe *probe = &place->probe;
    double level[2] = {0, 0};
    for (int k = 0; k < 2 && !probe->heater; k++) {
        int node = k == 0 ? probe->plus : probe->minus;
        if (node > 0) level[k] = diagnose_bench_volts(bench, node, 0, NULL);
        engine->span = fmax(engine->span, 1.5 * fabs(level[k]));
    }
    diagnose_place_cost(bench->system, &engine->places, place, source, level);
}

/* A node that nothing holds, such as the mains side, is no place for a DC reading. */
static void drop_floating(diagnose_engine *engine) {
    size_t kept = 0;
    for (size_t i = 0; i < engine->places.count; i++) {
        if (engine->load[i].source > FLOATING) continue;
        engine->places.place[kept] = engine->places.place[i];
        engine->load[kept++] = engine->load[i];
    }
    engine->places.count = kept;
}

static bool make_places(diagnose_engine *engine) {
    if (!diagnose_places_list(engine->bench.system, engine->arena, &engine->places)) return false;
    engine->load = base_arena_take(engine->arena, engine->places.count, sizeof *engine->load);
    if (!engine->load) return false;
    engine->span = 50;
    for (size_t i = 0; i < engine->places.count; i++)
        settle_place(engine, i);
    drop_floating(engine);
    engine->heavy = base_arena_take(engine->arena, engine->places.count + 1, sizeof(int));
    for (size_t i = 0; engine->heavy && i < engine->places.count; i++)
        if (engine->load[i].taken > HEAVY) engine->heavy[engine->heavies++] = (int)i;
    return engine->heavy != NULL;
}

/* ---- the points
 * ---------------------------------------------------------------------------------- */

static void put_in(const diagnose_fault *fault, int severity, double *numbers) {
    for (int s = 0; s < fault->sets; s++)
        numbers[fault->slot[s]] = fault->number[s][severity];
}

void diagnose_numbers_of(const diagnose_engine *engine, const diagnose_point *point,
                         double *numbers) {
    const diagnose_fault *faults = engine->catalogue.fault;
    memcpy(numbers, engine->bench.numbers, solve_slots(engine->bench.system) * sizeof *numbers);
    put_in(&faults[point->fault], point->severity, numbers);
    if (point->second) put_in(&faults[point->second], point->second_severity, numbers);
}

/* An open capacitor, or what carries no current, changes no number that matters at DC. */
static bool is_same(const diagnose_engine *engine, const diagnose_point *point) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    for (int s = 0; s < fault->sets; s++) {
        solve_what what = solve_slot_at(engine->bench.system, (size_t)fault->slot[s])->what;
        if (what != SOLVE_FARADS && what != SOLVE_ESR) return false;
    }
    for (size_t i = 0; i < solve_unknowns(engine->bench.system); i++) {
        double healthy = engine->bench.x[i];
        if (fabs(point->x[i] - healthy) > 1e-6 * (1 + fabs(healthy))) return false;
    }
    return true;
}

/* While the factors of the point are at hand. */
static bool keep_sources(diagnose_engine *engine, diagnose_point *point) {
    if (!point->source)
        point->source = base_arena_take(point->arena, (size_t)engine->heavies + 1, sizeof(float));
    for (int h = 0; point->source && h < engine->heavies; h++) {
        const solve_probe *probe = &engine->places.place[engine->heavy[h]].probe;
        double source = 0;
        solve_read(engine->here->work, engine->work_numbers, point->x, probe, NULL, &source);
        point->source[h] = (float)source;
    }
    return point->source != NULL;
}

static bool sets_mains(const diagnose_engine *engine, int fault) {
    return engine->catalogue.fault[fault].mode == DIAGNOSE_MAINS_OFF;
}

bool diagnose_point_solve(diagnose_engine *engine, diagnose_point *point, const double *start) {
    diagnose_bench *bench = diagnose_bench_of(engine, point);
    if (!bench) return false;
    if (!point->x)
        point->x = base_arena_take(point->arena, solve_unknowns(bench->system), sizeof(double));
    if (!point->x) return false;
    diagnose_numbers_of(engine, point, engine->work_numbers);
    solve_result result = solve_point(bench->work, engine->work_numbers, start, point->x);
    point->solved = result.outcome <= SOLVE_CONTINUED;
    point->outside = result.outside;
    bool off = sets_mains(engine, point->fault) || sets_mains(engine, point->second);
    if (engine->mains_slot >= 0)
        point->mains = (off ? engine->work_numbers : bench->numbers)[engine->mains_slot];
    engine->here = bench;
    return !point->solved || keep_sources(engine, point);
}

/* Starts from the next milder severity where there is one, else from the healthy amp. */
static bool solve_one(diagnose_engine *engine, diagnose_point *point,
                      const diagnose_point *before) {
    bool chain = before && before->solved && before->fault == point->fault;
    if (!diagnose_point_solve(engine, point, chain ? before->x : engine->bench.x)) return false;
    point->same_as_healthy = point->fault > 0 && point->solved && is_same(engine, point);
    if (!point->solved) engine->unsolved++;
    return true;
}

static size_t count_points(const diagnose_catalogue *catalogue) {
    size_t count = 0;
    for (size_t f = 0; f < catalogue->count; f++)
        count += (size_t)catalogue->fault[f].severities;
    return count;
}

/* Point 0 is the healthy amp; something not modelled has no point of its own. */
static bool make_points(diagnose_engine *engine) {
    const diagnose_catalogue *catalogue = &engine->catalogue;
    engine->point = base_arena_take(engine->arena, count_points(catalogue), sizeof *engine->point);
    engine->first_point = base_arena_take(engine->arena, catalogue->count, sizeof(int));
    if (!engine->point || !engine->first_point) return false;
    for (size_t f = 0; f < catalogue->count; f++) {
        engine->first_point[f] = -1;
        if (catalogue->fault[f].mode == DIAGNOSE_UNMODELLED) continue;
        engine->first_point[f] = (int)engine->points;
        for (int k = 0; k < catalogue->fault[f].severities; k++) {
            diagnose_point *point = &engine->point[engine->points];
            *point = (diagnose_point){.fault = (int)f, .severity = k, .arena = engine->arena};
            if (!solve_one(engine, point, engine->points ? point - 1 : NULL)) return false;
            engine->points++;
        }
    }
    return engine->point[0].solved;
}

/* Healthy volts as the meter shows them, and their spread between good amps. */
static bool describe_places(diagnose_engine *engine) {
    diagnose_point *healthy = &engine->point[0];
    if (!diagnose_rows(engine, healthy, NULL, (int)engine->places.count)) return false;
    for (size_t i = 0; i < engine->places.count; i++) {
        const float *row = diagnose_row(engine, healthy, (int)i);
        engine->places.place[i].healthy = healthy->mean[i];
        engine->places.place[i].spread = sqrt(diagnose_covariance(engine, row, row));
    }
    return true;
}

/* ---- the whole
 * ------------------------------------------------------------------------------------ */

static bool make_all(diagnose_engine *engine, const diagnose_priors *priors) {
    if (!make_places(engine)) return false;
    if (!diagnose_catalogue_make(&engine->bench, priors, &engine->options, engine->arena,
                                 &engine->catalogue))
        return false;
    if (!diagnose_latents_make(&engine->bench, priors, &engine->options, engine->arena,
                               &engine->latents))
        return false;
    engine->first_cell = engine->latents.count;
    engine->columns = engine->first_cell + DIAGNOSE_CELLS;
    engine->work_row = base_arena_take(engine->arena, (size_t)engine->columns, sizeof(float));
    if (!engine->work_row) return false;
    engine->mains_varies = engine->mains_slot >= 0 && engine->options.mains_spread > 0;
    return make_points(engine) && diagnose_chart_use(engine) && describe_places(engine);
}

diagnose_engine *diagnose_engine_new(const solve_system *system, const diagnose_priors *priors,
                                     const diagnose_options *options, base_errors *errors) {
    base_arena *arena = base_arena_new();
    diagnose_engine *engine = arena ? base_arena_take(arena, 1, sizeof *engine) : NULL;
    base_place place = {.file = circuit_about_of(solve_circuit(system))->file};
    base_code code = BASE_MEMORY;
    if (engine) {
        engine->arena = arena;
        engine->options = options ? *options : diagnose_defaults();
        for (int i = 0; i < NUMBER_COUNT; i++)
            engine->number[i] = diagnose_number_of(priors, (diagnose_number)i);
        if (make_bench(engine, system)) {
            code = solve_healthy(engine, errors);
            if (code == BASE_OK && make_all(engine, priors)) {
                engine->options.chart = NULL;
                return engine;
            }
        }
    }
    if (code == BASE_OK || code == BASE_MEMORY)
        base_errors_add(errors, BASE_MEMORY, place,
                        "no memory is left|close other programs and try again");
    if (engine) solve_work_free(engine->bench.work);
    base_arena_free(arena);
    return NULL;
}

void diagnose_engine_free(diagnose_engine *engine) {
    if (!engine) return;
    diagnose_scenes_free(engine->scenes);
    diagnose_wirings_free(engine);
    solve_work_free(engine->bench.work);
    base_arena_free(engine->arena);
}

size_t diagnose_faults(const diagnose_engine *engine) {
    return engine->catalogue.count;
}

const diagnose_fault *diagnose_fault_at(const diagnose_engine *engine, size_t index) {
    return (int)index < diagnose_singles(engine) ? &engine->catalogue.fault[index] : NULL;
}

const double *diagnose_healthy(const diagnose_engine *engine) {
    return engine->bench.x;
}

const double *diagnose_healthy_numbers(const diagnose_engine *engine) {
    return engine->bench.numbers;
}

size_t diagnose_unsolved(const diagnose_engine *engine) {
    return engine->unsolved;
}

size_t diagnose_points(const diagnose_engine *engine) {
    return engine->points;
}

size_t diagnose_places(const diagnose_engine *engine) {
    return engine->places.count;
}

const diagnose_place *diagnose_place_at(const diagnose_engine *engine, size_t index) {
    return index < engine->places.count ? &engine->places.place[index] : NULL;
}
