/* The readings against every hypothesis.
 *
 * All points are screened first with the healthy amp's sensitivities and a generous slack; those
 * that may matter are then weighed with their own. */
#include "diagnose_impl.h"

#include <stdlib.h>
#include <string.h>

#define WINDOW 30.0     /* nats below the best screened point that still count */
#define SLACK 0.25      /* of (predicted - healthy), while screening */
#define MOST_ROWS 12000 /* sensitivities worked out in one run, at some 8 us each */
#define FEWEST_EXACT 60
#define MOST_CELL 2.0    /* deviations: beyond, the next severity has its say */
#define STILL 1e-5       /* of the noise variance: a reading that tolerance does not move */
#define STRAY_FLOOR 3e-3 /* V, of any contact and of the chassis between two places */

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
 * dead by any law. */
double diagnose_model_error(double spread, double volts, double healthy) {
    double size = fabs(volts), sum = size + fabs(healthy);
    double alive = sum > 0 ? fmin(1, 2 * size / sum) : 0;
    return square(spread * (volts - healthy) * alive);
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
    run->healthy_row = base_arena_take(run->arena, n * (size_t)run->engine->columns, sizeof(float));
    run->load = base_arena_take(run->arena, n, sizeof *run->load);
    run->heavy = base_arena_take(run->arena, n, sizeof(int));
    return run->place && run->healthy_row && run->load && run->heavy;
}

/* What the mains was measured as is one more reading: of the mains itself, and never wrong. */
static void set_mains(diagnose_run_state *run) {
    const diagnose_engine *engine = run->engine;
    int i = run->n - 1;
    run->y[i] = log(run->readings->mains);
    run->noise[i] = square(0.005);
    run->broad[i] = -INFINITY;
    run->place[i] = -1;
    run->healthy[i] = log(engine->point[0].mains);
    run->healthy_row[(size_t)i * (size_t)engine->columns] = (float)engine->options.mains_spread;
}

static bool set_readings(diagnose_run_state *run) {
    diagnose_engine *engine = run->engine;
    if (!diagnose_visit(engine, &engine->point[0])) return false;
    for (int i = 0; i < run->given; i++) {
        const diagnose_reading *reading = &run->readings->reading[i];
        float *row = run->healthy_row + (size_t)i * (size_t)engine->columns;
        run->place[i] = place_with(engine, &reading->probe);
        run->y[i] = reading->volts;
        run->heavy[i] = heavy_with(engine, &reading->probe);
        run->load[i] =
            diagnose_load_at(engine, engine->work_numbers, engine->work_x, &reading->probe);
        run->healthy[i] =
            diagnose_probe_at(engine, &engine->point[0], &reading->probe, &run->load[i], row);
        run->noise[i] = diagnose_noise(engine, &reading->meter, reading->volts, reading->resolution,
                                       run->load[i].source);
        run->broad[i] = -log(reading->probe.heater ? 15 : engine->span);
    }
    return true;
}

static bool set_up(diagnose_run_state *run) {
    const diagnose_engine *engine = run->engine;
    bool mains = run->readings && run->readings->mains > 0 && engine->mains_varies;
    run->given = run->readings ? (int)run->readings->count : 0;
    run->n = run->given + mains;
    if (!take_room(run)) return false;
    if (run->given && !set_readings(run)) return false;
    if (mains) set_mains(run);
    return true;
}

size_t diagnose_labels(const diagnose_run_state *run) {
    return run->engine->catalogue.count + (size_t)run->twos;
}

diagnose_point *diagnose_point_of(const diagnose_run_state *run, int point) {
    int engine = (int)run->engine->points;
    return point < engine ? &run->engine->point[point] : &run->extra[point - engine];
}

/* ---- one Gaussian
 * ------------------------------------------------------------------------------------- */

typedef diagnose_weigher bench;

static bool bench_room(diagnose_run_state *run, bench *bench) {
    size_t n = (size_t)run->n + 1;
    bench->c = base_arena_take(run->arena, n * n, sizeof(double));
    bench->base = base_arena_take(run->arena, n * n, sizeof(double));
    bench->r = base_arena_take(run->arena, n, sizeof(double));
    bench->mix.term = base_arena_take(run->arena, n, sizeof(double));
    return bench->c && bench->base && bench->r && bench->mix.term;
}

/* c = A A' + noise, from rows. A row that moves its reading by far less than the noise is left out
 * of the sums. */
