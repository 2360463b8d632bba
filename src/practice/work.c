/* A hidden fault worked by the program: the stream, the settling and the guide of the bench, on a
 * clock of its own, so that a minute at the bench takes a moment. */
#include "practice_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define TICK_S 0.1
#define LIFT_S 0.5    /* the probe in the air between two places */
#define PATIENCE_S 20 /* then it is taken by hand */
#define SURE_S 1.0    /* a nothing is looked at that long before it is confirmed */
#define CLEAR 0.9

typedef struct worker {
    practice *practice;
    meter_sim *sim;
    diagnose_engine *engine;
    diagnose_readings *readings;
    diagnose_belief *belief;
    meter_guide guide;
    meter_now now;
    meter_sample kept[METER_KEPT];
    size_t count;
    double s;
    base_errors *errors;
} worker;

/* ---- the meter's stream -------------------------------------------------------------------- */

static void tick(worker *worker, double expected) {
    bool ac = worker->guide.point.kind == METER_HEATER;
    if (ac != worker->now.ac) worker->count = 0;
    worker->s += TICK_S;
    if (worker->count == METER_KEPT)
        memmove(worker->kept, worker->kept + 1, --worker->count * sizeof *worker->kept);
    double volts = meter_sim_shows(worker->sim, worker->s, ac);
    worker->kept[worker->count++] = (meter_sample){worker->s, volts, METER_NUMBER};
    worker->now.ac = ac;
    worker->now.last = worker->kept[worker->count - 1];
    meter_rules rules = {worker->now.digit_v, expected, 0};
    meter_settle(worker->kept, worker->count, &rules, &worker->now.settled);
    meter_guide_sample(&worker->guide, &worker->now);
}

static void wait(worker *worker, double seconds) {
    for (double until = worker->s + seconds; worker->s < until;)
        tick(worker, NAN);
}

/* ---- one reading --------------------------------------------------------------------------- */

static void go_to(worker *worker, const meter_point *point) {
    meter_guide_point(&worker->guide, point, &worker->now);
    if (worker->guide.step == METER_CAUTION)
        meter_guide_press(&worker->guide, METER_TAKE, &worker->now);
    practice_probe(worker->practice, NULL, worker->s, worker->errors);
    wait(worker, LIFT_S);
    practice_probe(worker->practice, point->at, worker->s, worker->errors);
}

static void settle(worker *worker, double expected) {
    double until = worker->s + PATIENCE_S, sure = INFINITY;
    while (worker->guide.step != METER_TAKEN && worker->s < until) {
        tick(worker, expected);
        if (worker->guide.step != METER_CONFIRM)
            sure = worker->s + SURE_S;
        else if (worker->s >= sure)
            meter_guide_press(&worker->guide, METER_TAKE, &worker->now);
    }
    if (worker->guide.step != METER_TAKEN)
        meter_guide_press(&worker->guide, METER_TAKE, &worker->now);
}

/* Takes the reading at a point and weighs it. */
static base_code take(worker *worker, const meter_point *point) {
    char text[128];
    go_to(worker, point);
    settle(worker, point->expected_v);
    if (worker->guide.step != METER_TAKEN) return BASE_OK;
    practice_took(worker->practice, worker->guide.taken.volts, false);
    snprintf(text, sizeof text, "%s=%.2f", point->at, worker->guide.taken.volts);
    const solve_system *system = practice_system(worker->practice);
    base_code code = diagnose_readings_add(worker->readings, system, text, NULL, worker->errors);
    if (code != BASE_OK) return code;
    diagnose_belief_free(worker->belief);
    worker->belief = diagnose_run(worker->engine, worker->readings, worker->errors);
    return worker->belief ? BASE_OK : base_errors_worst(worker->errors);
}

/* ---- the order ----------------------------------------------------------------------------- */

