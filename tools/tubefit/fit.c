/* Fits one unit's curve: least squares on the logarithms of published over computed figures, with
 * weak priors for what no figure fixes, by GSL's Levenberg-Marquardt. */
#include <gsl/gsl_multifit_nlinear.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "tubefit.h"

/* Parameters as the fit sees them: logarithms, but for the contact potential. */
enum {
    LN_PERVEANCE,
    LN_MU,
    LN_SHARPNESS,
    LN_KVB,
    CONTACT,
    LN_MU_PLATE,
    LN_SHARE,
    LN_DRAW,
    LN_KNEE,
    MOST
};
static const size_t parameters_of[] = {[TUBE_DIODE] = 1, [TUBE_TRIODE] = 5, [TUBE_PENTODE] = MOST};

typedef struct prior {
    double mean, deviation; /* of ln(parameter); of volts for the contact potential */
} prior;

/* No source but where said. Perveance: none (flat). Mu: flat for triodes, whose mu is published.
 * Sharpness kp/mu: published parameter sets of this law give 4 to 6 (from memory). kvb: the same
 * sets take sqrt(300) V. Contact: half a volt to a volt, from memory; in a power tube it also takes
 * up how the grid's variable mu departs from the law. mu_plate: gm rp of published points. Share
 * and knee: screen currents and the knees of published curves, from memory. */
static const prior priors[FAMILIES][MOST] = {
    [FAMILY_TRIODE] = {{-7, 5}, {3.4, 3}, {1.6, 0.4}, {2.85, 0.4}, {0.6, 0.3}},
    [FAMILY_SMALL_PENTODE] = {{-7, 5},
                              {3.2, 0.5},
                              {1.6, 0.4},
                              {2.85, 0.4},
                              {0.6, 0.4},
                              {7.5, 1.5},
                              {-1.5, 0.3},
                              {-3.5, 1.0},
                              {-2.0, 0.4}},
    [FAMILY_POWER_PENTODE] = {{-7, 5},
                              {2.2, 0.4},
                              {1.6, 0.5},
                              {2.85, 0.4},
                              {0.6, 1.0},
                              {5.3, 1.0},
                              {-2.5, 0.5},
                              {-1.0, 1.0},
                              {-2.0, 0.4}},
    [FAMILY_RECTIFIER] = {{-7, 5}},
    [FAMILY_SIGNAL_DIODE] = {{-7, 5}},
};

/* How well a published figure of high confidence is taken to be known, as a part of it. The rp of a
 * pentode is a small slope that sheets give roundly. The swing's end is only an estimate. */
static const double known[][QUANTITIES] = {
    [TUBE_DIODE] = {[PLATE] = 0.03},
    [TUBE_TRIODE] = {[PLATE] = 0.03, [MU] = 0.025, [RP] = 0.10, [GM] = 0.04},
    [TUBE_PENTODE] = {[PLATE] = 0.03, [SCREEN] = 0.15, [MU] = 0.03, [RP] = 0.35, [GM] = 0.04},
};
static const double swing_known = 0.25;

/* Grid current: no published figure was at hand. Common practice, no source: its perveance is this
 * part of the cathode's, and the foot begins so that a high-mu triode draws about 1 uA at -0.6 V.
 */
static const double grid_part[FAMILIES] = {0.35, 0.15, 0.10};
static const double grid_contact = 0.3;

static void curve_of(tube_unit *unit, family family, const gsl_vector *x) {
    double p[MOST] = {0};
    for (size_t i = 0; i < x->size; i++)
        p[i] = i == CONTACT ? gsl_vector_get(x, i) : exp(fmin(gsl_vector_get(x, i), 20));
    tube_curve *c = &unit->curve;
    *c = (tube_curve){.perveance = p[LN_PERVEANCE]};
    if (unit->kind == TUBE_DIODE) return;
    c->mu = p[LN_MU];
    c->kp = p[LN_SHARPNESS] * c->mu;
    c->kvb = p[LN_KVB];
    c->contact = p[CONTACT];
    c->grid_perveance = grid_part[family] * c->perveance;
    c->grid_contact = grid_contact;
    if (unit->kind == TUBE_TRIODE) return;
    c->mu_plate = p[LN_MU_PLATE];
    c->share = fmin(p[LN_SHARE], 0.48);
    c->draw = fmin(p[LN_DRAW], 1);
    c->knee = p[LN_KNEE];
}

/* The figures that the curve gives at a point. With the screen joined to the plate, currents and
 * slopes are of both; else a pentode's mu is of its screen, at constant cathode current. */
