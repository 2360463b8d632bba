/* Which reading to take next: what each place would tell about the groups, over what it costs.
 *
 * Under each case the value at a place is a Gaussian, given what was read already:
 *   mean = m + c' e,  variance = a a' + noise - c' Q c,  c = covariance of the place with the
 * readings. A reading that is thought wrong under a case is left out of it. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_ROWS 24000
#define FEWEST 40
#define LEAST_BITS 0.02
#define LEAST_WEIGHT 1e-5
#define NEARLY 0.8  /* of the best information for its cost: as good, where it is safer */
#define DOUBTED 0.3 /* chance that a reading is wrong from which to take it again */
#define AGAIN "Much hangs on this one reading: take it again before you believe it."
#define MISREAD "This reading does not fit the others: take it again."
#define ROUGH 0.10 /* model spread of a case that has no sensitivities of its own */

typedef struct planner {
    diagnose_run_state *run;
    diagnose_engine *engine;
    diagnose_belief *belief;
    const int *group_of_label;
    int places, count, room; /* count: cases in use */
    int *index;              /* of each case in use */
    double *weight;          /* by case in use, sums to 1 */
    int *group;
    double *mean, *sd; /* case x place */
    double *one_mean, *one_sd, *one_weight;
    int *one_group;
    bool *read; /* by place */
} planner;

/* ---- one case at one place ----------------------------------------------------------------- */

static double square(double x) {
    return x * x;
}

static double own_noise(const planner *planner, int place, double volts, double spread) {
    const diagnose_engine *engine = planner->engine;
    return diagnose_noise(engine, &engine->options.meter, volts, diagnose_digit(volts),
                          engine->load[place].source) +
           diagnose_model_error(spread, volts, engine->places.place[place].healthy);
}

static void predict_exact(const planner *planner, const diagnose_case *one, int place, double *mean,
                          double *variance) {
    const diagnose_engine *engine = planner->engine;
    const diagnose_point *point = diagnose_point_of(planner->run, one->point);
    const float *row = diagnose_row(engine, point, place);
    int n = one->gauss.n;
    double c[n + 1], known = 0, shift = 0;
    for (int i = 0; i < n; i++) {
        c[i] = diagnose_covariance(engine, row, one->row[i]);
        shift += c[i] * one->gauss.e[i];
    }
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            known += c[i] * one->gauss.q[i * n + k] * c[k];
    *mean = point->mean[place] + shift;
    *variance = fmax(diagnose_covariance(engine, row, row) - known, 0) +
                diagnose_wander(engine, row) +
                own_noise(planner, place, point->mean[place], engine->options.model_spread);
}

/* As in the healthy amp, about the fault's own mean; something not modelled is only wide. */
static void predict_rough(const planner *planner, const diagnose_case *one, int place, double *mean,
                          double *variance) {
    const diagnose_engine *engine = planner->engine;
    const diagnose_place *at = &engine->places.place[place];
    double own = square(at->spread);
    *mean = at->healthy;
    if (one->point < 0) {
        *variance = 100 * own + square(0.3 * at->healthy) + 1;
        return;
    }
    solve_probe bare = at->probe;
    bare.meter_ohms = INFINITY;
    double good = diagnose_bare(engine, &engine->point[0], &bare);
    double shown = fabs(good) > 1e-6 ? at->healthy / good : 1;
    *mean = shown * diagnose_bare(engine, diagnose_point_of(planner->run, one->point), &bare);
    *variance = own + own_noise(planner, place, *mean, ROUGH);
}

static bool predict_case(planner *planner, int slot, bool exact) {
    diagnose_case *one = &planner->run->cases[planner->index[slot]];
    exact = exact && one->exact &&
            diagnose_rows(planner->engine, diagnose_point_of(planner->run, one->point), NULL,
                          planner->places);
    for (int i = 0; exact && i < one->gauss.n; i++)
        if (one->wrong[i] > 0.5 || i == planner->run->carrier)
            diagnose_gauss_leave_out(&one->gauss, i);
    for (int place = 0; place < planner->places; place++) {
        size_t at = (size_t)slot * (size_t)planner->places + (size_t)place;
        double variance;
        if (planner->read[place]) continue;
        if (exact)
            predict_exact(planner, one, place, &planner->mean[at], &variance);
        else
            predict_rough(planner, one, place, &planner->mean[at], &variance);
        planner->sd[at] = sqrt(variance);
    }
    return true;
}

