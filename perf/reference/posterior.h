/* posterior: what each fault's probability is after some readings, by importance sampling. */
#ifndef GRIDLEAK_PERF_POSTERIOR_H
#define GRIDLEAK_PERF_POSTERIOR_H

#include "model.h"

typedef struct posterior_settings {
    long most_draws; /* over all hypotheses */
    double close;    /* total variation that the sampling may leave open */
    double hopeless; /* nats below the best, by Laplace's method, from which none is sampled */
    uint64_t seed;
} posterior_settings;

typedef struct posterior_fault {
    double log_weight; /* ln of prior times evidence */
    double error;      /* its standard error, nat */
    double probability, effective;
    long draws;
    int modes;
    bool sampled; /* false: hopeless by Laplace's method, or as an earlier fault */
} posterior_fault;

typedef struct posterior {
    size_t faults;
    posterior_fault *fault; /* by catalogue index */
    long draws, unsolved;
    double variation; /* total variation that the sampling leaves open, on average */
    double worst_error, least_effective; /* of those with over a hundredth */
    double left_out; /* probability, by Laplace's method, of those that were not sampled */
} posterior;

/* `readings` at places of the engine, each with the meter that the engine proposes. NULL where one
 * is none of them. */
posterior *posterior_new(model_amp *amp, const diagnose_readings *readings,
                         const posterior_settings *settings);
void posterior_free(posterior *posterior);

#endif
