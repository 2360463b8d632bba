/* Which suspects no reading could tell apart.
 *
 * Two suspects are as far apart as their predictions at all places lie, measured in standard
 * deviations of what a good amp, the meter and the model leave open. A suspect with a severity is a
 * line through its severities; what counts is the nearest point of that line. */
#include "diagnose_impl.h"

#include <lapacke.h>
#include <stdlib.h>
#include <string.h>

#define APART 2.0 /* deviations in all from which a reading may tell */
#define APART_NOTHING                                                                              \
    1.5 /* the same from a healthy amp: a fault that shows must not hide there                     \
         */
#define LEADERS 24
#define LEAST 2e-3         /* of probability, to be compared with another suspect */
#define LEAST_NOTHING 1e-6 /* the same, with a healthy amp */
#define SHARE 0.05         /* of a suspect's own weight, for a severity to count */
#define FAVOURED 5.0 /* Bayes factor against a healthy amp from which the readings have told */

typedef struct sorter {
    diagnose_run_state *run;
    diagnose_engine *engine;
    diagnose_belief *belief;
    base_arena *arena;
    int places;
    double *own;    /* by point: share of its fault's weight */
    double *l;      /* places x places: the leader's covariance, factored */
    double *centre; /* the leader's mean prediction with no meter */
    double *z, *before;
} sorter;

/* ---- the leader ---------------------------------------------------------------------------------
 */

static const diagnose_fault *fault_of(const sorter *sorter, int fault) {
    return &sorter->engine->catalogue.fault[fault];
}

/* The severity that is believed most. */
static diagnose_point *best_point(const sorter *sorter, int fault) {
    int first = sorter->engine->first_point[fault], best = first;
    for (int k = 0; k < fault_of(sorter, fault)->severities; k++)
        if (sorter->own[first + k] > sorter->own[best]) best = first + k;
    return &sorter->engine->point[best];
}

/* What the meter shows at a place: as predicted where that was worked out; else the healthy amp's
 * reading, moved by what the fault moves the unloaded volts. */
static double shown_at(const sorter *sorter, const diagnose_point *point, int place) {
    if (point->mean && !isnan(point->mean[place])) return point->mean[place];
    const diagnose_engine *engine = sorter->engine;
    const solve_probe *probe = &engine->places.place[place].probe;
    double source = engine->load[place].source;
    double shown = probe->heater || !isfinite(probe->meter_ohms)
                       ? 1
                       : probe->meter_ohms / (probe->meter_ohms + source);
    return engine->point[0].mean[place] + shown * (diagnose_bare(engine, point, probe) -
                                                   diagnose_bare(engine, &engine->point[0], probe));
}

/* The mean over its severities, as now believed; the best one alone where it is not believed. */
static void predict_centre(sorter *sorter, int fault) {
    int first = sorter->engine->first_point[fault];
    const diagnose_point *best = best_point(sorter, fault);
    double sum = 0;
    for (int i = 0; i < sorter->places; i++)
        sorter->centre[i] = shown_at(sorter, best, i);
    if (sorter->own[best - sorter->engine->point] < SHARE) return;
    memset(sorter->centre, 0, (size_t)sorter->places * sizeof(double));
    for (int k = 0; k < fault_of(sorter, fault)->severities; k++) {
        double own = sorter->own[first + k];
        if (own < SHARE) continue;
        sum += own;
        for (int i = 0; i < sorter->places; i++)
            sorter->centre[i] += own * shown_at(sorter, &sorter->engine->point[first + k], i);
    }
    for (int i = 0; i < sorter->places; i++)
        sorter->centre[i] /= sum;
}