/* ---- setting up
 * -------------------------------------------------------------------------------------- */

/* Something not modelled has no say: it expects anything anywhere, so that any quiet node would
 * seem to tell it from the rest. */
/* Where the leader hangs on one reading, what is sought is what would confirm it: the weights are
 * then those without that reading. */
static double log_weight_of(const planner *planner, const diagnose_case *one) {
    int carrier = planner->run->carrier;
    return carrier >= 0 && one->without ? one->without[carrier] : one->log_weight;
}

static void choose_cases(planner *planner) {
    const diagnose_run_state *run = planner->run;
    double sum = 0, most = -INFINITY;
    for (int i = 0; i < run->count; i++)
        if (run->cases[i].point >= 0) most = fmax(most, log_weight_of(planner, &run->cases[i]));
    for (int i = 0; i < run->count; i++) {
        double weight = exp(log_weight_of(planner, &run->cases[i]) - most);
        if (run->cases[i].point < 0 || !(weight >= LEAST_WEIGHT)) continue;
        planner->index[planner->count] = i;
        planner->weight[planner->count] = weight;
        planner->group[planner->count] = planner->group_of_label[run->cases[i].label];
        sum += weight;
        planner->count++;
    }
    for (int i = 0; i < planner->count; i++)
        planner->weight[i] /= sum;
}

static bool same_nodes(const solve_probe *a, const solve_probe *b) {
    return a->heater == b->heater && ((a->plus == b->plus && a->minus == b->minus) ||
                                      (a->plus == b->minus && a->minus == b->plus));
}

static void mark_read(planner *planner) {
    for (int place = 0; place < planner->places; place++)
        for (int i = 0; i < planner->run->given; i++)
            planner->read[place] |= diagnose_plain(&planner->run->readings->reading[i].test) &&
                                    same_nodes(&planner->engine->places.place[place].probe,
                                               &planner->run->readings->reading[i].probe);
}

static bool take_room(planner *planner) {
    base_arena *arena = planner->run->arena;
    size_t cases = (size_t)planner->run->count + 1, places = (size_t)planner->places + 1;
    planner->index = base_arena_take(arena, cases, sizeof(int));
    planner->group = base_arena_take(arena, cases, sizeof(int));
    planner->weight = base_arena_take(arena, cases, sizeof(double));
    planner->mean = base_arena_take(arena, cases * places, sizeof(double));
    planner->sd = base_arena_take(arena, cases * places, sizeof(double));
    planner->one_mean = base_arena_take(arena, 2 * cases, sizeof(double));
    planner->one_sd = base_arena_take(arena, 2 * cases, sizeof(double));
    planner->one_weight = base_arena_take(arena, 2 * cases, sizeof(double));
    planner->one_group = base_arena_take(arena, 2 * cases, sizeof(int));
    planner->read = base_arena_take(arena, places, sizeof(bool));
    return planner->index && planner->group && planner->weight && planner->mean && planner->sd &&
           planner->one_mean && planner->one_sd && planner->one_weight && planner->one_group &&
           planner->read;
}

/* ---- what a place would tell
 * ------------------------------------------------------------------------------ */

static void push(planner *planner, int slot, double share, double mean, double sd) {
    if (!(share > 0) || !isfinite(mean) || !(sd > 0)) return;
    int at = planner->room++;
    planner->one_weight[at] = planner->weight[slot] * share;
    planner->one_group[at] = planner->group[slot];
    planner->one_mean[at] = mean;
    planner->one_sd[at] = sd;
}

static double tell(planner *planner) {
    double sum = 0;
    for (int i = 0; i < planner->room; i++)
        sum += planner->one_weight[i];
    for (int i = 0; i < planner->room && sum > 0; i++)
        planner->one_weight[i] /= sum;
    diagnose_cases cases = {.count = planner->room,
                            .groups = (int)planner->belief->groups,
                            .weight = planner->one_weight,
                            .mean = planner->one_mean,
                            .sd = planner->one_sd,
                            .group = planner->one_group};
    return diagnose_information(&cases);
}

