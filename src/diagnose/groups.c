/* Which suspects no reading could tell apart.
 *
 * Two suspects are as far apart as their predictions at all places lie, and at all readings in play
 * (play.c), measured in standard
 * deviations of what a good amp, the meter and the model leave open. A suspect with a severity is a
 * line through its severities; what counts is the nearest point of that line. */
#include "observe_impl.h"

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

/* A suspect or a pair, as it is sorted. */
typedef struct item {
    int label, group;
    double probability;
    int points, first, *point; /* its points: a suspect's follow each other from `first` */
} item;

typedef struct sorter {
    diagnose_run_state *run;
    diagnose_engine *engine;
    diagnose_belief *belief;
    base_arena *arena;
    int places; /* of the chart, and behind them the readings in play */
    int charted;
    item *item; /* falling probability */
    int items;
    double *own;     /* by point: share of its item's weight */
    double *l;       /* places x places: the leader's covariance, factored */
    float *play_row; /* of the leader at each reading in play */
    line leader, other;
} sorter;

/* ---- the leader ---------------------------------------------------------------------------- */

static bool is_pair(const sorter *sorter, const item *item) {
    return item->label >= diagnose_singles(sorter->engine);
}

static const diagnose_fault *fault_of(const sorter *sorter, int fault) {
    return &sorter->engine->catalogue.fault[fault];
}

static int point_of(const item *item, int k) {
    return item->point ? item->point[k] : item->first + k;
}

/* The severity that is believed most. */
static diagnose_point *best_point(const sorter *sorter, const item *item) {
    int best = point_of(item, 0);
    for (int k = 1; k < item->points; k++)
        if (sorter->own[point_of(item, k)] > sorter->own[best]) best = point_of(item, k);
    return diagnose_point_of(sorter->run, best);
}

/* A reading in play; where a point has no answer it is as in a good amp. */
static double played_at(const sorter *sorter, const diagnose_point *point, int place) {
    const diagnose_ask *ask = &sorter->run->play[place - sorter->charted];
    double mean = diagnose_ask_mean(sorter->engine, ask, (diagnose_point *)point);
    return isfinite(mean) ? mean : ask->healthy;
}

/* What the meter shows at a place: as predicted where that was worked out; else the healthy amp's
 * reading, moved by what the fault moves the unloaded volts. */
