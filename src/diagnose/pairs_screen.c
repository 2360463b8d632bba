/* All pairs of points, screened by superposition.
 *
 * In units of one standard deviation s of a good amp's reading: y read, d_a and d_b what each fault
 * alone moves, u_a and u_b how unsure that is. A reading costs
 *   min(r^2 / 2 v + ln v / 2, ln of the odds that it is simply wrong),
 * r = y - d_a - d_b, v = 1 + u_a^2 + u_b^2; ln v is taken as the larger of the two faults'. */
#include "pairs_impl.h"

#include <stdlib.h>
#include <string.h>

#define MOVES 0.5f /* deviations that a fault must move some reading by, to be one of two */
#define LANES 8
#define ROOM (4 * PAIRS_SCREENED)
#define COMBINATIONS 3 /* of severities that are kept of two faults */
/* beside a case: deviations from which a reading counts as moved, and what may be between a
 * severity of the grid and the true one, or between what a fault moves alone and beside another */
#define LEAST_MOVE 0.1F
#define LEAST_SCALE 0.5
#define MOST_SCALE 1.6

typedef float eight __attribute__((vector_size(32), aligned(4)));
typedef pairs_mover mover;
typedef pairs_table table;
typedef int mask __attribute__((vector_size(32), aligned(4)));

/* ---- the table ----------------------------------------------------------------------------- */

static float *take_row(const table *table) {
    return base_arena_take(table->run->arena, (size_t)table->width, sizeof(float));
}

static double deviation(const table *table, int i) {
    return sqrt(table->weigher->base[i * table->run->n + i]);
}

/* Readings past the last cost nothing. */
static bool take_readings(table *table) {
    const diagnose_run_state *run = table->run;
    double odds = log(run->engine->options.wrong), half_ln_2pi = 0.9189385;
    table->y = take_row(table);
    table->most = take_row(table);
    if (!table->y || !table->most) return false;
    for (int i = 0; i < run->n; i++) {
        double s = deviation(table, i), wrong = odds + run->broad[i] + log(s) + half_ln_2pi;
        table->y[i] = (float)((run->y[i] - run->healthy[i]) / s);
        table->most[i] = isfinite(wrong) ? (float)-wrong : 1e3F;
    }
    return true;
}

static double prior_of(const diagnose_engine *engine, const diagnose_point *point) {
    const diagnose_fault *fault = &engine->catalogue.fault[point->fault];
    return log(fault->prior) + log(fault->weight[point->severity]);
}

static bool mover_room(const table *table, mover *mover) {
    if (!mover->d) mover->d = take_row(table);
    if (!mover->u) mover->u = take_row(table);
    if (!mover->l) mover->l = take_row(table);
    return mover->d && mover->u && mover->l;
}

/* Fills what a point moves; returns the most. */
static float moves_of(const table *table, const diagnose_point *point, mover *mover) {
    const diagnose_run_state *run = table->run;
    float furthest = 0;
    for (int i = 0; i < run->n; i++) {
        double unsure, s = deviation(table, i);
        double shown = diagnose_roughly(run, point, i, &unsure) - run->healthy[i];
        mover->d[i] = (float)(shown / s);
        mover->u[i] = (float)(unsure * unsure / (s * s));
        mover->l[i] = 0.5F * log1pf(mover->u[i]);
        furthest = fmaxf(furthest, fabsf(mover->d[i]));
    }
    mover->point = point;
    mover->prior = (float)prior_of(run->engine, point);
    return furthest;
}

/* false: no memory. A point that moves nothing is left out. */
static bool take_point(table *table, const diagnose_point *point) {
    mover *mover = &table->mover[table->movers];
    if (!mover_room(table, mover)) return false;
    if (moves_of(table, point, mover) >= MOVES) table->movers++;
    return true;
}

static bool take_points(table *table) {
    const diagnose_engine *engine = table->run->engine;
    int faults = (int)engine->catalogue.count;
    int wirings = table->run->wired ? diagnose_singles(engine) - faults : 0;
    table->mover = base_arena_take(table->run->arena, engine->points + (size_t)wirings + 1,
                                   sizeof *table->mover);
    if (!table->mover) return false;
    for (size_t p = 1; p < engine->points; p++) {
        const diagnose_point *point = &engine->point[p];
        if (point->solved && !point->same_as_healthy && !take_point(table, point)) return false;
    }
    for (int w = 0; w < wirings; w++) {
        const diagnose_point *point = diagnose_single_point(engine, faults + w, 0);
        if (point->solved && !take_point(table, point)) return false;
    }
    return true;
}

