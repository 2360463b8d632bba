/* mixture: what draws come from, relative to a prior of independent unit normals.
 *
 * With D the noise's covariance and A the slopes at a mode, the linearised posterior differs from
 * the prior only in the right singular directions of D^-1/2 A, where its standard deviation is
 * 1 / sqrt(1 + s^2). A part is a Student t there, and the prior in all other directions. Where s is
 * large the posterior is a thin sheet, and it bends: the middle in those (tight) directions is
 * found anew for each draw of the others, by Newton steps with the slopes of the mode. It depends
 * on the others only, so the density stays that of a Student t about it. */
#ifndef GRIDLEAK_PERF_MIXTURE_H
#define GRIDLEAK_PERF_MIXTURE_H

#include "base.h"

#define MIXTURE_MOST 6

/* By reading, what is read less what the model shows at v. false: no solution. */
typedef bool mixture_residual(void *context, const double *v, double *residual);

typedef struct mixture_part {
    int rank, tight;     /* directions; of those, the first that are tight */
    double *direction;   /* rank x latents, orthonormal rows */
    double *mean, *sd;   /* by direction */
    double *pull;        /* tight x readings: s / (1 + s^2) u' D^-1/2 */
    double log_laplace;  /* ln evidence by Laplace's method */
    double share, fixed; /* fixed: the part of ln density ratio that is the same everywhere */
} mixture_part;

typedef struct mixture {
    int latents, readings, count;
    double prior_share;
    mixture_residual *residual;
    void *context;
    mixture_part part[MIXTURE_MOST];
    int drawn;               /* the part of the last draw; -1: the prior */
    double *middle;          /* by tight direction: its middle there */
    double *v, *off, *apart; /* room: latents; readings, twice */
} mixture;

/* Where a part is made: v, slopes (readings x latents), noise, and each reading's part of its
 * precision. */
typedef struct mixture_place {
    const double *v, *row, *sd, *weight;
} mixture_place;

/* Sets its room; the caller has set latents, readings, prior_share, residual and context. */
void mixture_init(mixture *mixture);
void mixture_free(mixture *mixture);
/* `height`: ln likelihood - |v|^2 / 2 there. Returns ln evidence by Laplace's method; where a part
 * stands within `same` deviations already, or no more fit in, nothing is added and it is -inf. */
double mixture_add(mixture *mixture, const mixture_place *place, double height, double same);
/* Shares from the evidences; parts more than `hopeless` nats below the best are taken out. */
void mixture_settle(mixture *mixture, double least, double hopeless);
void mixture_draw(mixture *mixture, base_random *random, double *v);
/* ln density / prior's, of the last draw. */
double mixture_log_ratio(mixture *mixture, const double *v);

#endif
