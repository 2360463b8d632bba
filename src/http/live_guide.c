/* From a reading taken to the next point: recorded, the suspects weighed, the hand's way counted.
 * It runs in a worker's thread; what was begun before somebody pressed stop is thrown away. */
#include "live_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define POINTS 8

typedef struct guide_task {
    http_task task;
    http_live *live;
    unsigned turn;
    bool record, back;
    http_captured captured;
    int64_t job, fact;
    char phase[8];
} guide_task;

/* ---- capturing ----------------------------------------------------------------------------- */

void http_live_capture(http_live *live, http_captured *captured) {
    const meter_guide *guide = &live->guide;
    const meter_now *now = &live->now;
    *captured = (http_captured){.drain = live->lead == HTTP_LEAD_DRAIN,
                                .range_v = now->range_v,
                                .ohms = now->ohms,
                                .s = meter_ticks()};
    strcpy(captured->at, captured->drain ? live->drain_at : guide->taken.at);
    captured->volts = captured->drain ? live->drain.volts : guide->taken.volts;
    captured->spread_v = captured->drain ? NAN : guide->taken.spread_v;
    captured->by_hand = !captured->drain && guide->taken.by_hand;
    snprintf(captured->device, sizeof captured->device, "%s", now->identity);
    int decimals = now->digit_v > 0 ? (int)fmin(6, fmax(0, ceil(-log10(now->digit_v)))) : 2;
    snprintf(captured->written, sizeof captured->written, "%.*f", decimals, captured->volts);
    if (live->meter) captured->samples = meter_recent(live->meter, captured->stream, HTTP_STREAM);
}

/* "-1.20 168.21" for each sample: seconds before it was taken, and volts or a word. */
static json_t *stream_json(const http_captured *captured) {
    base_text text;
    base_text_init(&text, 4096);
    for (size_t i = 0; i < captured->samples; i++) {
        const meter_sample *one = &captured->stream[i];
        base_text_add(&text, "%s%.2f ", i ? ", " : "", one->s - captured->s);
        if (one->word == METER_NUMBER)
            base_text_add(&text, "%.7g", one->volts);
        else
            base_text_add(&text, "%s", one->word == METER_OVERLOAD ? "overload" : "none");
    }
    json_t *json = json_string(text.data ? text.data : "");
    base_text_free(&text);
    return json;
}

static void set(json_t *body, const char *key, json_t *value) {
    json_object_set_new(body, key, value);
}

/* What the store is to keep of it: docs/facts.md. */
static json_t *body_of(const guide_task *task) {
    const http_captured *captured = &task->captured;
    json_t *body =
        json_pack("{s:s,s:f}", "at", captured->at, "volts", strtod(captured->written, NULL));
    char ohms[32];
    if (!captured->drain) {
        set(body, "phase", json_string(task->phase));
        set(body, "written", json_string(captured->written));
        if (captured->ohms > 0 && !captured->typed)
            set(body, "meter", json_string(base_value_write(captured->ohms, BASE_OHMS, ohms, 32)));
    }
    if (captured->typed) return body;
    if (*captured->device) set(body, "device", http_json_text(captured->device));
    if (isfinite(captured->range_v)) set(body, "range", json_real(captured->range_v));
    if (isfinite(captured->spread_v))
        set(body, "spread", json_real(base_value_round(captured->spread_v, 3)));
    set(body, "by_hand", json_boolean(captured->by_hand));
    if (captured->samples) set(body, "stream", stream_json(captured));
    return body;
}

/* ---- the store ----------------------------------------------------------------------------- */

static bool record(guide_task *task, base_errors *errors) {
    http_server *server = task->live->server;
    const http_captured *captured = &task->captured;
    json_t *body = body_of(task);
    job_fact fact = {.kind = captured->drain ? "drain" : "reading", .body = body};
    base_code code =
        job_add(server->store, task->job, &fact, http_now(server), &task->fact, errors);
    if (code == BASE_OK) {
        http_tell_fact(server, task->job, task->fact, fact.kind);
        if (server->options.practice)
            practice_took(server->options.practice, captured->volts, captured->drain);
    }
    json_decref(body);
    return code == BASE_OK;
}

static bool take_back(guide_task *task, base_errors *errors) {
    http_server *server = task->live->server;
    int64_t undone;
    if (job_undo(server->store, task->job, task->fact, http_now(server), &undone, errors) !=
        BASE_OK)
        return false;
    http_tell_fact(server, task->job, undone, "undo");
    return true;
}

/* ---- the suspects -------------------------------------------------------------------------- */

static json_t *suspects_of(guide_task *task, base_errors *errors) {
    http_call call = {.server = task->live->server, .job = task->job, .errors = errors};
    bool before = strcmp(task->phase, "before") == 0;
    http_amp *amp = http_amp_of_job(&call, before ? JOB_FOUND : JOB_REPAIRED);
    diagnose_readings *readings =
        amp ? job_readings(call.server->store, task->job, task->phase, amp->system, errors) : NULL;
    http_past past = {0};
    char *list =
        readings ? http_suspects(amp, call.server->options.priors, readings, &past, errors) : NULL;
    json_t *json = list ? json_loads(list, 0, NULL) : NULL;
    free(list);
    diagnose_readings_free(readings);
    http_amp_give(call.server->amps, amp);
    return json;
}

