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
#define LEAST 2e-3       /* of probability, to be compared with the lesser suspects */
#define LEAST_FIRST 1e-7 /* the same, with a healthy amp and with the first leaders */
#define FIRST_LEADERS 4
#define SHARE 0.05   /* of a suspect's own weight, for a severity to count */
#define FAVOURED 5.0 /* Bayes factor against a healthy amp from which the readings have told */

/* A suspect's believed severities, whitened: three points for each cell. */
typedef struct line {
    int cells;
    double *z; /* 3 x places for each cell */
} line;

typedef struct sorter {
    diagnose_run_state *run;
    diagnose_engine *engine;
    diagnose_belief *belief;
    base_arena *arena;
    int places;
    double *own; /* by point: share of its fault's weight */
    double *l;   /* places x places: the leader's covariance, factored */
    line leader, other;
} sorter;

/* ---- the leader ---------------------------------------------------------------------------- */

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
        sorter->l[i * n + i] +=
            diagnose_noise(engine, &engine->options.meter, point->mean[i],
                           diagnose_digit(point->mean[i]), engine->load[i].source) +
            diagnose_wander(engine, row) +
            diagnose_model_error(engine->options.model_spread, point->mean[i], place->healthy);
    }
    return LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', n, sorter->l, n) == 0;
}

/* ---- distance
 * ------------------------------------------------------------------------------------ */

/* z = L^-1 m of one point. */
static void whiten(const sorter *sorter, const diagnose_point *point, double *z) {
    int n = sorter->places;
    for (int i = 0; i < n; i++)
        z[i] = shown_at(sorter, point, i);
    LAPACKE_dtrtrs_work(LAPACK_COL_MAJOR, 'L', 'N', 'N', n, 1, sorter->l, n, z, n);
}

/* Square of the distance from c to the segment from a to b. */
static double to_segment(const double *c, const double *a, const double *b, int n) {
    double aa = 0, ad = 0, dd = 0;
    for (int i = 0; i < n; i++) {
        double from = a[i] - c[i], d = b[i] - a[i];
        aa += from * from;
        ad += from * d;
        dd += d * d;
    }
    double t = dd > 0 ? fmin(fmax(-ad / dd, 0), 1) : 0;
    return fmax(aa + 2 * t * ad + t * t * dd, 0);
}

static const diagnose_point *neighbour(const sorter *sorter, int fault, int k) {
    if (k < 0 || k >= fault_of(sorter, fault)->severities) return NULL;
    const diagnose_point *point = &sorter->engine->point[sorter->engine->first_point[fault] + k];
    return point->solved ? point : NULL;
}

/* The point itself, and half way to the next milder and the next graver severity: three of them,
 * whitened, in z. */
static void whiten_cell(const sorter *sorter, int fault, int k, bool exact, double *z) {
    int n = sorter->places;
    double *own = z + n;
    whiten(sorter, neighbour(sorter, fault, k), own);
    for (int side = -1; side <= 1; side += 2) {
        double *half = own + side * n;
        const diagnose_point *next = neighbour(sorter, fault, k + side);
        memcpy(half, own, (size_t)n * sizeof *half);
        if (!next) continue;
        if (exact) diagnose_rows(sorter->engine, (diagnose_point *)next, NULL, n);
        whiten(sorter, next, half);
        for (int i = 0; i < n; i++)
            half[i] = (half[i] + own[i]) / 2;
    }
}

/* All believed cells of a fault. Sets line->cells. */
static void draw_line(const sorter *sorter, int fault, bool exact, line *line) {
    int first = sorter->engine->first_point[fault];
    line->cells = 0;
    for (int k = 0; k < fault_of(sorter, fault)->severities; k++) {
        diagnose_point *point = &sorter->engine->point[first + k];
        if (!point->solved || sorter->own[first + k] < SHARE) continue;
        if (exact) diagnose_rows(sorter->engine, point, NULL, sorter->places);
        whiten_cell(sorter, fault, k, exact, line->z + 3 * sorter->places * line->cells++);
    }
}

/* A leader that is not believed at all stands at its best point alone. */
static void draw_leader(sorter *sorter, int fault) {
    diagnose_point *best = best_point(sorter, fault);
    draw_line(sorter, fault, true, &sorter->leader);
    if (sorter->leader.cells > 0) return;
    whiten_cell(sorter, fault, best->severity, false, sorter->leader.z);
    sorter->leader.cells = 1;
}

/* `exact`: with the fault's own loading by the meter. */
static double distance(sorter *sorter, int fault, bool exact) {
    int n = sorter->places;
    double least = INFINITY;
    draw_line(sorter, fault, exact, &sorter->other);
    for (int c = 0; c < 3 * sorter->leader.cells; c++)
        for (int k = 0; k < sorter->other.cells; k++) {
            const double *from = sorter->leader.z + n * c, *cell = sorter->other.z + 3 * n * k;
            least = fmin(least, to_segment(from, cell, cell + n, n));
            least = fmin(least, to_segment(from, cell + n, cell + 2 * n, n));
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
    double least = group < FIRST_LEADERS ? LEAST_FIRST : LEAST;
    bool can = comparable(sorter, &suspects[leader], nothing ? 0 : LEAST) && group < LEADERS;
    bool factored = can && factor_leader(sorter, fault);
    if (factored) draw_leader(sorter, fault);
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
    size_t room = 3 * DIAGNOSE_SEVERITIES * n;
    sorter->leader.z = base_arena_take(sorter->arena, room, sizeof(double));
    sorter->other.z = base_arena_take(sorter->arena, room, sizeof(double));
    return sorter->own && sorter->l && sorter->leader.z && sorter->other.z;
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
