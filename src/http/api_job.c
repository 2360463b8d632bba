/* Jobs and their facts: the store as it is, and the news of what was added. */
#include "http_impl.h"

#include <stdlib.h>
#include <string.h>

#define MOST_ROWS 500
#define USUAL_ROWS 50

void http_api_ping(http_call *call) {
    http_answer_exact(
        call, json_pack("{s:o}", "gridleak", http_json_text(call->server->options.version)));
}

/* ---- the kinds of facts -------------------------------------------------------------------- */

static json_t *words_of(const char *words) {
    json_t *list = json_array();
    while (words && *words) {
        size_t length = strcspn(words, "|");
        list = http_json_append(list, json_stringn(words, length));
        words += length + (words[length] == '|');
    }
    return list;
}

static const char *type_name(char type) {
    static const struct {
        char type;
        const char *name;
    } names[] = {{'s', "text"}, {'n', "number"},          {'i', "whole number"}, {'b', "yes or no"},
                 {'l', "list"}, {'o', "list of amounts"}, {'p', "place"}};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (names[i].type == type) return names[i].name;
    return "text";
}

static json_t *key_row(const job_key *key) {
    bool limited = key->least < key->most;
    return json_pack("{s:s,s:s,s:b,s:o,s:o,s:o}", "name", key->name, "type", type_name(key->type),
                     "must", key->must, "least", limited ? json_real(key->least) : json_null(),
                     "most", limited ? json_real(key->most) : json_null(), "words",
                     words_of(key->words));
}

static json_t *kind_row(const job_kind *kind) {
    json_t *keys = json_array();
    for (const job_key *key = kind->keys; key->name; key++)
        keys = http_json_append(keys, key_row(key));
    return json_pack("{s:s,s:s,s:o}", "kind", kind->name, "meaning", kind->meaning, "keys", keys);
}

void http_api_keys(http_call *call) {
    size_t count;
    const job_kind *kinds = job_kinds(&count);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++)
        list = http_json_append(list, kind_row(&kinds[i]));
    http_answer_exact(call, list);
}

void http_api_symptoms(http_call *call) {
    diagnose_symptoms *symptoms = diagnose_symptoms_read(NULL, NULL, 0, call->errors);
    if (symptoms) http_answer_exact(call, http_json_symptoms(symptoms));
    diagnose_symptoms_free(symptoms);
}

/* ---- the shop ------------------------------------------------------------------------------ */

void http_api_shop(http_call *call) {
    http_answer_exact(call, job_shop(call->server->store, call->errors));
}

void http_api_shop_put(http_call *call) {
    if (job_shop_set(call->server->store, call->body, http_now(call->server), call->errors) ==
        BASE_OK)
        http_api_shop(call);
}

/* ---- jobs ---------------------------------------------------------------------------------- */

static int most_of(http_call *call) {
    const char *text = http_param(call, "most", NULL);
    char *end = NULL;
    long most = text ? strtol(text, &end, 10) : USUAL_ROWS;
    if (text && (end == text || *end || most < 1 || most > MOST_ROWS))
        base_errors_add(call->errors, BASE_VALUE, (base_place){0},
                        "`most=%.20s` is no number of rows|write 1 to %d", text, MOST_ROWS);
    return (int)most;
}

void http_api_jobs(http_call *call) {
    const char *open = http_param_word(call, "open", "0", "0|1");
    int most = most_of(call);
    if (base_errors_worst(call->errors) == BASE_OK)
        http_answer_exact(call, job_search(call->server->store, http_param(call, "q", ""),
                                           *open == '1', most, call->errors));
}

void http_api_history(http_call *call) {
    const char *same = http_param_word(call, "same", "1", "0|1");
    const char *amp = http_param(call, "amp", "");
    if (!*amp)
        base_errors_add(call->errors, BASE_USAGE, (base_place){0},
                        "no amp is named|write /api/history?amp=NAME");
    if (base_errors_worst(call->errors) == BASE_OK)
        http_answer_exact(call, job_history(call->server->store, amp, *same == '1', call->errors));
}

/* ---- facts --------------------------------------------------------------------------------- */

static bool moves_suspects(const char *kind) {
    static const char *const kinds[] = {"reading", "test",  "symptom", "finding", "edit",
                                        "undo",    "power", "take in", "drawing"};
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
        if (strcmp(kinds[i], kind) == 0) return true;
    return false;
}

void http_tell_fact(http_server *server, int64_t job, int64_t fact, const char *kind) {
    http_events *events = server->events;
    http_events_tell(
        events, "fact",
        json_pack("{s:I,s:I,s:s}", "job", (json_int_t)job, "fact", (json_int_t)fact, "kind", kind));
    if (moves_suspects(kind))
        http_events_tell(events, "suspects", json_pack("{s:I}", "job", (json_int_t)job));
}

