/* Where the amp bends: a leak of a decade in one cell of its grid, a grid that gas pulls up, is no
 * straight line from the drawn amp to what was read. There the amp is linearised anew at the top of
 * its posterior (Laplace's method): with z the latents there,
 *
 *     y = V(z) + A (latents - z) + noise,
 *
 * which is the same Gaussian with another A and with V(z) - A z for the mean. Steps of Gauss and
 * Newton find z. Where a signal, hum or an action is among the readings all keep their lines:
 * theirs are known at the drawn amp alone. */
#include "observe_impl.h"

#include <stdlib.h>
#include <string.h>

#define NEAR_BEST 12.0 /* nats below the best case, from which none is looked at */
#define MOST_LOOKED 48 /* cases */
#define STEPS 5
#define STRAIGHT 0.15           /* deviations of a reading's own noise that count as no bend */
#define SETTLED 0.02            /* of a latent, at which z has been found */
#define FARTHEST 6.0            /* deviations, to which a latent may go */
#define EDGE 1.7320508075688772 /* of a cell, in deviations of an even law */
#define MUTE 1e8                /* times its variance, for a reading that is thought wrong */
#define LN_GAS 0.8              /* spread of ln(gas) between good tubes, as in latents.c */

typedef struct bender {
    diagnose_run_state *run;
    diagnose_weigher *weigher;
    diagnose_engine *engine;
    diagnose_bench bench; /* the engine's with a solver of its own: the same readings then give the
                             same answer to the last bit, whatever was solved before */
    diagnose_case *one;
    diagnose_point *point;
    double *z, *before; /* columns */
    double *volts;      /* by reading: V(z) */
    float **row;        /* by reading: A there; NULL where not made anew */
    diagnose_gauss gauss;
} bender;

static bool is_gas(const diagnose_engine *engine, int slot) {
    return solve_slot_at(engine->bench.system, (size_t)slot)->what == SOLVE_GAS;
}

static bool is_set(const diagnose_fault *fault, int slot) {
    for (int s = 0; s < fault->sets; s++)
        if (fault->slot[s] == slot) return true;
    return false;
}

/* Is reading i one that bends here: plain volts of the amp? */
static bool bends(const bender *bender, int i) {
    const diagnose_run_state *run = bender->run;
    return i < run->given && !diagnose_asked(run, i) && !run->ask[i].lost;
}

/* ---- the amp at z -------------------------------------------------------------------------- */

/* The latents that a chart has told of stand for what it left open, about where it put them. */
static void as_drawn(const diagnose_engine *engine, const double *z, double *latent) {
    int first = engine->latents.first_law, laws = engine->latents.count - first;
    memcpy(latent, z, (size_t)engine->columns * sizeof *latent);
    for (int l = 0; engine->charted && l < laws; l++)
        latent[first + l] += engine->shift[l];
    for (int k = 0; k < engine->charted; k++) {
        const float *told = engine->told + (size_t)k * (size_t)laws;
        double sum = 0;
        for (int l = 0; l < laws; l++)
            sum += z[first + l] * (double)told[l];
        for (int l = 0; l < laws; l++)
            latent[first + l] -= sum * (double)engine->shrink[k] * (double)told[l];
    }
}

static void move_cell(const diagnose_fault *fault, double by, double *numbers) {
    for (int s = 0; s < fault->sets; s++)
        numbers[fault->slot[s]] *= exp(diagnose_cell_step(fault, s) * by);
}

/* Sets the engine's working numbers to those at z. */
static void set_numbers(bender *bender, double *latent) {
    diagnose_engine *engine = bender->engine;
    const diagnose_fault *fault = &engine->catalogue.fault[bender->point->fault];
    const diagnose_fault *second = &engine->catalogue.fault[bender->point->second];
    double *numbers = engine->work_numbers;
    diagnose_numbers_of(engine, bender->point, numbers);
    as_drawn(engine, bender->z, latent);
    for (int l = 0; l < engine->latents.count; l++)
        for (int k = 0; k < 2; k++) {
            const diagnose_latent *one = &engine->latents.latent[l];
            int slot = one->slot[k];
            if (slot < 0 || is_set(fault, slot) || is_set(second, slot)) continue;
            numbers[slot] *= exp((is_gas(engine, slot) ? LN_GAS : one->by[k]) * latent[l]);
        }
    move_cell(fault, latent[engine->first_cell], numbers);
    move_cell(second, latent[engine->first_cell + 1], numbers);
}

static bool visit(bender *bender) {
    diagnose_engine *engine = bender->engine;
    double *latent = calloc((size_t)engine->columns, sizeof *latent);
    if (!latent) return false;
    set_numbers(bender, latent);
    free(latent);
    engine->here = &bender->bench;
    return solve_point(bender->bench.work, engine->work_numbers, bender->point->x, engine->work_x)
               .outcome <= SOLVE_CONTINUED;
}

