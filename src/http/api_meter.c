/* The meter, the guide and the drain watch: what the page asks and presses. */
#include "live_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- the meter ----------------------------------------------------------------------------- */

static json_t *meter_json(http_live *live) {
    pthread_mutex_lock(&live->lock);
    json_t *json = http_live_meter_json(live);
    pthread_mutex_unlock(&live->lock);
    return json;
}

void http_api_meter(http_call *call) {
    http_answer_exact(call, meter_json(call->server->live));
}

static json_t *recent_json(http_live *live) {
    meter_sample sample[METER_KEPT];
    json_t *list = json_array();
    pthread_mutex_lock(&live->lock);
    size_t count = live->meter ? meter_recent(live->meter, sample, METER_KEPT) : 0;
    pthread_mutex_unlock(&live->lock);
    for (size_t i = 0; i < count; i++)
        list = http_json_append(list, json_pack("[o,o]", http_json_number(sample[i].s),
                                                http_json_number(sample[i].volts)));
    return list;
}

void http_api_meter_recent(http_call *call) {
    http_answer_exact(call, recent_json(call->server->live));
}

static json_t *found_json(void) {
    meter_found found[32];
    size_t count = meter_list(found, 32);
    json_t *list = json_array();
    for (size_t i = 0; i < count && i < 32; i++)
        list = http_json_append(list,
                                json_pack("{s:o,s:o}", "address", http_json_text(found[i].address),
                                          "about", http_json_words(found[i].about)));
    return list;
}

static json_t *profiles_json(const meter_profiles *profiles) {
    json_t *list = json_array();
    for (size_t i = 0; profiles && i < meter_profiles_count(profiles); i++)
        list = http_json_append(list, http_json_text(meter_profile_at(profiles, i)->name));
    return list;
}

void http_api_meters(http_call *call) {
    http_answer_exact(call, json_pack("{s:o,s:o}", "found", found_json(), "profiles",
                                      profiles_json(call->server->options.meters)));
}

static bool no_text(http_call *call, const char *words) {
    base_errors_add(call->errors, BASE_VALUE, (base_place){.file = "the request"}, "%s", words);
    return false;
}

/* The text of a key; NULL where it is null or missing. False: something else. */
static bool optional_text(http_call *call, const char *key, const char **text) {
    const json_t *value = json_object_get(call->body, key);
    *text = json_string_value(value);
    if (!value || json_is_null(value) || *text) return true;
    return no_text(call, "the body has a key of the wrong type|docs/api.md lists the keys");
}

void http_api_meter_put(http_call *call) {
    const char *address, *profile;
    http_server *server = call->server;
    if (!optional_text(call, "address", &address) || !optional_text(call, "profile", &profile))
        return;
    if (address && (!server->work || !server->options.meters)) {
        no_text(call, "this server takes no meter|start it with gridleak bench");
        return;
    }
    if (http_live_connect(server->live, address, profile, call->errors))
        http_answer_exact(call, meter_json(server->live));
}

/* ---- the guide ----------------------------------------------------------------------------- */

static json_t *guide_json(http_live *live) {
    pthread_mutex_lock(&live->lock);
    json_t *json = http_live_guide_json(live);
    pthread_mutex_unlock(&live->lock);
    return json;
}

void http_api_guide(http_call *call) {
    http_answer_exact(call, guide_json(call->server->live));
}

/* The volts between which a capacitor is to be drained: a place of the job's amp. */
static bool is_place(http_call *call, const char *at) {
    http_amp *amp = http_amp_of_job(call, JOB_FOUND);
    if (!amp) return false;
    solve_probe probe;
    bool part = circuit_part_find(amp->amp, at) >= 0;
    bool good = part || diagnose_probe_read(amp->system, at, (base_place){.file = "at"}, &probe,
                                            call->errors) == BASE_OK;
    http_amp_give(call->server->amps, amp);
    return good;
}

static void start_drain(http_call *call) {
    const char *at = http_body_text(call, "at");
    double through = json_number_value(json_object_get(call->body, "through"));
    if (!at) return;
    if (strlen(at) >= METER_AT || !is_place(call, at)) {
        if (base_errors_worst(call->errors) == BASE_OK)
            no_text(call, "`at` is no place of this amp|name the capacitor or its node");
        return;
    }
    http_live_drain(call->server->live, call->job, at, through);
    http_answer_exact(call, guide_json(call->server->live));
}

void http_api_guide_start(http_call *call) {
    const char *lead = http_body_text(call, "lead"), *phase;
    if (!lead || !optional_text(call, "phase", &phase)) return;
    if (!phase) phase = "before";
    json_t *view = job_view(call->server->store, call->job, call->errors);
    json_decref(view);
    if (!view) return;
    if (strcmp(lead, "drain") == 0) {
        start_drain(call);
    } else if (strcmp(lead, "probe") != 0) {
        no_text(call, "`lead` means nothing here|write \"probe\" or \"drain\"");
    } else if (strcmp(phase, "before") != 0 && strcmp(phase, "after") != 0) {
        no_text(call, "`phase` means nothing here|write \"before\" or \"after\"");
    } else {
        http_live_probe(call->server->live, call->job, phase);
        http_answer_exact(call, guide_json(call->server->live));
    }
}

void http_api_guide_press(http_call *call) {
    static const char *const presses[] = {"take", "skip", "back", "stop"};
    const char *press = http_body_text(call, "press"), *written;
    double volts = NAN;
    if (!press || !optional_text(call, "written", &written)) return;
    if (written && base_value_read(written, BASE_VOLTS, (base_place){.file = "written"}, &volts,
                                   call->errors) != BASE_OK)
        return;
    for (int i = 0; i < 4; i++) {
        if (strcmp(press, presses[i]) != 0) continue;
        http_live_press(call->server->live, (meter_press)i, volts, written);
        http_answer_exact(call, guide_json(call->server->live));
        return;
    }
    no_text(call, "`press` means nothing here|write take, skip, back or stop");
}

/* ---- the words ----------------------------------------------------------------------------- */

static bool has_clip(const http_server *server, const char *name) {
    for (size_t i = 0; i < server->options.files; i++)
        if (strcmp(server->options.file[i].name, name) == 0) return true;
    return false;
}

void http_api_words(http_call *call) {
    size_t count;
    const meter_spoken *words = meter_spoken_words(&count);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        char clip[48];
        snprintf(clip, sizeof clip, "say_%s.ogg", words[i].word);
        list = http_json_append(
            list, json_pack("{s:s,s:s,s:o}", "word", words[i].word, "said", words[i].said, "clip",
                            has_clip(call->server, clip) ? json_string(clip) : json_null()));
    }
    http_answer_exact(call, list);
}
