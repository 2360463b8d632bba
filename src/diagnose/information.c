/* What one more value would tell: mutual information between a label and a mixture of Gaussians.
 *
 * The value's axis is cut into bins that hold equal shares of the whole mixture; in each bin the
 * labels' shares are sums of normal tails. I = sum over labels g and bins b of
 * P(g,b) ln (P(g,b) / (P(g) P(b))): from below, never negative, never more than the labels hold. */
#include "diagnose_impl.h"

#include <stdlib.h>
#include <string.h>

#define BINS 72
#define KNOTS 7              /* of each case, whose quantiles place the bins */
#define SLIGHT (0.05 / BINS) /* a case of less moves no edge by more than a twentieth of a bin */

typedef struct knot {
    double at, weight;
} knot;

static int by_at(const void *a, const void *b) {
    double x = ((const knot *)a)->at, y = ((const knot *)b)->at;
    return (x > y) - (x < y);
}

/* The middles of seven equal shares of a Gaussian, in deviations. */
static const double knot_at[KNOTS] = {-1.465, -0.792, -0.366, 0, 0.366, 0.792, 1.465};

/* BINS - 1 inner edges; equal ones merge. Returns how many. */
static int place_edges(const diagnose_cases *cases, knot *knots, double *edges) {
    int count = 0, made = 0;
    for (int i = 0; i < cases->count; i++) {
        int first = cases->weight[i] < SLIGHT ? KNOTS / 2 : 0; /* then its middle alone */
        double weight = cases->weight[i] / (KNOTS - 2 * first);
        for (int k = first; k < KNOTS - first; k++)
            knots[count++] = (knot){cases->mean[i] + knot_at[k] * cases->sd[i], weight};
    }
    qsort(knots, (size_t)count, sizeof *knots, by_at);
    double sum = 0;
    int share = 1; /* the next edge is due where the sum reaches share / BINS */
    for (int i = 0; i + 1 < count && made < BINS - 1; i++) {
        sum += knots[i].weight;
        if (sum * BINS < share) continue;
        share = (int)(sum * BINS) + 1;
        double edge = (knots[i].at + knots[i + 1].at) / 2;
        if (made == 0 || edge > edges[made - 1]) edges[made++] = edge;
    }
    return made;
}

static double below(double at, double mean, double sd) {
    return 0.5 * erfc((mean - at) / (sd * M_SQRT2));
}

static void share_out(const diagnose_cases *cases, const double *edges, int count, double *table) {
    for (int i = 0; i < cases->count; i++) {
        double before = 0, *row = table + (size_t)cases->group[i] * BINS;
        double mean = cases->mean[i], sd = cases->sd[i];
        for (int b = 0; b <= count; b++) {
            if (b < count && edges[b] < mean - 6 * sd) continue;
            double upto = b < count ? below(edges[b], mean, sd) : 1;
            row[b] += cases->weight[i] * (upto - before);
            before = upto;
            if (b < count && edges[b] > mean + 6 * sd) break;
        }
    }
}

static double sum_information(const double *table, int groups) {
    double bin[BINS] = {0}, bits = 0;
    for (int g = 0; g < groups; g++)
        for (int b = 0; b < BINS; b++)
            bin[b] += table[(size_t)g * BINS + (size_t)b];
    for (int g = 0; g < groups; g++) {
        const double *row = table + (size_t)g * BINS;
        double own = 0;
        for (int b = 0; b < BINS; b++)
            own += row[b];
        for (int b = 0; b < BINS; b++)
            if (row[b] > 0 && own > 0 && bin[b] > 0) bits += row[b] * log2(row[b] / (own * bin[b]));
    }
    return fmax(bits, 0);
}

double diagnose_information(const diagnose_cases *cases) {
    if (cases->count == 0) return 0;
    double edges[BINS];
    knot *knots = calloc((size_t)cases->count * KNOTS, sizeof *knots);
    double *table = calloc((size_t)cases->groups * BINS, sizeof *table);
    double bits = NAN;
    if (knots && table) {
        int count = place_edges(cases, knots, edges);
        share_out(cases, edges, count, table);
        bits = sum_information(table, cases->groups);
    }
    free(knots);
    free(table);
    return bits;
}
