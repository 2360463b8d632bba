/* The evidence of one run: what was read, what a good amp shows there, and how well each is known.
 */
#include "symptoms_impl.h"

#include <string.h>

#define STRAY_FLOOR 3e-3 /* V, of any contact and of the chassis between two places */
#define CONTACT_PART 0.3 /* of the volts that electrons landing on an electrode make; judgement */
#define CONTACT_MOST 1.0 /* V: no two tubes agree on more than that */
#define CONTACT_DEEP 4.0 /* V below ground: farther down something else holds it */

/* ---- noise
 * --------------------------------------------------------------------------------------- */

static double square(double x) {
    return x * x;
}

/* A hand meter's error is a part of its range, a digital one's of the reading. */
double diagnose_noise(const diagnose_engine *engine, const diagnose_meter *meter, double volts,
                      double resolution, double source_ohms) {
    double full = fabs(volts);
    if (meter->ohms_per_volt > 0)
        full = isfinite(meter->range) ? meter->range : diagnose_range(volts);
    double source = source_ohms > 0 ? fmin(source_ohms, 20e6) : 0;
    return square(meter->accuracy * full) + square(resolution) / 12 + square(STRAY_FLOOR) +
           square(source * engine->number[NUMBER_STRAY_AMPS]);
}

/* Last digit of a reading to come, as most hand-held meters show it. */
double diagnose_digit(double volts) {
    double size = fabs(volts);
    return size < 4 ? 0.005 : size < 40 ? 0.02 : size < 400 ? 0.2 : 1;
}

/* The laws are wrong by a part of what the fault changes; but a place that the fault leaves dead is
 * dead by any law. An electrode that nothing holds goes a little below its cathode, as far as its
 * contact potential lets it: that is known badly. */
double diagnose_model_error(double spread, double volts, double healthy) {
    double size = fabs(volts), sum = size + fabs(healthy);
    double alive = sum > 0 ? fmin(1, 2 * size / sum) : 0;
    double apart = fabs(volts - healthy), contact = 0;
    if (volts < 0 && volts > -CONTACT_DEEP) contact = CONTACT_PART * fmin(apart, CONTACT_MOST);
    return square(spread * apart * alive) + square(contact);
}

/* The mains wanders between readings, each time by its own amount. */
double diagnose_wander(const diagnose_engine *engine, const float *row) {
    if (!engine->mains_varies) return 0;
    return square(row[0] / engine->options.mains_spread * engine->number[NUMBER_MAINS_WANDER]);
}

double diagnose_bare(const diagnose_engine *engine, const diagnose_point *point,
                     const solve_probe *probe) {
    solve_probe bare = *probe;
    bare.meter_ohms = INFINITY;
    return solve_read(engine->bench.work, engine->bench.numbers, point->x, &bare, NULL, NULL);
}

/* ---- setting up
 * ------------------------------------------------------------------------------------ */

static bool same_probe(const solve_probe *a, const solve_probe *b) {
    return a->plus == b->plus && a->minus == b->minus && a->heater == b->heater &&
           (a->heater || a->meter_ohms == b->meter_ohms);
}

static int place_with(const diagnose_engine *engine, const solve_probe *probe) {
    for (size_t i = 0; i < engine->places.count; i++)
        if (same_probe(&engine->places.place[i].probe, probe)) return (int)i;
    return -1;
}

/* The heavy place between the same nodes, with whatever meter. */
static int heavy_with(const diagnose_engine *engine, const solve_probe *probe) {
    for (int h = 0; h < engine->heavies; h++) {
        const solve_probe *other = &engine->places.place[engine->heavy[h]].probe;
        if (other->plus == probe->plus && other->minus == probe->minus && !probe->heater) return h;
    }
    return -1;
}

static bool take_room(diagnose_run_state *run) {
    size_t n = (size_t)run->n + 1;
    double **lists[] = {&run->y, &run->noise, &run->broad, &run->healthy};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (!(*lists[i] = base_arena_take(run->arena, n, sizeof(double)))) return false;
    run->place = base_arena_take(run->arena, n, sizeof(int));
    run->healthy_row = base_arena_take(run->arena, n, sizeof *run->healthy_row);
    run->ask = base_arena_take(run->arena, n, sizeof *run->ask);
    run->load = base_arena_take(run->arena, n, sizeof *run->load);
    run->heavy = base_arena_take(run->arena, n, sizeof(int));
    return run->place && run->healthy_row && run->ask && run->load && run->heavy;
}

