/* A value for a target as JSON: docs/json.md. */
#include "http.h"

#include <math.h>

static const char *const aims[] = {"plate_w", "screen_w", "plate_a", "volts", "swings_per_s"};

static json_t *value_at(const service_value *value, const service_value_at *at) {
    double percent = 100 * at->reached / value->target.rating;
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "value", http_json_number(at->value),
                     "reached", http_json_number(at->reached), "percent", http_json_number(percent),
                     "watts", http_json_number(at->watts), "fit_w", http_json_number(at->fit_w),
                     "across_v", http_json_number(at->across_v), "breaks",
                     http_json_words(at->breaks), "mends", http_json_words(at->mends));
}

json_t *http_json_value(const service_value *value) {
    return json_pack("{s:o,s:o,s:o,s:o,s:s,s:o,s:o,s:o,s:b,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp",
                     http_json_text(value->amp), "part", http_json_text(value->part), "was",
                     http_json_text(value->was), "target", http_json_text(value->target.at), "aim",
                     aims[value->target.aim], "wanted", http_json_number(value->target.wanted),
                     "rating", http_json_number(value->target.rating), "mains_v",
                     http_json_number(value->mains_v), "found", value->found, "now",
                     value_at(value, &value->now), "exact", value_at(value, &value->exact), "below",
                     value_at(value, &value->stock[0]), "above", value_at(value, &value->stock[1]),
                     "least", http_json_number(value->least), "most", http_json_number(value->most),
                     "limit", http_json_words(value->limit));
}
