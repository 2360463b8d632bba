/* Other measures of a place's worth, put in the place of the engine's own: the program is linked so
 * that the engine's calls of diagnose_information come here (ld's --wrap). All else, the
 * predictions and the costs, stays the engine's.
 *
 * Edges: Golovin, Krause and Ray (2010) cut the edges between hypotheses of different classes. With
 * w_g(o) the joint weight of class g and outcome o, what is left uncut is sum_o sum_{g != h}
 * w_g(o) w_h(o). */
#include "diagnose_impl.h"
#include "judge.h"

#include <stdlib.h>

#define OUTCOMES 48

double __real_diagnose_information(const diagnose_cases *cases);
double __wrap_diagnose_information(const diagnose_cases *cases);

static evidence chosen = EVIDENCE_STOP;

void choose_by(evidence policy) {
    chosen = policy;
}

static double below(double at, double mean, double sd) {
    return 0.5 * erfc((mean - at) / (sd * M_SQRT2));
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Edges between outcomes: evenly among the means and what lies a deviation about them. */
static int outcome_edges(const diagnose_cases *cases, double edges[OUTCOMES]) {
    double *at = malloc((size_t)cases->count * 3 * sizeof *at);
    int count = 0, made = 0;
    for (int i = 0; i < cases->count; i++)
        for (int k = -1; k <= 1; k++)
            at[count++] = cases->mean[i] + 1.3 * k * cases->sd[i];
    qsort(at, (size_t)count, sizeof *at, by_size);
    for (int o = 1; o < OUTCOMES; o++) {
        double edge = at[(long)o * count / OUTCOMES];
        if (made == 0 || edge > edges[made - 1]) edges[made++] = edge;
    }
    free(at);
    return made;
}

/* Twice the weight of edges between different groups. */
static double edges_of(const double *weight, int groups) {
    double sum = 0, squares = 0;
    for (int g = 0; g < groups; g++) {
        sum += weight[g];
        squares += weight[g] * weight[g];
    }
    return sum * sum - squares;
}

/* The share of all edges that the outcome is expected to cut. */
static double cut_share(const diagnose_cases *cases) {
    double edges[OUTCOMES], left = 0;
    size_t groups = (size_t)cases->groups;
    double *weight = calloc(2 * groups, sizeof *weight), *before = weight + groups;
    int count = outcome_edges(cases, edges);
    for (int i = 0; i < cases->count; i++)
        before[cases->group[i]] += cases->weight[i];
    double whole = edges_of(before, cases->groups);
    for (int o = 0; o <= count; o++) {
        for (size_t g = 0; g < groups; g++)
            weight[g] = 0;
        for (int i = 0; i < cases->count; i++) {
            double low = o > 0 ? below(edges[o - 1], cases->mean[i], cases->sd[i]) : 0;
            double high = o < count ? below(edges[o], cases->mean[i], cases->sd[i]) : 1;
            weight[cases->group[i]] += cases->weight[i] * (high - low);
        }
        left += edges_of(weight, cases->groups);
    }
    free(weight);
    return whole > 1e-12 ? fmax(1 - left / whole, 0) : 0;
}

static double entropy_of(const diagnose_cases *cases) {
    double *weight = calloc((size_t)cases->groups, sizeof *weight), bits = 0;
    for (int i = 0; i < cases->count; i++)
        weight[cases->group[i]] += cases->weight[i];
    for (int g = 0; g < cases->groups; g++)
        if (weight[g] > 0) bits -= weight[g] * log2(weight[g]);
    free(weight);
    return bits;
}

/* In bits too, so that what is hardly worth its while stays so: the share of edges cut, times the
 * entropy at hand. */
double __wrap_diagnose_information(const diagnose_cases *cases) {
    if (cases->count == 0) return 0;
    double bits = chosen == EVIDENCE_STOP_EDGES ? 0 : __real_diagnose_information(cases);
    if (chosen != EVIDENCE_STOP_EDGES && chosen != EVIDENCE_STOP_MIXED) return bits;
    double edges = cut_share(cases) * entropy_of(cases);
    return chosen == EVIDENCE_STOP_EDGES ? edges : 0.5 * (bits + edges);
}