static double number_of(const json_t *row, const char *key) {
    const json_t *value = json_object_get(row, key);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

static const char *text_of(const json_t *row, const char *key) {
    const char *text = json_string_value(json_object_get(row, key));
    return text ? text : "";
}

static void point_of(const json_t *row, meter_point *point) {
    const char *kind = text_of(row, "kind");
    *point = (meter_point){.bits = number_of(row, "bits"),
                           .cost = number_of(row, "cost"),
                           .expected_v = number_of(row, "expected_v"),
                           .spread_v = number_of(row, "spread_v")};
    point->kind = strcmp(kind, "heater") == 0 ? METER_HEATER
                  : strcmp(kind, "high") == 0 ? METER_HIGH
                                              : METER_LOW;
    snprintf(point->at, sizeof point->at, "%s", text_of(row, "at"));
    snprintf(point->why, sizeof point->why, "%s", text_of(row, "why"));
}

/* A reading on which much hangs is taken again, once: a third one would tell no more. */
static bool read_twice(const http_live *live, const char *at) {
    int times = 0;
    for (unsigned i = 0; i < live->reads && i < HTTP_READ; i++)
        times += strcmp(live->read[i], at) == 0;
    return times >= 2;
}

/* With the lock held: those not skipped, the best of them. -1: none. */
static int choose(const http_live *live, const json_t *suspects, meter_point points[POINTS]) {
    const json_t *list = json_object_get(suspects, "next"), *row;
    size_t i, count = 0;
    json_array_foreach(list, i, row) {
        const char *at = text_of(row, "at");
        bool plain = !strchr(at, ' '); /* "V1.1 @1kHz", "R7 alone" want other tools and hands */
        bool wanted = plain && !meter_guide_skipped(&live->guide, at) && !read_twice(live, at);
        if (count < POINTS && wanted) point_of(row, &points[count++]);
    }
    return meter_choose(points, count, *live->guide.point.at ? &live->guide.point : NULL);
}

static void keep_leader(http_live *live, const json_t *suspects) {
    const json_t *first = json_array_get(json_object_get(suspects, "suspects"), 0);
    snprintf(live->verdict, sizeof live->verdict, "%s", text_of(suspects, "verdict"));
    snprintf(live->reason, sizeof live->reason, "%s", text_of(suspects, "reason"));
    snprintf(live->leader, sizeof live->leader, "%s", text_of(first, "part"));
    snprintf(live->what, sizeof live->what, "%s", text_of(first, "what"));
    live->chance = number_of(first, "probability");
}

/* ---- the next point ------------------------------------------------------------------------ */

static void give_point(http_live *live, const meter_point *point) {
    meter_guide_point(&live->guide, point, &live->now);
    if (!point || !live->meter) return;
    meter_expect(live->meter, point->expected_v);
    meter_measure(live->meter, point->kind == METER_HEATER);
}

static void give_next(guide_task *task, const json_t *suspects) {
    http_live *live = task->live;
    meter_point points[POINTS];
    keep_leader(live, suspects);
    if (task->record) strcpy(live->read[live->reads++ % HTTP_READ], task->captured.at);
    if (task->back && live->reads) *live->read[--live->reads % HTTP_READ] = 0;
    int best = choose(live, suspects, points);
    meter_point again = live->before;
    bool back = task->back && *again.at;
    if (task->record) live->before = live->guide.point;
    give_point(live, back ? &again : best >= 0 ? &points[best] : NULL);
    if (task->record) live->step_ms = 1e3 * (meter_ticks() - task->captured.s);
}

/* A reading that could not be recorded is asked for again. */
static void give_again(http_live *live) {
    meter_point again = live->guide.point;
    give_point(live, &again);
}

static void say_trouble(http_live *live, const base_errors *errors) {
    *live->trouble = 0;
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code == BASE_SUSPICIOUS) continue;
        snprintf(live->trouble, sizeof live->trouble, "%s; %s", error->cause, error->remedy);
        return;
    }
}

/* What was taken is recorded even when the guide was stopped meanwhile: it was read. */
static void go_on(http_task *given) {
    guide_task *task = (guide_task *)given;
    http_live *live = task->live;
    base_errors *errors = base_errors_new();
    bool good = errors && (!task->record || record(task, errors));
    bool drain = task->record && task->captured.drain;
    good = good && (!task->back || !task->fact || take_back(task, errors));
    json_t *suspects = good && !drain ? suspects_of(task, errors) : NULL;
    pthread_mutex_lock(&live->lock);
    if (task->turn == live->turn) {
        if (drain)
            live->drain_fact = task->fact;
        else if (task->record || task->back)
            live->fact = task->back ? 0 : task->fact;
        if (errors) say_trouble(live, errors);
        if (suspects)
            give_next(task, suspects);
        else if (task->record && !task->fact && !drain)
            give_again(live);
        else if (!drain)
            live->guide.step = METER_IDLE;
        http_live_tell_guide(live);
    }
    pthread_mutex_unlock(&live->lock);
    json_decref(suspects);
    base_errors_free(errors);
    free(task);
}

static void start(http_live *live, const http_captured *captured, bool back) {
    guide_task *task = calloc(1, sizeof *task);
    bool taken = false;
    if (task) {
        task->task.run = go_on;
        task->live = live;
        task->turn = live->turn;
        task->record = captured != NULL;
        task->back = back;
        task->job = live->job;
        task->fact = back ? live->fact : 0;
        strcpy(task->phase, live->phase);
        if (captured) task->captured = *captured;
        taken = live->server->work && http_work_add(live->server->work, &task->task, true);
    }
    if (taken) return;
    free(task);
    strcpy(live->trouble, "the reading was not recorded: no memory; take it again");
    live->guide.step = METER_IDLE;
}

void http_live_go_on(http_live *live, const http_captured *captured) {
    start(live, captured, false);
}

void http_live_go_back(http_live *live) {
    start(live, NULL, true);
}
