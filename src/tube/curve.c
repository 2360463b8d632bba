/* The currents of one unit and their exact derivatives. docs/tube-curves.md gives the law, its
 * sources and the meaning of each letter: the same letters stand here. */
#include <math.h>
#include <string.h>

#include "tube.h"

/* Width of the rounding of "positive part" at zero volts. A choice of smoothness, no source. */
static const double rounding_v = 1.0;

/* The exponential foot of the grid current: initial velocities are Maxwellian, e-fold kT/e, at
 * 1050 K (oxide cathode, from memory) 0.0905 V; 3/2 of it because the foot is raised to 3/2. */
static const double foot_v = 0.136;

/* Volts beyond this count as this: no tube sees them, and nothing overflows. */
static const double most_v = 1e6;

typedef struct value_slope {
    double value, slope;
} value_slope;

static value_slope bounded(double volts) {
    if (volts > most_v) return (value_slope){most_v, 0};
    if (volts < -most_v) return (value_slope){-most_v, 0};
    return (value_slope){volts, 1};
}

/* (v + sqrt(v^2 + d^2)) / 2, without cancellation below zero; always above zero. */
static value_slope positive_part(double volts) {
    value_slope v = bounded(volts);
    double root = sqrt(v.value * v.value + rounding_v * rounding_v);
    double part =
        v.value > 0 ? (v.value + root) / 2 : rounding_v * rounding_v / (2 * (root - v.value));
    return (value_slope){part, v.slope * part / root};
}

/* ln(1 + exp(x)), and its slope 1 / (1 + exp(-x)). */
static value_slope softplus(double x) {
    double e = exp(-fabs(x));
    double tail = log1p(e);
    return x > 0 ? (value_slope){x + tail, 1 / (1 + e)} : (value_slope){tail, e / (1 + e)};
}

/* k E^(3/2): the law of Child and Langmuir. */
static value_slope three_halves(double perveance, double drive) {
    double root = sqrt(drive);
    return (value_slope){perveance * drive * root, 1.5 * perveance * root};
}

/* A value and its slopes by plate, screen and grid volts. */
typedef struct field {
    double value, by[3];
} field;

/* The volts as the law sees them, with the slope of each by the volts given. */
typedef struct drive {
    value_slope plate, screen, grid;
    field anode; /* A: the plate of the equivalent triode */
    double h;    /* H = sqrt(kvb^2 + A^2) */
} drive;

static drive drive_of(const tube_unit *unit, const tube_volts *volts) {
    const tube_curve *c = &unit->curve;
    drive d = {.plate = positive_part(volts->plate), .grid = bounded(volts->grid)};
    if (unit->kind == TUBE_PENTODE) {
        double r = c->mu / c->mu_plate;
        d.screen = positive_part(volts->screen);
        d.anode =
            (field){d.screen.value + r * d.plate.value, {r * d.plate.slope, d.screen.slope, 0}};
    } else {
        d.anode = (field){d.plate.value, {d.plate.slope, 0, 0}};
    }
    d.h = sqrt(c->kvb * c->kvb + d.anode.value * d.anode.value);
    return d;
}

/* Current from the cathode to plate and screen: k E^(3/2), E = A/kp ln(1 + exp(kp u)),
 * u = 1/mu + (Vg + contact)/H. */
static field space_current(const tube_curve *c, const drive *d) {
    double a = d->anode.value, h = d->h, v = d->grid.value + c->contact;
    value_slope l = softplus(c->kp * (1 / c->mu + v / h));
    double by_anode = l.value / c->kp - a * l.slope * v * a / (h * h * h);
    double by_grid = a * l.slope / h * d->grid.slope;
    value_slope i = three_halves(c->perveance, a * l.value / c->kp);
    return (field){i.value,
                   {i.slope * by_anode * d->anode.by[0], i.slope * by_anode * d->anode.by[1],
                    i.slope * by_grid}};
}

/* Current into the grid: gk G^(3/2), G = w ln(1 + exp((Vg + gc)/w)), up to doubled where the
 * anode is too low to take the electrons: times 1 + kvb^2/H^2. */
static field grid_current(const tube_curve *c, const drive *d) {
    value_slope g = softplus((d->grid.value + c->grid_contact) / foot_v);
    value_slope i = three_halves(c->grid_perveance, foot_v * g.value);
    double low = c->kvb * c->kvb / (d->h * d->h);
    double by_anode = -2 * i.value * low * d->anode.value / (d->h * d->h);
    return (field){i.value * (1 + low),
                   {by_anode * d->anode.by[0], by_anode * d->anode.by[1],
                    i.slope * g.slope * d->grid.slope * (1 + low)}};
}

/* The screen's share with the plate above the knee: share (1 + m) S/(S + m P), m = draw; its odds
 * times `factor`; *by_factor gets its slope by that. */
static field screen_share(const tube_curve *c, const drive *d, double factor, double *by_factor) {
    double p = d->plate.value, s = d->screen.value, sum = s + c->draw * p;
    double most = c->share * (1 + c->draw);
    double bogey = most * s / sum;
    double scale = 1 - bogey + factor * bogey;
    double slope = factor / (scale * scale) * most * c->draw / (sum * sum);
    *by_factor = bogey * (1 - bogey) / (scale * scale);
    return (field){factor * bogey / scale,
                   {-slope * s * d->plate.slope, slope * p * d->screen.slope, 0}};
}

/* The part of its share that the plate can take: q/sqrt(1 + q^2), q = P/(knee S). */
static field knee_part(const tube_curve *c, const drive *d) {
    double p = d->plate.value, k = c->knee * d->screen.value;
    double root = sqrt(p * p + k * k);
    double slope = 1 / (root * root * root);
    return (field){p / root,
                   {k * k * slope * d->plate.slope, -p * k * slope * c->knee * d->screen.slope, 0}};
}