bool diagnose_pairs_table(pairs_table *table) {
    table->width = (table->run->n + LANES - 1) / LANES * LANES;
    return take_readings(table) && take_points(table);
}

/* ---- two at once --------------------------------------------------------------------------- */

/* Lane by lane the one where the mask is set, else the other. */
#define CHOOSE(mask_, one, other) ((eight)(((mask)(one) & (mask_)) | ((mask)(other) & ~(mask_))))

/* A run with pairs is mostly here: on a processor that has the wider registers they are used. */
#if defined(__x86_64__) && !defined(__clang__) && !defined(__SANITIZE_ADDRESS__) &&                \
    !defined(__SANITIZE_THREAD__)
__attribute__((target_clones("arch=x86-64-v3", "default")))
#endif
static float
cost_of(const table *table, const mover *a, const mover *b) {
    eight sum = {0};
    for (int i = 0; i < table->width; i += LANES) {
        eight r = *(const eight *)(table->y + i) - *(const eight *)(a->d + i) -
                  *(const eight *)(b->d + i);
        eight v = 1.0F + *(const eight *)(a->u + i) + *(const eight *)(b->u + i);
        eight la = *(const eight *)(a->l + i), lb = *(const eight *)(b->l + i);
        eight most = *(const eight *)(table->most + i);
        eight cost = 0.5F * r * r / v + CHOOSE(la > lb, la, lb);
        sum += CHOOSE(cost < most, cost, most);
    }
    float total = 0;
    for (int k = 0; k < LANES; k++)
        total += sum[k];
    return total;
}

static bool clash(const diagnose_engine *engine, const diagnose_point *a, const diagnose_point *b) {
    const diagnose_fault *one = &engine->catalogue.fault[a->fault],
                         *other = &engine->catalogue.fault[b->fault];
    if (one->part == other->part || (a->wired && b->wired)) return true;
    for (int s = 0; s < one->sets; s++)
        for (int t = 0; t < other->sets; t++)
            if (one->slot[s] == other->slot[t]) return true;
    return false;
}

static int end_of_fault(const table *table, int from) {
    int to = from;
    while (to < table->movers && table->mover[to].point->fault == table->mover[from].point->fault)
        to++;
    return to;
}

static void keep_best(pairs_candidate *best, int most, pairs_candidate one) {
    int at = most;
    while (at > 0 && best[at - 1].score < one.score)
        at--;
    for (int k = most - 1; k > at; k--)
        best[k] = best[k - 1];
    if (at < most) best[at] = one;
}

static int better(const void *a, const void *b) {
    const pairs_candidate *x = a, *y = b;
    return (x->score < y->score) - (x->score > y->score);
}

/* The best so far, in order; the worst of them is what the next must beat. */
static void sort_out(table *table) {
    qsort(table->all, (size_t)table->count, sizeof *table->all, better);
    if (table->count < PAIRS_SCREENED) return;
    table->count = PAIRS_SCREENED;
    table->least = table->all[PAIRS_SCREENED - 1].score;
}

static void keep(table *table, pairs_candidate one) {
    if (!one.a || one.score < table->least) return;
    if (table->count == ROOM) sort_out(table);
    table->all[table->count++] = one;
}

/* The best combinations of the severities of two faults: of movers from a and from b on. */
static void try_faults(table *table, int a, int b) {
    int a_end = end_of_fault(table, a), b_end = end_of_fault(table, b);
    pairs_candidate best[COMBINATIONS];
    for (int k = 0; k < COMBINATIONS; k++)
        best[k] = (pairs_candidate){.score = -INFINITY};
    for (int i = a; i < a_end; i++)
        for (int k = b; k < b_end; k++) {
            const mover *one = &table->mover[i], *other = &table->mover[k];
            float score = one->prior + other->prior - cost_of(table, one, other);
            keep_best(best, COMBINATIONS, (pairs_candidate){one->point, other->point, score});
        }
    for (int k = 0; k < COMBINATIONS; k++)
        keep(table, best[k]);
}

