/* The practice bench: where the probe goes, the power, the drain resistor, a part replaced, the
 * end.
 */
#include "live_impl.h"

#include <string.h>

static practice *practice_of(http_call *call) {
    practice *practice = call->server->options.practice;
    if (!practice)
        base_errors_add(call->errors, BASE_UNKNOWN, (base_place){0},
                        "this is no practice bench|start one: gridleak practice AMP");
    return practice;
}

static json_t *replaced_json(const practice_now *now) {
    json_t *list = json_array();
    for (size_t i = 0; i < now->replaced && i < PRACTICE_LIST; i++)
        list = http_json_append(list, json_pack("{s:o,s:b}", "part", http_json_text(now->part[i]),
                                                "was_it", now->was_it[i]));
    return list;
}

static json_t *risks_json(const practice_now *now) {
    json_t *list = json_array();
    for (size_t i = 0; i < now->risky && i < PRACTICE_LIST; i++)
        list = http_json_append(list, http_json_text(now->risk[i]));
    return list;
}

static json_t *now_json(const practice_now *now, json_t *score) {
    return json_pack("{s:b,s:b,s:b,s:b,s:o,s:I,s:I,s:o,s:o,s:o}", "here", 1, "on", now->on,
                     "clipped", now->clipped, "over", now->over, "at", http_json_words(now->at),
                     "readings", (json_int_t)now->readings, "wrong", (json_int_t)now->wrong,
                     "replaced", replaced_json(now), "risky", risks_json(now), "score", score);
}

static void answer(http_call *call, practice *practice) {
    practice_now now;
    practice_get(practice, &now);
    json_t *json = now_json(&now, json_null());
    http_events_tell(call->server->events, "practice", json_incref(json));
    http_answer_exact(call, json);
}

void http_api_practice(http_call *call) {
    practice *practice = call->server->options.practice;
    practice_now now;
    if (!practice) {
        http_answer_exact(call, json_pack("{s:b}", "here", 0));
        return;
    }
    practice_get(practice, &now);
    http_answer_exact(call, now_json(&now, json_null()));
}

static void wrong_body(http_call *call) {
    base_errors_add(call->errors, BASE_VALUE, (base_place){.file = "the request"},
                    "the body says nothing to do|send one of {\"probe\": place or null}, "
                    "{\"on\": true}, {\"drain\": true}, {\"replace\": part}");
}

/* One thing at a time, as hands do. */
void http_api_practice_do(http_call *call) {
    practice *practice = practice_of(call);
    const json_t *probe = json_object_get(call->body, "probe");
    const json_t *on = json_object_get(call->body, "on");
    const json_t *drain = json_object_get(call->body, "drain");
    const char *part = json_string_value(json_object_get(call->body, "replace"));
    double s = meter_ticks();
    if (!practice) return;
    if (json_object_size(call->body) != 1) {
        wrong_body(call);
    } else if (json_is_string(probe) || json_is_null(probe)) {
        practice_probe(practice, json_string_value(probe), s, call->errors);
    } else if (json_is_boolean(on)) {
        practice_power(practice, json_is_true(on), s);
    } else if (json_is_boolean(drain)) {
        practice_drain(practice, json_is_true(drain), s);
    } else if (part) {
        practice_replace(practice, part, s, call->errors);
    } else {
        wrong_body(call);
    }
    if (base_errors_worst(call->errors) == BASE_OK) answer(call, practice);
}

static json_t *score_json(const practice_score *score) {
    json_t *faults = json_array();
    for (size_t i = 0; i < score->faults; i++)
        faults = http_json_append(faults, json_pack("{s:o,s:o,s:b}", "part",
                                                    http_json_text(score->fault[i].part), "what",
                                                    http_json_text(score->fault[i].what), "found",
                                                    score->fault[i].found));
    return json_pack("{s:o,s:I,s:o}", "faults", faults, "readings", (json_int_t)score->readings,
                     "fewest", score->fewest < 0 ? json_null() : json_integer(score->fewest));
}

void http_api_practice_end(http_call *call) {
    practice *practice = practice_of(call);
    practice_score score;
    if (!practice || practice_finish(practice, &score, call->errors) != BASE_OK) return;
    json_t *json = now_json(&score.now, score_json(&score));
    http_events_tell(call->server->events, "practice", json_incref(json));
    http_answer_exact(call, json);
}