/* Factors the covariance of all places under the leader. false: it has none. */
static bool factor_leader(sorter *sorter, int fault) {
    diagnose_engine *engine = sorter->engine;
    diagnose_point *point = best_point(sorter, fault);
    int n = sorter->places;
    if (!diagnose_rows(engine, point, NULL, n)) return false;
    for (int i = 0; i < n; i++) {
        const diagnose_place *place = &engine->places.place[i];
        const float *row = diagnose_row(engine, point, i);
        for (int k = 0; k <= i; k++)
            sorter->l[k * n + i] = diagnose_covariance(engine, row, diagnose_row(engine, point, k));
        double model = engine->options.model_spread * (point->mean[i] - place->healthy);
        sorter->l[i * n + i] +=
            diagnose_noise(engine, &engine->options.meter, point->mean[i],
                           diagnose_digit(point->mean[i]), engine->load[i].source) +
            diagnose_wander(engine, row) + model * model;
    }
    predict_centre(sorter, fault);
    return LAPACKE_dpotrf(LAPACK_COL_MAJOR, 'L', n, sorter->l, n) == 0;
}

/* ---- distance
 * ------------------------------------------------------------------------------------ */

/* z = L^-1 (m - centre) of one point. */
static void whiten(const sorter *sorter, const diagnose_point *point, double *z) {
    int n = sorter->places;
    for (int i = 0; i < n; i++)
        z[i] = shown_at(sorter, point, i) - sorter->centre[i];
    LAPACKE_dtrtrs(LAPACK_COL_MAJOR, 'L', 'N', 'N', n, 1, sorter->l, n, z, n);
}

/* Square of the distance from the origin to the segment from a to b. */
static double to_segment(const double *a, const double *b, int n) {
    double aa = 0, ad = 0, dd = 0;
    for (int i = 0; i < n; i++) {
        double d = b[i] - a[i];
        aa += a[i] * a[i];
        ad += a[i] * d;
        dd += d * d;
    }
    double t = dd > 0 ? fmin(fmax(-ad / dd, 0), 1) : 0;
    return fmax(aa + 2 * t * ad + t * t * dd, 0);
}

/* `exact`: with the fault's own loading by the meter. */
static double distance(sorter *sorter, int fault, bool exact) {
    int first = sorter->engine->first_point[fault];
    double least = INFINITY;
    bool joined = false;
    for (int k = 0; k < fault_of(sorter, fault)->severities; k++) {
        diagnose_point *point = &sorter->engine->point[first + k];
        if (!point->solved || sorter->own[first + k] < SHARE) {
            joined = false;
            continue;
        }
        if (exact) diagnose_rows(sorter->engine, point, NULL, sorter->places);
        whiten(sorter, point, sorter->z);
        const double *from = joined ? sorter->before : sorter->z;
        least = fmin(least, to_segment(from, sorter->z, sorter->places));
        memcpy(sorter->before, sorter->z, (size_t)sorter->places * sizeof(double));
        joined = true;
    }
    return sqrt(least);
}

/* ---- gathering
 * -------------------------------------------------------------------------------------- */

static bool comparable(const sorter *sorter, const diagnose_suspect *suspect, double least) {
    return sorter->engine->first_point[suspect->fault] >= 0 && suspect->probability >= least;
}

/* Have the readings already told this suspect from a healthy amp? */
static bool told(const sorter *sorter, const diagnose_suspect *nothing,
                 const diagnose_suspect *suspect) {
    double before = fault_of(sorter, suspect->fault)->prior / fault_of(sorter, 0)->prior;
    return suspect->probability > FAVOURED * before * nothing->probability;
}

/* Nothing wrong comes first: what only looks like it must not lead a group of its own. */
static void gather(sorter *sorter, size_t leader, int group) {
    diagnose_suspect *suspects = sorter->belief->suspect;
    int fault = suspects[leader].fault;
    suspects[leader].group = group;
    bool nothing = fault_of(sorter, fault)->mode == DIAGNOSE_NOTHING;
    double least = nothing ? LEAST_NOTHING : LEAST;
    bool can = comparable(sorter, &suspects[leader], nothing ? 0 : LEAST) && group < LEADERS;
    bool factored = can && factor_leader(sorter, fault);
    for (size_t i = 0; i < sorter->belief->suspects; i++) {
        if (suspects[i].group >= 0) continue;
        int part = fault_of(sorter, suspects[i].fault)->part;
        bool same = part >= 0 && part == fault_of(sorter, fault)->part;
        if (!same && factored && comparable(sorter, &suspects[i], least))
            same = distance(sorter, suspects[i].fault, suspects[i].probability >= LEAST) <
                   (nothing ? APART_NOTHING : APART);
        if (nothing && same) same = !told(sorter, &suspects[leader], &suspects[i]);
        if (same) suspects[i].group = group;
    }
}

