/* From readings to a belief: weigh, gather by fault, group, judge, and look ahead. */
#include "symptoms_impl.h"

#include <stdlib.h>
#include <string.h>

/* What a belief keeps beyond what is shown: each point's share, for diagnose_predicted. */
typedef struct kept {
    diagnose_belief belief; /* first, so that the one is the other */
    double *weight, *cell;  /* by point: of it, and where in its cell the severity stands */
    int wired;              /* wirings among the suspects */
    int *wiring;            /* their labels */
    double **shows;         /* and what each predicts, by place; NULL: not worked out */
} kept;

/* ---- suspects ------------------------------------------------------------------------------ */

static int likelier(const void *a, const void *b) {
    const diagnose_suspect *x = a, *y = b;
    if (x->probability != y->probability) return x->probability < y->probability ? 1 : -1;
    return (x->fault > y->fault) - (x->fault < y->fault);
}

double diagnose_severity(const diagnose_run_state *run, const diagnose_case *one, int which) {
    if (one->point < 0) return 0;
    const diagnose_point *point = diagnose_point_of(run, one->point);
    const diagnose_fault *fault =
        &run->engine->catalogue.fault[which ? point->second : point->fault];
    double severity = fault->severity[which ? point->second_severity : point->severity];
    return isfinite(severity) ? log(severity) + fault->cell * one->cell[which] : 0;
}

/* A wiring has one point, and so one case. Pairs are listed elsewhere. */
static void gather_wiring(const diagnose_run_state *run, diagnose_belief *belief,
                          const diagnose_case *one) {
    if (one->label >= diagnose_singles(run->engine)) return;
    diagnose_suspect *suspect = &belief->suspect[belief->suspects++];
    *suspect = (diagnose_suspect){
        .fault = one->label,
        .probability = one->weight,
        .involved = one->weight,
        .severity = NAN,
        .part = diagnose_words_part(run->engine, &run->engine->catalogue.fault[one->label])};
}

/* Sum of weights and geometric mean of the severities of each fault. */
static bool gather(const diagnose_run_state *run, diagnose_belief *belief) {
    const diagnose_catalogue *catalogue = &run->engine->catalogue;
    belief->suspects = catalogue->count;
    belief->suspect = base_arena_take(belief->arena, diagnose_labels(run), sizeof *belief->suspect);
    if (!belief->suspect) return false;
    for (int i = 0; i < run->count; i++) {
        const diagnose_case *one = &run->cases[i];
        if (one->label >= (int)catalogue->count) {
            gather_wiring(run, belief, one);
            continue;
        }
        diagnose_suspect *suspect = &belief->suspect[one->label];
        suspect->probability += one->weight;
        suspect->severity += one->weight * diagnose_severity(run, one, 0);
    }
    for (size_t f = 0; f < catalogue->count; f++) {
        diagnose_suspect *suspect = &belief->suspect[f];
        bool grid = catalogue->fault[f].severities > 1 && suspect->probability > 0;
        suspect->fault = (int)f;
        suspect->involved = suspect->probability;
        suspect->severity = grid ? exp(suspect->severity / suspect->probability) : NAN;
        suspect->part = diagnose_words_part(run->engine, &catalogue->fault[f]);
    }
    qsort(belief->suspect, belief->suspects, sizeof *belief->suspect, likelier);
    return true;
}

static bool name_suspects(const diagnose_run_state *run, diagnose_belief *belief) {
    for (size_t i = 0; i < belief->suspects; i++) {
        diagnose_suspect *suspect = &belief->suspect[i];
        suspect->part = base_arena_text(belief->arena, suspect->part);
        suspect->what =
            diagnose_words_what(run->engine, &run->engine->catalogue.fault[suspect->fault],
                                suspect->severity, belief->arena);
        if (!suspect->part || !suspect->what) return false;
    }
    return true;
}

/* ---- readings beside predictions ----------------------------------------------------------- */

static double doubt_of(const diagnose_run_state *run, int i) {
    double sum = 0;
    for (int k = 0; k < run->count; k++)
        if (run->cases[k].wrong) sum += run->cases[k].weight * run->cases[k].wrong[i];
    return sum;
}

/* Mean and spread of reading i over the severities of a hypothesis, as now believed. */
static void predict(diagnose_run_state *run, int label, int i) {
    double sum = 0, first = 0, second = 0;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->label != label || !one->exact) continue;
        double mean = one->tangent[i], variance = one->variance[i];
        for (int cell = 0; cell < DIAGNOSE_CELLS; cell++) {
            double a = one->row[i][run->engine->first_cell + cell];
            mean += a * one->cell[cell];
            variance -= a * a * (1 - one->cell_variance[cell]);
        }
        sum += one->weight;
        first += one->weight * mean;
        second += one->weight * (mean * mean + variance);
    }
    run->predicted[i] = sum > 0 ? first / sum : run->healthy[i];
    run->spread[i] = sum > 0 ? sqrt(fmax(second / sum - pow(run->predicted[i], 2), 0)) : NAN;
}

