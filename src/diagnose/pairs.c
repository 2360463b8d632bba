/* Two faults at once.
 *
 * All pairs of points are screened by superposition, m_a + m_b - m_healthy, reading by reading with
 * generous slack. The best are truly solved, screened again, and those that may matter weighed as
 * any case; then the severities around the best. A pair of which one fault adds nothing to the
 * other's readings is no pair: the other stands for it. */
#include "pairs_impl.h"

#include <stdlib.h>
#include <string.h>

#define WANTED_STRANGE                                                                             \
    0.03                  /* probability of something not modelled from which pairs are looked at */
#define WANTED_WRONG 0.4  /* readings thought wrong, in the mean */
#define WANTED_MISFIT 3.0 /* deviations of chi squared */
#define WORTH_CASES 3     /* leading cases beside which a second fault is tried */
#define WORTH_WEIGHT 0.05
#define WORTH_ODDS (-5.0) /* ln of the odds of the best from which pairs are looked at */
#define FIRSTS 8          /* and, of so many of the best cases, */
#define FULLY 3           /* of those, beside which all others are solved */
#define BESIDE 40         /* the best second faults */
#define WINDOW 30.0       /* nats below the best screened pair that still count */
#define EXACT 120         /* pairs of points weighed with all readings */
#define AROUND 60         /* more of them, around the best */
#define CLOSE 4.0         /* nats below its pair's best from which a point's neighbours count */
#define NEAR 8.0          /* the same of a pair below the best of all */
#define SHOWS 4.0         /* squared deviations that the second fault must add to the first */

/* ---- are they wanted? ---------------------------------------------------------------------- */

/* Chi squared of the best case beyond its mean, in deviations. */
static double misfit(const diagnose_run_state *run, const diagnose_case *one) {
    double sum = 0, n = run->n;
    if (!one->exact) return 0;
    for (int i = 0; i < run->n; i++)
        sum += one->gauss.e[i] * (run->y[i] - one->tangent[i]);
    return (sum - n) / sqrt(2 * n);
}

/* Would a second fault beside one of the leading cases be worth its prior? */
static bool worth_it(const diagnose_run_state *run, const pairs_table *table) {
    pairs_candidate best;
    int tried = 0;
    for (int k = 0; k < run->count && tried < WORTH_CASES; k++) {
        const diagnose_case *one = &run->cases[k];
        if (!one->exact || one->label == 1) continue;
        if (one->weight < WORTH_WEIGHT) return false;
        if (diagnose_pairs_beside(table, one, &best, 1) > WORTH_ODDS) return true;
        tried++;
    }
    return false;
}

bool diagnose_unexplained(const diagnose_run_state *run) {
    double strange = 0, wrong = 0;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->label == 1) strange += one->weight;
        for (int i = 0; one->wrong && i < run->given; i++)
            wrong += one->weight * one->wrong[i];
    }
    return strange > WANTED_STRANGE || wrong > WANTED_WRONG ||
           (run->count > 0 && misfit(run, &run->cases[0]) > WANTED_MISFIT);
}

static bool possible(const diagnose_run_state *run) {
    return run->given >= 2 && run->engine->catalogue.count > 3 &&
           run->engine->options.pairs != DIAGNOSE_LOOK_NEVER;
}

static bool wanted(const diagnose_run_state *run, const pairs_table *table) {
    return run->engine->options.pairs == DIAGNOSE_LOOK_ALWAYS || diagnose_unexplained(run) ||
           worth_it(run, table);
}

/* ---- labels -------------------------------------------------------------------------------- */

static int label_of(diagnose_run_state *run, int first, int second) {
    int singles = diagnose_singles(run->engine);
    for (int t = 0; t < run->twos; t++)
        if (run->two[t].fault[0] == first && run->two[t].fault[1] == second) return singles + t;
    run->two[run->twos] = (diagnose_two){{first, second}};
    return singles + run->twos++;
}

/* ---- solving ------------------------------------------------------------------------------- */

typedef struct searcher {
    diagnose_run_state *run;
    diagnose_engine *engine;
    diagnose_weigher *weigher;
    diagnose_case spare; /* its Gaussian: room for screening */
    diagnose_case *cases;
    int count, room;
} searcher;

static bool known(const searcher *searcher, const diagnose_point *a, const diagnose_point *b) {
    const diagnose_run_state *run = searcher->run;
    for (int k = 0; k < run->extras; k++) {
        const diagnose_point *one = &run->extra[k];
        if (one->fault == a->fault && one->severity == a->severity && one->second == b->fault &&
            one->second_severity == b->severity)
            return true;
    }
    return false;
}