static void compute(const tube_unit *unit, const tube_fit *point, double figure[QUANTITIES]) {
    tube_point at;
    tube_volts volts = {point->plate_v, point->screen_v, point->grid_v};
    tube_current(unit, &TUBE_BOGEY, &volts, &at);
    double gm = at.d[0][2], gp = at.d[0][0];
    double space_gm = at.d[0][2] + at.d[1][2], space_gs = at.d[0][1] + at.d[1][1];
    if (point->triode) {
        gm = space_gm;
        gp = space_gs + at.d[0][0] + at.d[1][0];
    }
    figure[PLATE] = point->triode ? at.plate + at.screen : at.plate;
    figure[SCREEN] = unit->kind == TUBE_PENTODE && !point->triode ? at.screen : NAN;
    figure[MU] = unit->kind == TUBE_PENTODE && !point->triode ? space_gm / space_gs : gm / gp;
    figure[RP] = 1 / gp;
    figure[GM] = gm;
    for (int q = PLATE + 1; q < QUANTITIES && unit->kind == TUBE_DIODE; q++)
        figure[q] = NAN;
}

typedef struct problem {
    const figures *f;
    int unit;
} problem;

static double doubt_of(const tube_fit *point) {
    return point->confidence[0] == 'h' ? 1 : point->confidence[0] == 'm' ? 1.5 : 4;
}

/* The residuals of one point, from `r` on; returns how many. */
static size_t point_residuals(const tube_unit *unit, const tube_fit *point, const swing *end,
                              double *r) {
    double figure[QUANTITIES];
    size_t n = 0;
    compute(unit, point, figure);
    tube_kind as = point->triode ? TUBE_TRIODE : unit->kind;
    for (int q = 0; q < QUANTITIES; q++)
        if (isfinite(point->published[q]) && known[as][q] > 0)
            r[n++] =
                log((figure[q] + 1e-15) / point->published[q]) / known[as][q] / doubt_of(point);
    if (isfinite(end->plate_v)) {
        tube_fit low = {.plate_v = end->plate_v, .screen_v = point->screen_v};
        compute(unit, &low, figure);
        r[n++] = log(figure[PLATE] / end->plate_a) / swing_known / doubt_of(point);
    }
    return n;
}

enum { RESIDUALS_MOST = 200 };

static size_t all_residuals(const problem *problem, const gsl_vector *x, double *r) {
    const figures *f = problem->f;
    tube_unit unit = f->unit[problem->unit];
    family family = f->family[problem->unit];
    size_t n = 0;
    curve_of(&unit, family, x);
    for (size_t i = 0; i < x->size; i++) {
        const prior *prior = &priors[family][i];
        r[n++] = (gsl_vector_get(x, i) - prior->mean) / prior->deviation;
    }
    for (size_t i = 0; i < f->points && n + QUANTITIES < RESIDUALS_MOST; i++)
        if (figures_of_unit(&f->point[i], problem->unit))
            n += point_residuals(&unit, &f->point[i], &f->swing[i], r + n);
    return n;
}

static int residuals(const gsl_vector *x, void *of, gsl_vector *out) {
    double r[RESIDUALS_MOST];
    size_t n = all_residuals(of, x, r);
    for (size_t i = 0; i < n; i++)
        gsl_vector_set(out, i, r[i]);
    return GSL_SUCCESS;
}

/* Where the search begins: the priors' means, with mu and perveance from the first point. */
static void start(const problem *problem, gsl_vector *x) {
    const figures *f = problem->f;
    tube_unit unit = f->unit[problem->unit];
    family family = f->family[problem->unit];
    double figure[QUANTITIES];
    for (size_t i = 0; i < x->size; i++)
        gsl_vector_set(x, i, priors[family][i].mean);
    for (size_t i = f->points; i-- > 0;) {
        const tube_fit *point = &f->point[i];
        if (!figures_of_unit(point, problem->unit)) continue;
        if (x->size > 1 && isfinite(point->published[MU]))
            gsl_vector_set(x, LN_MU, log(point->published[MU]));
        curve_of(&unit, family, x);
        compute(&unit, point, figure);
        gsl_vector_set(x, LN_PERVEANCE,
                       gsl_vector_get(x, LN_PERVEANCE) +
                           log(point->published[PLATE] / figure[PLATE]));
    }
}

/* A number as it is written to the file. */
static double rounded(double value) {
    char text[40];
    snprintf(text, sizeof text, "%.5g", value);
    return strtod(text, NULL);
}

static void round_curve(tube_curve *c) {
    double *number[] = {&c->mu,   &c->mu_plate,       &c->perveance,   &c->kp,
                        &c->kvb,  &c->contact,        &c->share,       &c->draw,
                        &c->knee, &c->grid_perveance, &c->grid_contact};
    for (size_t i = 0; i < sizeof number / sizeof *number; i++)
        *number[i] = rounded(*number[i]);
}

