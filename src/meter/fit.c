/* A line, with or without a regular beat on it, by least squares (normal equations, Cholesky). */
#include "meter_impl.h"

#include <math.h>
#include <string.h>

#define COLUMNS 4

typedef struct normal { /* A a = b, A = L L' */
    int n;
    double a[COLUMNS][COLUMNS], b[COLUMNS], x[COLUMNS];
} normal;

static void row_of(double t, double hertz, double row[COLUMNS]) {
    row[0] = 1;
    row[1] = t;
    row[2] = cos(2 * M_PI * hertz * t);
    row[3] = sin(2 * M_PI * hertz * t);
}

static bool factor(normal *normal) {
    for (int i = 0; i < normal->n; i++)
        for (int k = 0; k <= i; k++) {
            double sum = normal->a[i][k];
            for (int j = 0; j < k; j++)
                sum -= normal->a[i][j] * normal->a[k][j];
            if (i == k && !(sum > 1e-12 * normal->a[0][0])) return false;
            normal->a[i][k] = i == k ? sqrt(sum) : sum / normal->a[k][k];
        }
    return true;
}

static void solve(normal *normal, const double *b, double *x) {
    for (int i = 0; i < normal->n; i++) {
        x[i] = b[i];
        for (int k = 0; k < i; k++)
            x[i] -= normal->a[i][k] * x[k];
        x[i] /= normal->a[i][i];
    }
    for (int i = normal->n - 1; i >= 0; i--) {
        for (int k = i + 1; k < normal->n; k++)
            x[i] -= normal->a[k][i] * x[k];
        x[i] /= normal->a[i][i];
    }
}

/* Time is scaled to -1 .. 0, ending at the last point, so that no column is far from another. */
static double scaled(const double *t, size_t n, size_t i) {
    double length = t[n - 1] - t[0];
    return length > 0 ? (t[i] - t[n - 1]) / length : 0;
}

typedef struct points {
    const double *t, *y;
    size_t n;
    double hertz;
} points;

static void add_up(normal *normal, const points *points) {
    const double *t = points->t, *y = points->y;
    size_t n = points->n;
    double row[COLUMNS], length = t[n - 1] - t[0], hertz = points->hertz;
    for (size_t i = 0; i < n; i++) {
        row_of(scaled(t, n, i), hertz * length, row);
        for (int a = 0; a < normal->n; a++) {
            normal->b[a] += row[a] * (y[i] - y[n - 1]); /* small numbers lose no digits */
            for (int b = 0; b < normal->n; b++)
                normal->a[a][b] += row[a] * row[b];
        }
    }
}

static void look_at_rest(const normal *normal, const points *points, meter_fit *fit) {
    const double *t = points->t, *y = points->y;
    size_t n = points->n;
    double row[COLUMNS], length = t[n - 1] - t[0], sum = 0, hertz = points->hertz;
    for (size_t i = 0; i < n; i++) {
        double rest = y[i] - y[n - 1];
        row_of(scaled(t, n, i), hertz * length, row);
        for (int a = 0; a < normal->n; a++)
            rest -= row[a] * normal->x[a];
        sum += rest * rest;
        fit->worst = fmax(fit->worst, fabs(rest));
    }
    fit->spread = sqrt(sum / (double)(n - (size_t)normal->n));
}

void meter_fit_points(const double *t, const double *y, size_t n, double hertz, meter_fit *fit) {
    normal normal = {.n = hertz > 0 ? COLUMNS : 2};
    points points = {t, y, n, hertz};
    double unit[COLUMNS] = {0, 1, 0, 0}, inverse[COLUMNS];
    *fit = (meter_fit){0};
    if (n < (size_t)normal.n + 1 || !(t[n - 1] > t[0])) return;
    double length = t[n - 1] - t[0];
    add_up(&normal, &points);
    if (!factor(&normal)) return;
    solve(&normal, normal.b, normal.x);
    look_at_rest(&normal, &points, fit);
    solve(&normal, unit, inverse);
    fit->good = true;
    fit->at_end = y[n - 1] + normal.x[0];
    fit->slope = normal.x[1] / length;
    fit->slope_error = fit->spread * sqrt(inverse[1]) / length;
    fit->mean = fit->at_end - 0.5 * normal.x[1];
    fit->beat = hypot(normal.x[2], normal.x[3]);
}
