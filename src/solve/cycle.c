/* One cycle of the mains through a rectifier into its first capacitor or choke.
 *
 * The waveform is periodic; in steps of h = 1 / (96 f), with the mean output V given and r the
 * ripple about it (the mean of r is zero):
 *
 *   capacitor:  C (r[k] - r[k-1]) / h = theta g[k] + (1 - theta) g[k-1],
 *               g[k] = i(V + r[k], t[k]) - I - G r[k]
 *   choke:      L (i[k] - i[k-1]) / h = r[k],   i[k] = i(V + r[k], t[k])
 *
 * The capacitor's own series ohms R add R (g[k] - g[k-1]) to each step of r: theta grows by R C /
 * h. i is the sum of the sides' currents through winding ohms and tube drop, I the mean output, and
 * G = I / V lets the load follow the ripple as a resistance does. Newton on all r and I at once:
 * the matrix is a cycle of 1 x 1 blocks with one border, solved by one sweep round. */
#include <math.h>
#include <string.h>

#include "solve_impl.h"

#define STEPS CYCLE_STEPS
#define NO_CAP 1e-9        /* F, where nothing stands at the output: wiring */
#define MOST_CAP 1         /* F; more makes no other ripple, and drowns it in rounding */
#define LITTLE_SERIES 0.05 /* of theta: what a good capacitor adds */
#define MOST_PASSES 30

typedef struct instant { /* one step: the current and its slope, negative by V; and each side's */
    double current, siemens;
    double side_current[2], side_siemens[2];
} instant;

typedef struct ring { /* the linear problem: d[k] r[k] - s[k] r[k-1] + b[k] I = f[k] */
    double d[STEPS], s[STEPS], b[STEPS], f[STEPS];
    bool border; /* I is unknown too, and the sum of r is `sum` */
    double sum;
} ring;

typedef struct problem { /* what one cycle is given */
    const solve_cycle *cycle;
    const solve_drive *drive;
    const double *sine;
    double volts, storage; /* V; C/h or L/h */
    double theta;  /* part that the present instant has in a step; the one before, the rest */
    double series; /* of it, what the capacitor's own ohms add: R C / h */
} problem;

/* ---- the numbers of a cycle ---- */

/* Capacitors side by side share their current by their farads C[i], and so lose as much as
 * sum(C[i]^2 R[i]) / sum(C)^2 in series with their sum would. */
static double joint_esr(const solve_cycle *cycle, const double *numbers, double farads) {
    double sum = 0;
    for (int k = 0; k < cycle->caps; k++)
        if (cycle->esr[k] >= 0)
            sum += pow(numbers[cycle->cap[k]] / farads, 2) * numbers[cycle->esr[k]];
    return sum;
}

static double side_ohms(const solve_side *side, const double *numbers) {
    double ohms = 0;
    for (int k = 0; k < side->ohm_slots; k++)
        ohms += numbers[side->ohms[k]];
    return ohms;
}

/* What drives a rectifier whose cathode gives `warm` of its emission. */
void solve_drive_warm(const solve_system *system, const solve_cycle *cycle, const double *numbers,
                      double warm, solve_drive *drive) {
    *drive = (solve_drive){.farads = cycle->henries > 0 ? 0 : NO_CAP};
    for (int k = 0; k < cycle->sides; k++) {
        const solve_side *side = &cycle->side[k];
        double turns = side->volts < 0 ? 1 : numbers[side->volts] / side->drawn;
        double primary = side->primary < 0 ? 0 : numbers[side->primary];
        drive->peak[k] = sqrt(2) * turns * numbers[system->mains];
        drive->reflected[k] = primary * turns * turns;
        drive->ohms[k] = fmin(side_ohms(side, numbers) + drive->reflected[k], SOLVE_NONE);
        double emission = side->emission < 0 ? 1 : numbers[side->emission];
        drive->scale[k] = emission * warm / (cycle->stack * sqrt(cycle->stack));
    }
    for (int k = 0; k < cycle->caps; k++)
        drive->farads += numbers[cycle->cap[k]];
    drive->farads = fmin(drive->farads, MOST_CAP);
    drive->esr = joint_esr(cycle, numbers, drive->farads);
}

