/* A rectifier in time: one period by small implicit steps, the periodic one found by shooting. */
#include "world_impl.h"

#define STEPS 160

/* A state that is carried through the period with its slopes by two unknowns. */
typedef struct carried {
    double value, by[2];
} carried;

/* Current of a path with `volts` across its ohms and its diode; *siemens its slope. */
static double path_current(const cycle_drive *drive, int side, double volts, double *siemens) {
    double ohms = drive->ohms[side];
    *siemens = 0;
    if (!drive->tube) {
        if (volts <= drive->drop) return 0;
        *siemens = 1 / (ohms + drive->bulk);
        return (volts - drive->drop) * *siemens;
    }
    if (volts <= 0) return 0;
    double own = volts, slope = 0, current = 0;
    for (int pass = 0; pass < 40; pass++) {
        current = drive->emission[side] * law_diode(&drive->law, own, &slope);
        slope *= drive->emission[side];
        double excess = own + ohms * current - volts, move = excess / (1 + ohms * slope);
        own = fmax(own - move, 0.1 * own);
        if (fabs(move) < 1e-9 * (1 + volts)) break;
    }
    *siemens = slope / (1 + ohms * slope);
    return current;
}

static double pulse(const cycle_drive *drive, int step, double volts, double *siemens) {
    double wave = sin(2 * M_PI * (step + 1) / STEPS), sum = 0, own;
    *siemens = 0;
    for (int side = 0; side < drive->sides; side++) {
        double emf = drive->peak[side] * drive->phase[side] * wave;
        sum += path_current(drive, side, emf - volts, &own);
        *siemens += own;
    }
    return sum;
}

/* ---- into a capacitor ---------------------------------------------------------------------- */

/* One implicit step of C du/dt = pulse - g v, v = u + esr C du/dt: the capacitor's own volts u,
 * from `before`; *shown gets v. */
static carried step_capacitor(const cycle_drive *drive, int step, carried before, double g,
                              carried *shown) {
    double rate = drive->farads * drive->hertz * STEPS, siemens = 0, v = shown->value;
    double stiff = rate / (1 + rate * drive->esr);
    for (int pass = 0; pass < 60; pass++) {
        double current = pulse(drive, step, v, &siemens);
        double move = (stiff * (v - before.value) - current + g * v) / (stiff + siemens + g);
        v -= move;
        if (fabs(move) < 1e-8 * (1 + drive->peak[0])) break;
    }
    double whole = stiff + siemens + g;
    *shown = (carried){v, {stiff * before.by[0] / whole, (stiff * before.by[1] - v) / whole}};
    carried now = before;
    now.value += stiff * (v - before.value) / rate;
    for (int k = 0; k < 2; k++)
        now.by[k] += stiff * (shown->by[k] - before.by[k]) / rate;
    return now;
}

/* The period from `v0` with a load of g: its end, and its mean. */
static void run_capacitor(const cycle_drive *drive, double v0, double g, carried *end,
                          carried *mean) {
    carried u = {v0, {1, 0}}, v = u;
    *mean = (carried){0};
    for (int step = 0; step < STEPS; step++) {
        u = step_capacitor(drive, step, u, g, &v);
        mean->value += v.value / STEPS;
        for (int k = 0; k < 2; k++)
            mean->by[k] += v.by[k] / STEPS;
    }
    *end = u;
}

static double held_current(const cycle_drive *drive, double volts, double *slope) {
    double sum = 0, siemens;
    *slope = 0;
    for (int step = 0; step < STEPS; step++) {
        sum += pulse(drive, step, volts, &siemens) / STEPS;
        *slope -= siemens / STEPS;
    }
    return sum;
}

