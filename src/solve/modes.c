/* Natural modes: what the linearised amp does by itself.
 *
 * (G + sC) v = 0. With C = B K B', B the ends of each capacitor and coil and K their farads (and
 * minus henries), w = B' v obeys w = -s (B' inverse(G) B) K w: the 1/s are the eigenvalues of a
 * matrix as small as there are capacitors and coils, and those without number of the singular C
 * never appear. The shape comes by inverse iteration at s. */
#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "signal_impl.h"

#define FASTEST 1e-13 /* s: a quicker one is rounding, or a loop of capacitors alone */
#define FOLLOW_ROUNDS 25
#define MANY_OHMS 5e8 /* fifty times the largest resistor of a signal's path */
#define FEIGNED 1e-6  /* a growth less than this part of |s| is none */

typedef struct reduced {
    int n;
    int *store;     /* which of the signal's: those that matter */
    double *column; /* inverse(G) B: unknowns by n */
    double *matrix, *re, *im;
} reduced;

static void reduced_free(reduced *r) {
    free(r->store);
    free(r->column);
    free(r->matrix);
    free(r->re);
    free(r->im);
}

/* Below `hertz` a capacitance of far more ohms than any resistor of the signal's path is none. */
static bool matters(const signal_store *store, double hertz) {
    if (store->a == store->b || !isfinite(hertz)) return true;
    return 2 * M_PI * hertz * store->value * MANY_OHMS > 1;
}

static bool reduced_make(const solve_signal *signal, double hertz, reduced *r) {
    size_t n = 0;
    *r = (reduced){.store = malloc((signal->stores + 1) * sizeof(int))};
    for (size_t i = 0; r->store && i < signal->stores; i++)
        if (matters(&signal->store[i], hertz)) r->store[n++] = (int)i;
    r->n = (int)n;
    r->column = calloc(n * (size_t)signal->unknowns + 1, sizeof(double));
    r->matrix = malloc((n * n + 1) * sizeof(double));
    r->re = malloc((n + 1) * sizeof(double));
    r->im = malloc((n + 1) * sizeof(double));
    return r->store && r->column && r->matrix && r->re && r->im;
}

static double end_volts(const double *column, const signal_store *store) {
    if (store->a == store->b) return column[store->a];
    return solve_at(column, store->a) - solve_at(column, store->b);
}

/* The currents that one volt's rate of change puts in: all columns solved in one call. */
static solve_outcome solve_columns(solve_signal *signal, reduced *r) {
    solve_pattern *pattern = &signal->pattern;
    for (int j = 0; j < r->n; j++) {
        const signal_store *store = &signal->store[r->store[j]];
        double *column = r->column + (size_t)j * (size_t)signal->unknowns;
        if (store->a >= 0) column[store->a] += 1;
        if (store->b >= 0 && store->b != store->a) column[store->b] -= 1;
    }
    klu_numeric *numeric = klu_factor(pattern->column_start, pattern->row, signal->g,
                                      signal->symbolic, &signal->common);
    bool singular = signal->common.status == KLU_SINGULAR;
    if (!numeric) return singular ? SOLVE_SINGULAR : SOLVE_NO_MEMORY;
    if (!singular)
        klu_solve(signal->symbolic, numeric, signal->unknowns, r->n, r->column, &signal->common);
    klu_free_numeric(&numeric, &signal->common);
    return singular ? SOLVE_SINGULAR : SOLVE_CONVERGED;
}

/* Scaled by the root of each store's size from both sides, so that farads and henries compare. */
static void fill_matrix(const solve_signal *signal, reduced *r) {
    for (int j = 0; j < r->n; j++) {
        double value = signal->store[r->store[j]].value;
        const double *column = r->column + (size_t)j * (size_t)signal->unknowns;
        for (int i = 0; i < r->n; i++) {
            const signal_store *other = &signal->store[r->store[i]];
            double scale = sqrt(fabs(other->value)) * copysign(sqrt(fabs(value)), value);
            r->matrix[(size_t)j * (size_t)r->n + (size_t)i] = -scale * end_volts(column, other);
        }
    }
}

static int faster_rising(const void *a, const void *b) {
    const solve_mode *x = a, *y = b;
    return (x->growth < y->growth) - (x->growth > y->growth);
}

/* s = 1 / (re + j im); of a pair the one that turns forwards. */
static size_t gather(const reduced *r, solve_mode *all) {
    size_t count = 0;
    for (int i = 0; i < r->n; i++) {
        double size = hypot(r->re[i], r->im[i]);
        if (!(size > FASTEST) || r->im[i] > 0) continue;
        all[count++] = (solve_mode){r->re[i] / size / size, -r->im[i] / size / size / (2 * M_PI)};
    }
    qsort(all, count, sizeof *all, faster_rising);
    return count;
}

