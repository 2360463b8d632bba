/* A chart of an amp of this drawing in health, printed on the schematic or read on an earlier
 * visit, tells how wrong the tubes' laws and the stated windings are: what is the same in every amp
 * of this drawing. That amp's own tolerances stay its own.
 *
 * With H the sensitivities of the charted places to the common latents, V the covariance of the
 * whole chart and d = chart - predicted: the common latents have mean H' V^-1 d and covariance
 * I - K'K, K = L^-1 H, V = L L' (Gaussian conditioning). With K'K = W diag(s^2) W' a row a of A
 * becomes a - (a W) diag(1 - sqrt(1 - s^2)) W', so that rows still stand for unit latents. */
#include "diagnose_impl.h"

#include <lapacke.h>
#include <stdlib.h>
#include <string.h>

#define PRINTED_ACCURACY 0.02 /* of a printed reading; common practice, no source */
#define PRINTED_FLOOR 0.05    /* V */
#define BELIEVED 4.0          /* standard deviations beyond which a charted place is not used */

typedef struct chart {
    diagnose_engine *engine;
    int room, count;
    double *d, *noise; /* by charted place; noise: one standard deviation */
    float *row;        /* room x columns */
    double *v;         /* count x count */
    double *h;         /* count x laws, column-major: H, then K */
    int first, laws;   /* which columns of A are common */
} chart;

/* ---- gathering ----------------------------------------------------------------------------- */

/* The healthy amp at the mains of the chart. */
static bool visit_at(diagnose_engine *engine, double mains) {
    size_t slots = solve_slots(engine->bench.system);
    memcpy(engine->work_numbers, engine->bench.numbers, slots * sizeof(double));
    if (engine->mains_slot >= 0 && mains > 0) engine->work_numbers[engine->mains_slot] = mains;
    solve_result result =
        solve_point(engine->bench.work, engine->work_numbers, engine->bench.x, engine->work_x);
    return result.outcome <= SOLVE_CONTINUED;
}

static void take(chart *chart, const solve_probe *probe, double volts, double noise) {
    diagnose_engine *engine = chart->engine;
    if (chart->count == chart->room) return;
    float *row = chart->row + (size_t)chart->count * (size_t)engine->columns;
    diagnose_load load = diagnose_load_at(engine, engine->work_numbers, engine->work_x, probe);
    double d = volts - diagnose_probe_at(engine, &engine->point[0], probe, &load, row);
    double variance = diagnose_covariance(engine, row, row) + noise * noise;
    if (!(d * d <= BELIEVED * BELIEVED * variance)) return;
    chart->d[chart->count] = d;
    chart->noise[chart->count++] = noise;
}

static void take_printed(chart *chart) {
    diagnose_engine *engine = chart->engine;
    const circuit *amp = engine->bench.amp;
    const circuit_about *about = circuit_about_of(amp);
    diagnose_meter meter = {.ohms = about->printed_meter_ohms,
                            .ohms_per_volt = about->printed_meter_ohms_per_volt,
                            .range = NAN};
    if (!engine->options.printed || !visit_at(engine, about->mains_drawn_volts)) return;
    for (size_t node = 1; node < circuit_nodes(amp); node++) {
        double volts = circuit_node_at(amp, node)->printed, source = 0;
        solve_probe probe = {.plus = (int)node, .meter_ohms = INFINITY};
        if (!isfinite(volts) || !solve_probe_exists(engine->bench.system, &probe)) continue;
        solve_read(engine->bench.work, engine->work_numbers, engine->work_x, &probe, NULL, &source);
        probe.meter_ohms = diagnose_meter_ohms(&meter, volts, source);
        take(chart, &probe, volts, PRINTED_FLOOR + PRINTED_ACCURACY * fabs(volts));
    }
}

static void take_readings(chart *chart) {
    diagnose_engine *engine = chart->engine;
    const diagnose_readings *readings = engine->options.chart;
    if (!readings || !visit_at(engine, readings->mains)) return;
    for (size_t i = 0; i < readings->count; i++) {
        const diagnose_reading *reading = &readings->reading[i];
        take(chart, &reading->probe, reading->volts,
             PRINTED_FLOOR + 2 * reading->meter.accuracy * fabs(reading->volts));
    }
}

/* ---- conditioning -------------------------------------------------------------------------- */