/* A gas's slope is by its number, which is another here. */
static void scale_gas(const bender *bender, float *row) {
    const diagnose_engine *engine = bender->engine;
    for (int l = 0; l < engine->latents.count; l++) {
        int slot = engine->latents.latent[l].slot[0];
        if (slot >= 0 && is_gas(engine, slot))
            row[l] *= (float)(engine->work_numbers[slot] / engine->bench.numbers[slot]);
    }
    for (int cell = 0; cell < DIAGNOSE_CELLS; cell++) {
        int index = cell ? bender->point->second : bender->point->fault;
        const diagnose_fault *fault = &engine->catalogue.fault[index];
        if (fault->mode == DIAGNOSE_GASSY)
            row[engine->first_cell + cell] *=
                (float)exp(fault->cell * bender->z[engine->first_cell + cell]);
    }
}

/* Volts, and rows where `rows` says so. */
static void read_all(bender *bender, bool rows) {
    diagnose_run_state *run = bender->run;
    for (int i = 0; i < run->n; i++) {
        if (!bends(bender, i)) continue;
        float *row = rows ? bender->row[i] : NULL;
        bender->volts[i] = diagnose_probe_raw(bender->engine, bender->point,
                                              &run->readings->reading[i].probe, &run->load[i], row);
        if (!row) continue;
        scale_gas(bender, row);
        diagnose_chart_apply(bender->engine, row);
    }
}

/* ---- where the top is ---------------------------------------------------------------------- */

static double along(const float *row, const double *z, int columns) {
    double sum = 0;
    for (int l = 0; l < columns; l++)
        sum += (double)row[l] * z[l];
    return sum;
}

/* z = A' e, with the readings that are thought wrong left out; false: it cannot be told. */
static bool find_top(bender *bender) {
    diagnose_run_state *run = bender->run;
    diagnose_case *one = bender->one;
    int n = run->n, columns = bender->engine->columns;
    memcpy(bender->before, bender->z, (size_t)columns * sizeof *bender->z);
    for (int i = 0; i < n; i++)
        if (one->wrong[i] > 0.5) bender->weigher->c[i * n + i] *= MUTE;
    if (!diagnose_gauss_make(&bender->gauss, bender->weigher->c, bender->weigher->r, n))
        return false;
    for (int l = 0; l < columns; l++) {
        double sum = 0;
        for (int i = 0; i < n; i++)
            sum += (double)one->row[i][l] * bender->gauss.e[i];
        bender->z[l] = fmin(fmax(sum, -FARTHEST), FARTHEST);
    }
    for (int cell = 0; cell < DIAGNOSE_CELLS; cell++) {
        double *at = &bender->z[bender->engine->first_cell + cell];
        *at = fmin(fmax(*at, -EDGE), EDGE);
    }
    return true;
}

/* From the drawn amp the line of a gas leads far beyond where its logarithm does. */
static void bend_gas(bender *bender) {
    const diagnose_engine *engine = bender->engine;
    for (int l = 0; l < engine->latents.count; l++) {
        int slot = engine->latents.latent[l].slot[0];
        if (slot >= 0 && is_gas(engine, slot))
            bender->z[l] = log(fmax(1 + LN_GAS * bender->z[l], 0.05)) / LN_GAS;
    }
}

/* How far V(z) lies from the line, in deviations of each reading's noise. */
static double bent(const bender *bender) {
    const diagnose_run_state *run = bender->run;
    const diagnose_case *one = bender->one;
    double most = 0;
    for (int i = 0; i < run->n; i++) {
        if (!bends(bender, i) || one->wrong[i] > 0.5) continue;
        double line = one->tangent[i] + along(one->row[i], bender->z, bender->engine->columns);
        most = fmax(most, fabs(bender->volts[i] - line) /
                              sqrt(run->noise[i] + diagnose_error_of(run, i, one->mean[i])));
    }
    return most;
}

/* The tangent at z becomes the case's own. */
static void take_tangent(bender *bender) {
    diagnose_case *one = bender->one;
    for (int i = 0; i < bender->run->n; i++) {
        if (!bends(bender, i)) continue;
        one->row[i] = bender->row[i];
        one->tangent[i] =
            bender->volts[i] - along(bender->row[i], bender->z, bender->engine->columns);
    }
}

static double moved(const bender *bender) {
    double most = 0;
    for (int l = 0; l < bender->engine->columns; l++)
        most = fmax(most, fabs(bender->z[l] - bender->before[l]));
    return most;
}

/* ---- one case ------------------------------------------------------------------------------ */