void solve_drive_of(const solve_work *work, const solve_cycle *cycle, const double *numbers,
                    const double *x, solve_drive *drive) {
    double slope, warm = tube_heater_emission(solve_heat_ratio(work, &cycle->heat, x), &slope);
    solve_drive_warm(work->system, cycle, numbers, warm, drive);
}

/* ---- the current of one side ---- */

/* The volts that drive side k at step j, or nothing to speak of. */
static double driving_volts(const problem *given, int k, int j, double ripple) {
    double emf = given->drive->peak[k] * given->cycle->side[k].phase_sign * given->sine[j];
    return emf - given->cycle->offset - given->volts - ripple;
}

static void at_instant(const problem *given, int j, double ripple, instant *now) {
    const solve_drive *drive = given->drive;
    *now = (instant){0};
    for (int k = 0; k < given->cycle->sides; k++) {
        double slope, w = driving_volts(given, k, j, ripple);
        if (w <= 0) continue;
        now->side_current[k] =
            tube_diode_behind(given->cycle->curve, drive->scale[k], drive->ohms[k], w, &slope);
        now->side_siemens[k] = slope / (1 + drive->ohms[k] * slope);
        now->current += now->side_current[k];
        now->siemens += now->side_siemens[k];
    }
}

static void at_every_instant(const problem *given, const double *ripple, instant *now) {
    for (int j = 0; j < STEPS; j++)
        at_instant(given, j, ripple[j], &now[j]);
}

/* ---- the ring of linear equations ---- */

/* Two unknowns by two equations, a b; c d. */
static void solve_two(const double m[4], const double f[2], double out[2]) {
    double determinant = m[0] * m[3] - m[1] * m[2];
    out[0] = (f[0] * m[3] - m[1] * f[1]) / determinant;
    out[1] = (m[0] * f[1] - f[0] * m[2]) / determinant;
}

/* Each r[k] as p + q I + m r[last], swept once round; then the last closes on itself. */
static double ring_solve(const ring *given, double *r) {
    double p[STEPS], q[STEPS], m[STEPS], sum_p = 0, sum_q = 0, sum_m = 0;
    double last_p = 0, last_q = 0, last_m = 1;
    for (int j = 0; j < STEPS; j++) {
        double over = 1 / given->d[j];
        p[j] = last_p = (given->f[j] + given->s[j] * last_p) * over;
        q[j] = last_q = (given->s[j] * last_q - given->b[j]) * over;
        m[j] = last_m = given->s[j] * last_m * over;
        sum_p += last_p;
        sum_q += last_q;
        sum_m += last_m;
    }
    double unknown[2] = {last_p / (1 - last_m), 0}; /* r[last] and I */
    if (given->border)
        solve_two((double[]){1 - last_m, -last_q, sum_m, sum_q},
                  (double[]){last_p, given->sum - sum_p}, unknown);
    for (int j = 0; j < STEPS; j++)
        r[j] = p[j] + q[j] * unknown[1] + m[j] * unknown[0];
    return unknown[1];
}

