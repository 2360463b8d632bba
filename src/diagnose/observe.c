/* One place in a scene: its mean at a point, its row of A, its noise. */
#include "observe_impl.h"

#include <stdlib.h>
#include <string.h>

#define SIGNAL_FLOOR 5e-4 /* V rms: what a meter or a scope shows where nothing is */
#define HUM_FLOOR 2e-3    /* V rms: what leads and heaters' wiring pick up anywhere */
#define LEAST_OHMS 0.1    /* of the leads */
#define MOST_OHMS 2e7     /* range of a usual meter */
#define MOST_LEAK 2e9     /* what a test at the working volts still tells from none */
#define LEAST_FARADS 1e-11

/* Of the logarithm, one standard deviation; common practice, no source. */
#define AC_ACCURACY 0.03 /* of a meter or scope on alternating volts */
#define OHMS_ACCURACY 0.01
#define LEADS_OHMS 0.2 /* of leads and contacts */
#define FARADS_ACCURACY 0.04
#define ESR_ACCURACY 0.15  /* it depends on the frequency of the test */
#define LEAK_ACCURACY 0.15 /* and it on the volts */

/* The network itself is wrong by this much where nothing fails: strays, the law's bends. */
#define SIGNAL_MODEL 0.05
#define HUM_MODEL 0.12       /* at supply nodes */
#define HUM_ELSEWHERE 0.40   /* where it adds up from several ways, some of them not drawn */
#define HUM_HEALTHY_MOST 3.0 /* of a change in logarithms, beyond which the model errs no more */

/* ---- what enters --------------------------------------------------------------------------- */

static bool has_signal(const diagnose_ask *ask) {
    return ask->test->quantity == DIAGNOSE_SIGNAL || ask->test->quantity == DIAGNOSE_HUM;
}

static bool as_it_is(const diagnose_ask *ask) {
    return ask->test->quantity == DIAGNOSE_DC;
}

static void limits(const diagnose_engine *engine, const diagnose_test *test, double *least,
                   double *most) {
    *least = LEAST_OHMS;
    *most = MOST_OHMS;
    if (test->quantity != DIAGNOSE_ALONE) return;
    solve_what what = solve_slot_at(engine->bench.system, (size_t)test->slot)->what;
    if (what == SOLVE_LEAK) *most = MOST_LEAK;
    if (what == SOLVE_FARADS) *least = LEAST_FARADS, *most = 1;
}

double diagnose_ask_enters(const diagnose_ask *ask, double value) {
    if (as_it_is(ask)) return value;
    if (has_signal(ask)) return log(hypot(value, ask->floor));
    return log(fmin(fmax(value, ask->least), ask->most));
}

double diagnose_ask_shows(const diagnose_ask *ask, double entered) {
    if (as_it_is(ask)) return entered;
    if (!has_signal(ask)) return exp(entered);
    double whole = exp(entered);
    return sqrt(fmax(whole * whole - ask->floor * ask->floor, 0));
}

/* The part of a change of the signal that shows above the floor. */
static double live(const diagnose_ask *ask, double mean) {
    if (!has_signal(ask)) return 1;
    double part = ask->floor / exp(mean);
    return fmax(1 - part * part, 0);
}

/* ---- making it ready ----------------------------------------------------------------------- */

static double number_alone(diagnose_engine *engine, const diagnose_ask *ask,
                           const diagnose_point *point) {
    diagnose_numbers_of(engine, point, engine->work_numbers);
    return engine->work_numbers[ask->test->slot];
}

static double value_at(diagnose_engine *engine, const diagnose_ask *ask, const double *field) {
    return ask->load * diagnose_scene_value(engine, ask->scene, field, ask->probe);
}

/* d ln(value) / d ln(number) from a field a little aside: of the value itself, above the floor. */
static double slope(diagnose_engine *engine, const diagnose_ask *ask, const double *field,
                    double healthy, double step) {
    if (!field || !(healthy > 0)) return 0;
    double aside = value_at(engine, ask, field);
    return aside > 0 ? log(aside / healthy) / step : 0;
}

static bool make_slopes(diagnose_engine *engine, diagnose_ask *ask, double healthy,
                        base_arena *arena) {
    const diagnose_scenes *scenes = engine->scenes;
    ask->gradient =
        base_arena_take(arena, solve_slots(engine->bench.system), sizeof *ask->gradient);
    ask->gain = base_arena_take(arena, (size_t)scenes->extras + 1, sizeof *ask->gain);
    if (!ask->gradient || !ask->gain) return false;
    if (ask->test->quantity == DIAGNOSE_ALONE) ask->gradient[ask->test->slot] = 1;
    if (!ask->scene || as_it_is(ask)) return true;
    for (int v = 0; v < scenes->varieds; v++)
        ask->gradient[scenes->varied[v]] =
            slope(engine, ask, diagnose_scene_beside(ask->scene, v), healthy,
                  diagnose_scene_step(engine, scenes->varied[v]));
    for (int e = 0; e < scenes->extras; e++)
        if (scenes->extra[e].slot < 0)
            ask->gain[e] =
                slope(engine, ask, diagnose_scene_beside(ask->scene, scenes->varieds + e), healthy,
                      diagnose_scene_step(engine, -1));
    return true;
}