/* How far the readings at `a` lie from those at `b`, in squared deviations of good amps. */
static double apart(const searcher *searcher, const diagnose_point *a, const diagnose_point *b) {
    const diagnose_run_state *run = searcher->run;
    double sum = 0, unsure;
    for (int i = 0; i < run->n; i++) {
        double d = diagnose_roughly(run, a, i, &unsure) - diagnose_roughly(run, b, i, &unsure);
        sum += d * d / searcher->weigher->base[i * run->n + i];
    }
    return sum;
}

/* Each of the two must show beside the other. */
static bool both_show(const searcher *searcher, const diagnose_point *pair, const diagnose_point *a,
                      const diagnose_point *b) {
    return apart(searcher, pair, a) >= SHOWS && apart(searcher, pair, b) >= SHOWS;
}

/* Adds the case of two points, solved and screened, where both faults show. false: no memory. */
static bool add_case(searcher *searcher, const diagnose_point *a, const diagnose_point *b) {
    diagnose_run_state *run = searcher->run;
    if (searcher->count == searcher->room || known(searcher, a, b)) return true;
    diagnose_point *point = &run->extra[run->extras];
    *point = (diagnose_point){.fault = a->fault,
                              .severity = a->severity,
                              .second = b->fault,
                              .second_severity = b->severity,
                              .wired = a->wired ? a->wired : b->wired,
                              .arena = run->arena};
    double *start = searcher->engine->work_x;
    for (size_t i = 0; i < solve_unknowns(searcher->engine->bench.system); i++)
        start[i] = a->x[i] + b->x[i] - searcher->engine->bench.x[i];
    if (!diagnose_point_solve(searcher->engine, point, start)) return false;
    run->extras++;
    if (!point->solved || !both_show(searcher, point, a, b)) return true;
    diagnose_case *one = &searcher->cases[searcher->count++];
    *one = (diagnose_case){.label = label_of(run, a->fault, b->fault),
                           .point = (int)searcher->engine->points + run->extras - 1};
    searcher->weigher->mix.wrong = searcher->spare.wrong;
    searcher->weigher->mix.without = searcher->spare.without;
    diagnose_screen(run, point, searcher->weigher, &searcher->spare.gauss, one);
    return true;
}

static bool add_best(searcher *searcher, const pairs_candidate *best) {
    for (int b = 0; b < BESIDE && best[b].a; b++)
        if (!add_case(searcher, best[b].a, best[b].b)) return false;
    return true;
}

/* The best second faults beside each of the best single ones; the first few of those, which may
 * change what a second one does, with each solved. */
static bool solve_beside(searcher *searcher, pairs_table *table) {
    pairs_candidate best[BESIDE];
    const diagnose_run_state *run = searcher->run;
    int tried = 0, solved[FIRSTS];
    for (int k = 0; k < run->count && tried < FIRSTS; k++) {
        const diagnose_case *one = &run->cases[k];
        bool again = false;
        if (!one->exact || one->label < 2) continue;
        for (int t = 0; t < tried; t++)
            again |= solved[t] == one->label;
        if (again) continue;
        diagnose_pairs_beside(table, one, best, BESIDE);
        if (!add_best(searcher, best)) return false;
        solved[tried++] = one->label;
        if (tried > FULLY) continue;
        if (!diagnose_pairs_from(table, diagnose_point_of(run, one->point), best, BESIDE))
            return false;
        if (!add_best(searcher, best)) return false;
    }
    return true;
}

static bool solve_screened(searcher *searcher, const pairs_table *table) {
    for (int k = 0; k < table->count; k++)
        if (!add_case(searcher, table->all[k].a, table->all[k].b)) return false;
    return true;
}

/* ---- weighing ------------------------------------------------------------------------------ */

static int more_promising(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->promise, y = ((const diagnose_case *)b)->promise;
    return (x < y) - (x > y);
}

static bool weigh_one(searcher *searcher, diagnose_case *one) {
    return diagnose_weigh_exactly(searcher->run, one, searcher->weigher);
}

/* The most promising; those that are not weighed are dropped. */
static bool weigh_best(searcher *searcher) {
    qsort(searcher->cases, (size_t)searcher->count, sizeof *searcher->cases, more_promising);
    int kept = 0;
    for (; kept < searcher->count && kept < EXACT; kept++) {
        diagnose_case *one = &searcher->cases[kept];
        if (!(one->promise > searcher->cases[0].promise - WINDOW)) break;
        if (!weigh_one(searcher, one)) return false;
    }
    searcher->count = kept;
    return true;
}

