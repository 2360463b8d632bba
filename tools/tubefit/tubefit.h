/* tubefit: published figures (data/figures) in, tube types with fitted curves (data/tubes) out.
 * The figures are read, each unit's curve is fitted, the type is written: one file for each step.
 */
#ifndef TUBEFIT_H
#define TUBEFIT_H

#include "tube_impl.h"

/* What a unit is by its make: says what to assume of a parameter that no figure fixes. */
typedef enum family {
    FAMILY_TRIODE,
    FAMILY_SMALL_PENTODE,
    FAMILY_POWER_PENTODE,
    FAMILY_RECTIFIER,
    FAMILY_SIGNAL_DIODE,
    FAMILIES
} family;

/* The quantities of a tube_fit's published[] and fitted[]. */
enum { PLATE, SCREEN, MU, RP, GM, QUANTITIES };

typedef struct swing {       /* the end of the plate's swing at full power, grid near zero volts */
    double plate_v, plate_a; /* NAN where no power is published */
} swing;

typedef struct figures {
    const char *type;
    const char *head, *notes; /* the file's own text of all that is carried over as it stands */
    int units;
    tube_unit unit[TUBE_UNITS]; /* names, kinds and spreads; the curves are to be fitted */
    family family[TUBE_UNITS];
    const tube_rating *rating;
    size_t ratings;
    tube_fit *point; /* per tube, in SI units; `fitted` is to be filled */
    swing *swing;    /* of each point */
    size_t points;
} figures;

/* Reads one file's text; false with complaints. */
bool figures_read(base_yaml *reader, const char *text, size_t length, figures *out);

/* Whether a point is one of unit `unit`'s. */
bool figures_of_unit(const tube_fit *point, int unit);

/* Fits the curve of every unit, then fills `fitted` of every point. False: the fit failed. */
bool fit_units(figures *f);

/* The largest part by which a figure that has a target is off, against that target: 1 is at it.
 * Targets: plate current 10 %, mu 7 %, transconductance 12 %. *quantity tells which. */
double fit_worst(const tube_fit *point, int *quantity);

/* The type's YAML, appended to `out`. */
void write_type(const figures *f, base_text *out);

#endif