bool diagnose_pairs_screen(pairs_table *table) {
    const diagnose_engine *engine = table->run->engine;
    table->all = base_arena_take(table->run->arena, ROOM, sizeof *table->all);
    table->least = -INFINITY;
    if (!table->all) return false;
    for (int a = 0; a < table->movers; a = end_of_fault(table, a))
        for (int b = end_of_fault(table, a); b < table->movers; b = end_of_fault(table, b))
            if (!clash(engine, table->mover[a].point, table->mover[b].point))
                try_faults(table, a, b);
    sort_out(table);
    return true;
}

/* ---- beside a case ------------------------------------------------------------------------- */

/* Where a point moves a reading by enough to count: which, and by how many volts. */
static int moved_by(const table *table, const mover *mover, int *at, double *d) {
    int count = 0;
    for (int i = 0; i < table->run->n; i++) {
        if (fabsf(mover->d[i]) < LEAST_MOVE) continue;
        at[count] = i;
        d[count++] = mover->d[i] * deviation(table, i);
    }
    return count;
}

/* Nats that the density gains where the mean moves by s d, at the best s around 1:
 * s d'e - s^2 d'Qd / 2. */
static double gain(const diagnose_gauss *gauss, const int *at, const double *d, int count) {
    double along = 0, size = 0;
    for (int i = 0; i < count; i++) {
        const double *q = gauss->q + at[i] * gauss->n;
        double sum = 0;
        for (int k = 0; k < i; k++)
            sum += q[at[k]] * d[k];
        size += d[i] * (2 * sum + q[at[i]] * d[i]);
        along += d[i] * gauss->e[at[i]];
    }
    if (!(along > 0) || !(size > 0)) return 0;
    double s = fmin(fmax(along / size, LEAST_SCALE), MOST_SCALE);
    return s * along - s * s * size / 2;
}

double diagnose_pairs_beside(const pairs_table *table, const diagnose_case *one,
                             pairs_candidate *best, int most) {
    const diagnose_run_state *run = table->run;
    const diagnose_point *own = diagnose_point_of(run, one->point);
    int at[run->n + 1];
    double d[run->n + 1], two = log(2 * run->engine->number[NUMBER_TWO_FAULTS]);
    double now = one->log_weight - prior_of(run->engine, own), odds = -INFINITY;
    for (int k = 0; k < most; k++)
        best[k] = (pairs_candidate){.score = -INFINITY};
    for (int m = 0; m < table->movers; m++) {
        const mover *mover = &table->mover[m];
        if (clash(run->engine, own, mover->point)) continue;
        int count = moved_by(table, mover, at, d);
        double more = gain(&one->gauss, at, d, count) + mover->prior + two;
        double score = one->gauss.log_density + more - now;
        odds = fmax(odds, score);
        bool first = own->fault < mover->point->fault;
        keep_best(best, most,
                  (pairs_candidate){first ? own : mover->point, first ? mover->point : own,
                                    (float)score});
    }
    return odds;
}

/* ---- from a point -------------------------------------------------------------------------- */

/* The ends and the middle of a fault's severities. */
static bool coarse(const diagnose_engine *engine, const diagnose_point *point) {
    int last = engine->catalogue.fault[point->fault].severities - 1;
    return point->severity == 0 || point->severity == last || point->severity == last / 2;
}

bool diagnose_pairs_from(pairs_table *table, const diagnose_point *first, pairs_candidate *best,
                         int most) {
    diagnose_engine *engine = table->run->engine;
    diagnose_point both = *first;
    mover none = {0}, own = {0};
    both.x = NULL;
    both.source = NULL;
    both.arena = table->run->arena;
    for (int k = 0; k < most; k++)
        best[k] = (pairs_candidate){.score = -INFINITY};
    if (!mover_room(table, &none) || !mover_room(table, &own)) return false;
    for (int m = 0; m < table->movers; m++) {
        const mover *second = &table->mover[m];
        if (second->point->wired || !coarse(engine, second->point)) continue;
        if (clash(engine, first, second->point)) continue;
        both.second = second->point->fault;
        both.second_severity = second->point->severity;
        if (!diagnose_point_solve(engine, &both, first->x)) return false;
        if (!both.solved) continue;
        moves_of(table, &both, &own);
        float score = second->prior - cost_of(table, &own, &none);
        bool ahead = first->fault < both.second;
        keep_best(
            best, most,
            (pairs_candidate){ahead ? first : second->point, ahead ? second->point : first, score});
    }
    return true;
}
