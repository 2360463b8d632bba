#include "live_impl.h"

#include <math.h>
#include <string.h>

static const char *word_of(const http_live *live) {
    static const char *const words[] = {[METER_NUMBER] = "number",
                                        [METER_OVERLOAD] = "overload",
                                        [METER_NAN] = "none",
                                        [METER_GARBLED] = "garbled"};
    return words[live->now.last.word];
}

static double round_to(double value, int digits) {
    return isfinite(value) ? base_value_round(value, digits) : value;
}

static json_t *settled_json(const meter_settled *settled) {
    return json_pack("{s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:b,s:o}", "state",
                     meter_state_name(settled->state), "volts",
                     http_json_number(round_to(settled->volts, 6)), "spread_v",
                     http_json_number(round_to(settled->spread_v, 3)), "slope",
                     http_json_number(round_to(settled->slope, 3)), "ripple_v",
                     http_json_number(round_to(settled->ripple_v, 3)), "tau_s",
                     http_json_number(round_to(settled->tau_s, 3)), "to_60_s",
                     http_json_number(round_to(settled->to_60_s, 3)), "to_1_s",
                     http_json_number(round_to(settled->to_1_s, 3)), "quiet_zero",
                     settled->quiet_zero, "words", http_json_text(settled->words));
}

json_t *http_live_meter_json(const http_live *live) {
    const meter_now *now = &live->now;
    bool there = live->meter != NULL;
    return json_pack(
        "{s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:b,s:o,s:s,s:o,s:o}", "status",
        there ? meter_status_name(now->status) : "none", "address", http_json_words(now->address),
        "identity", http_json_words(now->identity), "profile", http_json_words(now->profile),
        "words", http_json_words(now->words), "range_v",
        http_json_number(there ? now->range_v : NAN), "ohms",
        http_json_number(there ? now->ohms : NAN), "ac", now->ac, "volts",
        http_json_number(round_to(now->last.volts, 7)), "word", there ? word_of(live) : "none", "s",
        http_json_number(round_to(now->last.s, 9)), "settled", settled_json(&now->settled));
}

/* ---- the guide ----------------------------------------------------------------------------- */

static json_t *point_json(const meter_point *point) {
    static const char *const kinds[] = {
        [METER_LOW] = "low", [METER_HIGH] = "high", [METER_HEATER] = "heater"};
    return json_pack(
        "{s:o,s:s,s:s,s:o,s:o,s:o,s:o}", "at", http_json_text(point->at), "kind",
        kinds[point->kind], "quantity", point->kind == METER_HEATER ? "AC volts" : "DC volts",
        "expected_v", http_json_number(round_to(point->expected_v, 4)), "spread_v",
        http_json_number(round_to(point->spread_v, 3)), "bits",
        http_json_number(round_to(point->bits, 3)), "why", http_json_words(point->why));
}

static json_t *say_json(const char *say) {
    json_t *list = json_array();
    char word[32];
    int used = 0;
    for (const char *at = say; list && sscanf(at, "%31s%n", word, &used) == 1; at += used)
        list = http_json_append(list, json_string(word));
    return list;
}

static json_t *skipped_json(const meter_guide *guide) {
    json_t *list = json_array();
    for (size_t i = 0; i < guide->skips && i < 8; i++)
        list = http_json_append(list, http_json_text(guide->skipped[i]));
    return list;
}

static json_t *last_json(const http_live *live) {
    const meter_guide *guide = &live->guide;
    if (!guide->taken_count) return json_null();
    return json_pack("{s:o,s:o,s:o,s:b,s:I,s:o}", "at", http_json_text(guide->taken.at), "volts",
                     http_json_number(round_to(guide->taken.volts, 7)), "spread_v",
                     http_json_number(round_to(guide->taken.spread_v, 3)), "by_hand",
                     guide->taken.by_hand, "fact", (json_int_t)live->fact, "step_ms",
                     http_json_number(round_to(live->step_ms, 4)));
}

static json_t *drain_json(const http_live *live) {
    const meter_drain *drain = &live->drain;
    if (live->lead != HTTP_LEAD_DRAIN) return json_null();
    return json_pack("{s:o,s:s,s:o,s:o,s:o,s:o,s:o,s:o,s:b,s:I}", "at",
                     http_json_text(live->drain_at), "state", meter_drain_name(drain->state),
                     "words", http_json_text(drain->words), "volts",
                     http_json_number(round_to(drain->volts, 6)), "most_v",
                     http_json_number(round_to(drain->most_v, 4)), "tau_s",
                     http_json_number(round_to(drain->tau_s, 3)), "to_60_s",
                     http_json_number(round_to(drain->to_60_s, 3)), "to_1_s",
                     http_json_number(round_to(drain->to_1_s, 3)), "smooth", drain->smooth, "fact",
                     (json_int_t)live->drain_fact);
}

static json_t *leader_json(const http_live *live) {
    if (!*live->leader) return json_null();
    return json_pack("{s:o,s:o,s:o}", "part", http_json_text(live->leader), "what",
                     http_json_words(live->what), "probability",
                     http_json_number(round_to(live->chance, 3)));
}

/* The step is the guide's own; a drain watch has none. */
json_t *http_live_guide_json(const http_live *live) {
    static const char *const leads[] = {"none", "probe", "drain"};
    const meter_guide *guide = &live->guide;
    bool probe = live->lead == HTTP_LEAD_PROBE;
    bool here = probe && guide->step >= METER_CAUTION && guide->step <= METER_TAKEN;
    const char *tone = guide->step == METER_TAKEN && guide->taken.tone ? guide->taken.tone : NULL;
    return json_pack("{s:s,s:I,s:o,s:o,s:i,s:o,s:o,s:o,s:o,s:o,s:i,s:o,s:o,s:o,s:o,s:o,s:o}",
                     "lead", leads[live->lead], "job", (json_int_t)live->job, "phase",
                     http_json_words(probe ? live->phase : ""), "step",
                     http_json_words(probe ? meter_step_name(guide->step) : ""), "seq",
                     (int)live->seq, "point", here ? point_json(&guide->point) : json_null(),
                     "caution", http_json_words(guide->step == METER_CAUTION ? guide->caution : ""),
                     "say", say_json(guide->say), "tone", http_json_text(tone), "last",
                     last_json(live), "taken", (int)guide->taken_count, "skipped",
                     skipped_json(guide), "verdict", http_json_words(live->verdict), "leader",
                     leader_json(live), "reason", http_json_words(live->reason), "trouble",
                     http_json_words(live->trouble), "drain", drain_json(live));
}