/* Unknowns: where the period begins, and the load that makes its mean `volts`. */
static double into_capacitor(const cycle_drive *drive, double volts, double *guess, double *slope) {
    double v0 = volts, g = *guess > 0 ? *guess : 1e-4;
    carried end, mean;
    for (int pass = 0; pass < 80; pass++) {
        run_capacitor(drive, v0, g, &end, &mean);
        double a = end.by[0] - 1, b = end.by[1], c = mean.by[0], d = mean.by[1];
        double f = end.value - v0, h = mean.value - volts, whole = a * d - b * c;
        double move_v = (f * d - b * h) / whole, move_g = (a * h - c * f) / whole;
        double lower = g - move_g;
        lower = fmin(fmax(lower, 0.2 * g), 5 * g);
        v0 -= fmin(fmax(move_v, -50), 50);
        bool still = fabs(lower - g) < 1e-7 * g;
        g = lower;
        if (g < 1e-11 || (still && fabs(move_v) < 1e-7 * (1 + fabs(volts)))) {
            *slope = fmin(g + volts * a / whole, -1e-9);
            *guess = g;
            return g * volts;
        }
    }
    return NAN;
}

/* ---- into a choke -------------------------------------------------------------------------- */

/* Volts that the path needs to carry `current`. */
static double path_drop(const cycle_drive *drive, double current, double *ohms) {
    double own = drive->drop + drive->bulk * current, slope = drive->bulk;
    if (drive->tube) {
        own = pow(current / (drive->emission[0] * drive->law.g), 1 / 1.4);
        slope = own / (1.4 * fmax(current, 1e-6));
    }
    *ohms = slope + drive->ohms[0];
    return own + drive->ohms[0] * current;
}

/* One implicit step of L di/dt = |emf| - drop(i) - volts, i never below zero. */
static carried step_choke(const cycle_drive *drive, int step, carried before, double volts) {
    double rate = drive->henries * drive->hertz * STEPS, emf = 0, ohms = 0;
    for (int side = 0; side < drive->sides; side++)
        emf =
            fmax(emf, drive->peak[side] * drive->phase[side] * sin(2 * M_PI * (step + 1) / STEPS));
    double low = 0, high = fmax(before.value + fmax(emf - volts, 0) / rate, 0) + 1e-9;
    if (emf - volts + rate * before.value <= 0) return (carried){0};
    carried now = before;
    for (int pass = 0; pass < 60; pass++) {
        double drop = path_drop(drive, now.value, &ohms);
        double excess = rate * (now.value - before.value) - emf + drop + volts;
        *(excess > 0 ? &high : &low) = now.value;
        double next = now.value - excess / (rate + ohms);
        if (!(next > low && next < high)) next = 0.5 * (low + high);
        if (fabs(next - now.value) < 1e-12 + 1e-9 * now.value) break;
        now.value = next;
    }
    now.by[0] = rate * before.by[0] / (rate + ohms);
    now.by[1] = (rate * before.by[1] - 1) / (rate + ohms);
    return now;
}

static double into_choke(const cycle_drive *drive, double volts, double *guess, double *slope) {
    double start = fmax(*guess, 0);
    for (int pass = 0; pass < 60; pass++) {
        carried now = {start, {1, 0}};
        double mean = 0, by[2] = {0, 0};
        for (int step = 0; step < STEPS; step++) {
            now = step_choke(drive, step, now, volts);
            mean += now.value / STEPS;
            by[0] += now.by[0] / STEPS;
            by[1] += now.by[1] / STEPS;
        }
        double move = (now.value - start) / (1 - now.by[0]);
        if (fabs(move) < 1e-9 + 1e-8 * start) {
            *guess = start;
            *slope = fmin(by[1] + by[0] * now.by[1] / (1 - now.by[0]), -1e-9);
            return mean;
        }
        start = fmax(start + move, 0);
    }
    return NAN;
}

double cycle_current(const cycle_drive *drive, double volts, double *guess, double *slope) {
    double peak = 0;
    for (int side = 0; side < drive->sides; side++)
        peak = fmax(peak, drive->peak[side]);
    *slope = -1e-9;
    if (volts >= peak - drive->drop) return -1e-9 * (volts - peak + drive->drop);
    if (drive->henries > 0) return into_choke(drive, volts, guess, slope);
    if (volts < 0.02 * peak + 0.5) return held_current(drive, volts, slope);
    return into_capacitor(drive, volts, guess, slope);
}