/* As the guide does: what is proposed, by what it tells for effort and way. */
static bool choose_next(worker *worker, meter_point *point) {
    meter_point points[8];
    size_t count = 0;
    for (size_t i = 0; i < worker->belief->nexts && count < 8; i++)
        practice_point(worker->engine, &worker->belief->next[i], &points[count++]);
    int best = meter_choose(points, count, *worker->guide.point.at ? &worker->guide.point : NULL);
    if (best >= 0) *point = points[best];
    return best >= 0;
}

/* The chart from top to bottom. */
static bool choose_fixed(worker *worker, size_t index, meter_point *point) {
    if (index >= diagnose_places(worker->engine)) return false;
    const diagnose_place *place = diagnose_place_at(worker->engine, index);
    diagnose_probe_next next = {.at = place->at,
                                .quantity = place->probe.heater ? "AC volts" : "DC volts",
                                .cost = place->cost};
    practice_point(worker->engine, &next, point);
    return true;
}

static bool ended(const worker *worker) {
    return worker->belief->verdict == DIAGNOSE_SETTLED;
}

static base_code work(worker *worker, bool fixed, int most, practice_worked *worked) {
    meter_point point;
    worker->belief = diagnose_run(worker->engine, worker->readings, worker->errors);
    if (!worker->belief) return base_errors_worst(worker->errors);
    for (int i = 0; i < most && !ended(worker); i++) {
        bool more = fixed ? choose_fixed(worker, (size_t)i, &point) : choose_next(worker, &point);
        if (!more) break;
        base_code code = take(worker, &point);
        if (code != BASE_OK) return code;
        worked->readings = i + 1;
    }
    return BASE_OK;
}

/* ---- the whole ----------------------------------------------------------------------------- */

static void judge(const worker *worker, practice_worked *worked) {
    const diagnose_belief *belief = worker->belief;
    practice_hidden hidden;
    practice_hidden_get(worker->practice, 0, &hidden);
    snprintf(worked->part, sizeof worked->part, "%s", hidden.part);
    snprintf(worked->what, sizeof worked->what, "%s", hidden.what);
    if (belief->suspects)
        snprintf(worked->blamed, sizeof worked->blamed, "%s", belief->suspect[0].part);
    for (size_t i = 0; practice_hidden_get(worker->practice, i, &hidden); i++) {
        bool named = false;
        if (!practice_leads(worker->engine, belief, hidden.index, &named)) continue;
        worked->found |= belief->group[0].probability >= CLEAR;
        worked->named |= named;
    }
    worked->seconds = worker->s;
}

static base_code run(worker *worker, bool fixed, int most, practice_worked *worked) {
    meter_guide_begin(&worker->guide);
    worker->now = (meter_now){
        .status = METER_READING, .range_v = 1000, .digit_v = 0.01, .last = {0, NAN, METER_NAN}};
    practice_power(worker->practice, true, 0);
    wait(worker, 20); /* warm */
    base_code code = work(worker, fixed, most, worked);
    if (code == BASE_OK) judge(worker, worked);
    return code;
}

base_code practice_work(const practice_options *options, bool fixed, int most,
                        practice_worked *worked, base_errors *errors) {
    worker worker = {.engine = options->engine, .errors = errors};
    *worked = (practice_worked){0};
    worker.practice = practice_new(options, errors);
    if (!worker.practice) return base_errors_worst(errors);
    meter_sim_options sim = {.seed = options->seed + 1,
                             .volts = practice_volts,
                             .context = worker.practice,
                             .noise = 2e-4,
                             .rate = 10,
                             .range_v = 1000};
    worker.sim = meter_sim_new(&sim, errors);
    worker.readings = diagnose_readings_new();
    base_code code = worker.sim && worker.readings ? run(&worker, fixed, most, worked)
                                                   : base_errors_worst(errors);
    diagnose_belief_free(worker.belief);
    diagnose_readings_free(worker.readings);
    meter_sim_free(worker.sim);
    practice_free(worker.practice);
    return code;
}
