/* Private to service: the rows of margins, for any point of an amp. */
#ifndef GRIDLEAK_SERVICE_MARGINS_H
#define GRIDLEAK_SERVICE_MARGINS_H

#include "standing_impl.h"

/* Volts across each capacitor, by part: while the tubes are cold, and the most on 110 % mains
 * (NULL: that amp could not be solved). */
typedef struct service_worst {
    double *cold, *high;
    bool in_time; /* `cold` is what a power-up that was followed came to, not its bound */
} service_worst;
/* On the bench's mains and a tenth above. false: no memory. The bench stays at its point, but for
 * its factors. */
bool service_worst_find(service_bench *bench, base_arena *arena, service_worst *worst);

/* The rows of the bench's point, into margins whose arena is set. false: no memory. */
bool service_margins_fill(service_bench *bench, const service_worst *worst,
                          service_margins *margins);
/* Opened, filled, ready to show; `margins` has an arena. */
base_code service_margins_open(const solve_system *system, double mains, service_bench *bench,
                               service_margins *margins, base_errors *errors);
/* The power-up followed in time on the bench's mains; NULL: it cannot be. */
service_powerup *service_follow(const service_bench *bench);

/* The row of the same part and figure; NULL: none. */
const service_margin *service_margins_same(const service_margins *in, const service_margin *row);
/* "V2 plate dissipation, C7 volts at idle": over in `now` and not in `then` (NULL: all that are
 * over), but for those of part `except` (may be NULL). In the arena of `now`; NULL: no memory. */
const char *service_margins_news(const service_margins *now, const service_margins *then,
                                 const char *except);

double service_mains_of(const service_bench *bench);
/* Rms amperes through a fuse while the amp runs; NAN where it is not known. */
double service_fuse_current(service_bench *bench, int fuse);

#endif