static solve_outcome eigenvalues(solve_signal *signal, reduced *r) {
    solve_outcome outcome = solve_columns(signal, r);
    if (outcome != SOLVE_CONVERGED) return outcome;
    fill_matrix(signal, r);
    int info = LAPACKE_dgeev(LAPACK_COL_MAJOR, 'N', 'N', r->n, r->matrix, r->n > 0 ? r->n : 1,
                             r->re, r->im, NULL, 1, NULL, 1);
    if (info == LAPACK_WORK_MEMORY_ERROR) return SOLVE_NO_MEMORY;
    return info == 0 ? SOLVE_CONVERGED : SOLVE_STALLED;
}

solve_outcome solve_modes(solve_signal *signal, solve_mode *modes, size_t room, size_t *count) {
    return solve_slow_modes(signal, INFINITY, modes, room, count);
}

solve_outcome solve_slow_modes(solve_signal *signal, double hertz, solve_mode *modes, size_t room,
                               size_t *count) {
    reduced r;
    solve_mode all[SOLVE_MODES_MOST];
    *count = 0;
    if (signal->stores > SOLVE_MODES_MOST) return SOLVE_STALLED;
    solve_outcome outcome =
        reduced_make(signal, hertz, &r) ? eigenvalues(signal, &r) : SOLVE_NO_MEMORY;
    if (outcome == SOLVE_CONVERGED) {
        *count = gather(&r, all);
        memcpy(modes, all, (*count < room ? *count : room) * sizeof *modes);
    }
    reduced_free(&r);
    return outcome;
}

bool solve_mode_rises(const solve_mode *mode) {
    return mode->growth > FEIGNED * hypot(mode->growth, 2 * M_PI * mode->hertz);
}

/* The node that swings most. */
static int largest(const solve_signal *signal) {
    int most = 0;
    for (int i = 1; i < signal->currents_from; i++)
        if (cabs(signal_at(signal->volts, i)) > cabs(signal_at(signal->volts, most))) most = i;
    return most;
}

static void scale_to_largest(solve_signal *signal) {
    double complex most = signal_at(signal->volts, largest(signal));
    for (int i = 0; most != 0 && i < signal->unknowns; i++)
        signal_put(signal->volts, i, signal_at(signal->volts, i) / most);
}

static solve_outcome factor_beside(solve_signal *signal, double complex s) {
    if (signal_factor(signal, s)) return SOLVE_CONVERGED;
    return signal->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY : SOLVE_SINGULAR;
}

static double complex rate_of(const solve_mode *mode) {
    return mode->growth + 2 * M_PI * mode->hertz * I;
}

/* volts = C volts */
static void times_c(solve_signal *signal) {
    const solve_pattern *pattern = &signal->pattern;
    for (int i = 0; i < signal->unknowns; i++)
        signal_put(signal->other, i, 0);
    for (int j = 0; j < signal->unknowns; j++)
        for (int k = pattern->column_start[j]; k < pattern->column_start[j + 1]; k++) {
            int row = pattern->row[k];
            double complex sum = signal_at(signal->other, row);
            signal_put(signal->other, row, sum + signal->c[k] * signal_at(signal->volts, j));
        }
    double *old = signal->volts;
    signal->volts = signal->other;
    signal->other = old;
}

/* A few rounds of v = inverse(G + sC) C v a hair beside s, from a start that leaves no node out. */
solve_outcome solve_mode_shape(solve_signal *signal, const solve_mode *mode) {
    solve_outcome outcome = factor_beside(signal, rate_of(mode) * (1 + 1e-7) + 1e-9);
    if (outcome != SOLVE_CONVERGED) return outcome;
    for (int i = 0; i < signal->unknowns; i++)
        signal_put(signal->volts, i, 1 + i % 7);
    for (int pass = 0; pass < 3; pass++) {
        times_c(signal);
        signal_solve(signal);
        scale_to_largest(signal);
    }
    return SOLVE_CONVERGED;
}

/* v = (s0 - s) inverse(G + s0 C) C v for the mode at s: each round shows 1/(s0 - s). */
solve_outcome signal_follow(solve_signal *signal, solve_mode *mode) {
    double complex near = rate_of(mode) * (1 + 1e-4), s = near, last;
    solve_outcome outcome = solve_mode_shape(signal, mode);
    if (outcome == SOLVE_CONVERGED) outcome = factor_beside(signal, near);
    if (outcome != SOLVE_CONVERGED) return outcome;
    for (int round = 0; round < FOLLOW_ROUNDS; round++) {
        int most = largest(signal);
        double complex before = signal_at(signal->volts, most);
        times_c(signal);
        signal_solve(signal);
        last = s;
        s = near - before / signal_at(signal->volts, most);
        scale_to_largest(signal);
        if (!(cabs(s - last) <= 1e-7 * cabs(s))) continue;
        *mode = (solve_mode){creal(s), fabs(cimag(s)) / (2 * M_PI)};
        return SOLVE_CONVERGED;
    }
    return SOLVE_STALLED;
}