/* The transposed ring: how the mean output depends on an error in each equation. */
static void ring_adjoint(const ring *given, const double *wanted, double *mu) {
    double p[STEPS + 1], q[STEPS + 1], m[STEPS + 1];
    double sum_p = 0, sum_q = 0, sum_m = 0;
    p[STEPS] = q[STEPS] = 0;
    m[STEPS] = 1;
    for (int j = STEPS - 1; j >= 0; j--) {
        double s = given->s[(j + 1) % STEPS], over = 1 / given->d[j];
        p[j] = (wanted[j] + s * p[j + 1]) * over;
        q[j] = (s * q[j + 1] - (given->border ? 1 : 0)) * over;
        m[j] = s * m[j + 1] * over;
        sum_p += given->b[j] * p[j];
        sum_q += given->b[j] * q[j];
        sum_m += given->b[j] * m[j];
    }
    double unknown[2] = {p[0] / (1 - m[0]), 0}; /* mu[0] and the border's multiplier */
    if (given->border)
        solve_two((double[]){1 - m[0], -q[0], sum_m, sum_q}, (double[]){p[0], 1 - sum_p}, unknown);
    for (int j = 0; j < STEPS; j++)
        mu[j] = p[j] + q[j] * unknown[1] + m[j] * unknown[0];
}

/* ---- Newton on the waveform ---- */

static void capacitor_ring(const problem *given, const solve_wave *wave, const instant *now,
                           ring *out) {
    double soft = sqrt(given->volts * given->volts + 1);
    double load = fmax(wave->current, 0) / soft, by_load = wave->current > 0 ? 1 / soft : 0;
    double theta = given->theta, rest = 1 - theta;
    const instant *last = &now[STEPS - 1];
    double before = wave->ripple[STEPS - 1];
    double gain_before = last->current - wave->current - load * before;
    double siemens_before = last->siemens + load;
    out->border = true;
    out->sum = 0;
    for (int j = 0; j < STEPS; j++) {
        double r = wave->ripple[j], gain = now[j].current - wave->current - load * r;
        double siemens = now[j].siemens + load;
        out->d[j] = given->storage + theta * siemens;
        out->s[j] = given->storage - rest * siemens_before;
        out->b[j] = 1 + by_load * (theta * r + rest * before);
        out->f[j] = theta * gain + rest * gain_before - given->storage * (r - before);
        out->sum -= r;
        before = r, gain_before = gain, siemens_before = siemens;
    }
}

static void choke_ring(const problem *given, const solve_wave *wave, const instant *now,
                       ring *out) {
    out->border = false;
    for (int j = 0; j < STEPS; j++) {
        const instant *before = &now[(j + STEPS - 1) % STEPS];
        out->d[j] = 1 + given->storage * now[j].siemens;
        out->s[j] = given->storage * before->siemens;
        out->b[j] = 0;
        out->f[j] = given->storage * (now[j].current - before->current) - wave->ripple[j];
    }
}

static void make_ring(const problem *given, const solve_wave *wave, const instant *now, ring *out) {
    if (given->cycle->henries > 0)
        choke_ring(given, wave, now, out);
    else
        capacitor_ring(given, wave, now, out);
}

static double mean_current(const instant *now) {
    double sum = 0;
    for (int j = 0; j < STEPS; j++)
        sum += now[j].current;
    return sum / STEPS;
}

static double least_ohms(const problem *given) {
    const double *ohms = given->drive->ohms;
    return given->cycle->sides == 2 ? fmin(ohms[0], ohms[1]) : ohms[0];
}

/* Volts of a last step that leave no error in the current that Kirchhoff's law would show: the
 * error that is left goes with the square of the step. */
static double enough_volts(const problem *given) {
    return 1e-9 * fmin(1 + given->drive->peak[0], least_ohms(given));
}

static bool settle(const problem *given, solve_wave *wave, instant *now, ring *last) {
    double step[STEPS], enough = enough_volts(given);
    for (int pass = 0; pass < MOST_PASSES; pass++) {
        at_every_instant(given, wave->ripple, now);
        make_ring(given, wave, now, last);
        double more = ring_solve(last, step), largest = 0;
        wave->current += more;
        for (int j = 0; j < STEPS; j++) {
            wave->ripple[j] += step[j];
            if (!(fabs(step[j]) <= largest)) largest = fabs(step[j]);
        }
        if (given->cycle->henries > 0) wave->current = mean_current(now);
        if (!(largest > enough)) return isfinite(wave->current);
    }
    return false;
}