/* Half of what lies between a deviation below and one above, as the meter shows it. */
static double shown_spread(const diagnose_run_state *run, int i, double mean, double spread) {
    if (!diagnose_asked(run, i)) return spread;
    return (diagnose_shows(run, i, mean + spread) - diagnose_shows(run, i, mean - spread)) / 2;
}

static void tell_groups_reads(diagnose_run_state *run, const diagnose_belief *belief, int i,
                              diagnose_compare *compare) {
    for (size_t group = 0; group < DIAGNOSE_TOLD; group++) {
        compare->by_group[group] = NAN;
        if (group >= belief->groups || run->ask[i].lost) continue;
        predict(run, diagnose_leading_label(run, belief, group), i);
        if (isfinite(run->spread[i]))
            compare->by_group[group] = diagnose_shows(run, i, run->predicted[i]);
    }
}

static bool compare(diagnose_run_state *run, diagnose_belief *belief, double *doubt) {
    size_t count = (size_t)run->given;
    belief->compare = base_arena_take(belief->arena, count + 1, sizeof *belief->compare);
    run->predicted = base_arena_take(run->arena, count + 1, sizeof(double));
    run->spread = base_arena_take(run->arena, count + 1, sizeof(double));
    if (!belief->compare || !run->predicted || !run->spread) return false;
    for (int i = 0; i < run->given; i++) {
        diagnose_compare *one = &belief->compare[belief->compares++];
        one->at = base_arena_text(belief->arena, run->readings->reading[i].at);
        if (!one->at) return false;
        const diagnose_reading *reading = &run->readings->reading[i];
        double good = sqrt(diagnose_shared(run, i, run->healthy_row[i], i, run->healthy_row[i]));
        tell_groups_reads(run, belief, i, one);
        predict(run, diagnose_leading_label(run, belief, 0), i);
        one->plain = diagnose_plain(&reading->test);
        one->quantity =
            diagnose_quantity_name(run->engine->bench.system, &reading->test, &reading->probe);
        one->unit = diagnose_quantity_unit(run->engine->bench.system, &reading->test);
        one->read = diagnose_shows(run, i, run->y[i]);
        one->healthy = run->ask[i].lost ? NAN : diagnose_shows(run, i, run->healthy[i]);
        one->predicted = run->ask[i].lost ? NAN : diagnose_shows(run, i, run->predicted[i]);
        one->spread = shown_spread(run, i, run->predicted[i], run->spread[i]);
        one->good_spread = shown_spread(run, i, run->healthy[i], good);
        one->chance_wrong = doubt[i] = doubt_of(run, i);
    }
    return true;
}

/* ---- symptoms beside predictions ----------------------------------------------------------- */

static double chance_of(diagnose_run_state *run, int label, const diagnose_told *told) {
    double sum = 0, weight = 0;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->label != label || one->point < 0 || !(one->weight > 0)) continue;
        sum += one->weight * diagnose_told_chance(run, told, diagnose_point_of(run, one->point));
        weight += one->weight;
    }
    return weight > 0 ? sum / weight : NAN;
}

static bool hear(diagnose_run_state *run, diagnose_belief *belief) {
    size_t count = (size_t)run->tolds;
    int leader = diagnose_leading_label(run, belief, 0);
    belief->heard = base_arena_take(belief->arena, count + 1, sizeof *belief->heard);
    if (!belief->heard) return false;
    for (size_t i = 0; i < count; i++) {
        const diagnose_told *told = diagnose_told_at(run, i);
        diagnose_heard *one = &belief->heard[belief->heards++];
        one->said = base_arena_text(belief->arena, run->readings->clue[i].said);
        if (!one->said) return false;
        bool mute = diagnose_told_mute(told);
        one->by_leader = mute ? NAN : chance_of(run, leader, told);
        one->good = mute ? NAN : diagnose_told_chance(run, told, &run->engine->point[0]);
    }
    return true;
}

/* ---- the whole
 * ------------------------------------------------------------------------------------- */

static void summarise(const diagnose_run_state *run, diagnose_belief *belief) {
    for (size_t g = 0; g < belief->groups; g++) {
        double p = belief->group[g].probability;
        if (p > 0) belief->entropy_bits -= p * log2(p);
    }
    for (int k = 0; k < run->count && k < 3; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->point >= 0 && one->weight > 0.1)
            belief->outside |= diagnose_point_of(run, one->point)->outside;
    }
}

static bool tell_groups(const diagnose_run_state *run, diagnose_belief *belief) {
    for (size_t g = 0; g < belief->groups && belief->group[g].probability > 0.01; g++)
        if (!diagnose_words_tell(run, belief, g, &belief->group[g].tell)) return false;
    return true;
}