static double tell_place(planner *planner, int place) {
    planner->room = 0;
    for (int slot = 0; slot < planner->count; slot++) {
        size_t at = (size_t)slot * (size_t)planner->places + (size_t)place;
        push(planner, slot, 1, planner->mean[at], planner->sd[at]);
    }
    return tell(planner);
}

/* Taking reading i again: where it was right it comes again, where it was wrong the others tell. */
static double tell_again(planner *planner, int i) {
    const diagnose_run_state *run = planner->run;
    planner->room = 0;
    for (int slot = 0; slot < planner->count; slot++) {
        const diagnose_case *one = &run->cases[planner->index[slot]];
        double again = sqrt(2 * run->noise[i]), wrong = one->wrong ? one->wrong[i] : 0;
        if (i == run->carrier) wrong = 1; /* not yet taken, so to say */
        double own = one->exact ? one->gauss.q[i * run->n + i] : 0;
        push(planner, slot, 1 - wrong, run->y[i], again);
        if (own > 0)
            push(planner, slot, wrong, run->y[i] - one->gauss.e[i] / own, 1 / sqrt(own));
        else
            push(planner, slot, wrong, run->healthy[i], again + 0.1 * fabs(run->healthy[i]));
    }
    return tell(planner);
}

/* ---- the list
 * ------------------------------------------------------------------------------------------------
 */

typedef struct choice {
    int place, again; /* again: the reading to repeat, or -1 */
    double bits, cost;
} choice;

static int better(const void *a, const void *b) {
    const choice *x = a, *y = b;
    double p = x->bits / x->cost, q = y->bits / y->cost;
    return (p < q) - (p > q);
}

static double cost_of_again(const planner *planner, int i) {
    for (int place = 0;
         place < planner->places && diagnose_plain(&planner->run->readings->reading[i].test);
         place++)
        if (same_nodes(&planner->engine->places.place[place].probe,
                       &planner->run->readings->reading[i].probe))
            return planner->engine->places.place[place].cost;
    return 2;
}

/* Before any reading is left out of a case. A reading in doubt is offered however little it may
 * tell: it stands in the chart, and is wrong there. */
static int list_again(planner *planner, const double *doubt, choice *choices) {
    int count = 0;
    for (int i = 0; i < planner->run->given; i++) {
        if (doubt[i] < DOUBTED && i != planner->run->carrier) continue;
        double bits = fmax(tell_again(planner, i), LEAST_BITS);
        choices[count++] = (choice){-1, i, bits, cost_of_again(planner, i)};
    }
    return count;
}

static double rate_of(const choice *choice) {
    return choice->bits / choice->cost;
}

/* No riskier place where a safer one tells nearly as much for its cost: that one goes first, and
 * again, until none that follows is cheaper and nearly as good. */
static void put_safer_first(choice *choices, int count) {
    int first = 0, safer = 0;
    do {
        first = safer;
        for (int i = 0; i < count && safer == first; i++)
            if (choices[i].cost < choices[first].cost &&
                rate_of(&choices[i]) >= NEARLY * rate_of(&choices[first]))
                safer = i;
    } while (safer != first);
    if (count == 0) return;
    choice own = choices[first];
    memmove(choices + 1, choices, (size_t)first * sizeof *choices);
    choices[0] = own;
}

static int list_places(planner *planner, int count, choice *choices) {
    for (int place = 0; place < planner->places; place++) {
        if (planner->read[place]) continue;
        double bits = tell_place(planner, place);
        if (bits >= LEAST_BITS)
            choices[count++] = (choice){place, -1, bits, planner->engine->places.place[place].cost};
    }
    qsort(choices, (size_t)count, sizeof *choices, better);
    put_safer_first(choices, count);
    return count < 5 ? count : 5;
}

/* ---- why
 * -------------------------------------------------------------------------------------------------------
 */

/* What a group would show at a place, averaged. */
static bool shows(const planner *planner, int group, int place, double *mean, double *sd) {
    double sum = 0, first = 0, second = 0;
    for (int slot = 0; slot < planner->count; slot++) {
        size_t at = (size_t)slot * (size_t)planner->places + (size_t)place;
        if (planner->group[slot] != group) continue;
        sum += planner->weight[slot];
        first += planner->weight[slot] * planner->mean[at];
        second += planner->weight[slot] * (square(planner->mean[at]) + square(planner->sd[at]));
    }
    if (!(sum > 0)) return false;
    *mean = first / sum;
    *sd = sqrt(fmax(second / sum - square(*mean), 0));
    return true;
}