/* ---- from a bad start ---- */

/* A capacitor is brought down from one so large, beside the source's ohms, that its ripple is
 * slight and Newton finds it at once; each waveform is the start for the next. */
static bool shrink_capacitor(problem *given, solve_wave *wave, instant *now, ring *last) {
    double wanted = given->storage;
    given->storage = fmax(wanted, 10 / least_ohms(given));
    bool settled = settle(given, wave, now, last);
    while (settled && given->storage > wanted) {
        given->storage = fmax(wanted, given->storage / 8);
        settled = settle(given, wave, now, last);
    }
    given->storage = wanted;
    return settled;
}

/* Then its own ohms are brought up to what they are. */
static bool raise_series(problem *given, solve_wave *wave, instant *now, ring *last) {
    double wanted = given->series, pure = given->theta - wanted;
    if (!(wanted > 0)) return shrink_capacitor(given, wave, now, last);
    given->series = 0;
    given->theta = pure;
    bool settled = shrink_capacitor(given, wave, now, last);
    while (settled && given->series < wanted) {
        given->series = fmin(wanted, fmax(LITTLE_SERIES, 2 * given->series));
        given->theta = pure + given->series;
        settled = settle(given, wave, now, last);
    }
    given->series = wanted;
    given->theta = pure + wanted;
    return settled;
}

/* One instant of a choke, given its current the instant before: L (i - before) / h - r = 0 is
 * convex and falls in r, so Newton's steps stay on one side. */
static void step_choke(const problem *given, int j, double before, double *ripple, instant *now) {
    double enough = 1e-10 * (1 + given->drive->peak[0]);
    for (int pass = 0; pass < MOST_PASSES; pass++) {
        at_instant(given, j, *ripple, now);
        double error = given->storage * (now->current - before) - *ripple;
        double step = error / (1 + given->storage * now->siemens);
        *ripple += step;
        if (fabs(step) <= enough) return;
    }
}

/* A choke is followed from instant to instant, by Newton on the current that comes round again. */
static bool follow_choke(const problem *given, solve_wave *wave, instant *now, ring *last) {
    double round = 0;
    for (int pass = 0; pass < MOST_PASSES; pass++) {
        double current = round, slope = 1;
        for (int j = 0; j < STEPS; j++) {
            step_choke(given, j, current, &wave->ripple[j], &now[j]);
            current = now[j].current;
            slope *= given->storage * now[j].siemens / (1 + given->storage * now[j].siemens);
        }
        double more = (current - round) / (1 - slope);
        round = fmax(round + more, 0);
        if (fabs(more) <= 1e-9 * (1e-3 + round)) break;
    }
    return settle(given, wave, now, last);
}

static bool settle_anew(problem *given, solve_wave *wave, instant *now, ring *last) {
    memset(wave, 0, sizeof *wave);
    return given->cycle->henries > 0 ? follow_choke(given, wave, now, last)
                                     : raise_series(given, wave, now, last);
}

/* ---- what comes of it ---- */

/* How the mean output depends on an error in each equation, and on the current at each instant. */
typedef struct weights {
    double equation[STEPS], current[STEPS];
} weights;

static void weigh(const problem *given, const instant *now, const ring *last, weights *out) {
    double wanted[STEPS], theta = given->theta, *mu = out->equation;
    bool choke = given->cycle->henries > 0;
    for (int j = 0; j < STEPS; j++)
        wanted[j] = choke ? -now[j].siemens / STEPS : 0;
    ring_adjoint(last, wanted, mu);
    for (int j = 0; j < STEPS; j++) {
        double next = mu[(j + 1) % STEPS];
        out->current[j] = choke ? 1.0 / STEPS + given->storage * (mu[j] - next)
                                : theta * mu[j] + (1 - theta) * next;
    }
}

/* Side k's part: how the mean output depends on its volts, ohms and perveance; and the side's own
 * peak and rms current. */