static double shown_at(const sorter *sorter, const diagnose_point *point, int place) {
    if (place >= sorter->charted) return played_at(sorter, point, place);
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

static double variance_of_place(const sorter *sorter, const diagnose_point *point, int i,
                                const float *row) {
    const diagnose_engine *engine = sorter->engine;
    return diagnose_noise(engine, &engine->options.meter, point->mean[i],
                          diagnose_digit(point->mean[i]), engine->load[i].source) +
           diagnose_wander(engine, row) +
           diagnose_model_error(engine->options.model_spread, point->mean[i],
                                engine->places.place[i].healthy);
}

/* Rows of the readings in play, behind those of the chart. false: the point has no answer. */
static bool play_rows(sorter *sorter, diagnose_point *point, const float **row, double *variance) {
    diagnose_engine *engine = sorter->engine;
    for (int i = sorter->charted; i < sorter->places; i++) {
        const diagnose_ask *ask = &sorter->run->play[i - sorter->charted];
        float *own =
            sorter->play_row + (size_t)(i - sorter->charted) * (size_t)engine->scenes->wide;
        double mean = diagnose_ask_row(engine, ask, point, own);
        if (!isfinite(mean)) return false;
        double shown = diagnose_ask_shows(ask, mean);
        row[i] = own;
        variance[i] =
            diagnose_ask_noise(engine, ask, &engine->options.meter, shown, diagnose_digit(shown)) +
            diagnose_ask_model_error(engine, ask, mean);
    }
    return true;
}

/* Factors the covariance of all places under the leader. false: it has none. */
static bool factor_leader(sorter *sorter, const item *item) {
    diagnose_engine *engine = sorter->engine;
    diagnose_point *point = best_point(sorter, item);
    int n = sorter->places, charted = sorter->charted;
    const float *row[n + 1];
    double variance[n + 1];
    if (!play_rows(sorter, point, row, variance)) return false;
    if (!diagnose_rows(engine, point, NULL, charted)) return false;
    for (int i = 0; i < charted; i++) {
        row[i] = diagnose_row(engine, point, i);
        variance[i] = variance_of_place(sorter, point, i, row[i]);
    }
    for (int i = 0; i < n; i++) {
        for (int k = 0; k <= i; k++)
            sorter->l[k * n + i] = k >= charted ? diagnose_ask_covariance(engine, row[i], row[k])
                                                : diagnose_covariance(engine, row[i], row[k]);
        sorter->l[i * n + i] += variance[i];
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

/* The next milder or graver severity of a suspect; a pair's points stand each for itself. */
static diagnose_point *neighbour(const sorter *sorter, const item *item, int k) {
    if (k < 0 || k >= item->points || item->point) return NULL;
    diagnose_point *point = diagnose_point_of(sorter->run, point_of(item, k));
    return point->solved ? point : NULL;
}

/* The point itself, and half way to the next milder and the next graver severity: three of them,
 * whitened, in z. */
static void whiten_cell(const sorter *sorter, const item *item, int k, bool exact, double *z) {
    int n = sorter->places;
    double *own = z + n;
    whiten(sorter, diagnose_point_of(sorter->run, point_of(item, k)), own);
    for (int side = -1; side <= 1; side += 2) {
        double *half = own + side * n;
        diagnose_point *next = neighbour(sorter, item, k + side);
        memcpy(half, own, (size_t)n * sizeof *half);
        if (!next) continue;
        if (exact) diagnose_rows(sorter->engine, next, NULL, sorter->charted);
        whiten(sorter, next, half);
        for (int i = 0; i < n; i++)
            half[i] = (half[i] + own[i]) / 2;
    }
}

/* All believed cells of an item. Sets line->cells. */
static void draw_line(const sorter *sorter, const item *item, bool exact, line *line) {
    line->cells = 0;
    for (int k = 0; k < item->points && line->cells < DIAGNOSE_SEVERITIES; k++) {
        diagnose_point *point = diagnose_point_of(sorter->run, point_of(item, k));
        if (!point->solved || sorter->own[point_of(item, k)] < SHARE) continue;
        if (exact) diagnose_rows(sorter->engine, point, NULL, sorter->charted);
        whiten_cell(sorter, item, k, exact, line->z + 3 * sorter->places * line->cells++);
    }
}

/* A leader that is not believed at all stands at its best point alone. */
static void draw_leader(sorter *sorter, const item *item) {
    draw_line(sorter, item, true, &sorter->leader);
    if (sorter->leader.cells > 0) return;
    whiten(sorter, best_point(sorter, item), sorter->leader.z);
    for (int k = 1; k < 3; k++)
        memcpy(sorter->leader.z + k * sorter->places, sorter->leader.z,
               (size_t)sorter->places * sizeof(double));
    sorter->leader.cells = 1;
}

/* `exact`: with the item's own loading by the meter. */
static double distance(sorter *sorter, const item *item, bool exact) {
    int n = sorter->places;
    double least = INFINITY;
    draw_line(sorter, item, exact, &sorter->other);
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

static bool comparable(const item *item, double least) {
    return item->points > 0 && item->probability >= least;
}

/* Have the readings already told this suspect from a healthy amp? Those of a pair have. */
static bool told(const sorter *sorter, const item *nothing, const item *item) {
    if (is_pair(sorter, item)) return true;
    double before = fault_of(sorter, item->label)->prior / fault_of(sorter, 0)->prior;
    return item->probability > FAVOURED * before * nothing->probability;
}

/* The parts of a suspect or a pair, the lesser index first; the second -1 where there is one. */
static void parts_of(const sorter *sorter, const item *item, int part[2]) {
    part[0] = part[1] = -1;
    if (!is_pair(sorter, item)) {
        part[0] = fault_of(sorter, item->label)->part;
        return;
    }
    const int *fault = sorter->run->two[item->label - diagnose_singles(sorter->engine)].fault;
    int a = fault_of(sorter, fault[0])->part, b = fault_of(sorter, fault[1])->part;
    part[0] = a < b ? a : b;
    part[1] = a < b ? b : a;
}

/* A good part on the wrong node is another matter than a bad one, and halves exchanged are none. */
static diagnose_mode wired(const sorter *sorter, const item *item) {
    diagnose_mode mode = fault_of(sorter, item->label)->mode;
    return mode >= DIAGNOSE_MISWIRED ? mode : DIAGNOSE_NOTHING;
}

static bool same_parts(const sorter *sorter, const item *a, const item *b) {
    int one[2], other[2];
    if (is_pair(sorter, a) != is_pair(sorter, b)) return false;
    parts_of(sorter, a, one);
    parts_of(sorter, b, other);
    bool named = is_pair(sorter, a) || (one[0] >= 0 && wired(sorter, a) == wired(sorter, b));
    return named && one[0] == other[0] && one[1] == other[1];
}

/* Nothing wrong comes first: what only looks like it must not lead a group of its own. */
static void gather(sorter *sorter, item *leader, int group) {
    leader->group = group;
    bool nothing = leader->label == 0;
    double least = group < FIRST_LEADERS ? LEAST_FIRST : LEAST;
    bool can = comparable(leader, nothing ? 0 : LEAST) && group < LEADERS;
    bool factored = can && factor_leader(sorter, leader);
    if (factored) draw_leader(sorter, leader);
    for (int i = 0; i < sorter->items; i++) {
        item *other = &sorter->item[i];
        if (other->group >= 0) continue;
        bool same = same_parts(sorter, leader, other);
        if (!same && factored && comparable(other, is_pair(sorter, other) ? LEAST : least))
            same = distance(sorter, other, other->probability >= LEAST) <
                   (nothing ? APART_NOTHING : APART);
        if (nothing && same) same = !told(sorter, leader, other);
        if (same) other->group = group;
    }
}

/* ---- the items ----------------------------------------------------------------------------- */

static int likelier(const void *a, const void *b) {
    const item *x = a, *y = b;
    if (x->probability != y->probability) return x->probability < y->probability ? 1 : -1;
    return (x->label > y->label) - (x->label < y->label);
}

static bool case_points(sorter *sorter, item *item) {
    const diagnose_run_state *run = sorter->run;
    item->point = base_arena_take(sorter->arena, (size_t)run->extras + 1, sizeof(int));
    for (int k = 0; item->point && k < run->count; k++)
        if (run->cases[k].label == item->label) item->point[item->points++] = run->cases[k].point;
    return item->point != NULL;
}

static bool list_items(sorter *sorter) {
    const diagnose_belief *belief = sorter->belief;
    int faults = (int)sorter->engine->catalogue.count, singles = diagnose_singles(sorter->engine);
    sorter->item =
        base_arena_take(sorter->arena, belief->suspects + belief->pairs + 1, sizeof *sorter->item);
    if (!sorter->item) return false;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *one = &belief->suspect[i];
        item *item = &sorter->item[sorter->items++];
        *item = (struct item){.label = one->fault, .probability = one->probability};
        if (one->fault >= faults) {
            if (!case_points(sorter, item)) return false;
            continue;
        }
        item->first = sorter->engine->first_point[one->fault];
        item->points = item->first < 0 ? 0 : fault_of(sorter, one->fault)->severities;
    }
    for (size_t i = 0; i < belief->pairs; i++) {
        item *item = &sorter->item[sorter->items++];
        *item =
            (struct item){.label = singles + (int)i, .probability = belief->pair[i].probability};
        if (!case_points(sorter, item)) return false;
    }
    for (int i = 0; i < sorter->items; i++)
        sorter->item[i].group = -1;
    qsort(sorter->item, (size_t)sorter->items, sizeof *sorter->item, likelier);
    return true;
}

static bool take_room(sorter *sorter) {
    size_t n = (size_t)sorter->places + 1;
    size_t points = sorter->engine->points + (size_t)sorter->run->extras;
    sorter->own = base_arena_take(sorter->arena, points, sizeof(double));
    sorter->l = base_arena_take(sorter->arena, n * n, sizeof(double));
    size_t room = 3 * DIAGNOSE_SEVERITIES * n;
    size_t wide = sorter->run->plays ? (size_t)sorter->engine->scenes->wide : 0;
    sorter->play_row =
        base_arena_take(sorter->arena, (size_t)sorter->run->plays * wide + 1, sizeof(float));
    sorter->leader.z = base_arena_take(sorter->arena, room, sizeof(double));
    sorter->other.z = base_arena_take(sorter->arena, room, sizeof(double));
    return sorter->own && sorter->l && sorter->play_row && sorter->leader.z && sorter->other.z;
}

static bool share_weights(sorter *sorter) {
    const diagnose_run_state *run = sorter->run;
    double *sum = base_arena_take(sorter->arena, diagnose_labels(run), sizeof *sum);
    if (!sum) return false;
    for (int k = 0; k < run->count; k++)
        sum[run->cases[k].label] += run->cases[k].weight;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->point >= 0 && sum[one->label] > 0)
            sorter->own[one->point] = one->weight / sum[one->label];
    }
    return true;
}

static int by_probability(const void *a, const void *b) {
    double x = ((const diagnose_group *)a)->probability,
           y = ((const diagnose_group *)b)->probability;
    return (x < y) - (x > y);
}

/* Sorts the groups and renames them in the items. */
static bool settle(sorter *sorter, int groups) {
    diagnose_belief *belief = sorter->belief;
    belief->group = base_arena_take(belief->arena, (size_t)groups, sizeof *belief->group);
    int *rank = base_arena_take(sorter->arena, (size_t)groups, sizeof *rank);
    if (!belief->group || !rank) return false;
    belief->groups = (size_t)groups;
    for (int g = 0; g < groups; g++)
        belief->group[g].members = (size_t)g; /* its name, for now */
    for (int i = 0; i < sorter->items; i++)
        belief->group[sorter->item[i].group].probability += sorter->item[i].probability;
    qsort(belief->group, belief->groups, sizeof *belief->group, by_probability);
    for (int g = 0; g < groups; g++)
        rank[belief->group[g].members] = g;
    for (int g = 0; g < groups; g++)
        belief->group[g].members = 0;
    for (int i = 0; i < sorter->items; i++)
        sorter->item[i].group = rank[sorter->item[i].group];
    return true;
}

static void hand_out(const sorter *sorter, int *group_of_label) {
    diagnose_belief *belief = sorter->belief;
    for (int i = 0; i < sorter->items; i++)
        group_of_label[sorter->item[i].label] = sorter->item[i].group;
    for (size_t i = 0; i < belief->suspects; i++) {
        belief->suspect[i].group = group_of_label[belief->suspect[i].fault];
        belief->group[belief->suspect[i].group].members++;
    }
    for (size_t i = 0; i < belief->pairs; i++) {
        belief->pair[i].group = group_of_label[diagnose_singles(sorter->engine) + (int)i];
        belief->group[belief->pair[i].group].pairs++;
    }
}

bool diagnose_group_up(diagnose_run_state *run, diagnose_belief *belief, int *group_of_label) {
    if (!diagnose_play(run)) return false;
    sorter sorter = {.run = run,
                     .engine = run->engine,
                     .belief = belief,
                     .arena = run->arena,
                     .charted = (int)run->engine->places.count};
    sorter.places = sorter.charted + run->plays;
    if (!take_room(&sorter) || !share_weights(&sorter) || !list_items(&sorter)) return false;
    int groups = 0;
    for (int i = 0; i < sorter.items; i++)
        if (sorter.item[i].label == 0) gather(&sorter, &sorter.item[i], groups++);
    for (int i = 0; i < sorter.items; i++)
        if (sorter.item[i].group < 0) gather(&sorter, &sorter.item[i], groups++);
    if (!settle(&sorter, groups)) return false;
    hand_out(&sorter, group_of_label);
    return true;
}