/* DC under an action: the meter's load as in the healthy amp so treated. */
static bool open_dc(diagnose_engine *engine, diagnose_ask *ask) {
    if (!diagnose_scene_visit(engine, ask->scene, &engine->point[0])) return false;
    ask->dc = diagnose_load_at(engine, engine->work_numbers, engine->work_x, ask->probe);
    ask->source = ask->dc.source;
    double ohms = ask->probe->meter_ohms;
    bool loads = !ask->probe->heater && isfinite(ohms);
    ask->load = loads ? ohms / (ohms + ask->source) : 1;
    return true;
}

static bool open_scene(diagnose_engine *engine, diagnose_ask *ask, base_arena *arena) {
    if (!diagnose_scene_find(engine, ask->test, ask->probe, &ask->scene)) return false;
    const double *field = diagnose_scene_field(engine, ask->scene, &engine->point[0]);
    if (!field) return false;
    if (as_it_is(ask) && !open_dc(engine, ask)) return false;
    if (has_signal(ask)) ask->load = diagnose_scene_load(engine, ask->scene, ask->probe);
    double healthy = value_at(engine, ask, field);
    ask->healthy = diagnose_ask_enters(ask, healthy);
    return make_slopes(engine, ask, healthy, arena);
}

bool diagnose_ask_open(diagnose_engine *engine, const diagnose_test *test, const solve_probe *probe,
                       base_arena *arena, diagnose_ask *ask) {
    if (!diagnose_scenes_of(engine)) return false;
    *ask = (diagnose_ask){.test = test, .probe = probe, .load = 1};
    ask->floor = test->quantity == DIAGNOSE_HUM ? HUM_FLOOR : SIGNAL_FLOOR;
    limits(engine, test, &ask->least, &ask->most);
    if (test->quantity == DIAGNOSE_ALONE) {
        ask->healthy = diagnose_ask_enters(ask, number_alone(engine, ask, &engine->point[0]));
        if (!make_slopes(engine, ask, 0, arena)) return false;
    } else if (!open_scene(engine, ask, arena)) {
        return false;
    }
    float *row = base_arena_take(arena, (size_t)engine->scenes->wide, sizeof *row);
    if (!row) return false;
    ask->healthy = diagnose_ask_row(engine, ask, &engine->point[0], row);
    ask->row = row;
    return isfinite(ask->healthy);
}

/* ---- at a point ---------------------------------------------------------------------------- */

double diagnose_ask_mean(diagnose_engine *engine, const diagnose_ask *ask, diagnose_point *point) {
    if (!ask->scene) return diagnose_ask_enters(ask, number_alone(engine, ask, point));
    if (diagnose_pins_moved(engine, point)) return NAN;
    const double *field = diagnose_scene_field(engine, ask->scene, point);
    return field ? diagnose_ask_enters(ask, value_at(engine, ask, field)) : NAN;
}

/* From the next milder and graver severities of the same fault; 0: it has none. */
static double along_severity(diagnose_engine *engine, const diagnose_ask *ask,
                             const diagnose_point *point) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    int first = engine->first_point[point->fault], count = fault->severities;
    if (first < 0 || point->second || count < 2) return 0;
    int low = point->severity > 0 ? point->severity - 1 : 0;
    int high = point->severity + 1 < count ? point->severity + 1 : count - 1;
    double a = diagnose_ask_mean(engine, ask, &engine->point[first + low]);
    double b = diagnose_ask_mean(engine, ask, &engine->point[first + high]);
    double run = log(fault->number[0][high] / fault->number[0][low]);
    return isfinite(b - a) && run != 0 ? (b - a) / run : 0;
}

/* What a fault sets departs by its severity alone. A gas is a number, not a logarithm. */
static void set_severity(diagnose_engine *engine, const diagnose_ask *ask,
                         const diagnose_point *point, double *gradient) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    const diagnose_fault *second = &engine->catalogue.fault[point->second];
    for (int s = 0; s < fault->sets; s++)
        gradient[fault->slot[s]] = 0;
    for (int s = 0; s < second->sets; s++)
        gradient[second->slot[s]] = 0;
    if (fault->sets == 0) return;
    bool gas = solve_slot_at(engine->bench.system, (size_t)fault->slot[0])->what == SOLVE_GAS;
    double along = along_severity(engine, ask, point);
    gradient[fault->slot[0]] = gas ? along / fault->number[0][point->severity] : along;
}

static bool is_set(const diagnose_fault *fault, int slot) {
    for (int s = 0; s < fault->sets; s++)
        if (fault->slot[s] == slot) return true;
    return false;
}

