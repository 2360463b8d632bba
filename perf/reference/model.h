/* model: what diagnose believes of an amp, without its approximations.
 *
 * The same catalogue, priors, latents and noises; but the amp is solved for each draw, the meter is
 * joined wherever it takes anything, the severity lies anywhere in the range of its grid (evenly
 * in the logarithm), and any number of readings may be wrong. A latent moves the logarithm of its
 * numbers; a pot's wiper moves along its track. The model's error and the mains' wandering belong
 * to the drawn amp with the fault, as diagnose has them; they are tabulated along the severity.
 * The printed chart is not used, and there is one fault at most. */
#ifndef GRIDLEAK_PERF_MODEL_H
#define GRIDLEAK_PERF_MODEL_H

#include "diagnose_impl.h"
#include "sampler.h"

/* One fault along its severity: knots evenly spaced, the drawn amp solved at each. */
typedef struct model_fault {
    int knots, same_as; /* same_as: an earlier fault that predicts the same; -1: none */
    bool solved;        /* at every knot */
    double *x;          /* knots x unknowns */
    double *volts;      /* knots x places */
    double *extra;      /* knots x places: sd of model error and wandering mains */
    double *spread;     /* knots x places: sd of the latents */
} model_fault;

typedef struct model_amp {
    diagnose_engine *engine; /* borrowed: catalogue, latents, places */
    solve_work *work;
    double *numbers, *x, *gradient;
    int places, latents; /* latents: without the severity */
    double *healthy_row; /* places x latents */
    model_fault *fault;  /* by catalogue index */
    long solved;         /* amps solved so far */
    const void *last;    /* the hypothesis whose solution x is, and its knot */
    size_t near;
} model_amp;

model_amp *model_open(diagnose_engine *engine, const solve_system *system); /* NULL: no solution */
void model_close(model_amp *amp);

/* One hypothesis and the places that are read: the context of a sampler_model. */
typedef struct model_hypothesis {
    model_amp *amp;
    int fault;
    double from, width; /* where the severity lies, in cells of the grid; width 0: anywhere */
    int readings;
    const int *place;    /* by reading */
    const double *meter; /* by reading: variance of the meter */
} model_hypothesis;

sampler_model model_of(model_hypothesis *hypothesis);
/* Severity in cells of the grid, 0 to `severities`; 0 without a grid. */
double model_at(const model_hypothesis *hypothesis, const double *v);
/* The latent that puts the severity there. */
double model_severity(const model_hypothesis *hypothesis, double at);
/* What the meter shows there without erring, the amp being solved in `work` and `x`. */
double model_shown(model_amp *amp, const solve_probe *probe, double *gradient);
#define MODEL_KNOTS 4 /* in a cell of the grid */

#endif
