#include "law.h"

#include <gsl/gsl_multimin.h>
#include <math.h>

#define DIODE_POWER 1.4
#define GRID_POWER 1.3
#define GRID_CONTACT                                                                               \
    0.2        /* 0.3 uA begins some 0.7 V below zero: European data sheet, ECC83, from memory */
#define FREE 8 /* parameters of a fit at most */

/* ---- currents ------------------------------------------------------------------------------ */

static double soft(double x) {
    return x > 0 ? x + log1p(exp(-x)) : log1p(exp(x));
}

/* Volts above zero; below, as initial velocities die away: by e in a quarter of a volt. */
static double positive(double volts) {
    return 0.25 * soft(volts / 0.25);
}

static double space_current(const law *law, const law_three *volts) {
    double drive = volts->grid + law->contact +
                   volts->plate / (law->kind == TUBE_PENTODE ? law->mu_plate : law->mu);
    if (law->kind == TUBE_PENTODE) drive += volts->screen / law->mu;
    return law->g * pow(soft(law->c * drive) / law->c, law->power);
}

law_three law_current(const law *law, const law_three *volts, double screen) {
    double plate = positive(volts->plate), space = space_current(law, volts);
    law_three out = {
        .grid = law->grid_g *
                pow(soft(law->grid_c * (volts->grid + GRID_CONTACT)) / law->grid_c, GRID_POWER)};
    if (law->kind == TUBE_TRIODE) {
        out.plate = space * (1 - exp(-plate / 4));
        return out;
    }
    double grid2 = positive(volts->screen);
    space *= 1 - exp(-(plate + grid2) / 4);
    double taken = 1 - exp(-plate / (law->knee * grid2));
    out.plate = space * taken / (1 + screen * law->share * sqrt(grid2 / plate));
    out.screen = space - out.plate;
    return out;
}

double law_diode(const law *law, double volts, double *slope) {
    if (!(volts > 0)) return *slope = 0;
    double current = law->g * pow(volts, DIODE_POWER);
    *slope = DIODE_POWER * current / volts;
    return current;
}

/* A cathode's reserve is used up below some 80 % of its volts: a choice of shape, no source. */
double law_warmth(double ratio) {
    return 1 - exp(-pow(fmax(ratio, 0) / 0.72, 7));
}

/* ---- fitting ------------------------------------------------------------------------------- */

typedef struct fitting {
    const tube_type *type;
    int unit;
    law start;
} fitting;

static bool belongs(const tube_fit *fit, int unit) {
    return fit->unit < 0 || fit->unit == unit;
}

/* The law with its parameters moved by x, in logarithms. */
static law moved(const law *start, const gsl_vector *x) {
    law law = *start;
    double *parameter[FREE] = {&law.g,       &law.mu,       &law.c,     &law.power,
                               &law.contact, &law.mu_plate, &law.share, &law.knee};
    for (size_t i = 0; i < x->size; i++)
        *parameter[i] *= exp(gsl_vector_get(x, i));
    return law;
}

static law_three at_fit(const law *law, const tube_fit *fit, double plate, double screen,
                        double grid) {
    law_three volts = {fit->plate_v + plate, 0, fit->grid_v + grid};
    volts.screen = (fit->triode ? fit->plate_v + plate : fit->screen_v) + screen;
    law_three out = law_current(law, &volts, 1);
    if (fit->triode) out.plate += out.screen;
    return out;
}

/* Plate and screen amperes, mu, plate ohms and siemens, as the figures have them. */
static void figures(const law *law, const tube_fit *fit, double out[5]) {
    bool pentode = law->kind == TUBE_PENTODE && !fit->triode;
    double h = 0.01;
    law_three here = at_fit(law, fit, 0, 0, 0);
    double gm = (at_fit(law, fit, 0, 0, h).plate - at_fit(law, fit, 0, 0, -h).plate) / (2 * h);
    double gp = (at_fit(law, fit, 1, 0, 0).plate - at_fit(law, fit, -1, 0, 0).plate) / 2;
    out[0] = here.plate;
    out[1] = here.screen;
    out[2] = pentode ? law->mu : gm / gp;
    out[3] = 1 / gp;
    out[4] = gm;
}

