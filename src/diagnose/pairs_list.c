/* The pairs of a belief: what is shown of them. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LEAST 0.005 /* of probability, for a pair's predictions at all places to be worked out */

/* ---- the likeliest first ------------------------------------------------------------------- */

typedef struct ranked {
    int two;
    double weight;
} ranked;

static int heavier(const void *a, const void *b) {
    const ranked *x = a, *y = b;
    if (x->weight != y->weight) return x->weight < y->weight ? 1 : -1;
    return (x->two > y->two) - (x->two < y->two);
}

/* Puts the run's pairs in the order of their weights, and relabels its cases. */
static bool sort_pairs(diagnose_run_state *run, double *weight) {
    int singles = diagnose_singles(run->engine);
    size_t count = (size_t)run->twos;
    ranked *rank = base_arena_take(run->arena, count + 1, sizeof *rank);
    diagnose_two *two = base_arena_take(run->arena, count + 1, sizeof *two);
    int *to = base_arena_take(run->arena, count + 1, sizeof *to);
    if (!rank || !two || !to) return false;
    for (int t = 0; t < run->twos; t++)
        rank[t].two = t;
    for (int k = 0; k < run->count; k++)
        if (run->cases[k].label >= singles)
            rank[run->cases[k].label - singles].weight += run->cases[k].weight;
    qsort(rank, count, sizeof *rank, heavier);
    for (int t = 0; t < run->twos; t++) {
        to[rank[t].two] = t;
        two[t] = run->two[rank[t].two];
        weight[t] = rank[t].weight;
    }
    for (int k = 0; k < run->count; k++)
        if (run->cases[k].label >= singles)
            run->cases[k].label = singles + to[run->cases[k].label - singles];
    run->two = two;
    return true;
}

/* ---- one of them --------------------------------------------------------------------------- */

static bool name_pair(const diagnose_run_state *run, diagnose_pair *pair, base_arena *arena) {
    const diagnose_engine *engine = run->engine;
    for (int k = 0; k < 2; k++) {
        const diagnose_fault *fault = &engine->catalogue.fault[pair->fault[k]];
        pair->part[k] = base_arena_text(arena, diagnose_words_part(engine, fault));
        pair->what[k] = diagnose_words_what(engine, fault, pair->severity[k], arena);
        if (!pair->part[k] || !pair->what[k]) return false;
    }
    char text[600];
    snprintf(text, sizeof text, "%.60s %.200s, and %.60s %.200s", pair->part[0], pair->what[0],
             pair->part[1], pair->what[1]);
    pair->words = base_arena_text(arena, text);
    return pair->words != NULL;
}

/* Adds what one case says of the readings: `share` is its part of the pair. */
static void add_reads(const diagnose_run_state *run, const diagnose_case *one, double share,
                      double *reads) {
    for (int i = 0; i < run->given; i++) {
        reads[i] += share * one->tangent[i];
        for (int cell = 0; cell < DIAGNOSE_CELLS; cell++)
            reads[i] += share * one->row[i][run->engine->first_cell + cell] * one->cell[cell];
    }
}

/* At the places of the chart the heaviest case speaks for the pair. */
static void show_places(const diagnose_run_state *run, const diagnose_case *one, double *shows) {
    diagnose_engine *engine = run->engine;
    diagnose_point *point = diagnose_point_of(run, one->point);
    int places = (int)engine->places.count;
    if (!diagnose_rows(engine, point, NULL, places)) return;
    for (int p = 0; p < places; p++) {
        shows[p] = point->mean[p];
        for (int cell = 0; cell < DIAGNOSE_CELLS; cell++)
            shows[p] += diagnose_row(engine, point, p)[engine->first_cell + cell] * one->cell[cell];
    }
}

static void describe(const diagnose_run_state *run, int label, diagnose_pair *pair) {
    const diagnose_case *heaviest = NULL;
    double sum = 0;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->label != label || !one->exact || !(one->weight > 0)) continue;
        if (!heaviest) heaviest = one;
        sum += one->weight;
        add_reads(run, one, one->weight, pair->reads);
        for (int which = 0; which < 2; which++)
            pair->severity[which] += one->weight * diagnose_severity(run, one, which);
    }
    for (int i = 0; i < run->given; i++)
        pair->reads[i] = sum > 0 ? diagnose_shows(run, (int)i, pair->reads[i] / sum) : NAN;
    for (int which = 0; which < 2; which++) {
        const diagnose_fault *fault = &run->engine->catalogue.fault[pair->fault[which]];
        bool grid = fault->severities > 1 && sum > 0;
        pair->severity[which] = grid ? exp(pair->severity[which] / sum) : NAN;
    }
    if (heaviest && pair->probability >= LEAST) show_places(run, heaviest, pair->shows);
}

/* ---- all of them --------------------------------------------------------------------------- */

static bool take_pair(const diagnose_run_state *run, int t, double weight, base_arena *arena,
                      diagnose_pair *pair) {
    size_t places = run->engine->places.count;
    *pair = (diagnose_pair){.probability = weight};
    pair->reads = base_arena_take(arena, (size_t)run->given + 1, sizeof(double));
    pair->shows = base_arena_take(arena, places + 1, sizeof(double));
    if (!pair->reads || !pair->shows) return false;
    for (size_t p = 0; p < places; p++)
        pair->shows[p] = NAN;
    for (int which = 0; which < 2; which++)
        pair->fault[which] = run->two[t].fault[which];
    describe(run, diagnose_singles(run->engine) + t, pair);
    return name_pair(run, pair, arena);
}

static void involve(diagnose_belief *belief, const diagnose_pair *pair) {
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == pair->fault[0] ||
            belief->suspect[i].fault == pair->fault[1])
            belief->suspect[i].involved += pair->probability;
}

bool diagnose_pairs_list(diagnose_run_state *run, diagnose_belief *belief) {
    size_t count = (size_t)run->twos;
    double *weight = base_arena_take(run->arena, count + 1, sizeof *weight);
    if (!weight || !sort_pairs(run, weight)) return false;
    belief->pair = base_arena_take(belief->arena, count + 1, sizeof *belief->pair);
    if (!belief->pair) return false;
    for (int t = 0; t < run->twos; t++) {
        diagnose_pair *pair = &belief->pair[belief->pairs++];
        if (!take_pair(run, t, weight[t], belief->arena, pair)) return false;
        involve(belief, pair);
    }
    return true;
}
