/* The algebra of readings under one hypothesis: a Gaussian, and the same with wrong readings.
 *
 * With Q = C^-1, e = Q r and a set S of readings left out (conditional of a Gaussian by its
 * precision; any text on Gaussian Markov fields):
 *   ln N(y_S | the others) = 1/2 ln det Q_SS - |S|/2 ln 2 pi - 1/2 e_S' Q_SS^-1 e_S. */
#include "diagnose_impl.h"

#include <lapacke.h>
#include <stdlib.h>
#include <string.h>

#define LN_2PI 1.8378770664093454836
#define DOUBTED 8       /* readings that may be one of two wrong ones */
#define NEGLIGIBLE 30.0 /* nats */
#define NOTHING 25.0    /* nats: of a sum, its last eleven digits */

static double trace(const double *c, int n) {
    double sum = 0;
    for (int i = 0; i < n; i++)
        sum += c[i * n + i];
    return sum;
}

/* Factors a copy of c into q; a little is added to the diagonal where rounding spoilt it. */
static bool factor(const double *c, double *q, int n) {
    double little = 1e-12 * trace(c, n) / n;
    for (int attempt = 0; attempt < 4; attempt++, little *= 1e3) {
        memcpy(q, c, (size_t)n * (size_t)n * sizeof *q);
        for (int i = 0; attempt > 0 && i < n; i++)
            q[i * n + i] += little;
        if (LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', n, q, n) == 0) return true;
    }
    return false;
}

static void mirror(double *q, int n) {
    for (int i = 0; i < n; i++)
        for (int k = i + 1; k < n; k++)
            q[k * n + i] = q[i * n + k];
}

bool diagnose_gauss_make(diagnose_gauss *gauss, const double *c, const double *r, int n) {
    double *q = gauss->q, log_det = 0, sum = 0;
    gauss->n = n;
    gauss->log_density = n == 0 ? 0 : -INFINITY;
    if (n == 0) return true;
    for (int i = 0; i < n * n; i++)
        if (!isfinite(c[i])) return false;
    if (!factor(c, q, n)) return false;
    for (int i = 0; i < n; i++)
        log_det += 2 * log(q[i * n + i]);
    if (LAPACKE_dpotri_work(LAPACK_COL_MAJOR, 'L', n, q, n) != 0) return false;
    mirror(q, n);
    for (int i = 0; i < n; i++) {
        gauss->e[i] = 0;
        for (int k = 0; k < n; k++)
            gauss->e[i] += q[i * n + k] * r[k];
        sum += gauss->e[i] * r[i];
    }
    if (!isfinite(sum) || !isfinite(log_det)) return false;
    gauss->log_density = -0.5 * (sum + log_det + n * LN_2PI);
    return true;
}

double diagnose_gauss_given(const diagnose_gauss *gauss, int i) {
    double q = gauss->q[i * gauss->n + i], e = gauss->e[i];
    return 0.5 * (log(q) - LN_2PI - e * e / q);
}

double diagnose_gauss_pair(const diagnose_gauss *gauss, int i, int k) {
    int n = gauss->n;
    double a = gauss->q[i * n + i], b = gauss->q[i * n + k], d = gauss->q[k * n + k];
    double det = a * d - b * b, ei = gauss->e[i], ek = gauss->e[k];
    if (!(det > 1e-12 * a * d)) det = 1e-12 * a * d;
    double sum = (d * ei * ei - 2 * b * ei * ek + a * ek * ek) / det;
    return 0.5 * (log(det) - sum) - LN_2PI;
}

void diagnose_gauss_leave_out(diagnose_gauss *gauss, int i) {
    int n = gauss->n;
    double own = gauss->q[i * n + i], e = gauss->e[i];
    if (!(own > 0)) return;
    for (int k = 0; k < n; k++) {
        double f = gauss->q[i * n + k] / own;
        if (k == i) continue;
        gauss->e[k] -= f * e;
        for (int l = 0; l < n; l++)
            if (l != i) gauss->q[k * n + l] -= f * gauss->q[i * n + l];
    }
    for (int k = 0; k < n; k++)
        gauss->q[i * n + k] = gauss->q[k * n + i] = 0;
    gauss->e[i] = 0;
}

double diagnose_log_sum(double a, double b) {
    double most = fmax(a, b), least = fmin(a, b);
    if (most == -INFINITY || least < most - NOTHING) return most;
    return most + log1p(exp(least - most));
}

/* ---- wrong readings ------------------------------------------------------------------------ */

/* The readings likeliest to be wrong on their own: only pairs with one of these are looked at. */
static int choose_doubted(const double *wrong, int n, int doubted[DOUBTED]) {
    int count = 0;
    for (int i = 0; i < n; i++) {
        int at = count < DOUBTED ? count++ : DOUBTED;
        for (; at > 0 && wrong[doubted[at - 1]] < wrong[i]; at--)
            if (at < DOUBTED) doubted[at] = doubted[at - 1];
        if (at < DOUBTED) doubted[at] = i;
    }
    return count;
}

/* ln of what two wrong readings i and k weigh beside none. */
static double pair_term(const diagnose_gauss *gauss, const double *term, int i, int k) {
    return term[i] + term[k] - diagnose_gauss_pair(gauss, i, k);
}

static bool among(const int *doubted, int count, int i) {
    for (int d = 0; d < count; d++)
        if (doubted[d] == i) return true;
    return false;
}

/* The sums over one and two wrong readings, gathered by reading: `wrong[i]` becomes ln of all that
 * has reading i wrong, and the return value ln of everything. `term[i]`: ln odds that reading i is
 * wrong, times the density of a wrong one. */
static double gather(const diagnose_gauss *gauss, const double *term, double *wrong,
                     const int *doubted, int count) {
    double total = 0; /* ln 1: none is wrong */
    for (int i = 0; i < gauss->n; i++)
        total = diagnose_log_sum(total, wrong[i]);
    for (int d = 0; d < count; d++)
        for (int k = 0; k < gauss->n; k++) {
            int i = doubted[d];
            if (k == i || (among(doubted, d, k))) continue;
            double both = pair_term(gauss, term, i, k);
            if (both < total - NEGLIGIBLE) continue;
            total = diagnose_log_sum(total, both);
            wrong[i] = diagnose_log_sum(wrong[i], both);
            wrong[k] = diagnose_log_sum(wrong[k], both);
        }
    return total;
}

/* ln density of all readings but i, of which at most one more, a doubted one, is wrong. */
static double without(const diagnose_gauss *gauss, const double *term, int i, const int *doubted,
                      int count) {
    double given = diagnose_gauss_given(gauss, i), total = 0;
    for (int d = 0; d < count; d++) {
        double more = doubted[d] == i
                          ? -INFINITY
                          : term[doubted[d]] + given - diagnose_gauss_pair(gauss, i, doubted[d]);
        if (more > total - NEGLIGIBLE) total = diagnose_log_sum(total, more);
    }
    return gauss->log_density - given + total;
}

void diagnose_mix_make(const diagnose_gauss *gauss, double chance, const double *broad,
                       diagnose_mix *mix) {
    int n = gauss->n, doubted[DOUBTED];
    double right = log1p(-chance), odds = log(chance) - right, *term = mix->term;
    mix->log_density = gauss->log_density;
    for (int i = 0; i < n; i++)
        mix->wrong[i] = mix->without[i] = 0;
    if (!isfinite(gauss->log_density) || !(chance > 0)) return;
    for (int i = 0; i < n; i++) {
        term[i] = odds + broad[i];
        mix->wrong[i] = term[i] - diagnose_gauss_given(gauss, i);
    }
    int count = choose_doubted(mix->wrong, n, doubted);
    double total = gather(gauss, term, mix->wrong, doubted, count);
    mix->log_density = gauss->log_density + n * right + total;
    for (int i = 0; i < n; i++) {
        mix->wrong[i] = fmin(exp(mix->wrong[i] - total), 1);
        mix->without[i] = without(gauss, term, i, doubted, count) + (n - 1) * right;
    }
}
