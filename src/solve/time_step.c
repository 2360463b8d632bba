/* One step in time: TR-BDF2 (Bank et al. 1985), as an implicit Runge-Kutta method with an error
 * estimate of third order (Hosea and Shampine 1996). With f the currents that are no charge's and
 * z = C x', so that z + f = 0:
 *
 *   middle, t + gamma h:  C (x1 - x0) / (d h) - z0 + f(x1) = 0
 *   end, t + h:           C (x2 - a x1 + b x0) / (d h) + f(x2) = 0
 *
 * gamma = 2 - sqrt 2, d = gamma / 2, a = 1 / (gamma (2 - gamma)), b = a - 1: both have the matrix
 * C / (d h) + df/dx. Rows without charge are met exactly at both. */
#include <math.h>
#include <string.h>

#include "time_impl.h"

#define D (GAMMA / 2)
#define A (1 / (GAMMA * (2 - GAMMA)))
#define B (A - 1)
#define W 0.35355339059327376 /* sqrt 2 / 4: the weight of z0 and z1 */

#define FIRST_S 1e-7 /* after a change: first the implicit Euler rule, so long */
#define LEAST_S 1e-14
#define MOST_PASSES 8
#define CLOSE 0.1     /* Newton's last step, in units of the error allowed */
#define STEADY 0.3    /* a rate of Newton's steps at which old factors serve */
#define SERVES 0.1    /* factors of a step that was longer or shorter by so much may serve too */
#define FRESH 0.1     /* the rate that new factors are trusted with */
#define PER_MAINS 8   /* the fewest steps in a cycle of the mains */
#define PER_TONE 20   /* and of a tone */
#define OFF_HERTZ 0.2 /* the same, switched off */
#define TOO_NEAR 0.3  /* of the step that follows an onset: a turn so near is stepped over */
#define NEAR_END 0.02 /* the same, where it ceases: there a step over it is the more wrong */
#define CREST 0.75    /* of it: the step after it, towards the crest of the pulse */
#define STAY 1.3      /* a step is lengthened only by more than this: new factors cost */
#define NEAR_V 1e-3   /* within which a tube's tangent serves, at the usual tolerance */
#define GROW 3.0
#define SHRINK 0.2

/* ---- the linear side ---- */

static void prepare(solve_run *run, double dh) {
    if (run->fixed_for == dh) return;
    const solve_signal *net = run->net;
    double rate = 1 / dh;
    for (int k = 0; k < net->pattern.nonzeros; k++)
        run->fixed[k] = net->g[k] + net->c[k] * rate;
    run->fixed_for = dh;
    double change = fabs(dh / run->factors_for - 1);
    if (change > SERVES)
        run->stale = true;
    else
        run->rate = fmax(run->rate, change);
}

/* On the old pivots, until a stage has failed: they may be why. */
static bool factor(solve_run *run) {
    solve_pattern *pattern = &run->net->pattern;
    klu_common *common = &run->common;
    run->count.factors++;
    run->stale = false;
    run->factors_for = run->fixed_for;
    if (run->numeric && !run->pivot &&
        klu_refactor(pattern->column_start, pattern->row, run->value, run->symbolic, run->numeric,
                     common) &&
        common->status == KLU_OK)
        return true;
    run->pivot = false;
    if (run->numeric) klu_free_numeric(&run->numeric, common);
    run->numeric =
        klu_factor(pattern->column_start, pattern->row, run->value, run->symbolic, common);
    return run->numeric && common->status == KLU_OK;
}

static void back_solve(solve_run *run, double *x) {
    klu_solve(run->symbolic, run->numeric, run->net->unknowns, 1, x, &run->common);
}

static double allowed(const solve_run *run) {
    return run->course.tolerance > 0 ? run->course.tolerance : SOLVE_TOLERANCE;
}

static void weigh(solve_run *run) {
    double part = allowed(run);
    run->near = NEAR_V * sqrt(part / SOLVE_TOLERANCE);
    for (int i = 0; i < run->net->unknowns; i++)
        run->weight[i] = 1 / (part * (1 + fabs(run->step.x[i])));
}

/* Root of the mean square, each in units of what is allowed. */
static double size_of(const solve_run *run, const double *x) {
    double sum = 0;
    for (int i = 0; i < run->net->unknowns; i++) {
        double part = x[i] * run->weight[i];
        sum += part * part;
    }
    return sqrt(sum / run->net->unknowns);
}

/* ---- Newton ---- */

/* x from a guess to the root of the stage at `seconds`. Factors of other volts serve
 * as long as the steps fall fast; `rate` is by how much, the last time that two were compared. */