#define LEAST_SHOWN 0.005 /* of probability, for a wiring's predictions to be kept */

static bool keep_wirings(diagnose_run_state *run, kept *kept) {
    size_t places = run->engine->places.count;
    kept->wiring = base_arena_take(kept->belief.arena, (size_t)run->extras + 1, sizeof(int));
    kept->shows = base_arena_take(kept->belief.arena, (size_t)run->extras + 1, sizeof(double *));
    if (!kept->wiring || !kept->shows) return false;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        bool wiring = one->label >= (int)run->engine->catalogue.count &&
                      one->label < diagnose_singles(run->engine);
        if (!wiring || one->weight < LEAST_SHOWN) continue;
        diagnose_point *point = diagnose_point_of(run, one->point);
        if (!diagnose_rows(run->engine, point, NULL, (int)places)) continue;
        double *shows = base_arena_take(kept->belief.arena, places, sizeof *shows);
        if (!shows) return false;
        memcpy(shows, point->mean, places * sizeof *shows);
        kept->wiring[kept->wired] = one->label;
        kept->shows[kept->wired++] = shows;
    }
    return true;
}

static bool think(diagnose_run_state *run, kept *kept, base_errors *errors) {
    diagnose_belief *belief = &kept->belief;
    if (!diagnose_weigh(run, errors)) return false;
    int *group = base_arena_take(run->arena, diagnose_labels(run), sizeof *group);
    double *doubt = base_arena_take(run->arena, (size_t)run->given + 1, sizeof *doubt);
    kept->weight = base_arena_take(belief->arena, run->engine->points, sizeof(double));
    kept->cell = base_arena_take(belief->arena, run->engine->points, sizeof(double));
    if (!group || !doubt || !kept->weight || !kept->cell) return false;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->point < 0 || one->point >= (int)run->engine->points) continue;
        kept->weight[one->point] = one->weight;
        kept->cell[one->point] = one->line[0];
    }
    if (!gather(run, belief) || !name_suspects(run, belief)) return false;
    if (!keep_wirings(run, kept)) return false;
    if (!diagnose_pairs_list(run, belief)) return false;
    if (!diagnose_group_up(run, belief, group) || !compare(run, belief, doubt)) return false;
    if (!hear(run, belief)) return false;
    if (!diagnose_judge(run, belief, group)) return false;
    summarise(run, belief);
    if (!tell_groups(run, belief)) return false;
    if (run->engine->options.tests && !diagnose_next_tests(run, belief)) return false;
    if (belief->verdict == DIAGNOSE_SETTLED) return true;
    return diagnose_next_places(run, belief, group, doubt);
}

diagnose_belief *diagnose_run(diagnose_engine *engine, const diagnose_readings *readings,
                              base_errors *errors) {
    base_arena *arena = base_arena_new();
    kept *kept = arena ? base_arena_take(arena, 1, sizeof *kept) : NULL;
    diagnose_run_state run = {
        .engine = engine, .readings = readings, .arena = base_arena_new(), .carrier = -1};
    bool good = false;
    if (kept && run.arena) {
        kept->belief.arena = arena;
        good = think(&run, kept, errors);
    }
    base_arena_free(run.arena);
    if (good) return &kept->belief;
    base_errors_add(errors, BASE_MEMORY,
                    (base_place){.file = circuit_about_of(engine->bench.amp)->file},
                    "no memory is left|close other programs and try again");
    base_arena_free(arena);
    return NULL;
}

void diagnose_belief_free(diagnose_belief *belief) {
    if (belief) base_arena_free(belief->arena);
}

double diagnose_predicted(const diagnose_engine *engine, const diagnose_belief *belief,
                          size_t suspect, size_t place) {
    if (suspect >= belief->suspects || place >= engine->places.count) return NAN;
    int fault = belief->suspect[suspect].fault;
    const kept *own = (const void *)belief;
    for (int w = 0; w < own->wired; w++)
        if (own->wiring[w] == fault) return own->shows[w][place];
    if (fault >= (int)engine->catalogue.count) return NAN;
    int first = engine->first_point[fault];
    if (first < 0) return NAN;
    double sum = 0, mean = 0;
    for (int k = 0; k < engine->catalogue.fault[fault].severities; k++) {
        const diagnose_point *point = &engine->point[first + k];
        if (!point->solved) continue;
        double share = fmax(own->weight[first + k], 1e-12), volts;
        if (point->mean && !isnan(point->mean[place]))
            volts =
                point->mean[place] +
                own->cell[first + k] * diagnose_row(engine, point, (int)place)[engine->first_cell];
        else
            volts = diagnose_bare(engine, point, &engine->places.place[place].probe);
        mean += share * volts;
        sum += share;
    }
    return sum > 0 ? mean / sum : NAN;
}