void http_api_job(http_call *call) {
    http_answer_exact(call, job_view(call->server->store, call->job, call->errors));
}

void http_api_facts(http_call *call) {
    http_answer_exact(call, job_facts(call->server->store, call->job, call->errors));
}

void http_api_job_new(http_call *call) {
    int64_t job = 0;
    if (job_create(call->server->store, call->body, http_now(call->server), &job, call->errors) !=
        BASE_OK)
        return;
    json_t *view = job_view(call->server->store, job, call->errors);
    http_tell_fact(call->server, job, json_integer_value(json_object_get(view, "last")), "take in");
    http_answer_exact(call, json_pack("{s:I,s:o}", "job", (json_int_t)job, "view", view));
}

/* {kind, body, replaces?, token?} */
static bool read_fact(http_call *call, job_fact *fact) {
    json_int_t replaces = 0;
    json_t *body = NULL;
    json_error_t error;
    *fact = (job_fact){0};
    if (json_unpack_ex((json_t *)call->body, &error, JSON_STRICT, "{s:s,s:o,s?I,s?s}", "kind",
                       &fact->kind, "body", &body, "replaces", &replaces, "token",
                       &fact->token) != 0) {
        base_errors_add(call->errors, BASE_SYNTAX, (base_place){.file = "the request"},
                        "%s|send {\"kind\": text, \"body\": {...}, \"replaces\": number, "
                        "\"token\": text}; the last two may be left out",
                        error.text);
        return false;
    }
    fact->body = body;
    fact->replaces = replaces;
    return true;
}

/* Adds it and tells the others; the new view, or NULL with a complaint. */
static json_t *add_fact(http_call *call, const job_fact *fact, int64_t *id) {
    http_server *server = call->server;
    if (job_add(server->store, call->job, fact, http_now(server), id, call->errors) != BASE_OK)
        return NULL;
    http_tell_fact(server, call->job, *id, fact->kind);
    bool drain = strcmp(fact->kind, "drain") == 0;
    if (server->options.practice && (drain || strcmp(fact->kind, "reading") == 0))
        practice_took(server->options.practice,
                      json_number_value(json_object_get(fact->body, "volts")), drain);
    return job_view(server->store, call->job, call->errors);
}

void http_api_fact_new(http_call *call) {
    job_fact fact;
    int64_t id = 0;
    if (!read_fact(call, &fact)) return;
    json_t *view = add_fact(call, &fact, &id);
    http_answer_exact(call, json_pack("{s:I,s:o}", "fact", (json_int_t)id, "view", view));
}

void http_api_undo(http_call *call) {
    json_int_t fact = 0;
    int64_t undone = 0;
    json_error_t error;
    if (json_unpack_ex((json_t *)call->body, &error, JSON_STRICT, "{s?I}", "fact", &fact) != 0) {
        base_errors_add(call->errors, BASE_SYNTAX, (base_place){.file = "the request"},
                        "%s|send {\"fact\": number}, or {} for the last one", error.text);
        return;
    }
    http_server *server = call->server;
    if (job_undo(server->store, call->job, fact, http_now(server), &undone, call->errors) !=
        BASE_OK)
        return;
    json_t *view = job_view(server->store, call->job, call->errors);
    http_tell_fact(server, call->job, json_integer_value(json_object_get(view, "last")), "undo");
    http_answer_exact(call, json_pack("{s:I,s:o}", "undone", (json_int_t)undone, "view", view));
}

/* ---- edits --------------------------------------------------------------------------------- */

/* What is odd in the amp as it now stands. */
static json_t *oddities(http_call *call, job_amp which) {
    base_errors *odd = base_errors_new();
    http_amp *amp = odd ? http_amp_of_job(call, which) : NULL;
    if (amp) {
        circuit_check(amp->amp, odd);
        service_suspicious(amp->system, odd);
    }
    json_t *list = amp ? http_json_errors(odd, true) : NULL;
    http_amp_give(call->server->amps, amp);
    base_errors_free(odd);
    return list;
}

void http_api_edit(http_call *call) {
    job_fact fact = {.kind = "edit", .body = call->body};
    int64_t id = 0;
    json_t *view = add_fact(call, &fact, &id);
    if (!view) return;
    const char *phase = json_string_value(json_object_get(call->body, "phase"));
    bool found = phase && strcmp(phase, "found") == 0;
    json_t *odd = oddities(call, found ? JOB_FOUND : JOB_REPAIRED);
    http_answer_exact(call, json_pack("{s:I,s:o,s:o}", "fact", (json_int_t)id, "view", view,
                                      "errors", odd ? odd : json_array()));
}

/* ---- the live stream ----------------------------------------------------------------------- */

void http_api_events(http_call *call) {
    call->answer->status = 200;
    call->answer->type = "text/event-stream";
    call->answer->stream = true;
}
