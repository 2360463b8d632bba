/* The simulated meter: what it shows, and what it answers. sim_serve.c carries it over wires. */
#include "sim_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define FILTER_S 0.12 /* the meter's own input filter */
#define OPEN_S 0.4    /* what an open probe still holds runs away */
#define PICKUP_V 0.08 /* and what it picks up */

meter_sim *meter_sim_new(const meter_sim_options *options, base_errors *errors) {
    meter_sim *sim = calloc(1, sizeof *sim);
    if (!sim) {
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left for the simulated meter|close other programs");
        return NULL;
    }
    sim->options = *options;
    sim->pty_kept = -1;
    sim->trouble = options->trouble;
    base_random_seed(&sim->random, options->seed);
    pthread_mutex_init(&sim->lock, NULL);
    return sim;
}

void meter_sim_trouble(meter_sim *sim, unsigned trouble) {
    sim->trouble = trouble;
}

/* ---- what it shows ------------------------------------------------------------------------- */

/* With the lock held: the filter's output now. */
static double follow(meter_sim *sim, double now, bool ac) {
    double passed = fmin(fmax(now - sim->at_s, 0), 5);
    double there = sim->options.volts ? sim->options.volts(sim->options.context, now, ac) : NAN;
    double tau = isnan(there) ? OPEN_S : FILTER_S, shakes = base_random_normal(&sim->random);
    sim->pickup += (shakes * PICKUP_V - 0.3 * sim->pickup) * fmin(passed, 1);
    if (isnan(there)) there = sim->pickup + 0.03 * base_random_normal(&sim->random);
    sim->shown += (there - sim->shown) * (1 - exp(-passed / tau));
    sim->at_s = now;
    return sim->shown;
}

static void write_number(const meter_sim *sim, double volts, char *reply) {
    bool words = (sim->trouble & METER_SUFFIX) != 0;
    if (fabs(volts) > 1.2 * sim->options.range_v)
        snprintf(reply, METER_SIM_REPLY, "%s", words ? "OVLD" : "+9.90000000E+37");
    else
        snprintf(reply, METER_SIM_REPLY, words ? "%+.4f VDC" : "%+.8E", volts);
}

double meter_sim_shows(meter_sim *sim, double s, bool ac) {
    pthread_mutex_lock(&sim->lock);
    double noise = base_random_normal(&sim->random);
    double volts = follow(sim, s, ac) * (1 + sim->options.gain_error);
    volts += noise * (sim->options.noise * fabs(volts) + 0.002);
    pthread_mutex_unlock(&sim->lock);
    if (ac) volts = fabs(volts);
    return round(volts / 0.01) * 0.01;
}

static void answer_read(meter_sim *sim, const meter_sim_state *state, char *reply) {
    double volts = meter_sim_shows(sim, meter_ticks(), state->ac);
    if (state->configured)
        write_number(sim, volts, reply);
    else /* after a reset it measures something else */
        snprintf(reply, METER_SIM_REPLY, "%+.8E", 0.013);
}

/* ---- what it answers ----------------------------------------------------------------------- */

static void answer_error(meter_sim *sim, meter_sim_state *state, char *reply) {
    if (sim->trouble & METER_ERROR_FLOOD || state->errors > 0)
        strcpy(reply, "-113,\"Undefined header\"");
    else
        strcpy(reply, "0,\"No error\"");
    if (state->errors > 0) state->errors--;
}

static bool is(const char *command, const char *name) {
    return strcasecmp(command, name) == 0;
}

void meter_sim_answer(meter_sim *sim, meter_sim_state *state, const char *command,
                      char reply[METER_SIM_REPLY]) {
    *reply = 0;
    if (is(command, "*IDN?"))
        strcpy(reply, "GRIDLEAK,PRACTICE METER,0,1.0");
    else if (is(command, "*ESR?")) {
        snprintf(reply, METER_SIM_REPLY, "%d", (state->reset ? 128 : 0) + (state->errors ? 32 : 0));
        state->reset = false;
    } else if (is(command, "SYST:ERR?") || is(command, "SYSTEM:ERROR?"))
        answer_error(sim, state, reply);
    else if (is(command, "READ?") || is(command, "MEAS?"))
        answer_read(sim, state, reply);
    else if (strncasecmp(command, "CONF:VOLT:", 10) == 0) {
        state->ac = strncasecmp(command + 10, "AC", 2) == 0;
        state->configured = true;
    } else if (is(command, "*CLS"))
        state->errors = 0;
    else if (is(command, "*RST"))
        state->configured = false;
    else if (*command && !is(command, "SYST:REM") && !is(command, "SYST:LOC") && state->errors < 20)
        state->errors++;
}
