/* The readings against every hypothesis.
 *
 * All points are screened first with the healthy amp's sensitivities and a generous slack; those
 * that may matter are then weighed with their own. */
#include "symptoms_impl.h"

#include <stdlib.h>
#include <string.h>

#define WINDOW 30.0     /* nats below the best screened point that still count */
#define SLACK 0.25      /* of (predicted - healthy), while screening */
#define MOST_ROWS 12000 /* sensitivities worked out in one run, at some 8 us each */
#define FEWEST_EXACT 60
#define ASKED_PART 8.0  /* beside something not modelled a signal departs as 8 V would */
#define ASKED_SLACK 0.3 /* of a logarithm, or volts, while screening */
#define UNKNOWN 10.0    /* the same where a point has no answer */
#define NEAR_PART 0.1   /* how far a reading may be out where the law fails; judgement */
#define NEAR_VOLTS 0.2  /* V, and besides */
#define UNMODELLED 3    /* sizes of something not modelled */
#define MOST_CELL 2.0   /* deviations: beyond, the next severity has its say */
#define HALF_CELL 1.7320508075688772 /* sqrt 3: a cell's half in deviations of an even law */
#define LEAST_CELL 1e-9              /* variance in it */
#define UNTOLD 1e-4 /* precision that the readings add, from which they tell of it */
#define STILL 1e-5  /* of the noise variance: a reading that tolerance does not move */

static double square(double x) {
    return x * x;
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
        double own = diagnose_shared(run, i, row[i], i, row[i]);
        c[i * n + i] = own + run->noise[i] + diagnose_wander(run->engine, row[i]);
        if (own < STILL * run->noise[i]) continue;
        for (int k = 0; k < i; k++)
            if (c[k * n + k] >= (1 + STILL) * run->noise[k])
                c[i * n + k] = c[k * n + i] = diagnose_shared(run, i, row[i], k, row[k]);
    }
}

/* ---- screening
 * --------------------------------------------------------------------------------------------- */

static double log_prior_of(const diagnose_engine *engine, const diagnose_point *point) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    double prior = log(fault->prior) + log(fault->weight[point->severity]);
    if (!point->second) return prior;
    fault = &engine->catalogue.fault[point->second];
    return prior + log(fault->prior) + log(fault->weight[point->second_severity]) +
           log(engine->number[NUMBER_TWO_FAULTS]) + M_LN2;
}

/* With what symptoms and findings say of it. */
static double log_prior(const diagnose_run_state *run, const diagnose_point *point) {
    double told = run->tolds ? diagnose_clues_weight((diagnose_run_state *)run,
                                                     (diagnose_point *)point, !run->roughly)
                             : 0;
    return log_prior_of(run->engine, point) + told;
}

/* What is asked otherwise is known at each point, but for its model. */
static double roughly_asked(const diagnose_run_state *run, const diagnose_point *point, int i,
                            double *unsure) {
    double shown = diagnose_ask_mean(run->engine, &run->ask[i], (diagnose_point *)point);
    bool known = isfinite(shown);
    *unsure = known ? hypot(SLACK * (shown - run->healthy[i]), ASKED_SLACK) : UNKNOWN;
    return known ? shown : run->healthy[i];
}

/* Roughly what the meter shows at a point; *unsure gets the standard deviation of that: a part of
 * what the fault moves, and of what the meter's load takes away. Where that is much, the ohms of
 * the point itself are at hand; elsewhere those of the healthy amp must do. */