static bool take_room(sorter *sorter) {
    size_t n = (size_t)sorter->places + 1;
    sorter->own = base_arena_take(sorter->arena, sorter->engine->points, sizeof(double));
    sorter->l = base_arena_take(sorter->arena, n * n, sizeof(double));
    sorter->centre = base_arena_take(sorter->arena, n, sizeof(double));
    sorter->z = base_arena_take(sorter->arena, n, sizeof(double));
    sorter->before = base_arena_take(sorter->arena, n, sizeof(double));
    return sorter->own && sorter->l && sorter->centre && sorter->z && sorter->before;
}

static void share_weights(sorter *sorter) {
    const diagnose_run_state *run = sorter->run;
    for (size_t s = 0; s < sorter->belief->suspects; s++) {
        int fault = sorter->belief->suspect[s].fault, first = sorter->engine->first_point[fault];
        if (first < 0) continue;
        double sum = 0;
        for (int k = 0; k < run->count; k++)
            if (run->cases[k].fault == fault) sum += run->cases[k].weight;
        for (int k = 0; k < run->count; k++)
            if (run->cases[k].fault == fault && sum > 0)
                sorter->own[run->cases[k].point] = run->cases[k].weight / sum;
    }
}

static int by_probability(const void *a, const void *b) {
    double x = ((const diagnose_group *)a)->probability,
           y = ((const diagnose_group *)b)->probability;
    return (x < y) - (x > y);
}

/* Sorts the groups and renames them in the suspects. */
static bool settle(sorter *sorter, int groups) {
    diagnose_belief *belief = sorter->belief;
    belief->group = base_arena_take(belief->arena, (size_t)groups, sizeof *belief->group);
    int *rank = base_arena_take(sorter->arena, (size_t)groups, sizeof *rank);
    if (!belief->group || !rank) return false;
    belief->groups = (size_t)groups;
    for (int g = 0; g < groups; g++)
        belief->group[g].members = (size_t)g; /* its name, for now */
    for (size_t i = 0; i < belief->suspects; i++)
        belief->group[belief->suspect[i].group].probability += belief->suspect[i].probability;
    qsort(belief->group, belief->groups, sizeof *belief->group, by_probability);
    for (int g = 0; g < groups; g++)
        rank[belief->group[g].members] = g;
    for (int g = 0; g < groups; g++)
        belief->group[g].members = 0;
    for (size_t i = 0; i < belief->suspects; i++) {
        belief->suspect[i].group = rank[belief->suspect[i].group];
        belief->group[belief->suspect[i].group].members++;
    }
    return true;
}

bool diagnose_group_up(diagnose_run_state *run, diagnose_belief *belief, int *group_of_fault) {
    sorter sorter = {.run = run,
                     .engine = run->engine,
                     .belief = belief,
                     .arena = run->arena,
                     .places = (int)run->engine->places.count};
    if (!take_room(&sorter)) return false;
    share_weights(&sorter);
    int groups = 0;
    for (size_t i = 0; i < belief->suspects; i++)
        belief->suspect[i].group = -1;
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == 0) gather(&sorter, i, groups++);
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].group < 0) gather(&sorter, i, groups++);
    if (!settle(&sorter, groups)) return false;
    for (size_t i = 0; i < belief->suspects; i++)
        group_of_fault[belief->suspect[i].fault] = belief->suspect[i].group;
    return true;
}