static double misfit(const gsl_vector *x, void *given) {
    static const double spread[5] = {0.02, 0.10, 0.04, 0.15, 0.05};
    static const double prior[FREE] = {3, 0.3, 0.5, 0.08, 0.7, 0.7, 1, 0.4};
    const fitting *fitting = given;
    law law = moved(&fitting->start, x);
    double sum = 0, figure[5];
    for (size_t i = 0; i < x->size; i++)
        sum += pow(gsl_vector_get(x, i) / prior[i], 2);
    for (size_t f = 0; f < fitting->type->fits; f++) {
        const tube_fit *fit = &fitting->type->fit[f];
        if (!belongs(fit, fitting->unit) || !isfinite(fit->grid_v)) continue;
        figures(&law, fit, figure);
        for (int k = 0; k < 5; k++) {
            if (!isfinite(fit->published[k]) || !(fit->published[k] > 0)) continue;
            double off = log(fmax(figure[k], 1e-12) / fit->published[k]) / spread[k];
            sum += fit->exception ? log1p(off * off) : off * off;
        }
    }
    return isfinite(sum) ? sum : 1e30;
}

static double published_mu(const tube_type *type, int unit, double otherwise) {
    for (size_t f = 0; f < type->fits; f++) {
        const tube_fit *fit = &type->fit[f];
        if (!belongs(fit, unit) || fit->triode) continue;
        if (isfinite(fit->published[2])) return fit->published[2];
        if (isfinite(fit->published[3]) && isfinite(fit->published[4]) &&
            type->unit[unit].kind == TUBE_TRIODE)
            return fit->published[3] * fit->published[4];
    }
    return otherwise;
}

/* Where a fit begins: the cut-off of the 12AX7 in the paper, widened as mu falls. */
static law begin(const tube_type *type, int unit) {
    bool pentode = type->unit[unit].kind == TUBE_PENTODE;
    law law = {
        .kind = type->unit[unit].kind, .g = 2e-3, .power = 1.42, .contact = 0.4, .grid_c = 9.9};
    law.mu = published_mu(type, unit, pentode ? 10 : 40);
    law.c = 3.4 * pow(law.mu * (pentode ? 3 : 1) / 100, 0.7);
    law.mu_plate = 25 * law.mu;
    law.share = 0.1;
    law.knee = 0.12;
    return law;
}

static law fit_diode(const tube_type *type, int unit) {
    law law = {.kind = TUBE_DIODE, .g = 1e-3};
    double sum = 0, weight = 0;
    for (size_t f = 0; f < type->fits; f++) {
        const tube_fit *fit = &type->fit[f];
        if (!belongs(fit, unit) || !(fit->published[0] > 0)) continue;
        double own = fit->exception ? 0.3 : 1;
        sum += own * log(fit->published[0] / pow(fit->plate_v, DIODE_POWER));
        weight += own;
    }
    if (weight > 0) law.g = exp(sum / weight);
    return law;
}

static void minimise(fitting *fitting, size_t count, law *law) {
    gsl_multimin_function function = {misfit, count, fitting};
    gsl_vector *x = gsl_vector_calloc(count), *step = gsl_vector_alloc(count);
    gsl_multimin_fminimizer *simplex =
        gsl_multimin_fminimizer_alloc(gsl_multimin_fminimizer_nmsimplex2, count);
    for (int round = 0; round < 4; round++) {
        gsl_vector_set_all(step, round == 0 ? 0.3 : 0.1);
        gsl_multimin_fminimizer_set(simplex, &function, x, step);
        for (int pass = 0; pass < 600 && !gsl_multimin_fminimizer_iterate(simplex); pass++)
            if (gsl_multimin_fminimizer_size(simplex) < 1e-5) break;
        gsl_vector_memcpy(x, gsl_multimin_fminimizer_x(simplex));
    }
    *law = moved(&fitting->start, x);
    gsl_multimin_fminimizer_free(simplex);
    gsl_vector_free(step);
    gsl_vector_free(x);
}

static double worst_current(const law *law, const tube_type *type, int unit) {
    double worst = 0, figure[5];
    for (size_t f = 0; f < type->fits; f++) {
        const tube_fit *fit = &type->fit[f];
        if (!belongs(fit, unit) || fit->exception || !(fit->published[0] > 0)) continue;
        if (!isfinite(fit->grid_v)) continue;
        figures(law, fit, figure);
        worst = fmax(worst, fabs(figure[0] / fit->published[0] - 1));
    }
    return worst;
}

/* Grid current grows with the cathode: as the paper's 12AX7 has it, less in power tubes. */
law law_fit(const tube_type *type, int unit, double *worst) {
    *worst = 0;
    if (type->unit[unit].kind == TUBE_DIODE) return fit_diode(type, unit);
    fitting fitting = {type, unit, begin(type, unit)};
    law law;
    minimise(&fitting, fitting.start.kind == TUBE_PENTODE ? 8 : 5, &law);
    law.grid_g = (law.kind == TUBE_PENTODE ? 0.1 : 0.28) * law.g;
    *worst = worst_current(&law, type, unit);
    return law;
}
