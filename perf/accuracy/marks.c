#include "marks.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#define BINS 15
#define REDRAWS 200
#define BOOTSTRAPS 1000
#define UNIFORM_BINS 20

marks marks_new(size_t room) {
    return (marks){.value = calloc(room + 1, sizeof(double)),
                   .other = calloc(room + 1, sizeof(double)),
                   .cluster = calloc(room + 1, sizeof(int))};
}

void marks_free(marks *marks) {
    free(marks->value);
    free(marks->other);
    free(marks->cluster);
}

void marks_add(marks *marks, double value, double other, int cluster) {
    marks->value[marks->count] = value;
    marks->other[marks->count] = other;
    marks->cluster[marks->count++] = cluster;
    if (cluster >= marks->clusters) marks->clusters = cluster + 1;
}

double marks_mean(const marks *marks) {
    double sum = 0;
    for (size_t i = 0; i < marks->count; i++)
        sum += marks->value[i];
    return marks->count ? sum / (double)marks->count : NAN;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

interval marks_interval(const marks *marks) {
    double *sum = calloc((size_t)marks->clusters + 1, sizeof *sum), mean[BOOTSTRAPS];
    double *size = calloc((size_t)marks->clusters + 1, sizeof *size);
    base_random random;
    base_random_seed(&random, 20);
    for (size_t i = 0; i < marks->count; i++) {
        sum[marks->cluster[i]] += marks->value[i];
        size[marks->cluster[i]] += 1;
    }
    for (int b = 0; b < BOOTSTRAPS; b++) {
        double all = 0, count = 0;
        for (int c = 0; c < marks->clusters; c++) {
            int drawn = (int)(base_random_unit(&random) * marks->clusters);
            all += sum[drawn];
            count += size[drawn];
        }
        mean[b] = count > 0 ? all / count : marks_mean(marks);
    }
    qsort(mean, BOOTSTRAPS, sizeof *mean, by_size);
    free(sum);
    free(size);
    return (interval){mean[BOOTSTRAPS / 40], mean[BOOTSTRAPS - 1 - BOOTSTRAPS / 40]};
}

/* ---- calibration --------------------------------------------------------------------------- */

typedef struct stated {
    double p, hit;
} stated;

static int by_p(const void *a, const void *b) {
    double x = ((const stated *)a)->p, y = ((const stated *)b)->p;
    return (x > y) - (x < y);
}

static double error_of(const stated *sorted, size_t count) {
    double error = 0;
    for (size_t bin = 0; bin < BINS; bin++) {
        size_t from = bin * count / BINS, to = (bin + 1) * count / BINS;
        double gap = 0;
        for (size_t i = from; i < to; i++)
            gap += sorted[i].p - sorted[i].hit;
        error += fabs(gap);
    }
    return count ? error / (double)count : NAN;
}

double marks_ece(const marks *marks, double *raw) {
    stated *sorted = calloc(marks->count + 1, sizeof *sorted);
    base_random random;
    base_random_seed(&random, 15);
    for (size_t i = 0; i < marks->count; i++)
        sorted[i] = (stated){marks->value[i], marks->other[i]};
    qsort(sorted, marks->count, sizeof *sorted, by_p);
    *raw = error_of(sorted, marks->count);
    double expected = 0;
    for (int draw = 0; draw < REDRAWS; draw++) {
        for (size_t i = 0; i < marks->count; i++)
            sorted[i].hit = base_random_unit(&random) < sorted[i].p;
        expected += error_of(sorted, marks->count) / REDRAWS;
    }
    free(sorted);
    return fmax(*raw - expected, 0);
}

double marks_area(const marks *yes, const marks *no) {
    double sum = 0;
    for (size_t i = 0; i < yes->count; i++)
        for (size_t k = 0; k < no->count; k++)
            sum += yes->value[i] > no->value[k] ? 1 : yes->value[i] == no->value[k] ? 0.5 : 0;
    double pairs = (double)yes->count * (double)no->count;
    return pairs > 0 ? sum / pairs : NAN;
}

double marks_uniform(const marks *marks) {
    double bin[UNIFORM_BINS] = {0}, chi = 0;
    double expected = (double)marks->count / UNIFORM_BINS;
    for (size_t i = 0; i < marks->count; i++)
        bin[(int)fmin(fmax(marks->value[i], 0) * UNIFORM_BINS, UNIFORM_BINS - 1)] += 1;
    for (int b = 0; b < UNIFORM_BINS; b++)
        chi += pow(bin[b] - expected, 2) / expected;
    return marks->count ? gsl_cdf_chisq_Q(chi, UNIFORM_BINS - 1) : NAN;
}

double marks_gap(const marks *marks, double *error) {
    double sum = 0, squares = 0, n = (double)marks->count;
    for (size_t i = 0; i < marks->count; i++) {
        double gap = marks->value[i] - marks->other[i];
        sum += gap;
        squares += gap * gap;
    }
    double mean = n > 0 ? sum / n : NAN;
    *error = n > 1 ? sqrt((squares / n - mean * mean) / (n - 1)) : NAN;
    return mean;
}
