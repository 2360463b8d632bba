/* Private to service: a healthy amp solved, and what a good one may depart from it. */
#ifndef GRIDLEAK_SERVICE_IMPL_H
#define GRIDLEAK_SERVICE_IMPL_H

#include "service.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

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
base_code service_no_memory(base_errors *errors); /* complains */

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

/* All units that are no diodes, and how many. NULL: no memory. */
service_tube *service_tubes_list(service_bench *bench, base_arena *arena, size_t *count);
bool service_rectifiers_list(service_bench *bench, service_chart *chart);

/* The limits of a unit that its sheet may state, and what is said of them. */
typedef struct service_limit_row {
    tube_limit limit;
    base_quantity quantity;
    const char *what;  /* "plate dissipation" */
    const char *words; /* "V3 %s 14.9 W" */
    const char *remedy;
} service_limit_row;
#define SERVICE_LIMIT_ROWS 8
extern const service_limit_row service_limit_rows[SERVICE_LIMIT_ROWS];
/* What a unit does at the point, by limit; NAN where the limit does not concern it. */
void service_tube_does(service_bench *bench, int part, int unit, double does[TUBE_LIMITS]);

/* In the trade's writing, to three figures. Returns `buffer`. */
const char *service_rounded(double value, base_quantity quantity, char *buffer, size_t size);

/* ---- power: what the transformer gives ---- */

typedef struct service_load {
    double volts;    /* at the wall */
    double rms_a;    /* in the winding's lead (with a centre tap: in one half), or at the wall */
    double watts;    /* taken from it */
    double heater_w; /* those of heaters and lamps */
    double square;   /* rectifiers' current seen at the primary, squared */
} service_load;
/* Of a secondary, with the amp on `mains` volts. */
service_load service_winding_load(service_bench *bench, int winding, double mains);
/* Of the whole amp, its transformer's magnetising current left out. */
service_load service_wall_load(service_bench *bench);

/* ---- stock: what is made (common practice, no source) ---- */

#define SERVICE_SAME 0.005 /* values are alike within this part */
#define SERVICE_MOST_WATTS 50.0
/* The smallest resistor that is rated at least `need` W; NAN: none is, or the need is not known. */
double service_stock_watts(double need);
/* The same of a capacitor's volts: electrolytic, mica (and ceramic), or film for any other. */
double service_stock_volts(circuit_material material, double need);
/* The values of `series` (6, 12, 24 of IEC 60063) on both sides of `value`, which is one of them
 * where it is in the series. */
void service_stock_beside(double value, int series, double beside[2]);

/* Volts across a two-ended thing at the point. */
double service_volts(service_bench *bench, int plus, int minus);

#endif
