#include "judged.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a hand cannot hold still and a meter cannot show: common practice, no source. */
#define LEAST_SLACK 0.02 /* V */

/* ---- verdicts ------------------------------------------------------------------------------ */

static const char *verdict_of(const http_judged *judged, const diagnose_reading *reading) {
    double slack = fmax(LEAST_SLACK, reading->resolution / 2);
    if (judged->volts < judged->low - slack) return "low";
    return judged->volts > judged->high + slack ? "high" : "inside";
}

static void set_line(http_judged *judged, const service_line *line, const diagnose_reading *reading,
                     int sign) {
    snprintf(judged->at, sizeof judged->at, "%s", line->at);
    judged->volts = sign * reading->volts;
    judged->shown = line->shown;
    judged->low = line->low;
    judged->high = line->high;
    judged->verdict = verdict_of(judged, reading);
}

static bool judge(http_phase *at, size_t index, base_errors *errors) {
    const diagnose_reading *reading = &at->readings->reading[index];
    http_judged *judged = &at->judged[index];
    int sign = 1;
    const service_chart *chart = http_chart(at->amp, at->readings->mains, &reading->meter, errors);
    if (!chart) return false;
    *judged = (http_judged){.volts = reading->volts,
                            .line = diagnose_plain(&reading->test)
                                        ? http_chart_line(at->amp, &reading->probe, &sign)
                                        : -1,
                            .shown = NAN,
                            .low = NAN,
                            .high = NAN,
                            .verdict = ""};
    snprintf(judged->at, sizeof judged->at, "%s", reading->at);
    if (judged->line >= 0) set_line(judged, &chart->line[judged->line], reading, sign);
    http_chart_done(at->amp);
    return true;
}

/* ---- a phase ------------------------------------------------------------------------------- */

bool http_phase_open(http_call *call, const char *phase, http_phase *at) {
    *at = (http_phase){0};
    bool before = strcmp(phase, "before") == 0;
    at->amp = http_amp_of_job(call, before ? JOB_FOUND : JOB_REPAIRED);
    if (at->amp)
        at->readings =
            job_readings(call->server->store, call->job, phase, at->amp->system, call->errors);
    if (!at->readings) return false;
    at->judged = calloc(at->readings->count + 1, sizeof *at->judged);
    bool good = at->judged != NULL;
    if (!good)
        base_errors_add(call->errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    for (size_t i = 0; good && i < at->readings->count; i++)
        good = judge(at, i, call->errors);
    return good;
}

void http_phase_close(http_call *call, http_phase *at) {
    free(at->judged);
    diagnose_readings_free(at->readings);
    http_amp_give(call->server->amps, at->amp);
    *at = (http_phase){0};
}

const http_judged *http_phase_line(const http_phase *at, int line) {
    for (size_t i = at->readings->count; i-- > 0;)
        if (at->judged[i].line == line) return &at->judged[i];
    return NULL;
}
