/* The amp library and the shop's own amps. */
#include "http_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- finding ------------------------------------------------------------------------------- */

char *http_amp_text(http_call *call, const char *name, bool *own) {
    const http_options *options = &call->server->options;
    size_t length = 0;
    base_errors *quiet = base_errors_new();
    char *text = quiet ? job_amp_load(call->server->store, name, quiet) : NULL;
    base_code code = quiet ? base_errors_worst(quiet) : BASE_MEMORY;
    *own = text != NULL;
    const char *inside =
        !text && code == BASE_UNKNOWN ? options->amp(options->library, name, &length) : NULL;
    if (inside) text = strndup(inside, length);
    if (!text && code == BASE_UNKNOWN && !inside)
        base_errors_add(call->errors, BASE_UNKNOWN, (base_place){0},
                        "there is no amp `%.60s`|GET /api/amps lists them", name);
    else if (!text)
        base_errors_add(call->errors, code, (base_place){0}, "the amp `%.60s` cannot be read|%s",
                        name, "look at the disk, and at the free memory");
    base_errors_free(quiet);
    return text;
}

/* ---- the list ------------------------------------------------------------------------------ */

static json_t *amp_row(const char *name, const char *text, size_t length, bool own) {
    static const circuit_outline unknown = {0};
    circuit_outline *read = circuit_outline_new(text, length, NULL);
    const circuit_outline *outline = read ? read : &unknown;
    json_t *row =
        json_pack("{s:o,s:o,s:o,s:o,s:b}", "name", http_json_text(name), "amp",
                  http_json_text(outline->name), "family", http_json_text(outline->family), "story",
                  http_json_text(outline->story), "own", own);
    circuit_outline_free(read);
    return row;
}

/* The library never changes: its list is made once. A new reference, or NULL. */
static json_t *library_list(http_call *call) {
    http_server *server = call->server;
    const http_options *options = &server->options;
    const char *name;
    size_t length;
    pthread_mutex_lock(&server->list_lock);
    if (!server->list) {
        json_t *list = json_array();
        for (size_t i = 0; (name = options->amps(options->library, i)); i++) {
            const char *text = options->amp(options->library, name, &length);
            if (text) list = http_json_append(list, amp_row(name, text, length, false));
        }
        server->list = list;
    }
    json_t *copy = json_copy(server->list);
    pthread_mutex_unlock(&server->list_lock);
    return copy;
}

static json_t *own_row(http_call *call, const json_t *own) {
    const char *name = json_string_value(json_object_get(own, "name"));
    char *text = job_amp_load(call->server->store, name, call->errors);
    json_t *row = text ? amp_row(name, text, strlen(text), true) : NULL;
    free(text);
    return row;
}

void http_api_amps(http_call *call) {
    json_t *own = job_amps(call->server->store, call->errors);
    json_t *list = own ? library_list(call) : NULL;
    for (size_t i = 0; i < json_array_size(own); i++)
        list = http_json_append(list, own_row(call, json_array_get(own, i)));
    http_answer_exact(call, list);
    json_decref(own);
}

/* ---- one amp ------------------------------------------------------------------------------- */

/* What can be told of an amp that reads and solves; added to `json`. */
static void add_open(http_call *call, json_t *json, http_amp *amp) {
    const circuit_about *about = circuit_about_of(amp->amp);
    diagnose_meter meter = diagnose_defaults().meter;
    json_object_set_new(json, "amp", http_json_text(about->name));
    json_object_set_new(json, "family", http_json_text(about->family));
    json_object_set_new(json, "story", http_json_text(about->story));
    json_object_set_new(json, "transformerless", json_boolean(http_amp_live(amp->amp)));
    json_object_set_new(json, "parts", http_json_parts(amp->amp));
    json_object_set_new(json, "tubes", http_json_units(amp->amp));
    const service_chart *chart = http_chart(amp, NAN, &meter, call->errors);
    if (chart) json_object_set_new(json, "chart", http_json_chart(chart));
    if (chart) http_chart_done(amp);
}

/* An amp of one's own may not read yet: then its text comes with what is wrong with it. */
void http_api_amp(http_call *call) {
    bool own = false;
    char *text = http_amp_text(call, call->arg, &own);
    base_errors *wrong = base_errors_new();
    json_t *json =
        text ? json_pack("{s:o,s:b,s:o,s:n,s:n,s:n,s:b,s:[],s:[],s:n}", "name",
                         http_json_text(call->arg), "own", own, "text", http_json_text(text), "amp",
                         "family", "story", "transformerless", false, "parts", "tubes", "chart")
             : NULL;
    if (json && wrong) {
        http_amp *amp = http_amp_take(call->server->amps, call->arg, text, wrong);
        base_errors *told = call->errors;
        call->errors = wrong;
        if (amp) add_open(call, json, amp);
        call->errors = told;
        http_amp_give(call->server->amps, amp);
        json_object_set_new(json, "errors", http_json_errors(wrong, false));
        json_object_set_new(json, "warnings", http_json_errors(wrong, true));
    }
    http_answer_computed(call, json);
    base_errors_free(wrong);
    free(text);
}