static void covariance(const diagnose_run_state *run, const float *const *row, double *c) {
    int n = run->n;
    memset(c, 0, (size_t)(n * n) * sizeof *c);
    for (int i = 0; i < n; i++) {
        double own = diagnose_covariance(run->engine, row[i], row[i]);
        c[i * n + i] = own + run->noise[i] + diagnose_wander(run->engine, row[i]);
        if (own < STILL * run->noise[i]) continue;
        for (int k = 0; k < i; k++)
            if (c[k * n + k] >= (1 + STILL) * run->noise[k])
                c[i * n + k] = c[k * n + i] = diagnose_covariance(run->engine, row[i], row[k]);
    }
}

/* ---- screening
 * --------------------------------------------------------------------------------------------- */

static double log_prior(const diagnose_engine *engine, const diagnose_point *point) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    double prior = log(fault->prior) + log(fault->weight[point->severity]);
    if (!point->second) return prior;
    fault = &engine->catalogue.fault[point->second];
    return prior + log(fault->prior) + log(fault->weight[point->second_severity]) +
           log(engine->number[NUMBER_TWO_FAULTS]) + M_LN2;
}

/* Roughly what the meter shows at a point; *unsure gets the standard deviation of that: a part of
 * what the fault moves, and of what the meter's load takes away. Where that is much, the ohms of
 * the point itself are at hand; elsewhere those of the healthy amp must do. */
double diagnose_roughly(const diagnose_run_state *run, const diagnose_point *point, int i,
                        double *unsure) {
    double shown = log(point->mains), taken = 0;
    if (i < run->given) {
        const solve_probe *probe = &run->readings->reading[i].probe;
        bool heavy = run->heavy[i] >= 0;
        double bare = diagnose_bare(run->engine, point, probe);
        double source = heavy ? point->source[run->heavy[i]] : run->load[i].source;
        bool loads = !probe->heater && isfinite(probe->meter_ohms);
        shown = loads ? bare * probe->meter_ohms / (probe->meter_ohms + source) : bare;
        taken = heavy ? SLACK * fabs(bare - shown) : run->load[i].taken;
    }
    *unsure = hypot(SLACK * (shown - run->healthy[i]), taken);
    return shown;
}

/* The readings that depart most from the healthy amp, as indices into the run's. */
static void choose_screened(const diagnose_run_state *run, bench *bench) {
    double apart[DIAGNOSE_SCREENED];
    bench->screened = 0;
    for (int i = 0; i < run->n; i++) {
        double d = square(run->y[i] - run->healthy[i]) / bench->base[i * run->n + i];
        int at = bench->screened < DIAGNOSE_SCREENED ? bench->screened++ : DIAGNOSE_SCREENED;
        for (; at > 0 && apart[at - 1] < d; at--)
            if (at < DIAGNOSE_SCREENED) {
                apart[at] = apart[at - 1];
                bench->chosen[at] = bench->chosen[at - 1];
            }
        if (at < DIAGNOSE_SCREENED) {
            apart[at] = d;
            bench->chosen[at] = i;
        }
    }
}

/* The promise leaves the determinant out: the slack must not count against a fault that moves
 * much. */
void diagnose_screen(const diagnose_run_state *run, const diagnose_point *point, bench *bench,
                     diagnose_gauss *gauss, diagnose_case *one) {
    int n = bench->screened;
    double distance = 0;
    for (int a = 0; a < n; a++) {
        int i = bench->chosen[a];
        double unsure, m = diagnose_roughly(run, point, i, &unsure);
        for (int b = 0; b < n; b++)
            bench->c[a * n + b] = bench->base[i * run->n + bench->chosen[b]];
        bench->r[a] = run->y[i] - m;
        bench->c[a * n + a] += square(unsure);
        bench->broad[a] = run->broad[i];
    }
    one->log_weight = one->promise = -INFINITY;
    if (!diagnose_gauss_make(gauss, bench->c, bench->r, n)) return;
    diagnose_mix_make(gauss, run->engine->options.wrong, bench->broad, &bench->mix);
    for (int a = 0; a < n; a++)
        distance += gauss->e[a] * bench->r[a];
    one->log_weight = bench->mix.log_density + log_prior(run->engine, point);
    one->promise = one->log_weight - gauss->log_density - distance / 2;
}

static const float **healthy_rows(diagnose_run_state *run) {
    const float **row = base_arena_take(run->arena, (size_t)run->n + 1, sizeof *row);
    for (int i = 0; row && i < run->n; i++)
        row[i] = run->healthy_row + (size_t)i * (size_t)run->engine->columns;
    return row;
}

