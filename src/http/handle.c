/* From a request to its answer: the body read, the handler called, its complaints told. */
#include "http_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define DEEPEST 16 /* levels of JSON in a body */

int64_t http_now(const http_server *server) {
    struct timespec now;
    if (server->options.clock) return server->options.clock(server->options.clock_data);
    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* ---- what handlers use --------------------------------------------------------------------- */

const char *http_param(const http_call *call, const char *key, const char *otherwise) {
    const char *value = http_target_param(&call->request->target, key);
    return value ? value : otherwise;
}

const char *http_param_word(http_call *call, const char *key, const char *otherwise,
                            const char *words) {
    const char *value = http_param(call, key, otherwise);
    for (const char *word = words; word; word = strchr(word, '|')) {
        word += *word == '|';
        size_t length = strcspn(word, "|");
        if (strlen(value) == length && strncmp(word, value, length) == 0) return value;
    }
    base_errors_add(call->errors, BASE_VALUE, (base_place){0},
                    "`%s=%.40s` means nothing here|write one of: %s", key, value, words);
    return NULL;
}

const char *http_body_text(http_call *call, const char *key) {
    const json_t *value = json_object_get(call->body, key);
    if (json_is_string(value)) return json_string_value(value);
    base_errors_add(call->errors, BASE_VALUE, (base_place){0}, "`%s` is %s|it must be a text", key,
                    value ? "no text" : "missing");
    return NULL;
}

static void answer_with(http_call *call, json_t *json, int digits) {
    if (base_errors_worst(call->errors) == BASE_OK)
        http_answer_json(call->answer, json, digits);
    else
        json_decref(json);
}

void http_answer_exact(http_call *call, json_t *json) {
    answer_with(call, json, 15);
}

void http_answer_computed(http_call *call, json_t *json) {
    answer_with(call, json, 6);
}

/* ---- the body ------------------------------------------------------------------------------ */

static bool too_deep(const char *text, size_t length) {
    int depth = 0;
    bool inside = false;
    for (size_t i = 0; i < length; i++) {
        if (inside && text[i] == '\\')
            i++;
        else if (text[i] == '"')
            inside = !inside;
        else if (!inside && (text[i] == '{' || text[i] == '['))
            depth++;
        else if (!inside && (text[i] == '}' || text[i] == ']'))
            depth--;
        if (depth > DEEPEST) return true;
    }
    return false;
}

/* The body as a JSON object; NULL with a complaint. */
static json_t *read_json(const http_request *request, base_errors *errors) {
    json_error_t error;
    base_place place = {.file = "the request"};
    if (request->length == 0) {
        base_errors_add(errors, BASE_SYNTAX, place, "the body is empty|send a JSON object");
        return NULL;
    }
    if (too_deep(request->body, request->length)) {
        base_errors_add(errors, BASE_SYNTAX, place,
                        "the JSON is nested more than %d deep|nothing here needs that", DEEPEST);
        return NULL;
    }
    json_t *json = json_loadb(request->body, request->length, JSON_REJECT_DUPLICATES, &error);
    if (json_is_object(json)) return json;
    if (json)
        base_errors_add(errors, BASE_SYNTAX, place, "the body is no JSON object|send {...}");
    else
        base_errors_add(errors, BASE_SYNTAX,
                        (base_place){.file = "the request",
                                     .line = error.line,
                                     .column = error.column > 0 ? error.column : 0},
                        "the JSON cannot be read: %s|look at that place", error.text);
    json_decref(json);
    return NULL;
}

/* ---- the path ------------------------------------------------------------------------------ */

static bool read_job(const char *text, http_call *call) {
    char *end = NULL;
    bool digits = *text >= '1' && *text <= '9' && strlen(text) <= 18;
    if (digits) call->job = strtoll(text, &end, 10);
    if (digits && !*end) return true;
    base_errors_add(call->errors, BASE_UNKNOWN, (base_place){0},
                    "there is no job `%.30s`|GET /api/jobs lists them", text);
    return false;
}

static bool read_path(const http_entry *entry, http_call *call) {
    const http_target *target = &call->request->target;
    const char *pattern = entry->route.path;
    bool good = true;
    call->arg = "";
    for (int i = 0; i < target->segments; i++) {
        pattern = strchr(pattern, '/') + 1;
        if (strncmp(pattern, "{job}", 5) == 0)
            good = read_job(target->segment[i], call) && good;
        else if (*pattern == '{')
            call->arg = target->segment[i];
    }
    return good;
}

/* ---- the answer ---------------------------------------------------------------------------- */

static void run(const http_entry *entry, http_call *call) {
    json_t *body = NULL;
    bool good = read_path(entry, call);
    if (good && entry->takes == HTTP_JSON) {
        body = read_json(call->request, call->errors);
        good = body != NULL;
    }
    call->body = body;
    if (good) entry->answer(call);
    json_decref(body);
    if (base_errors_worst(call->errors) != BASE_OK)
        http_answer_errors(call->answer, call->errors);
    else if (!call->answer->status)
        http_answer_bytes(call->answer, NULL, NULL, 0); /* says that memory is out */
}

void http_handle(http_server *server, const http_request *request, http_answer *answer) {
    *answer = (http_answer){0};
    const http_entry *entry = http_admit(server, request, answer);
    if (!entry) return;
    if (request->length > http_entry_limit(entry)) {
        http_refuse(answer, 413, BASE_VALUE, "the body is too large|send less at a time");
        return;
    }
    if (!entry->answer) {
        http_page(server, request, answer);
        return;
    }
    http_call call = {
        .server = server, .request = request, .answer = answer, .errors = base_errors_new()};
    if (call.errors)
        run(entry, &call);
    else
        http_answer_bytes(answer, NULL, NULL, 0);
    base_errors_free(call.errors);
}