/* What the mains was measured as is one more reading: of the mains itself, and never wrong. */
static bool set_mains(diagnose_run_state *run) {
    const diagnose_engine *engine = run->engine;
    float *row = base_arena_take(run->arena, (size_t)engine->columns, sizeof *row);
    int i = run->n - 1;
    if (!row) return false;
    row[0] = (float)engine->options.mains_spread;
    run->healthy_row[i] = row;
    run->y[i] = log(run->readings->mains);
    run->noise[i] = square(0.005);
    run->broad[i] = -INFINITY;
    run->place[i] = -1;
    run->healthy[i] = log(engine->point[0].mains);
    return true;
}

static bool set_plain(diagnose_run_state *run, int i) {
    diagnose_engine *engine = run->engine;
    const diagnose_reading *reading = &run->readings->reading[i];
    const solve_probe *probe = &reading->probe;
    float *row = base_arena_take(run->arena, (size_t)engine->columns, sizeof *row);
    if (!row) return false;
    run->healthy_row[i] = row;
    run->place[i] = place_with(engine, probe);
    run->y[i] = reading->volts;
    run->heavy[i] = heavy_with(engine, probe);
    run->load[i] = diagnose_load_at(engine, engine->work_numbers, engine->work_x, probe);
    run->healthy[i] = diagnose_probe_at(engine, &engine->point[0], probe, &run->load[i], row);
    run->noise[i] = diagnose_noise(engine, &reading->meter, reading->volts, reading->resolution,
                                   run->load[i].source);
    run->broad[i] = -log(probe->heater ? 15 : engine->span);
    return true;
}

/* A reading that no good amp has an answer to says nothing. */
static bool set_lost(diagnose_run_state *run, int i) {
    run->ask[i] = (diagnose_ask){.lost = true};
    run->healthy_row[i] = base_arena_take(run->arena, (size_t)run->engine->columns, sizeof(float));
    run->y[i] = run->healthy[i] = 0;
    run->noise[i] = 1;
    run->broad[i] = -10;
    return run->healthy_row[i] != NULL;
}

static bool set_asked(diagnose_run_state *run, int i) {
    diagnose_engine *engine = run->engine;
    const diagnose_reading *reading = &run->readings->reading[i];
    diagnose_ask *ask = &run->ask[i];
    run->place[i] = run->heavy[i] = -1;
    if (!diagnose_ask_open(engine, &reading->test, &reading->probe, run->arena, ask))
        return set_lost(run, i);
    run->y[i] = diagnose_ask_enters(ask, reading->volts);
    run->healthy[i] = ask->healthy;
    run->healthy_row[i] = ask->row;
    run->noise[i] = diagnose_ask_noise(engine, ask, &reading->meter,
                                       diagnose_ask_shows(ask, run->y[i]), reading->resolution);
    run->broad[i] = diagnose_ask_broad(engine, ask);
    run->asks++;
    return true;
}

static bool set_readings(diagnose_run_state *run) {
    diagnose_engine *engine = run->engine;
    if (!diagnose_visit(engine, &engine->point[0])) return false;
    for (int i = 0; i < run->given; i++)
        if (diagnose_plain(&run->readings->reading[i].test) && !set_plain(run, i)) return false;
    for (int i = 0; i < run->given; i++)
        if (!diagnose_plain(&run->readings->reading[i].test) && !set_asked(run, i)) return false;
    return true;
}

bool diagnose_evidence(diagnose_run_state *run, base_errors *errors) {
    diagnose_engine *engine = run->engine;
    bool mains = run->readings && run->readings->mains > 0 && engine->mains_varies;
    run->given = run->readings ? (int)run->readings->count : 0;
    run->n = run->given + mains;
    diagnose_scenes_turn(engine);
    return take_room(run) && (!run->given || set_readings(run)) && (!mains || set_mains(run)) &&
           diagnose_clues_open(run, errors);
}

bool diagnose_asked(const diagnose_run_state *run, int i) {
    return i < run->given && run->ask[i].test;
}

double diagnose_shared(const diagnose_run_state *run, int i, const float *a, int k,
                       const float *b) {
    if (diagnose_asked(run, i) && diagnose_asked(run, k))
        return diagnose_ask_covariance(run->engine, a, b);
    return diagnose_covariance(run->engine, a, b);
}

double diagnose_error_of(const diagnose_run_state *run, int i, double mean) {
    if (diagnose_asked(run, i)) return diagnose_ask_model_error(run->engine, &run->ask[i], mean);
    return diagnose_model_error(run->engine->options.model_spread, mean, run->healthy[i]);
}

double diagnose_shows(const diagnose_run_state *run, int i, double entered) {
    return diagnose_asked(run, i) ? diagnose_ask_shows(&run->ask[i], entered) : entered;
}

size_t diagnose_labels(const diagnose_run_state *run) {
    return (size_t)(diagnose_singles(run->engine) + run->twos);
}

diagnose_point *diagnose_point_of(const diagnose_run_state *run, int point) {
    int engine = (int)run->engine->points;
    return point < engine ? &run->engine->point[point] : &run->extra[point - engine];
}