static bool own_arrays(diagnose_run_state *run, diagnose_case *one) {
    size_t n = (size_t)run->n + 1;
    one->gauss.q = base_arena_take(run->arena, n * n, sizeof(double));
    one->gauss.e = base_arena_take(run->arena, n, sizeof(double));
    one->wrong = base_arena_take(run->arena, n, sizeof(double));
    one->without = base_arena_take(run->arena, n, sizeof(double));
    one->mean = base_arena_take(run->arena, n, sizeof(double));
    one->variance = base_arena_take(run->arena, n, sizeof(double));
    return one->gauss.q && one->gauss.e && one->wrong && one->without && one->mean && one->variance;
}

static int more_promising(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->promise, y = ((const diagnose_case *)b)->promise;
    return (x < y) - (x > y);
}

static int heavier(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->log_weight, y = ((const diagnose_case *)b)->log_weight;
    return (x < y) - (x > y);
}

/* All solved points with their screened weights, most promising first. */
static bool screen_all(diagnose_run_state *run, bench *bench) {
    diagnose_engine *engine = run->engine;
    diagnose_case spare = {0};
    const float **row = healthy_rows(run);
    run->cases = base_arena_take(run->arena, engine->points + 1, sizeof *run->cases);
    if (!row || !run->cases || !own_arrays(run, &spare)) return false;
    covariance(run, row, bench->base);
    choose_screened(run, bench);
    bench->mix.wrong = spare.wrong;
    bench->mix.without = spare.without;
    for (size_t p = 0; p < engine->points; p++) {
        const diagnose_point *point = &engine->point[p];
        if (!point->solved) continue;
        diagnose_case *one = &run->cases[run->count++];
        *one = (diagnose_case){.label = point->fault, .point = (int)p};
        diagnose_screen(run, point, bench, &spare.gauss, one);
    }
    qsort(run->cases, (size_t)run->count, sizeof *run->cases, more_promising);
    return true;
}

/* ---- weighing exactly
 * -------------------------------------------------------------------------------------- */

/* The measured mains as a reading: its mean, and its row of A. */
static double mains_row(const diagnose_engine *engine, const diagnose_point *point, float *row) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    const diagnose_fault *second = &engine->catalogue.fault[point->second];
    if (fault->mode == DIAGNOSE_MAINS_OFF)
        row[engine->first_cell] = (float)fault->cell;
    else if (second->mode == DIAGNOSE_MAINS_OFF)
        row[engine->first_cell + 1] = (float)second->cell;
    else
        row[0] = (float)engine->options.mains_spread;
    return log(point->mains);
}

/* Mean and row of a reading that is none of the engine's places. */
static bool fetch_other(diagnose_run_state *run, diagnose_point *point, int i, float *row,
                        double *m) {
    if (i >= run->given)
        *m = mains_row(run->engine, point, row);
    else
        *m = diagnose_probe_at(run->engine, point, &run->readings->reading[i].probe, &run->load[i],
                               row);
    return isfinite(*m);
}

/* Means and rows of all readings at a point: from the engine's store where the place is known. */
static bool fetch(diagnose_run_state *run, diagnose_point *point, diagnose_case *one, double *m) {
    diagnose_engine *engine = run->engine;
    bool here = false;
    one->row = base_arena_take(run->arena, (size_t)run->n + 1, sizeof *one->row);
    if (!one->row || !diagnose_rows(engine, point, run->place, run->given)) return false;
    for (int i = 0; i < run->n; i++) {
        if (run->place[i] >= 0) {
            m[i] = point->mean[run->place[i]];
            one->row[i] = diagnose_row(engine, point, run->place[i]);
            continue;
        }
        float *row = base_arena_take(run->arena, (size_t)engine->columns, sizeof *row);
        if (!row || (!here && !diagnose_visit(engine, point))) return false;
        here = true;
        if (!fetch_other(run, point, i, row, &m[i])) return false;
        one->row[i] = row;
    }
    return true;
}

/* The severity within its cell is one more latent, with its own column of A: given the readings its
 * mean is a' e and its variance 1 - a' Q a. Not told where a reading is thought wrong. */
static void place_in_cell(const diagnose_run_state *run, diagnose_case *one, int cell) {
    int n = run->n, column = run->engine->first_cell + cell;
    double known = 0, mean = 0;
    one->cell_variance[cell] = 1;
    for (int i = 0; i < n; i++) {
        double a = one->row[i][column];
        if (one->wrong[i] > 0.5) return;
        mean += a * one->gauss.e[i];
        for (int k = 0; a != 0 && k < n; k++)
            known += a * one->gauss.q[i * n + k] * one->row[k][column];
    }
    one->cell[cell] = fmin(fmax(mean, -MOST_CELL), MOST_CELL);
    one->cell_variance[cell] = fmin(fmax(1 - known, 0), 1);
}

