/* Measuring: the chart with what was read, the suspects, before beside after. */
#include "judged.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the chart ----------------------------------------------------------------------------- */

static bool mark_line(json_t *row, const http_phase *at, const service_line *line, int index) {
    const http_judged *read = http_phase_line(at, index);
    json_t *probe = http_json_probe(at->amp->amp, line->part, line->pin);
    return json_object_set_new(row, "read", read ? json_real(read->volts) : json_null()) == 0 &&
           json_object_set_new(row, "verdict", json_string(read ? read->verdict : "")) == 0 &&
           json_object_set_new(row, "probe", probe) == 0;
}

/* Readings at places that the chart does not have. */
static json_t *others(const http_phase *at) {
    json_t *list = json_array();
    for (size_t i = 0; i < at->readings->count; i++)
        if (at->judged[i].line < 0)
            list = http_json_append(list,
                                    json_pack("{s:o,s:o}", "at", http_json_text(at->judged[i].at),
                                              "read", http_json_number(at->judged[i].volts)));
    return list;
}

static json_t *chart_json(const http_phase *at, const service_chart *chart) {
    json_t *json = http_json_chart(chart);
    json_t *lines = json_object_get(json, "lines");
    bool good = json != NULL;
    for (size_t i = 0; good && i < chart->lines; i++)
        good = mark_line(json_array_get(lines, i), at, &chart->line[i], (int)i);
    good = good && json_object_set_new(json, "others", others(at)) == 0 &&
           json_object_set_new(json, "mains_measured",
                               json_boolean(isfinite(at->readings->mains))) == 0;
    if (good) return json;
    json_decref(json);
    return NULL;
}

/* The meter that the query names, else the one of the last reading, else 10 Mohm. */
static bool meter_param(http_call *call, const diagnose_readings *readings, diagnose_meter *meter) {
    const char *text = http_param(call, "meter", "");
    *meter =
        readings->count ? readings->reading[readings->count - 1].meter : diagnose_defaults().meter;
    return !*text ||
           diagnose_meter_read(text, (base_place){.file = "meter"}, meter, call->errors) == BASE_OK;
}

void http_api_chart(http_call *call) {
    diagnose_meter meter;
    http_phase at;
    const char *phase = http_param_word(call, "phase", "before", "before|after");
    if (!phase) return;
    if (http_phase_open(call, phase, &at) && meter_param(call, at.readings, &meter)) {
        const service_chart *chart = http_chart(at.amp, at.readings->mains, &meter, call->errors);
        json_t *json = chart ? chart_json(&at, chart) : NULL;
        if (chart) http_chart_done(at.amp);
        http_answer_computed(call, json);
    }
    http_phase_close(call, &at);
}

/* ---- suspects ------------------------------------------------------------------------------ */

/* What this shop repaired before in amps of this name; a new reference to be held in *history. */
static http_past past_of(http_call *call, bool use, json_t **history) {
    json_t *view = job_view(call->server->store, call->job, call->errors);
    const char *name = json_string_value(json_object_get(json_object_get(view, "amp"), "name"));
    *history = name ? job_history(call->server->store, name, true, call->errors) : NULL;
    json_decref(view);
    return (http_past){.alike = (int)json_integer_value(json_object_get(*history, "alike")),
                       .cause = use ? json_object_get(*history, "causes") : NULL};
}

static void answer_suspects(http_call *call, http_amp *amp, const diagnose_readings *readings,
                            const http_past *past) {
    char *list = http_suspects(amp, call->server->options.priors, readings, past, call->errors);
    if (list) http_answer_bytes(call->answer, "application/json", list, strlen(list));
}

void http_api_suspects(http_call *call) {
    const char *phase = http_param_word(call, "phase", "before", "before|after");
    const char *shop = http_param_word(call, "shop", "0", "0|1");
    if (!phase || !shop) return;
    json_t *history = NULL;
    http_past past = past_of(call, *shop == '1', &history);
    http_amp *amp = http_amp_of_job(call, strcmp(phase, "before") ? JOB_REPAIRED : JOB_FOUND);
    diagnose_readings *readings =
        amp ? job_readings(call->server->store, call->job, phase, amp->system, call->errors) : NULL;
    if (readings && base_errors_worst(call->errors) == BASE_OK)
        answer_suspects(call, amp, readings, &past);
    diagnose_readings_free(readings);
    http_amp_give(call->server->amps, amp);
    json_decref(history);
}