/* V = L L', H becomes K = L^-1 H, d becomes L^-1 d. */
static bool whiten(chart *chart) {
    const diagnose_engine *engine = chart->engine;
    int n = chart->count, columns = engine->columns;
    for (int i = 0; i < n; i++) {
        const float *row = chart->row + (size_t)i * (size_t)columns;
        for (int k = 0; k <= i; k++)
            chart->v[(size_t)k * (size_t)n + (size_t)i] =
                diagnose_covariance(engine, row, chart->row + (size_t)k * (size_t)columns);
        chart->v[(size_t)i * (size_t)n + (size_t)i] += chart->noise[i] * chart->noise[i];
        for (int l = 0; l < chart->laws; l++)
            chart->h[(size_t)l * (size_t)n + (size_t)i] = row[chart->first + l];
    }
    return LAPACKE_dpotrf(LAPACK_COL_MAJOR, 'L', n, chart->v, n) == 0 &&
           LAPACKE_dtrtrs(LAPACK_COL_MAJOR, 'L', 'N', 'N', n, chart->laws, chart->v, n, chart->h,
                          n) == 0 &&
           LAPACKE_dtrtrs(LAPACK_COL_MAJOR, 'L', 'N', 'N', n, 1, chart->v, n, chart->d, n) == 0;
}

/* K = U diag(s) W': dgesvd gives s and W'; K is n x columns, column-major. */
static bool directions(chart *chart) {
    diagnose_engine *engine = chart->engine;
    int n = chart->count, columns = chart->laws, rank = n < columns ? n : columns;
    double *s = base_arena_take(engine->arena, (size_t)rank, sizeof *s);
    double *w = base_arena_take(engine->arena, (size_t)(rank * columns), sizeof *w);
    double *spare = base_arena_take(engine->arena, (size_t)rank, sizeof *spare);
    engine->told = base_arena_take(engine->arena, (size_t)(rank * columns), sizeof(float));
    engine->shrink = base_arena_take(engine->arena, (size_t)rank, sizeof(float));
    if (!s || !w || !spare || !engine->told || !engine->shrink) return false;
    if (LAPACKE_dgesvd(LAPACK_COL_MAJOR, 'N', 'S', n, columns, chart->h, n, s, NULL, 1, w, rank,
                       spare) != 0)
        return false;
    for (int k = 0; k < rank; k++) {
        engine->shrink[k] = (float)(1 - sqrt(fmax(1 - s[k] * s[k], 0)));
        for (int l = 0; l < columns; l++)
            engine->told[k * columns + l] = (float)w[l * rank + k];
    }
    engine->charted = rank;
    return true;
}

static bool condition(chart *chart) {
    diagnose_engine *engine = chart->engine;
    engine->shift = base_arena_take(engine->arena, (size_t)chart->laws + 1, sizeof(double));
    if (!engine->shift) return false;
    if (chart->count == 0 || chart->laws == 0) return true;
    if (!whiten(chart)) return true; /* a chart that cannot be used is left aside */
    for (int l = 0; l < chart->laws; l++)
        for (int i = 0; i < chart->count; i++)
            engine->shift[l] +=
                chart->h[(size_t)l * (size_t)chart->count + (size_t)i] * chart->d[i];
    return directions(chart);
}

bool diagnose_chart_use(diagnose_engine *engine) {
    size_t room = circuit_nodes(engine->bench.amp), columns = (size_t)engine->columns;
    if (engine->options.chart) room += engine->options.chart->count;
    chart chart = {.engine = engine, .room = (int)room, .first = engine->latents.first_law};
    chart.laws = engine->latents.count - chart.first;
    base_arena *arena = base_arena_new();
    chart.d = base_arena_take(arena, room, sizeof(double));
    chart.noise = base_arena_take(arena, room, sizeof(double));
    chart.row = base_arena_take(arena, room * columns, sizeof(float));
    chart.v = base_arena_take(arena, room * room, sizeof(double));
    chart.h = base_arena_take(arena, room * columns, sizeof(double));
    bool good = chart.d && chart.noise && chart.row && chart.v && chart.h;
    if (good) {
        take_printed(&chart);
        take_readings(&chart);
        good = condition(&chart);
    }
    base_arena_free(arena);
    return good;
}

double diagnose_chart_apply(const diagnose_engine *engine, float *row) {
    int laws = engine->latents.count - engine->latents.first_law;
    float *own = row + engine->latents.first_law;
    double shift = 0;
    for (int l = 0; engine->charted && l < laws; l++)
        shift += own[l] * engine->shift[l];
    for (int k = 0; k < engine->charted; k++) {
        const float *told = engine->told + (size_t)k * (size_t)laws;
        float sum = 0;
        for (int l = 0; l < laws; l++)
            sum += own[l] * told[l];
        sum *= engine->shrink[k];
        for (int l = 0; l < laws; l++)
            own[l] -= sum * told[l];
    }
    return shift;
}