static void finish(diagnose_run_state *run, diagnose_case *one, bench *bench, double prior) {
    bench->mix.wrong = one->wrong;
    bench->mix.without = one->without;
    diagnose_mix_make(&one->gauss, run->engine->options.wrong, run->broad, &bench->mix);
    one->log_weight = bench->mix.log_density + prior;
    for (int i = 0; i < run->n; i++)
        one->without[i] += prior;
    one->exact = true;
}

/* The model is always a little wrong: by a part of what the fault changes. */
bool diagnose_weigh_exactly(diagnose_run_state *run, diagnose_case *one, bench *bench) {
    diagnose_engine *engine = run->engine;
    diagnose_point *point = diagnose_point_of(run, one->point);
    if (!own_arrays(run, one) || !fetch(run, point, one, one->mean)) return false;
    covariance(run, one->row, bench->c);
    for (int i = 0; i < run->n; i++) {
        bench->r[i] = run->y[i] - one->mean[i];
        bench->c[i * run->n + i] +=
            diagnose_model_error(engine->options.model_spread, one->mean[i], run->healthy[i]);
        one->variance[i] = bench->c[i * run->n + i];
    }
    diagnose_gauss_make(&one->gauss, bench->c, bench->r, run->n);
    finish(run, one, bench, log_prior(engine, point));
    for (int cell = 0; cell < DIAGNOSE_CELLS && isfinite(one->gauss.log_density); cell++)
        place_in_cell(run, one, cell);
    return true;
}

static bool weigh_window(diagnose_run_state *run, bench *bench) {
    if (run->count == 0) return true;
    double best = run->cases[0].promise;
    int budget = MOST_ROWS / (run->n + 1), kept = 0, worked = 0;
    if (budget < FEWEST_EXACT) budget = FEWEST_EXACT;
    for (int i = 0; i < run->count; i++) {
        bool hopeless = run->cases[i].promise < best - WINDOW && i >= FEWEST_EXACT;
        if (hopeless || run->cases[i].promise == -INFINITY) break;
        bool known = run->engine->point[run->cases[i].point].same_as_healthy;
        if ((known || worked < budget) && !diagnose_weigh_exactly(run, &run->cases[i], bench))
            return false;
        worked += !known;
        kept++;
    }
    run->count = kept;
    return true;
}

/* ---- something not modelled
 * --------------------------------------------------------------------------------- */

/* Anything may be out, several times as far as in a good amp: the same covariance made larger, and
 * a part of every reading besides. It wins only where nothing else comes near. */
static bool weigh_unmodelled(diagnose_run_state *run, bench *bench) {
    static const double wider[] = {4, 10, 30};
    int n = run->n, sizes = sizeof wider / sizeof *wider;
    diagnose_case *one = &run->cases[run->count];
    *one = (diagnose_case){.label = 1, .point = -1};
    if (!own_arrays(run, one)) return false;
    double total = -INFINITY;
    for (int s = 0; s < sizes; s++) {
        for (int i = 0; i < n * n; i++)
            bench->c[i] = bench->base[i] * square(wider[s]);
        for (int i = 0; i < n; i++) {
            bench->r[i] = run->y[i] - run->healthy[i];
            double part = i < run->given ? fabs(run->healthy[i]) : 0;
            bench->c[i * n + i] += square(0.01 * wider[s] * part) + square(0.02 * wider[s]);
        }
        diagnose_gauss_make(&one->gauss, bench->c, bench->r, n);
        total = diagnose_log_sum(total, one->gauss.log_density - log(sizes));
    }
    one->gauss.log_density = total;
    finish(run, one, bench, log(run->engine->catalogue.fault[1].prior));
    one->exact = false;
    run->count++;
    return true;
}

/* ---- the whole
 * -------------------------------------------------------------------------------------------------
 */

void diagnose_normalise(diagnose_run_state *run) {
    double best = -INFINITY, sum = 0;
    for (int i = 0; i < run->count; i++)
        best = fmax(best, run->cases[i].log_weight);
    for (int i = 0; i < run->count; i++) {
        run->cases[i].weight = best == -INFINITY ? 0 : exp(run->cases[i].log_weight - best);
        sum += run->cases[i].weight;
    }
    for (int i = 0; i < run->count && sum > 0; i++)
        run->cases[i].weight /= sum;
    qsort(run->cases, (size_t)run->count, sizeof *run->cases, heavier);
}

bool diagnose_weigh(diagnose_run_state *run) {
    bench bench;
    if (!set_up(run) || !bench_room(run, &bench)) return false;
    if (!screen_all(run, &bench) || !weigh_window(run, &bench)) return false;
    if (!weigh_unmodelled(run, &bench)) return false;
    diagnose_normalise(run);
    return diagnose_pairs_weigh(run, &bench);
}
