/* What a fault predicts at the places, with its sensitivities: worked out when first asked for. */
#include "diagnose_impl.h"

#include <stdlib.h>
#include <string.h>

#define LIGHT_LOAD 0.01       /* source over meter below which the load needs no correction */
#define LEAST_DRAG_VOLTS 0.05 /* below this a load cannot be told */

/* Goes to the point, so that the solver's factors are those of it. */
bool diagnose_visit(diagnose_engine *engine, diagnose_point *point) {
    if (!point->solved) return false;
    diagnose_numbers_of(engine, point, engine->work_numbers);
    solve_result result =
        solve_point(engine->bench.work, engine->work_numbers, point->x, engine->work_x);
    return result.outcome <= SOLVE_CONTINUED;
}

/* The drag corrects what the linear source resistance gives for a meter's load. */
double diagnose_probe_at(diagnose_engine *engine, const diagnose_point *point,
                         const solve_probe *probe, double drag, float *row) {
    double source = 0;
    double volts = solve_read(engine->bench.work, engine->work_numbers, engine->work_x, probe,
                              engine->work_gradient, &source);
    diagnose_latents_row(engine, engine->work_gradient, point, row);
    if (drag != 1 && source > 0 && isfinite(probe->meter_ohms)) {
        double scale = (probe->meter_ohms + source) / (probe->meter_ohms + drag * source);
        volts *= scale;
        for (int l = 0; l < engine->columns; l++)
            row[l] *= (float)scale;
    }
    return volts + diagnose_chart_apply(engine, row);
}

/* From the loaded reading v of an unloaded u: u = v (1 + drag source / meter). */
double diagnose_drag(diagnose_engine *engine, const double *numbers, const double *x,
                     const solve_probe *probe) {
    solve_probe bare = *probe;
    double source = 0;
    bare.meter_ohms = INFINITY;
    double unloaded = solve_read(engine->bench.work, numbers, x, &bare, NULL, &source);
    if (probe->heater || !isfinite(probe->meter_ohms)) return 1;
    if (source < LIGHT_LOAD * probe->meter_ohms || fabs(unloaded) < LEAST_DRAG_VOLTS) return 1;
    double loaded = solve_read_loaded(engine->bench.work, numbers, x, probe);
    if (isnan(loaded) || fabs(loaded) < 0.01 * fabs(unloaded)) return 1;
    double drag = (unloaded / loaded - 1) * probe->meter_ohms / source;
    return fmin(fmax(drag, 0.02), 10);
}

static bool make_room(diagnose_engine *engine, diagnose_point *point) {
    if (point->mean) return true;
    size_t places = engine->places.count;
    double *mean = base_arena_take(engine->arena, places, sizeof *mean);
    float *a = base_arena_take(engine->arena, places * (size_t)engine->columns, sizeof *a);
    if (!mean || !a) return false;
    for (size_t i = 0; i < places; i++)
        mean[i] = NAN;
    point->mean = mean;
    point->a = a;
    return true;
}

bool diagnose_rows(diagnose_engine *engine, diagnose_point *point, const int *places, int count) {
    if (!make_room(engine, point)) return false;
    bool here = false;
    for (int i = 0; i < count; i++) {
        int place = places ? places[i] : i;
        if (place < 0 || !isnan(point->mean[place])) continue;
        if (!here && !diagnose_visit(engine, point)) return false;
        here = true;
        double volts = diagnose_probe_at(engine, point, &engine->places.place[place].probe,
                                         engine->drag[place],
                                         point->a + (size_t)place * (size_t)engine->columns);
        if (!isfinite(volts)) return false;
        point->mean[place] = volts;
    }
    return true;
}

const float *diagnose_row(const diagnose_engine *engine, const diagnose_point *point, int place) {
    return point->a + (size_t)place * (size_t)engine->columns;
}

static double dot(const float *restrict a, const float *restrict b, int count) {
    float sums[8] = {0};
    int i = 0;
    for (; i + 8 <= count; i += 8)
        for (int k = 0; k < 8; k++)
            sums[k] += a[i + k] * b[i + k];
    double sum = 0;
    for (int k = 0; k < 8; k++)
        sum += sums[k];
    for (; i < count; i++)
        sum += (double)a[i] * b[i];
    return sum;
}

double diagnose_covariance(const diagnose_engine *engine, const float *a, const float *b) {
    return dot(a, b, engine->columns);
}
