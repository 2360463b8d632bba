/* sampler: the evidence of one hypothesis by importance sampling.
 *
 * A hypothesis is a map from independent unit normals (the latents) to the volts of each reading;
 * a reading is those volts and Gaussian noise, or simply wrong. Draws come from a mixture: the
 * prior, and Student-t distributions about the modes of the posterior, each in the directions that
 * the readings tell of (elsewhere the prior). Weights use the density of the whole mixture, so they
 * are bounded. Where a pilot run finds few draws with much weight, components are added there
 * (incremental mixture importance sampling: Raftery and Bao, Biometrics 66, 2010). What a run has
 * learnt with is never counted. */
#ifndef GRIDLEAK_PERF_SAMPLER_H
#define GRIDLEAK_PERF_SAMPLER_H

#include "base.h"

typedef struct sampler_model {
    int latents, readings;
    void *context;
    /* Volts of each reading at v (latents long); row: NULL, or readings x latents, their slopes.
     * false: no solution there. */
    bool (*volts)(void *context, const double *v, double *volts, double *row);
    /* One standard deviation of each reading's noise at v. */
    void (*noise)(void *context, const double *v, double *sd);
} sampler_model;

typedef struct sampler_data {
    const double *y;     /* by reading */
    const double *broad; /* by reading: ln density of a wrong one */
    double wrong;        /* chance that a reading is wrong */
    /* Half of the wrong ones lie near: this part of the volts, and these volts, off. 0: none do. */
    double near_part, near_volts;
} sampler_data;

typedef struct sampler_evidence {
    double log;       /* ln of the mean weight */
    double error;     /* its standard error, nat */
    double effective; /* draws: (sum w)^2 / sum w^2 */
    long draws, unsolved;
    int modes; /* components beside the prior */
} sampler_evidence;

typedef struct sampler sampler; /* keeps model and data by reference */
sampler *sampler_new(const sampler_model *model, const sampler_data *data, uint64_t seed);
void sampler_free(sampler *sampler);
/* Climbs from `start` to modes, with all readings good and with the worst left out, and makes
 * components there. Returns ln evidence by Laplace's method about the best one. */
double sampler_climb(sampler *sampler, const double *start);
void sampler_learn(sampler *sampler); /* pilot runs; then draws count */
/* A component about the draw that had most weight; what was drawn before counts no longer. */
void sampler_learn_more(sampler *sampler);
void sampler_draw(sampler *sampler, long draws);
sampler_evidence sampler_says(const sampler *sampler);

#endif
