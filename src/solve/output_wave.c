/* One cycle of the output stage about its mean point.
 *
 * The net around the tubes is linear for what alternates: volts at the ports v = Z q, q the
 * amperes into them beyond what the tubes' tangents at the mean point take. Each sample is solved
 * alone: v = Z (q(v, grid) - mean q). */
#include <lapacke.h>
#include <math.h>
#include <string.h>

#include "output_impl.h"

#define HERTZ 1000.0 /* capacitors pass it, and no inductance counts */
#define MOST_PASSES 60
#define ROUNDS 40 /* until the mean of a cycle has settled */
#define CLOSE_V 1e-7
#define CLOSE_A 1e-9
#define LONGEST_V 100.0

/* ---- the net of ohms ---- */

static int ours(const solve_output *stage, int unknown) {
    return unknown < 0 ? -1 : stage->signal->of_unknown[unknown];
}

static double real_volts(const solve_output *stage, int unknown) {
    return creal(signal_at(stage->signal->volts, ours(stage, unknown)));
}

static void take_tangents(solve_output *stage, const double *numbers) {
    for (int k = 0; k < stage->tubes; k++) {
        output_tube *tube = &stage->tube[k];
        const solve_unit *unit = &stage->system->unit[tube->unit];
        solve_unit_volts(unit, stage->x, &tube->rest);
        solve_unit_state(stage->work, unit, numbers, stage->x, &tube->state);
        tube_current(unit->type, &tube->state, &tube->rest, &tube->point);
    }
}

bool output_linearise(solve_output *stage, const double *numbers) {
    solve_signal *signal = stage->signal;
    solve_signal_set(signal, stage->work, numbers, stage->x);
    take_tangents(stage, numbers);
    if (!signal_factor(signal, 2 * M_PI * HERTZ * I)) return false;
    for (int j = 0; j < stage->ports; j++) {
        int at = ours(stage, stage->node[j]);
        memset(signal->volts, 0, 2 * (size_t)signal->unknowns * sizeof(double));
        if (at >= 0) signal->volts[2 * at] = 1;
        signal_solve(signal);
        for (int i = 0; i < stage->ports; i++)
            stage->ohms[i][j] = real_volts(stage, stage->node[i]);
        for (int i = 0; i < stage->speakers; i++)
            stage->reach[i][j] = real_volts(stage, stage->speaker[i].plus) -
                                 real_volts(stage, stage->speaker[i].minus);
    }
    return true;
}

/* ---- the tubes at one sample ---- */

/* Amperes into the ports beyond the tangents', and their slopes by the ports' volts, at sample k
 * with `drive` volts at the grids. */
static void extra_currents(solve_output *stage, double drive, int sample,
                           double slope[OUTPUT_PORTS][OUTPUT_PORTS]) {
    double *q = stage->extra[sample];
    memset(slope, 0, sizeof(double) * OUTPUT_PORTS * OUTPUT_PORTS);
    for (int k = 0; k < stage->tubes; k++) {
        const output_tube *tube = &stage->tube[k];
        const double *at = stage->volts[sample] + 3 * k;
        tube_point now;
        tube_volts volts = {tube->rest.plate + at[0] - at[2], tube->rest.screen + at[1] - at[2],
                            tube->rest.grid + (tube->side ? -drive : drive) - at[2]};
        tube_current(stage->system->unit[tube->unit].type, &tube->state, &volts, &now);
        const double d0[3] = {at[0] - at[2], at[1] - at[2], -at[2]};
        const double current[2] = {now.plate - tube->point.plate, now.screen - tube->point.screen};
        q[3 * k + 2] = 0;
        for (int i = 0; i < 2; i++) {
            double tangent = 0, sum = 0;
            for (int j = 0; j < 3; j++)
                tangent += tube->point.d[i][j] * d0[j];
            q[3 * k + i] = -(current[i] - tangent);
            q[3 * k + 2] += current[i] - tangent;
            for (int j = 0; j < 3; j++) {
                double more = now.d[i][j] - tube->point.d[i][j];
                sum += more;
                if (j == 2) continue;
                slope[3 * k + i][3 * k + j] -= more;
                slope[3 * k + 2][3 * k + j] += more;
            }
            slope[3 * k + i][3 * k + 2] += sum;
            slope[3 * k + 2][3 * k + 2] -= sum;
        }
    }
}

/* ---- Newton on one sample ---- */

/* v - Z (q - mean) = 0 */
static double sample_error(const solve_output *stage, const double *v, const double *q,
                           double *error) {
    double worst = 0;
    for (int i = 0; i < stage->ports; i++) {
        error[i] = v[i];
        for (int j = 0; j < stage->ports; j++)
            error[i] -= stage->ohms[i][j] * (q[j] - stage->mean[j]);
        worst = fmax(worst, fabs(error[i]));
    }
    return worst;
}

static bool sample_step(const solve_output *stage, double slope[OUTPUT_PORTS][OUTPUT_PORTS],
                        double *error) {
    int n = stage->ports;
    double matrix[OUTPUT_PORTS * OUTPUT_PORTS];
    lapack_int pivot[OUTPUT_PORTS];
    for (int i = 0; i < n; i++)
        for (int j = 0; j < n; j++) {
            double sum = i == j;
            for (int k = 0; k < n; k++)
                sum -= stage->ohms[i][k] * slope[k][j];
            matrix[j * n + i] = sum;
        }
    return LAPACKE_dgesv(LAPACK_COL_MAJOR, n, 1, matrix, n, pivot, error, n) == 0;
}

static bool solve_sample(solve_output *stage, double drive, int k) {
    double slope[OUTPUT_PORTS][OUTPUT_PORTS], error[OUTPUT_PORTS];
    double *v = stage->volts[k];
    for (int pass = 0; pass < MOST_PASSES; pass++) {
        extra_currents(stage, drive, k, slope);
        double worst = sample_error(stage, v, stage->extra[k], error);
        if (worst < CLOSE_V) return true;
        if (!isfinite(worst) || !sample_step(stage, slope, error)) return false;
        double longest = 0;
        for (int i = 0; i < stage->ports; i++)
            longest = fmax(longest, fabs(error[i]));
        double part = pass > 20 ? 0.5 : 1;
        if (longest > LONGEST_V) part *= LONGEST_V / longest;
        for (int i = 0; i < stage->ports; i++)
            v[i] -= part * error[i];
    }
    return false;
}

/* ---- the cycle ---- */

/* Each sample starts from the one before; the mean is found anew until it stays. */
bool output_wave(solve_output *stage, double drive) {
    for (int round = 0; round < ROUNDS; round++) {
        double change = 0, sum[OUTPUT_PORTS] = {0};
        for (int k = 0; k < SOLVE_SAMPLES; k++) {
            if (round == 0 && k > 0)
                memcpy(stage->volts[k], stage->volts[k - 1], sizeof stage->volts[k]);
            double grid = drive * sin(2 * M_PI * k / SOLVE_SAMPLES);
            if (!solve_sample(stage, grid, k)) return false;
            for (int i = 0; i < stage->ports; i++)
                sum[i] += stage->extra[k][i] / SOLVE_SAMPLES;
        }
        for (int i = 0; i < stage->ports; i++) {
            change = fmax(change, fabs(sum[i] - stage->mean[i]));
            stage->mean[i] += 0.7 * (sum[i] - stage->mean[i]);
        }
        if (change < CLOSE_A) return true;
    }
    return true;
}
