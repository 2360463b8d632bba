/* What a fault predicts at the places, with its sensitivities: worked out when first asked for. */
#include "diagnose_impl.h"

#include <stdlib.h>
#include <string.h>

#define LIGHT_LOAD 0.01       /* source over meter below which a load is linear enough */
#define LEAST_LOAD_VOLTS 0.02 /* a load that takes less is */

/* Goes to the point, so that the solver's factors are those of it. */
bool diagnose_visit(diagnose_engine *engine, diagnose_point *point) {
    if (!point->solved) return false;
    diagnose_numbers_of(engine, point, engine->work_numbers);
    diagnose_bench *bench = diagnose_bench_of(engine, point);
    if (!bench) return false;
    engine->here = bench;
    solve_result result = solve_point(bench->work, engine->work_numbers, point->x, engine->work_x);
    return result.outcome <= SOLVE_CONTINUED;
}

/* Where the amp is not linear about a place (a grid that the meter drags down and its cathode with
 * it, an electrode left floating) the meter is truly joined and the amp solved again. */
static bool must_join(const diagnose_load *load, const solve_probe *probe, double volts,
                      double source) {
    if (probe->heater || !isfinite(probe->meter_ohms)) return false;
    double share = source / (probe->meter_ohms + source);
    if (share < LIGHT_LOAD || share * fabs(volts) < LEAST_LOAD_VOLTS) return false;
    return load->bends || source > 2 * load->source || source < 0.5 * load->source;
}

double diagnose_probe_raw(diagnose_engine *engine, const diagnose_point *point,
                          const solve_probe *probe, const diagnose_load *load, float *row) {
    solve_work *work = engine->here->work;
    double source = 0, *gradient = row ? engine->work_gradient : NULL;
    double shown = solve_read(work, engine->work_numbers, engine->work_x, probe, gradient, &source);
    double bare = isfinite(probe->meter_ohms)
                      ? shown * (probe->meter_ohms + source) / probe->meter_ohms
                      : shown;
    if (must_join(load, probe, bare, source)) {
        double joined =
            solve_read_joined(work, engine->work_numbers, engine->work_x, probe, gradient);
        if (isfinite(joined)) shown = joined;
    }
    if (row) diagnose_latents_row(engine, gradient, point, row);
    return shown;
}

double diagnose_probe_at(diagnose_engine *engine, const diagnose_point *point,
                         const solve_probe *probe, const diagnose_load *load, float *row) {
    double shown = diagnose_probe_raw(engine, point, probe, load, row);
    return shown + diagnose_chart_apply(engine, row);
}

diagnose_load diagnose_load_at(diagnose_engine *engine, const double *numbers, const double *x,
                               const solve_probe *probe) {
    diagnose_load load = {.source = 0};
    double shown = solve_read(engine->bench.work, numbers, x, probe, NULL, &load.source);
    if (probe->heater || !isfinite(probe->meter_ohms)) return load;
    if (load.source < LIGHT_LOAD * probe->meter_ohms) return load;
    double joined = solve_read_loaded(engine->bench.work, numbers, x, probe);
    load.taken = fabs(shown) * load.source / probe->meter_ohms;
    load.bends = isfinite(joined) && fabs(joined - shown) > 0.02 + 0.01 * fabs(shown);
    return load;
}

static bool make_room(diagnose_engine *engine, diagnose_point *point) {
    if (point->same_as_healthy) {
        point->mean = engine->point[0].mean;
        point->a = engine->point[0].a;
    }
    if (point->mean) return true;
    size_t places = engine->places.count;
    double *mean = base_arena_take(point->arena, places, sizeof *mean);
    float *a = base_arena_take(point->arena, places * (size_t)engine->columns, sizeof *a);
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
        const diagnose_place *at = &engine->places.place[place];
        solve_probe room;
        const solve_probe *probe = diagnose_wired_probe(engine, point, at->at, &at->probe, &room);
        double volts = diagnose_probe_at(engine, point, probe, &engine->load[place],
                                         point->a + (size_t)place * (size_t)engine->columns);
        if (!isfinite(volts)) return false;
        point->mean[place] = volts;
    }
    return true;
}

const float *diagnose_row(const diagnose_engine *engine, const diagnose_point *point, int place) {
    return point->a + (size_t)place * (size_t)engine->columns;
}

typedef float eight __attribute__((vector_size(32), aligned(4)));

/* A quarter of a run is spent here: on a processor that has the wider registers they are used. */
#if defined(__x86_64__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) &&                \
    !defined(__SANITIZE_THREAD__)
__attribute__((target_clones("arch=x86-64-v3", "default")))
#endif
static double
dot(const float *a, const float *b, int count) {
    eight sums[2] = {{0}, {0}};
    int i = 0;
    for (; i + 16 <= count; i += 16)
        for (int k = 0; k < 2; k++)
            sums[k] += *(const eight *)(a + i + 8 * k) * *(const eight *)(b + i + 8 * k);
    eight sum = sums[0] + sums[1];
    double total = 0;
    for (int k = 0; k < 8; k++)
        total += (double)sum[k];
    for (; i < count; i++)
        total += (double)a[i] * b[i];
    return total;
}

double diagnose_covariance(const diagnose_engine *engine, const float *a, const float *b) {
    return dot(a, b, engine->columns);
}

/* ---- good amps ----------------------------------------------------------------------------- */

void diagnose_good_read(diagnose_engine *engine, const solve_probe *probe, diagnose_good *good,
                        size_t count) {
    bool here = diagnose_visit(engine, &engine->point[0]);
    for (size_t i = 0; i < count; i++) {
        float *row = engine->work_row;
        good[i] = (diagnose_good){NAN, NAN, NAN};
        if (!here || !solve_probe_exists(engine->bench.system, &probe[i])) continue;
        diagnose_load load =
            diagnose_load_at(engine, engine->work_numbers, engine->work_x, &probe[i]);
        good[i].volts = diagnose_probe_at(engine, &engine->point[0], &probe[i], &load, row);
        good[i].spread = sqrt(diagnose_covariance(engine, row, row));
        good[i].source_ohms = load.source;
    }
}