static bool fit_unit(figures *f, int unit) {
    problem problem = {f, unit};
    size_t p = parameters_of[f->unit[unit].kind];
    double r[RESIDUALS_MOST];
    gsl_vector *x = gsl_vector_alloc(p);
    start(&problem, x);
    size_t n = all_residuals(&problem, x, r);
    gsl_multifit_nlinear_fdf function = {.f = residuals, .n = n, .p = p, .params = &problem};
    gsl_multifit_nlinear_parameters settings = gsl_multifit_nlinear_default_parameters();
    settings.fdtype = GSL_MULTIFIT_NLINEAR_CTRDIFF;
    gsl_multifit_nlinear_workspace *work =
        gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &settings, n, p);
    int info = 0;
    gsl_multifit_nlinear_init(x, &function, work);
    int status = gsl_multifit_nlinear_driver(500, 1e-9, 1e-12, 0, NULL, NULL, &info, work);
    curve_of(&f->unit[unit], f->family[unit], gsl_multifit_nlinear_position(work));
    round_curve(&f->unit[unit].curve);
    gsl_multifit_nlinear_free(work);
    gsl_vector_free(x);
    return status == GSL_SUCCESS || info != 0;
}

/* ---- where the curve may be trusted -------------------------------------------------------- */

/* The highest of a limit over all rating systems, or 0. */
static double highest(const figures *f, int unit, tube_limit limit) {
    double most = 0;
    for (size_t i = 0; i < f->ratings; i++)
        if (f->rating[i].unit == unit || f->rating[i].unit == -1)
            most = fmax(most, f->rating[i].limit[limit]);
    return most;
}

/* Rated limits where there are, else half as much again as the furthest published point. The grid
 * from the cut-off line at the highest volts to zero. A pentode's plate from its knee. */
static tube_region region_of(const figures *f, int unit) {
    const tube_curve *c = &f->unit[unit].curve;
    double plate_v = 0, screen_v = 0, plate_a = 0, least_screen_v = INFINITY;
    for (size_t i = 0; i < f->points; i++) {
        if (!figures_of_unit(&f->point[i], unit)) continue;
        plate_v = fmax(plate_v, f->point[i].plate_v);
        screen_v = fmax(screen_v, f->point[i].screen_v);
        least_screen_v = fmin(least_screen_v, f->point[i].screen_v);
        plate_a = fmax(plate_a, 1.5 * f->point[i].published[PLATE]);
        plate_a = fmax(plate_a, f->swing[i].plate_a);
    }
    plate_v = fmax(plate_v, highest(f, unit, TUBE_PLATE_V));
    screen_v = fmax(screen_v, highest(f, unit, TUBE_SCREEN_V));
    plate_a =
        fmax(plate_a, fmax(highest(f, unit, TUBE_CATHODE_A), highest(f, unit, TUBE_PEAK_PLATE_A)));
    switch (f->unit[unit].kind) {
    case TUBE_DIODE:
        return (tube_region){.plate_v = {0, pow(plate_a / c->perveance, 2. / 3)},
                             .plate_a = {0, plate_a}};
    case TUBE_TRIODE:
        return (tube_region){
            .plate_v = {0, plate_v}, .grid_v = {-plate_v / c->mu, 0}, .plate_a = {0, plate_a}};
    default:
        return (tube_region){.plate_v = {c->knee * screen_v, plate_v},
                             .screen_v = {least_screen_v / 4, screen_v},
                             .grid_v = {-screen_v / c->mu - plate_v / c->mu_plate, 0},
                             .plate_a = {0, plate_a}};
    }
}

static void round_region(tube_region *r) {
    double *range[] = {r->plate_v, r->screen_v, r->grid_v, r->plate_a};
    char text[40];
    for (int i = 0; i < 8; i++) {
        snprintf(text, sizeof text, "%.3g", range[i / 2][i % 2]);
        range[i / 2][i % 2] = strtod(text, NULL);
    }
}

bool fit_units(figures *f) {
    for (int unit = 0; unit < f->units; unit++) {
        if (!fit_unit(f, unit)) return false;
        f->unit[unit].region = region_of(f, unit);
        round_region(&f->unit[unit].region);
    }
    for (size_t i = 0; i < f->points; i++)
        compute(&f->unit[f->point[i].unit < 0 ? 0 : f->point[i].unit], &f->point[i],
                f->point[i].fitted);
    return true;
}

double fit_worst(const tube_fit *point, int *quantity) {
    static const double target[QUANTITIES] = {[PLATE] = 0.10, [MU] = 0.07, [GM] = 0.12};
    double worst = 0;
    *quantity = PLATE;
    for (int q = 0; q < QUANTITIES; q++) {
        double off =
            target[q] > 0 ? fabs(point->fitted[q] / point->published[q] - 1) / target[q] : 0;
        if (off > worst) {
            worst = off;
            *quantity = q;
        }
    }
    return worst;
}