static bool take_rows(bender *bender) {
    diagnose_run_state *run = bender->run;
    const float **row = base_arena_take(run->arena, (size_t)run->n + 1, sizeof *row);
    if (!row) return false;
    for (int i = 0; i < run->n; i++) {
        bender->row[i] =
            base_arena_take(run->arena, (size_t)bender->engine->columns, sizeof(float));
        if (!bender->row[i]) return false;
        row[i] = bender->one->row[i];
    }
    bender->one->row = row; /* its own, to be changed */
    return true;
}

/* Follows the top until it stands still. What leads nowhere leaves the case as it was. */
static bool bend_case(bender *bender) {
    diagnose_run_state *run = bender->run;
    diagnose_case *one = bender->one;
    const diagnose_case kept = *one;
    memset(bender->z, 0, (size_t)bender->engine->columns * sizeof *bender->z);
    if (!diagnose_weigh_rows(run, one, bender->weigher)) return false;
    if (!find_top(bender)) return true;
    bend_gas(bender);
    if (!visit(bender)) return true;
    read_all(bender, false);
    if (bent(bender) < STRAIGHT) return true;
    if (!take_rows(bender)) return false;
    for (int step = 0; step < STEPS; step++) {
        if (step > 0 && !visit(bender)) break;
        read_all(bender, true);
        take_tangent(bender);
        diagnose_weigh_rows(run, one, bender->weigher);
        if (!find_top(bender) || moved(bender) < SETTLED) break;
    }
    if (isfinite(one->log_weight)) return true;
    *one = kept;
    memcpy(one->tangent, one->mean, (size_t)run->n * sizeof *one->mean);
    return diagnose_weigh_rows(run, one, bender->weigher);
}

/* What predicts the same as a healthy amp has its tangent too. */
static bool copy_case(bender *bender, const diagnose_case *healthy) {
    bender->one->row = healthy->row;
    memcpy(bender->one->tangent, healthy->tangent,
           (size_t)bender->run->n * sizeof *healthy->tangent);
    return diagnose_weigh_rows(bender->run, bender->one, bender->weigher);
}

/* ---- all ----------------------------------------------------------------------------------- */

static int heavier(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->log_weight, y = ((const diagnose_case *)b)->log_weight;
    return (x < y) - (x > y);
}

static bool take_room(bender *bender) {
    base_arena *arena = bender->run->arena;
    size_t n = (size_t)bender->run->n + 1, columns = (size_t)bender->engine->columns;
    bender->z = base_arena_take(arena, columns, sizeof(double));
    bender->before = base_arena_take(arena, columns, sizeof(double));
    bender->volts = base_arena_take(arena, n, sizeof(double));
    bender->row = base_arena_take(arena, n, sizeof *bender->row);
    bender->gauss.q = base_arena_take(arena, n * n, sizeof(double));
    bender->gauss.e = base_arena_take(arena, n, sizeof(double));
    return bender->z && bender->before && bender->volts && bender->row && bender->gauss.q &&
           bender->gauss.e;
}

static bool bend_one(bender *bender, diagnose_case *one, const diagnose_case *healthy) {
    bender->one = one;
    bender->point = diagnose_point_of(bender->run, one->point);
    return bender->point->same_as_healthy && healthy ? copy_case(bender, healthy)
                                                     : bend_case(bender);
}

static bool bend_all(bender *bender) {
    diagnose_run_state *run = bender->run;
    const diagnose_case *healthy = NULL;
    int looked = 0;
    qsort(run->cases, (size_t)run->count, sizeof *run->cases, heavier);
    double best = run->cases[0].log_weight;
    for (int k = 0; k < run->count && !healthy; k++)
        if (run->cases[k].point == 0 && run->cases[k].exact) healthy = &run->cases[k];
    if (healthy && !bend_one(bender, (diagnose_case *)healthy, NULL)) return false;
    for (int k = 0; k < run->count; k++) {
        diagnose_case *one = &run->cases[k];
        bool same = diagnose_point_of(run, one->point)->same_as_healthy;
        if (one == healthy || !one->exact) continue;
        if (!same && (one->log_weight < best - NEAR_BEST || ++looked > MOST_LOOKED)) continue;
        if (!bend_one(bender, one, healthy)) return false;
    }
    return true;
}

bool diagnose_bend(diagnose_run_state *run, diagnose_weigher *weigher) {
    bender bender = {.run = run, .weigher = weigher, .engine = run->engine};
    if (run->given == 0 || run->count == 0 || run->asks) return true;
    bender.bench = run->engine->bench;
    bender.bench.work = solve_work_new(bender.bench.system);
    bool good = bender.bench.work && take_room(&bender) && bend_all(&bender);
    solve_work_free(bender.bench.work);
    run->engine->here = &run->engine->bench;
    return good;
}