void http_api_amp_put(http_call *call) {
    http_server *server = call->server;
    size_t length = 0;
    const char *text = http_body_text(call, "text");
    if (text && server->options.amp(server->options.library, call->arg, &length)) {
        base_errors_add(call->errors, BASE_USAGE, (base_place){0},
                        "`%.60s` is an amp of the library, which cannot be written|save it under "
                        "a name of your own",
                        call->arg);
        text = NULL;
    }
    http_amp *amp = text ? http_amp_take(server->amps, call->arg, text, call->errors) : NULL;
    if (amp &&
        job_amp_save(server->store, call->arg, text, http_now(server), call->errors) == BASE_OK) {
        http_events_tell(server->events, "amp",
                         json_pack("{s:o}", "name", http_json_text(call->arg)));
        http_answer_exact(call, json_pack("{s:o,s:o}", "name", http_json_text(call->arg),
                                          "warnings", http_json_errors(call->errors, true)));
    }
    http_amp_give(server->amps, amp);
}

/* ---- check --------------------------------------------------------------------------------- */

/* Complaints are the answer here, not a failure; as the technician types, most texts are wrong. */
void http_api_check(http_call *call) {
    const char *text = http_body_text(call, "text");
    base_errors *found = text ? base_errors_new() : NULL;
    if (!found) return;
    circuit *amp = circuit_read("the amp", text, strlen(text), call->server->options.tubes, found);
    if (amp) circuit_check(amp, found);
    solve_system *system =
        amp && base_errors_worst(found) == BASE_OK ? solve_system_new(amp, found) : NULL;
    if (system) service_suspicious(system, found);
    http_answer_computed(call, json_pack("{s:o,s:o}", "errors", http_json_errors(found, false),
                                         "warnings", http_json_errors(found, true)));
    solve_system_free(system);
    circuit_free(amp);
    base_errors_free(found);
}

/* ---- curves -------------------------------------------------------------------------------- */

static json_t *numbers(const double *value, size_t count, double scale) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        list = http_json_append(list, http_json_number(value[i] * scale));
    return list;
}

static json_t *line_json(const double *volts, const double *amperes, size_t count) {
    return json_pack("{s:o,s:o}", "plate_v", numbers(volts, count, 1), "plate_ma",
                     numbers(amperes, count, 1e3));
}

static json_t *curves_json(const service_curves *curves) {
    json_t *list = json_array();
    for (size_t i = 0; i < curves->curves; i++)
        list = http_json_append(
            list, json_pack("{s:o,s:o}", "grid_v", http_json_number(curves->curve[i].grid_v),
                            "plate_ma", numbers(curves->curve[i].plate_a, curves->points, 1e3)));
    json_t *point = json_pack("{s:o,s:o,s:o}", "plate_v", http_json_number(curves->point_v),
                              "plate_ma", http_json_number(curves->point_a * 1e3), "grid_v",
                              http_json_number(curves->grid_v));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:b}", "tube",
                     http_json_text(curves->tube), "type", http_json_text(curves->type), "unit",
                     http_json_words(curves->unit), "plate_v",
                     numbers(curves->plate_v, curves->points, 1), "curves", list, "load",
                     line_json(curves->load_v, curves->load_a, 2), "load_ohms",
                     http_json_number(curves->load_ohms), "point", point, "limit",
                     line_json(curves->limit_v, curves->limit_a, curves->limits), "limit_w",
                     http_json_number(curves->limit_w), "system", http_json_text(curves->system),
                     "screen_v", http_json_number(curves->screen_v), "most",
                     json_pack("{s:o,s:o}", "plate_v", http_json_number(curves->most_v), "plate_ma",
                               http_json_number(curves->most_a * 1e3)),
                     "trusted", curves->inside);
}

http_amp *http_amp_named(http_call *call, const char *name) {
    bool own = false;
    char *text = http_amp_text(call, name, &own);
    http_amp *amp = text ? http_amp_take(call->server->amps, name, text, call->errors) : NULL;
    free(text);
    return amp;
}

/* Of ?amp=NAME, or of ?job=N as it was found or repaired. */
static http_amp *amp_asked_for(http_call *call) {
    const char *name = http_param(call, "amp", ""), *job = http_param(call, "job", NULL);
    const char *as = http_param_word(call, "as", "found", "drawn|found|repaired");
    if (!as) return NULL;
    if (job) {
        call->job = strtoll(job, NULL, 10);
        return http_amp_of_job(call, *as == 'd'   ? JOB_DRAWN
                                     : *as == 'f' ? JOB_FOUND
                                                  : JOB_REPAIRED);
    }
    return http_amp_named(call, name);
}

void http_api_curves(http_call *call) {
    const char *tube = http_param(call, "tube", "");
    const char *unit = http_param_word(call, "unit", "0", "0|1|2");
    http_amp *amp = unit ? amp_asked_for(call) : NULL;
    service_curves *curves =
        amp ? service_curves_of(amp->system, NAN, tube, atoi(unit), call->errors) : NULL;
    if (curves) http_answer_computed(call, curves_json(curves));
    service_curves_free(curves);
    http_amp_give(call->server->amps, amp);
}