/* A pentode's space current parted between plate and screen. */
static void part_currents(const tube_curve *c, const drive *d, const tube_state *state,
                          const field *space, tube_point *out) {
    double by_factor;
    field share = screen_share(c, d, state->screen, &by_factor);
    field knee = knee_part(c, d);
    double to_plate = (1 - share.value) * knee.value;
    out->plate = space->value * to_plate;
    out->screen = space->value * (1 - to_plate);
    for (int j = 0; j < 3; j++) {
        double slope = (1 - share.value) * knee.by[j] - share.by[j] * knee.value;
        out->d[0][j] = space->by[j] * to_plate + space->value * slope;
        out->d[1][j] = space->by[j] * (1 - to_plate) - space->value * slope;
    }
    out->by_state[0][1] = -space->value * by_factor * knee.value;
    out->by_state[1][1] = -out->by_state[0][1];
}

static void current_of_diode(const tube_unit *unit, const tube_state *state,
                             const tube_volts *volts, tube_point *out) {
    double bogey = tube_diode(&unit->curve, 1, volts->plate, &out->d[0][0]);
    out->plate = state->emission * bogey;
    out->d[0][0] *= state->emission;
    out->by_state[0][0] = bogey;
}

/* From the bogey tube's currents in `out` to this tube's: emission, then gas. */
static void apply_state(const tube_state *state, tube_point *out) {
    double *current[3] = {&out->plate, &out->screen, &out->grid};
    for (int i = 0; i < 3; i++) {
        out->by_state[i][0] = *current[i];
        *current[i] *= state->emission;
        out->by_state[i][1] *= state->emission;
        for (int j = 0; j < 3; j++)
            out->d[i][j] *= state->emission;
    }
    out->grid -= state->gas * out->plate;
    for (int j = 0; j < 3; j++)
        out->d[2][j] -= state->gas * out->d[0][j];
    out->by_state[2][0] -= state->gas * out->by_state[0][0];
    out->by_state[2][1] -= state->gas * out->by_state[0][1];
    out->by_state[2][2] = -out->plate;
}

void tube_current(const tube_unit *unit, const tube_state *state, const tube_volts *volts,
                  tube_point *out) {
    memset(out, 0, sizeof *out);
    if (unit->kind == TUBE_DIODE) {
        current_of_diode(unit, state, volts, out);
        return;
    }
    drive d = drive_of(unit, volts);
    field space = space_current(&unit->curve, &d);
    field grid = grid_current(&unit->curve, &d);
    out->grid = grid.value;
    memcpy(out->d[2], grid.by, sizeof grid.by);
    if (unit->kind == TUBE_PENTODE) {
        part_currents(&unit->curve, &d, state, &space, out);
    } else {
        out->plate = space.value;
        memcpy(out->d[0], space.by, sizeof space.by);
    }
    apply_state(state, out);
}

double tube_diode(const tube_curve *curve, double scale, double volts, double *slope) {
    /* Nothing flows backwards: a rounded foot would leak amperes through a silicon diode. */
    if (!(volts > 0)) return *slope = 0;
    value_slope i = three_halves(scale * curve->perveance, fmin(volts, most_v));
    *slope = volts < most_v ? i.slope : 0;
    return i.value;
}

/* With u the root of the diode's own volts, u^2 + R k u^3 = V. Halley's steps from just below the
 * root: each cubes the error, so after one of 1e-5 nothing is left. */
double tube_diode_behind(const tube_curve *curve, double scale, double ohms, double volts,
                         double *inside) {
    if (!(volts > 0)) return *inside = 0;
    double k = scale * curve->perveance, a = ohms * k, root = sqrt(volts);
    double u = root / sqrt(1 + a * root);
    for (int pass = 0; pass < 12; pass++) {
        double excess = u * u * (1 + a * u) - volts;
        double slope = u * (2 + 3 * a * u), bend = 2 + 6 * a * u;
        double step = excess * slope / (slope * slope - 0.5 * excess * bend);
        u -= step;
        if (fabs(step) <= 1e-5 * u) break;
    }
    *inside = 1.5 * k * u;
    return k * u * u * u;
}

tube_small tube_small_signal(const tube_point *point) {
    double gm = point->d[0][2], gp = point->d[0][0];
    /* Below a nanosiemens the unit is cut off: a ratio of two nothings tells nothing. */
    if (!(gm > 1e-9) || !(gp > 0)) return (tube_small){NAN, NAN, gm};
    return (tube_small){gm / gp, 1 / gp, gm};
}

/* A logistic step at 0.7 of the rated volts, 0.05 wide: 0.98 at 10 % low, 0.02 at half. */
double tube_heater_emission(double ratio, double *slope) {
    const double middle = 0.7, width = 0.05;
    double full = 1 / (1 + exp((middle - 1) / width));
    value_slope step = softplus((ratio - middle) / width); /* its slope is the logistic step */
    *slope = step.slope * (1 - step.slope) / (width * full);
    return step.slope / full;
}

static bool within(double value, const double range[2]) {
    return value >= range[0] && value <= range[1];
}

bool tube_in_region(const tube_unit *unit, const tube_volts *volts, double plate_a) {
    const tube_region *r = &unit->region;
    if (!within(plate_a, r->plate_a) || !within(volts->plate, r->plate_v)) return false;
    if (unit->kind == TUBE_DIODE) return true;
    if (unit->kind == TUBE_PENTODE && !within(volts->screen, r->screen_v)) return false;
    return within(volts->grid, r->grid_v);
}