static bool stage(solve_run *run, double *x, double seconds) {
    double last = INFINITY;
    for (int pass = 0; pass < MOST_PASSES; pass++) {
        bool anew = run->stale || run->rate > STEADY;
        time_evaluate(run, x, seconds, anew);
        if (anew && !factor(run)) return false;
        if (anew) run->rate = FRESH;
        memcpy(run->move, run->residual, (size_t)run->net->unknowns * sizeof *x);
        back_solve(run, run->move);
        for (int i = 0; i < run->net->unknowns; i++)
            x[i] -= run->move[i];
        double size = size_of(run, run->move);
        if (!isfinite(size)) return false;
        if (pass > 0) run->rate = fmax(0.3 * run->rate, size / last);
        if (size * fmin(run->rate, 1) <= CLOSE) return true;
        last = size;
    }
    return false;
}

typedef struct instant { /* a state and when it was */
    double t;
    const double *x;
} instant;

/* The parabola through three instants, the middle one at t = 0, at t. */
static void extend(int n, const instant at[3], double t, double *out) {
    double ta = at[0].t, tc = at[2].t;
    double la = t * (t - tc) / (ta * (ta - tc)), lc = t * (t - ta) / (tc * (tc - ta));
    const double *a = at[0].x, *b = at[1].x, *c = at[2].x;
    for (int i = 0; i < n; i++)
        out[i] = b[i] + la * (a[i] - b[i]) + lc * (c[i] - b[i]);
}

static void guess_middle(solve_run *run) {
    time_step *s = &run->step;
    const instant at[3] = {
        {-s->last_h, s->before}, {0, s->x}, {(GAMMA - 1) * s->last_h, s->before_middle}};
    if (s->last_h > 0)
        extend(run->net->unknowns, at, GAMMA * s->h, s->middle);
    else
        memcpy(s->middle, s->x, (size_t)run->net->unknowns * sizeof *s->x);
}

static void guess_next(solve_run *run) {
    time_step *s = &run->step;
    const instant at[3] = {
        {(GAMMA - 1) * s->last_h, s->before_middle}, {0, s->x}, {GAMMA * s->h, s->middle}};
    if (s->last_h > 0)
        extend(run->net->unknowns, at, s->h, s->next);
    else
        memcpy(s->next, s->middle, (size_t)run->net->unknowns * sizeof *s->x);
}

/* right = (p y - q x) / dh of charges. */
static void make_right(solve_run *run, double dh, double p, const double *y, double q) {
    time_step *s = &run->step;
    double now = p / dh, before = q / dh;
    for (int i = 0; i < run->net->unknowns; i++)
        s->right[i] = now * y[i] - before * s->charge[i];
}

/* The charge at x, and the flow: what the stage's equation says that C x' is. */
static void take_flow(solve_run *run, double dh, const double *x, double *charge, double *flow) {
    double rate = 1 / dh;
    time_charge(run, x, charge);
    for (int i = 0; i < run->net->unknowns; i++)
        flow[i] = charge[i] * rate - run->step.right[i];
}

static bool both_stages(solve_run *run) {
    time_step *s = &run->step;
    double dh = D * s->h;
    prepare(run, dh);
    guess_middle(run);
    make_right(run, dh, 1, s->charge, 0);
    for (int i = 0; i < run->net->unknowns; i++)
        s->right[i] += s->flow[i];
    time_emissions_at(run, run->seconds + GAMMA * s->h);
    if (!stage(run, s->middle, run->seconds + GAMMA * s->h)) return false;
    take_flow(run, dh, s->middle, s->middle_charge, s->middle_flow);
    guess_next(run);
    make_right(run, dh, A, s->middle_charge, B);
    time_emissions_at(run, run->seconds + s->h);
    if (!stage(run, s->next, run->seconds + s->h)) return false;
    take_flow(run, dh, s->next, s->next_charge, s->next_flow);
    return true;
}

/* ---- the error ---- */

/* The difference to a rule of third order, as volts: through the stage's own matrix, so that rows
 * without charge have their part. */
static double error_of(solve_run *run) {
    const time_step *s = &run->step;
    for (int i = 0; i < run->net->unknowns; i++)
        run->move[i] =
            ((4 * W - 1) * s->flow[i] - s->middle_flow[i] + 2 * D * s->next_flow[i]) / (3 * D);
    back_solve(run, run->move);
    return size_of(run, run->move);
}

static void swap(double **a, double **b) {
    double *held = *a;
    *a = *b;
    *b = held;
}