static void put_extras(const diagnose_engine *engine, const diagnose_ask *ask,
                       const diagnose_point *point, double alive, float *row) {
    const diagnose_scenes *scenes = engine->scenes;
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    const diagnose_fault *second = &engine->catalogue.fault[point->second];
    for (int e = 0; e < scenes->extras; e++) {
        const diagnose_extra *extra = &scenes->extra[e];
        double by = extra->slot < 0 ? ask->gain[e] : ask->gradient[extra->slot];
        bool still = is_set(fault, extra->slot) || is_set(second, extra->slot);
        row[engine->columns + e] = still ? 0 : (float)(alive * by * extra->by);
    }
    bool levelled = ask->test->quantity == DIAGNOSE_SIGNAL;
    row[scenes->wide - 1] = levelled ? (float)(alive * LEVEL_SPREAD) : 0;
}

static double row_from_slopes(diagnose_engine *engine, const diagnose_ask *ask,
                              diagnose_point *point, float *row) {
    double *gradient = engine->scenes->gradient, mean = diagnose_ask_mean(engine, ask, point);
    double alive = live(ask, mean);
    size_t slots = solve_slots(engine->bench.system);
    for (size_t i = 0; i < slots; i++)
        gradient[i] = alive * ask->gradient[i];
    set_severity(engine, ask, point, gradient);
    diagnose_latents_row(engine, gradient, point, row);
    put_extras(engine, ask, point, alive, row);
    return mean + diagnose_chart_apply(engine, row);
}

double diagnose_ask_row(diagnose_engine *engine, const diagnose_ask *ask, diagnose_point *point,
                        float *row) {
    memset(row, 0, (size_t)engine->scenes->wide * sizeof *row);
    if (!as_it_is(ask)) return row_from_slopes(engine, ask, point, row);
    if (!diagnose_scene_field(engine, ask->scene, point)) return NAN;
    if (!diagnose_scene_visit(engine, ask->scene, point)) return NAN;
    return diagnose_probe_at(engine, point, ask->probe, &ask->dc, row);
}

/* ---- noise --------------------------------------------------------------------------------- */

static double square(double x) {
    return x * x;
}

static double accuracy_alone(const diagnose_engine *engine, const diagnose_test *test,
                             double value) {
    switch (solve_slot_at(engine->bench.system, (size_t)test->slot)->what) {
    case SOLVE_FARADS:
        return FARADS_ACCURACY;
    case SOLVE_ESR:
        return hypot(ESR_ACCURACY, LEADS_OHMS / fmax(value, LEADS_OHMS));
    case SOLVE_LEAK:
        return LEAK_ACCURACY;
    default:
        return hypot(OHMS_ACCURACY, LEADS_OHMS / fmax(value, LEADS_OHMS));
    }
}

double diagnose_ask_noise(const diagnose_engine *engine, const diagnose_ask *ask,
                          const diagnose_meter *meter, double value, double resolution) {
    if (as_it_is(ask)) return diagnose_noise(engine, meter, value, resolution, ask->source);
    if (ask->test->quantity == DIAGNOSE_ALONE)
        return square(accuracy_alone(engine, ask->test, value));
    if (ask->test->quantity == DIAGNOSE_COLD)
        return square(OHMS_ACCURACY) + square(LEADS_OHMS / fmax(value, LEADS_OHMS));
    double digit = resolution / sqrt(12) / hypot(value, ask->floor);
    return square(AC_ACCURACY) + square(digit);
}

static bool on_supply(const diagnose_engine *engine, const solve_probe *probe) {
    const bool *supply = engine->places.supply;
    return supply[probe->plus] && (probe->minus == 0 || supply[probe->minus]);
}

double diagnose_ask_model_error(const diagnose_engine *engine, const diagnose_ask *ask,
                                double mean) {
    double spread = engine->options.model_spread;
    if (as_it_is(ask)) return diagnose_model_error(spread, mean, ask->healthy);
    double changed = fmin(fabs(mean - ask->healthy), HUM_HEALTHY_MOST);
    switch (ask->test->quantity) {
    case DIAGNOSE_SIGNAL:
        return square(SIGNAL_MODEL) + square(2 * spread * changed);
    case DIAGNOSE_HUM:
        return square(on_supply(engine, ask->probe) ? HUM_MODEL : HUM_ELSEWHERE) +
               square(2 * spread * changed);
    case DIAGNOSE_COLD:
        return square(spread * changed);
    default:
        return 0;
    }
}

double diagnose_ask_broad(const diagnose_engine *engine, const diagnose_ask *ask) {
    if (as_it_is(ask)) return -log(ask->probe->heater ? 15 : engine->span);
    return -log(has_signal(ask) ? 10 : log(ask->most / ask->least));
}

double diagnose_ask_covariance(const diagnose_engine *engine, const float *a, const float *b) {
    double sum = diagnose_covariance(engine, a, b);
    for (int i = engine->columns; i < engine->scenes->wide; i++)
        sum += (double)a[i] * b[i];
    return sum;
}