double diagnose_roughly(const diagnose_run_state *run, const diagnose_point *point, int i,
                        double *unsure) {
    double shown = log(point->mains), taken = 0;
    if (diagnose_asked(run, i)) return roughly_asked(run, point, i, unsure);
    if (i < run->given && run->ask[i].lost) return *unsure = 0;
    if (i < run->given) {
        const diagnose_reading *reading = &run->readings->reading[i];
        solve_probe room;
        const solve_probe *probe =
            diagnose_wired_probe(run->engine, point, reading->at, &reading->probe, &room);
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
static void choose_screened(const diagnose_run_state *run, bench *bench, bool asked) {
    double apart[DIAGNOSE_SCREENED];
    bench->screened = 0;
    for (int i = 0; i < run->n; i++) {
        if (!asked && diagnose_asked(run, i)) continue;
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
    one->log_weight = bench->mix.log_density + log_prior(run, point);
    one->promise = one->log_weight - gauss->log_density - distance / 2;
}

bool diagnose_case_room(diagnose_run_state *run, diagnose_case *one) {
    size_t n = (size_t)run->n + 1;
    one->gauss.q = base_arena_take(run->arena, n * n, sizeof(double));
    one->gauss.e = base_arena_take(run->arena, n, sizeof(double));
    one->wrong = base_arena_take(run->arena, n, sizeof(double));
    one->without = base_arena_take(run->arena, n, sizeof(double));
    one->mean = base_arena_take(run->arena, n, sizeof(double));
    one->variance = base_arena_take(run->arena, n, sizeof(double));
    one->tangent = base_arena_take(run->arena, n, sizeof(double));
    return one->gauss.q && one->gauss.e && one->wrong && one->without && one->mean &&
           one->variance && one->tangent;
}

static int more_promising(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->promise, y = ((const diagnose_case *)b)->promise;
    return (x < y) - (x > y);
}

static int heavier(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->log_weight, y = ((const diagnose_case *)b)->log_weight;
    return (x < y) - (x > y);
}

/* What is asked otherwise than in plain volts must be worked out at each point: only for those that
 * the plain readings leave. */
static void screen_again(diagnose_run_state *run, bench *bench, diagnose_case *spare) {
    double least = run->count ? run->cases[0].promise - WINDOW : 0;
    choose_screened(run, bench, true);
    for (int k = 0; k < run->count; k++) {
        diagnose_case *one = &run->cases[k];
        if (one->promise < least && k >= FEWEST_EXACT)
            one->promise = -INFINITY;
        else
            diagnose_screen(run, diagnose_point_of(run, one->point), bench, &spare->gauss, one);
    }
    qsort(run->cases, (size_t)run->count, sizeof *run->cases, more_promising);
}

/* All solved points with their screened weights, most promising first. */
static bool screen_all(diagnose_run_state *run, bench *bench) {
    diagnose_engine *engine = run->engine;
    diagnose_case spare = {0};
    run->cases = base_arena_take(run->arena, engine->points + UNMODELLED, sizeof *run->cases);
    if (!run->cases || !diagnose_case_room(run, &spare)) return false;
    run->roughly = true;
    covariance(run, run->healthy_row, bench->base);
    choose_screened(run, bench, false);
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
    run->roughly = false;
    if (run->asks || run->costly) screen_again(run, bench, &spare);
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

static double reading_at(diagnose_run_state *run, const diagnose_point *point, int i, float *row) {
    const diagnose_reading *reading = &run->readings->reading[i];
    solve_probe room;
    const solve_probe *probe =
        diagnose_wired_probe(run->engine, point, reading->at, &reading->probe, &room);
    return diagnose_probe_at(run->engine, point, probe, &run->load[i], row);
}

/* Mean and row of a reading that is none of the engine's places. */
static bool fetch_other(diagnose_run_state *run, diagnose_point *point, int i, float *row,
                        double *m) {
    if (i >= run->given)
        *m = mains_row(run->engine, point, row);
    else if (run->ask[i].lost)
        *m = 0;
    else
        *m = reading_at(run, point, i, row);
    return isfinite(*m);
}

/* A point that has no answer to what is asked is neither favoured nor blamed much: NAN. */
static bool fetch_asked(diagnose_run_state *run, diagnose_point *point, diagnose_case *one,
                        double *m) {
    for (int i = 0; run->asks && i < run->given; i++) {
        if (!diagnose_asked(run, i)) continue;
        float *row = base_arena_take(run->arena, (size_t)run->engine->scenes->wide, sizeof *row);
        if (!row) return false;
        m[i] = diagnose_ask_row(run->engine, &run->ask[i], point, row);
        one->row[i] = row;
    }
    return true;
}

/* Means and rows of all readings at a point: from the engine's store where the place is known. */
static bool fetch(diagnose_run_state *run, diagnose_point *point, diagnose_case *one, double *m) {
    diagnose_engine *engine = run->engine;
    bool here = false;
    one->row = base_arena_take(run->arena, (size_t)run->n + 1, sizeof *one->row);
    if (!one->row || !diagnose_rows(engine, point, run->place, run->given)) return false;
    for (int i = 0; i < run->n; i++) {
        if (diagnose_asked(run, i)) continue;
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
    return fetch_asked(run, point, one, m);
}

/* ln of what a severity that lies evenly in its cell weighs beside a Gaussian one of the same
 * spread, when the latter's mean and variance given the readings are these. With p = 1/v - 1 what
 * the readings say is a Gaussian of mean m/v/p and precision p, to be integrated over the cell. */
static double log_even(double mean, double variance) {
    double v = fmax(variance, LEAST_CELL), p = 1 / v - 1;
    if (p < UNTOLD) return 0;
    double at = mean / v / p, root = sqrt(p / 2);
    double from = (-HALF_CELL - at) * root, to = (HALF_CELL - at) * root;
    double part = from > 0 ? erfc(from) - erfc(to)
                  : to < 0 ? erfc(-to) - erfc(-from)
                           : erf(to) - erf(from);
    double height = (p * at * at - mean * mean / v - log(v * p)) / 2;
    return height + log(fmax(part, 1e-300) / 2) + 0.5 * log(2 * M_PI) - log(2 * HALF_CELL);
}

static void make_even(const diagnose_run_state *run, diagnose_case *one, double log_even) {
    one->log_weight += log_even;
    for (int i = 0; i < run->n; i++)
        one->without[i] += log_even;
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
    if (!run->asks) make_even(run, one, log_even(mean, fmax(1 - known, 0)));
}

/* A reading that is wrong may show anything; or, as often, the law is out there by more than it
 * should: near what the others predict, within a tenth and some. */
static void spread_wrong(const diagnose_run_state *run, const diagnose_case *one, double *broad) {
    int n = run->n;
    for (int i = 0; i < n; i++) {
        double own = one->gauss.q ? one->gauss.q[i * n + i] : 0, anything = run->broad[i];
        broad[i] = anything;
        if (one->point < 0 || !(own > 0) || !isfinite(anything)) continue;
        double off = one->gauss.e[i] / own;
        double variance = 1 / own + square(NEAR_PART * fabs(one->mean[i]) + NEAR_VOLTS);
        double near = -0.5 * (log(2 * M_PI * variance) + off * off / variance);
        broad[i] = diagnose_log_sum(anything, near) - M_LN2;
    }
}

static void finish(diagnose_run_state *run, diagnose_case *one, bench *bench, double prior) {
    double broad[run->n + 1];
    spread_wrong(run, one, broad);
    bench->mix.wrong = one->wrong;
    bench->mix.without = one->without;
    diagnose_mix_make(&one->gauss, run->engine->options.wrong, broad, &bench->mix);
    one->log_weight = bench->mix.log_density + prior;
    for (int i = 0; i < run->n; i++)
        one->without[i] += prior;
    one->exact = true;
}

/* The model is always a little wrong: by a part of what the fault changes. */
bool diagnose_weigh_rows(diagnose_run_state *run, diagnose_case *one, bench *bench) {
    covariance(run, one->row, bench->c);
    for (int i = 0; i < run->n; i++) {
        bool known = isfinite(one->mean[i]);
        if (!known) one->mean[i] = one->tangent[i] = run->healthy[i];
        bench->r[i] = run->y[i] - one->tangent[i];
        bench->c[i * run->n + i] +=
            known ? diagnose_error_of(run, i, one->mean[i]) : square(UNKNOWN);
        one->variance[i] = bench->c[i * run->n + i];
    }
    diagnose_gauss_make(&one->gauss, bench->c, bench->r, run->n);
    finish(run, one, bench, log_prior(run, diagnose_point_of(run, one->point)));
    for (int cell = 0; cell < DIAGNOSE_CELLS && isfinite(one->gauss.log_density); cell++)
        place_in_cell(run, one, cell);
    return true;
}

bool diagnose_weigh_exactly(diagnose_run_state *run, diagnose_case *one, bench *bench) {
    diagnose_point *point = diagnose_point_of(run, one->point);
    if (!diagnose_case_room(run, one) || !fetch(run, point, one, one->mean)) return false;
    memcpy(one->tangent, one->mean, (size_t)run->n * sizeof *one->mean);
    if (!diagnose_weigh_rows(run, one, bench)) return false;
    memcpy(one->line, one->cell, sizeof one->line);
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
static bool weigh_wider(diagnose_run_state *run, bench *bench, double wider, double prior) {
    int n = run->n;
    diagnose_case *one = &run->cases[run->count];
    *one = (diagnose_case){.label = 1, .point = -1};
    if (!diagnose_case_room(run, one)) return false;
    for (int i = 0; i < n * n; i++)
        bench->c[i] = bench->base[i] * square(wider);
    for (int i = 0; i < n; i++) {
        bench->r[i] = run->y[i] - run->healthy[i];
        double part = i < run->given ? fabs(run->healthy[i]) : 0;
        if (diagnose_asked(run, i)) part = ASKED_PART;
        bench->c[i * n + i] += square(0.01 * wider * part) + square(0.02 * wider);
    }
    diagnose_gauss_make(&one->gauss, bench->c, bench->r, n);
    double told = run->tolds ? diagnose_clues_weight(run, NULL, true) : 0;
    finish(run, one, bench, prior + told);
    one->exact = false;
    run->count++;
    return true;
}

static bool weigh_unmodelled(diagnose_run_state *run, bench *bench) {
    static const double wider[UNMODELLED] = {4, 10, 30};
    double prior = log(run->engine->catalogue.fault[1].prior / UNMODELLED);
    for (int size = 0; size < UNMODELLED; size++)
        if (!weigh_wider(run, bench, wider[size], prior)) return false;
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

bool diagnose_weigh(diagnose_run_state *run, base_errors *errors) {
    bench bench;
    if (!diagnose_evidence(run, errors) || !bench_room(run, &bench)) return false;
    if (!screen_all(run, &bench) || !weigh_window(run, &bench)) return false;
    if (!diagnose_bend(run, &bench)) return false;
    if (!weigh_unmodelled(run, &bench)) return false;
    diagnose_normalise(run);
    return diagnose_wiring_weigh(run, &bench) && diagnose_pairs_weigh(run, &bench);
}