static void accept(solve_run *run) {
    time_step *s = &run->step;
    swap(&s->before, &s->x);
    swap(&s->x, &s->next);
    swap(&s->before_middle, &s->middle);
    swap(&s->flow, &s->next_flow);
    swap(&s->charge, &s->next_charge);
    s->last_h = s->h;
    run->seconds += s->h;
    run->count.steps++;
}

/* The longest step that leaps over no part of a cycle of the mains or of a tone. */
static double longest(const solve_run *run) {
    double most = 1 / (run->numbers[run->system->mains] > 0 ? PER_MAINS * run->hertz : OFF_HERTZ);
    for (int i = 0; i < run->course.tones; i++)
        most = fmin(most, 1 / (PER_TONE * run->course.tone[i].hertz));
    return most;
}

/* The step to try: no longer than up to the instant at which a rectifier begins or ceases to
 * conduct; from where it begins, as long as served the last time. */
static double step_wanted(solve_run *run) {
    time_step *s = &run->step;
    bool onset;
    double most = fmin(s->h, longest(run)), turn = time_turn(run, most, &onset);
    s->place = s->at_onset ? TIME_FROM_ONSET : TIME_BETWEEN;
    if (turn == most || turn < (onset ? TOO_NEAR : NEAR_END) * s->onset_h) {
        if (turn < most && onset) s->place = TIME_FROM_ONSET;
        return s->place == TIME_FROM_ONSET ? fmin(s->onset_h, longest(run)) : most;
    }
    if (s->at_onset) return fmin(s->onset_h, turn);
    s->place = onset ? TIME_TO_ONSET : TIME_TO_END;
    return turn;
}

/* The next step's length, from this one's error and from what was wanted; a step cut short says
 * nothing of how long the next may be. */
static void choose_next(solve_run *run, double factor, double wanted, double asked) {
    time_step *s = &run->step;
    double next = s->h * fmin(fmax(factor, SHRINK), GROW);
    bool whole = s->h == wanted;
    s->at_onset = s->place == TIME_TO_ONSET && whole;
    if (s->place == TIME_FROM_ONSET && whole) s->onset_h = fmin(next, 1 / (PER_TONE * run->hertz));
    bool cut = s->place == TIME_TO_ONSET || s->place == TIME_TO_END || !whole;
    if (cut && factor >= 1)
        s->h = fmax(next, asked);
    else if (s->place == TIME_FROM_ONSET)
        s->h = CREST * fmin(next, s->onset_h);
    else if (factor < 1 || factor > STAY)
        s->h = next;
}

solve_outcome time_advance(solve_run *run, double end) {
    time_step *s = &run->step;
    double asked = s->h, wanted = step_wanted(run), left = end - run->seconds;
    weigh(run);
    for (;;) {
        s->h = wanted < 0.55 * left ? wanted : wanted < left ? 0.5 * left : left;
        if (s->h < LEAST_S) return SOLVE_STALLED;
        bool solved = both_stages(run);
        double error = solved ? error_of(run) : INFINITY;
        double factor = 0.9 * pow(fmax(error, 1e-6), -1.0 / 3);
        if (error <= 1) {
            accept(run);
            choose_next(run, factor, wanted, asked);
            return SOLVE_CONVERGED;
        }
        if (run->common.status == KLU_OUT_OF_MEMORY) return SOLVE_NO_MEMORY;
        time_heed(run, s->h);
        wanted = s->h * (solved ? fmax(factor, SHRINK) : 0.25);
        if (s->place != TIME_FROM_ONSET) s->place = TIME_BETWEEN;
        asked = wanted;
        run->rate = 1;
        run->pivot = !solved;
        run->count.refused++;
    }
}

/* Volts and flows just after a change, by a short step of the implicit Euler rule. */
solve_outcome time_settle(solve_run *run) {
    time_step *s = &run->step;
    size_t size = (size_t)run->net->unknowns * sizeof *s->x;
    weigh(run);
    time_charge(run, s->x, s->charge);
    for (double dh = FIRST_S; dh > LEAST_S; dh /= 10) {
        prepare(run, dh);
        run->rate = 1;
        memcpy(s->next, s->x, size);
        make_right(run, dh, 1, s->charge, 0);
        time_emissions_at(run, run->seconds + dh);
        if (!stage(run, s->next, run->seconds + dh)) continue;
        take_flow(run, dh, s->next, s->charge, s->flow);
        memcpy(s->x, s->next, size);
        run->seconds += dh;
        s->h = 10 * dh;
        s->onset_h = 1 / (PER_TONE * run->hertz);
        s->at_onset = false;
        s->last_h = 0;
        return SOLVE_CONVERGED;
    }
    return run->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY : SOLVE_STALLED;
}
