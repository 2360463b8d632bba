/* law: tube currents by laws of another family than src/tube's, so that the truth does not come
 * from the curves that must find it.
 *
 * Triodes: Dempwolf and Zoelzer, "A physically-motivated triode model for circuit simulations",
 * DAFx 2011 (from memory): I = G (ln(1 + exp(C (Vg + v0 + Va/mu)))/C)^p, the grid's current
 * likewise; v0, the contact potential, is added here.
 * Pentodes: the same with Vs/mu + Va/mu_plate; plate and screen share as Spangenberg, "Vacuum
 * Tubes" (1948), divides currents (from memory): Is/Ip = share sqrt(Vs/Va), and below the knee the
 * plate takes 1 - exp(-Va/(knee Vs)) of that. Diodes: I = G V^1.4. Each is fitted to the figures
 * published for its type. */
#ifndef GRIDLEAK_PERF_LAW_H
#define GRIDLEAK_PERF_LAW_H

#include "tube.h"

typedef struct law {
    tube_kind kind;
    double g, mu, mu_plate, c, power, contact; /* A/V^p, -, -, 1/V, -, V */
    double share, knee;                        /* pentode */
    double grid_g, grid_c;
} law;

/* Electrode volts to the cathode, and the currents into the electrodes [A]. */
typedef struct law_three {
    double plate, screen, grid;
} law_three;

/* `screen` multiplies the screen's odds against the plate. */
law_three law_current(const law *law, const law_three *volts, double screen);
/* A diode's current, and its slope. */
double law_diode(const law *law, double volts, double *slope);
/* Fits the law of one unit to its published points; *worst gets the largest error of a plate
 * current that was not excepted, as a part. */
law law_fit(const tube_type *type, int unit, double *worst);
/* Emission as a part of normal when the heater gets `ratio` of its rated volts. */
double law_warmth(double ratio);

#endif