static void side_slopes(const problem *given, int k, const instant *now, const double *weight,
                        solve_cycle_point *point) {
    double ohms = given->drive->ohms[k], square = 0;
    for (int j = 0; j < STEPS; j++) {
        double current = now[j].side_current[k], siemens = now[j].side_siemens[k];
        double emf = given->drive->peak[k] * fabs(given->sine[j]);
        point->by_ln_e[k] += weight[j] * siemens * emf;
        point->by_ln_r[k] -= weight[j] * siemens * current * ohms;
        point->by_ln_k_side[k] += weight[j] * current * (1 - ohms * siemens);
        point->peak_a = fmax(point->peak_a, current);
        square += current * current / STEPS;
    }
    point->rms_a = fmax(point->rms_a, sqrt(square));
}

static void slopes(const problem *given, const solve_wave *wave, const instant *now,
                   const weights *weight, solve_cycle_point *point) {
    for (int k = 0; k < given->cycle->sides; k++)
        side_slopes(given, k, now, weight->current, point);
    point->by_ln_k = point->by_ln_k_side[0] + point->by_ln_k_side[1];
    double square = given->volts * given->volts + 1;
    bool choke = given->cycle->henries > 0;
    double load = choke ? 0 : fmax(wave->current, 0) / sqrt(square);
    for (int j = 0; j < STEPS; j++) {
        int last = (j + STEPS - 1) % STEPS;
        double r = wave->ripple[j], before = wave->ripple[last];
        double rise = now[j].current - now[last].current - load * (r - before);
        point->by_v -= weight->current[j] * (now[j].siemens - r * load * given->volts / square);
        if (choke) continue;
        double by_ln_esr = weight->equation[j] * given->series * rise;
        point->by_ln_esr += by_ln_esr;
        point->by_ln_c += by_ln_esr - weight->equation[j] * given->storage * (r - before);
    }
}

/* Newton's last steps move the output by microvolts: there the slope at hand is exact enough
 * (its error is of second order, far under the Kirchhoff limit). */
static bool nearly_the_same(solve_work *work, size_t index, const solve_drive *drive,
                            double volts) {
    solve_cycle_point *point = &work->cycle_point[index];
    if (memcmp(drive, &point->at, sizeof *drive) != 0 || !(fabs(volts - point->at_v) < 1e-6))
        return false;
    point->current = work->wave[index].current + point->by_v * (volts - point->at_v);
    return true;
}

/* The trapezoidal rule is exact to second order, but it rings where a step is long beside the
 * source's ohms times the capacitor; there, and for a choke, the implicit Euler rule. */
static double theta_of(const problem *given) {
    bool stiff = given->storage * least_ohms(given) < 0.05;
    return stiff || given->cycle->henries > 0 ? 1 : 0.5;
}

void solve_cycle_at(solve_work *work, size_t index, const solve_drive *drive, double volts) {
    const solve_cycle *cycle = &work->system->cycle[index];
    solve_wave *wave = &work->wave[index];
    solve_cycle_point *point = &work->cycle_point[index];
    double per_step = STEPS * cycle->hertz;
    problem given = {.cycle = cycle, .drive = drive, .sine = work->system->sine, .volts = volts};
    given.storage = (cycle->henries > 0 ? cycle->henries : drive->farads) * per_step;
    given.series = cycle->henries > 0 ? 0 : drive->esr * given.storage;
    given.theta = theta_of(&given) + given.series;
    if (nearly_the_same(work, index, drive, volts)) return;
    instant now[STEPS];
    ring last;
    weights weight;
    if (!settle(&given, wave, now, &last) && !settle_anew(&given, wave, now, &last))
        wave->current = NAN; /* no point is found from here: Newton turns back */
    *point = (solve_cycle_point){.current = wave->current, .at_v = volts, .at = *drive};
    weigh(&given, now, &last, &weight);
    slopes(&given, wave, now, &weight, point);
}
