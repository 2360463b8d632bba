/* Private to service: a healthy amp solved, and what a good one may depart from it. */
#ifndef GRIDLEAK_SERVICE_IMPL_H
#define GRIDLEAK_SERVICE_IMPL_H

#include "service.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* One amp on the bench: its numbers and its operating point. */
typedef struct service_bench {
    const solve_system *system;
    const circuit *amp;
    solve_work *work;
    double *numbers; /* by slot */
    double *x;       /* the operating point */
    solve_result result;
    base_arena *arena;
} service_bench;

/* Solves the healthy amp on `mains` volts (NAN: the file's). On failure adds a complaint and leaves
 * nothing to close. */
base_code service_bench_open(service_bench *bench, const solve_system *system, double mains,
                             base_errors *errors);
/* Goes to other numbers, of which `x` is the solution. */
void service_bench_take(service_bench *bench, const double *numbers, const double *x);
void service_bench_close(service_bench *bench);

diagnose_meter service_printed_meter(const circuit_about *about);

/* The places of the chart in their order; volts are not yet filled in. `probe` and `good` run
 * beside `line`. false: no memory. */
typedef struct service_places {
    service_line *line;
    solve_probe *probe;
    diagnose_good *good; /* room for what is read there */
    size_t count, room;
} service_places;
bool service_places_list(const solve_system *system, base_arena *arena, service_places *places);

/* The rating that is quoted for one unit first, then the first of another system. Returns how many
 * of the two there are. `limit` chooses the line of the table that must be stated. */
int service_ratings_of(const tube_type *type, int unit, tube_limit limit,
                       const tube_rating *found[2]);

bool service_tubes_list(service_bench *bench, service_chart *chart);
bool service_rectifiers_list(service_bench *bench, service_chart *chart);

/* Volts across a two-ended thing at the point. */
double service_volts(service_bench *bench, int plus, int minus);

#endif