/* The severities next to a case's, in each of the two: those not yet seen are solved and weighed.
 */
static bool look_around(searcher *searcher, int index) {
    const diagnose_engine *engine = searcher->engine;
    const diagnose_point here = *diagnose_point_of(searcher->run, searcher->cases[index].point);
    for (int step = 0; step < 4; step++) {
        int side = step % 2 ? 1 : -1, k[2] = {here.severity, here.second_severity};
        int fault = step < 2 ? here.fault : here.second;
        k[step / 2] += side;
        if (k[step / 2] < 0 || k[step / 2] >= engine->catalogue.fault[fault].severities) continue;
        const diagnose_point *a = diagnose_single_point(engine, here.fault, k[0]);
        const diagnose_point *b = diagnose_single_point(engine, here.second, k[1]);
        int before = searcher->count;
        if (!a->solved || !b->solved) continue;
        if (!add_case(searcher, a, b)) return false;
        if (searcher->count > before && !weigh_one(searcher, &searcher->cases[before]))
            return false;
    }
    return true;
}

static double best_of(const searcher *searcher, int label) {
    double best = -INFINITY;
    for (int k = 0; k < searcher->count; k++)
        if (label < 0 || searcher->cases[k].label == label)
            best = fmax(best, searcher->cases[k].log_weight);
    return best;
}

/* Case by case in the order found; those that are added come to their turn. */
static bool look_around_best(searcher *searcher) {
    int room = searcher->room;
    searcher->room = searcher->count + AROUND < room ? searcher->count + AROUND : room;
    for (int k = 0; k < searcher->count && searcher->count < searcher->room; k++) {
        const diagnose_case *one = &searcher->cases[k];
        double own = best_of(searcher, one->label), best = best_of(searcher, -1);
        if (one->log_weight < own - CLOSE || own < best - NEAR) continue;
        if (!look_around(searcher, k)) return false;
    }
    return true;
}

/* ---- the whole ----------------------------------------------------------------------------- */

static bool take_room(searcher *searcher) {
    diagnose_run_state *run = searcher->run;
    size_t room = PAIRS_SCREENED + (FIRSTS + FULLY) * BESIDE + 8 * AROUND;
    searcher->room = (int)room;
    searcher->cases = base_arena_take(run->arena, room, sizeof *searcher->cases);
    run->two = base_arena_take(run->arena, room, sizeof *run->two);
    return searcher->cases && run->two && diagnose_extras_room(run, (int)(2 * room)) &&
           diagnose_case_room(run, &searcher->spare);
}

bool diagnose_extras_room(diagnose_run_state *run, int more) {
    size_t room = (size_t)(run->extras + more) + 1;
    diagnose_point *extra = base_arena_take(run->arena, room, sizeof *extra);
    if (!extra) return false;
    if (run->extras) memcpy(extra, run->extra, (size_t)run->extras * sizeof *extra);
    run->extra = extra;
    return true;
}

bool diagnose_cases_append(diagnose_run_state *run, const diagnose_case *cases, int count) {
    size_t all = (size_t)(run->count + count);
    diagnose_case *whole = base_arena_take(run->arena, all + 1, sizeof *whole);
    if (!whole) return false;
    memcpy(whole, run->cases, (size_t)run->count * sizeof *whole);
    if (count) memcpy(whole + run->count, cases, (size_t)count * sizeof *whole);
    run->cases = whole;
    run->count = (int)all;
    return true;
}

bool diagnose_pairs_weigh(diagnose_run_state *run, diagnose_weigher *weigher) {
    searcher searcher = {.run = run, .engine = run->engine, .weigher = weigher};
    pairs_table table = {.run = run, .weigher = weigher};
    if (!possible(run)) return true;
    if (!diagnose_pairs_table(&table)) return false;
    if (!wanted(run, &table)) return true;
    if (!take_room(&searcher) || !diagnose_pairs_screen(&table)) return false;
    if (!solve_beside(&searcher, &table) || !solve_screened(&searcher, &table)) return false;
    if (!weigh_best(&searcher)) return false;
    if (!look_around_best(&searcher)) return false;
    if (!diagnose_cases_append(run, searcher.cases, searcher.count)) return false;
    diagnose_normalise(run);
    return true;
}