/* Who stands for a group: its likeliest member; a good amp where that is among them. */
static int leader_of(const planner *planner, int group) {
    if (planner->group_of_label[0] == group) return 0;
    return diagnose_leading_label(planner->run, planner->belief, (size_t)group);
}

/* The group that this place parts best from the leading one, by how likely it is; 0: none. */
static int rival_of(const planner *planner, int place) {
    double mean, sd, other, other_sd, most = 0;
    int best = 0, groups = (int)planner->belief->groups;
    if (!shows(planner, 0, place, &mean, &sd)) return 0;
    for (int g = 1; g < groups && g < 40; g++) {
        if (!shows(planner, g, place, &other, &other_sd)) continue;
        double apart = fabs(other - mean) / (sd + other_sd + 1e-9);
        double worth = planner->belief->group[g].probability * fmin(apart, 4);
        if (worth > most) best = g;
        most = fmax(most, worth);
    }
    return best;
}

static const char *why_place(const planner *planner, int place) {
    base_arena *arena = planner->belief->arena;
    double first, second, sd;
    int rival = rival_of(planner, place);
    if (rival == 0 || !shows(planner, 0, place, &first, &sd) ||
        !shows(planner, rival, place, &second, &sd))
        return base_arena_text(arena, "It parts the less likely suspects.");
    const char *with = diagnose_label_with(planner->run, leader_of(planner, 0), arena);
    const char *without = diagnose_label_with(planner->run, leader_of(planner, rival), arena);
    char a[24], b[24], text[400];
    if (!with || !without) return NULL;
    snprintf(text, sizeof text, "About %s here %.150s, about %s %.150s.",
             diagnose_words_volts(first, a), with, diagnose_words_volts(second, b), without);
    return base_arena_text(arena, text);
}

static bool write_choices(planner *planner, const choice *choices, int count) {
    diagnose_belief *belief = planner->belief;
    belief->next = base_arena_take(belief->arena, (size_t)count + 1, sizeof *belief->next);
    if (!belief->next) return false;
    for (int i = 0; i < count; i++) {
        const choice *one = &choices[i];
        bool again = one->again >= 0;
        const diagnose_reading *before =
            again ? &planner->run->readings->reading[one->again] : NULL;
        const solve_probe *probe =
            again ? &before->probe : &planner->engine->places.place[one->place].probe;
        diagnose_probe_next *next = &belief->next[belief->nexts++];
        next->at = again ? before->at : planner->engine->places.place[one->place].at;
        next->at = base_arena_text(belief->arena, next->at);
        next->quantity =
            again ? diagnose_quantity_name(planner->engine->bench.system, &before->test, probe)
            : probe->heater ? "AC volts"
                            : "DC volts";
        next->bits = one->bits;
        next->cost = one->cost;
        bool hangs = again && one->again == planner->run->carrier;
        next->why = again ? base_arena_text(belief->arena, hangs ? AGAIN : MISREAD)
                          : why_place(planner, one->place);
        if (!next->at || !next->why) return false;
    }
    return true;
}

bool diagnose_next_places(diagnose_run_state *run, diagnose_belief *belief,
                          const int *group_of_label, const double *doubt) {
    planner planner = {.run = run,
                       .engine = run->engine,
                       .belief = belief,
                       .group_of_label = group_of_label,
                       .places = (int)run->engine->places.count};
    size_t room = (size_t)(planner.places + run->given + 1);
    choice *choices = base_arena_take(run->arena, room, sizeof *choices);
    if (!choices || !take_room(&planner)) return false;
    choose_cases(&planner);
    mark_read(&planner);
    int count = list_again(&planner, doubt, choices);
    int exact = MOST_ROWS / (planner.places + 1);
    if (exact < FEWEST) exact = FEWEST;
    for (int slot = 0; slot < planner.count; slot++)
        if (!predict_case(&planner, slot, slot < exact)) return false;
    return write_choices(&planner, choices, list_places(&planner, count, choices));
}
