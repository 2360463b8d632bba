/* Before beside after, and what the tubes burn by the readings. */
#include "judged.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

typedef struct sides {
    http_phase before, after;
} sides;

/* ---- places -------------------------------------------------------------------------------- */

static const http_judged *find(const http_phase *at, const char *place) {
    for (size_t i = at->readings->count; i-- > 0;)
        if (strcasecmp(at->judged[i].at, place) == 0) return &at->judged[i];
    return NULL;
}

static const char *words_of(const http_judged *before, const http_judged *after) {
    if (!after) return "not read after the repair";
    bool good = strcmp(after->verdict, "inside") == 0, high = strcmp(after->verdict, "high") == 0;
    if (!*after->verdict) return "the chart has no such place";
    if (!before) return good ? "good after the repair" : high ? "high" : "low";
    bool was_good = strcmp(before->verdict, "inside") == 0,
         was_high = strcmp(before->verdict, "high") == 0;
    if (good)
        return was_good   ? "good before and after"
               : was_high ? "was high, now good"
                          : "was low, now good";
    if (was_good) return high ? "was good, now high" : "was good, now low";
    if (was_high == high) return high ? "still high" : "still low";
    return high ? "was low, now high" : "was high, now low";
}

static json_t *volts_or_null(const http_judged *judged) {
    return judged ? http_json_number(judged->volts) : json_null();
}

static json_t *shown_or_null(const http_judged *judged) {
    return judged ? http_json_number(judged->shown) : json_null();
}

static json_t *place_row(const http_judged *before, const http_judged *after, const char *what) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:s}", "at",
                     http_json_text(before ? before->at : after->at), "what", http_json_words(what),
                     "expected_before", shown_or_null(before), "before", volts_or_null(before),
                     "expected_after", shown_or_null(after), "after", volts_or_null(after),
                     "verdict", json_string(after ? after->verdict : ""), "words",
                     words_of(before, after));
}

/* What stands at a judged place: "plate", "supply". */
static const char *what_of(const service_chart *chart, const http_judged *judged) {
    return judged && judged->line >= 0 ? chart->line[judged->line].what : "";
}

/* All that was read before, in the order in which it was read, then what was read after only. */
static json_t *places(const sides *sides, const service_chart *found,
                      const service_chart *repaired) {
    const http_phase *before = &sides->before, *after = &sides->after;
    json_t *list = json_array();
    for (size_t i = 0; i < before->readings->count; i++) {
        const http_judged *one = &before->judged[i];
        list = http_json_append(list, place_row(one, find(after, one->at), what_of(found, one)));
    }
    for (size_t i = 0; i < after->readings->count; i++) {
        const http_judged *one = &after->judged[i];
        if (find(before, one->at)) continue;
        list = http_json_append(list, place_row(NULL, one, what_of(repaired, one)));
    }
    return list;
}

/* ---- tubes --------------------------------------------------------------------------------- */

typedef struct tube_lines { /* lines of the chart at one unit; -1: none */
    int plate, cathode, across;
} tube_lines;

static tube_lines lines_of(const service_chart *chart, const circuit *amp,
                           const service_tube *tube) {
    const tube_type *type = circuit_part_at(amp, (size_t)tube->part)->tube;
    tube_lines lines = {-1, -1, -1};
    int unit = 0;
    char pin[40];
    while (unit + 1 < type->units && strcmp(type->unit[unit].name, tube->unit) != 0)
        unit++;
    const int *pins = type->unit[unit].pin;
    snprintf(pin, sizeof pin, "%s.%d-", tube->tube, pins[TUBE_PLATE]);
    for (size_t i = 0; i < chart->lines; i++) {
        const service_line *line = &chart->line[i];
        bool here = line->part == tube->part && !line->heater;
        if (here && line->pin == pins[TUBE_PLATE]) lines.plate = (int)i;
        if (here && line->pin == pins[TUBE_CATHODE]) lines.cathode = (int)i;
        if (line->pin < 0 && strncmp(line->at, pin, strlen(pin)) == 0) lines.across = (int)i;
    }
    return lines;
}

/* What was read as a part of what a good amp shows; NAN where it was not read or is too little to
 * be divided by. The current in a resistance goes as the volts across it. */
static double part_of(const http_phase *at, int line) {
    const http_judged *read = line >= 0 ? http_phase_line(at, line) : NULL;
    return read && fabs(read->shown) > 0.1 ? read->volts / read->shown : NAN;
}

/* The plate's watts by the readings: volts from plate to cathode times a current that follows the
 * volts across the output transformer's half, else those on the cathode. NAN where too little was
 * read to know. */
static double watts_by_readings(const http_phase *at, const service_chart *chart,
                                const service_tube *tube) {
    tube_lines lines = lines_of(chart, at->amp->amp, tube);
    const http_judged *plate = lines.plate >= 0 ? http_phase_line(at, lines.plate) : NULL;
    const http_judged *cathode = lines.cathode >= 0 ? http_phase_line(at, lines.cathode) : NULL;
    double across = part_of(at, lines.across), below = part_of(at, lines.cathode);
    double current = tube->plate_a * (isfinite(across) ? across : below);
    double cathode_v = cathode            ? cathode->volts
                       : isfinite(across) ? tube->cathode_v * across
                                          : tube->cathode_v;
    return plate ? (plate->volts - cathode_v) * current : NAN;
}

static const service_tube *same_tube(const service_chart *chart, const service_tube *tube) {
    for (size_t i = 0; i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, tube->tube) == 0 &&
            strcmp(chart->tube[i].unit, tube->unit) == 0)
            return &chart->tube[i];
    return NULL;
}

static json_t *tube_row(const sides *sides, const service_chart *found,
                        const service_chart *repaired, const service_tube *tube) {
    const service_tube *was = same_tube(found, tube);
    double before = was ? watts_by_readings(&sides->before, found, was) : NAN;
    double after = watts_by_readings(&sides->after, repaired, tube);
    const service_rating *rating = tube->ratings ? &tube->rating[0] : NULL;
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "tube", http_json_text(tube->tube),
                     "type", http_json_text(tube->type), "unit", http_json_words(tube->unit),
                     "watts_before", http_json_number(before), "watts_after",
                     http_json_number(after), "watts_expected", http_json_number(tube->plate_w),
                     "rating_w", http_json_number(rating ? rating->plate_w : NAN), "system",
                     http_json_text(rating ? rating->system : NULL), "percent_after",
                     http_json_number(rating ? 100 * after / rating->plate_w : NAN));
}

static json_t *tubes(const sides *sides, const service_chart *found,
                     const service_chart *repaired) {
    json_t *list = json_array();
    for (size_t i = 0; i < repaired->tubes; i++)
        list = http_json_append(list, tube_row(sides, found, repaired, &repaired->tube[i]));
    return list;
}

/* ---- the answer ---------------------------------------------------------------------------- */

/* A chart of one's own: two amps' charts are looked at together, and they may be one amp. */
static service_chart *chart_of(http_call *call, const http_phase *at) {
    diagnose_meter meter = diagnose_defaults().meter;
    if (at->readings->count) meter = at->readings->reading[0].meter;
    return service_chart_new(at->amp->system, at->amp->priors, at->readings->mains, &meter,
                             call->errors);
}

static void compare(http_call *call, const sides *sides) {
    service_chart *found = chart_of(call, &sides->before);
    service_chart *repaired = found ? chart_of(call, &sides->after) : NULL;
    if (repaired)
        http_answer_computed(call, json_pack("{s:o,s:o}", "places", places(sides, found, repaired),
                                             "tubes", tubes(sides, found, repaired)));
    service_chart_free(found);
    service_chart_free(repaired);
}

void http_api_compare(http_call *call) {
    sides sides = {0};
    if (http_phase_open(call, "before", &sides.before) &&
        http_phase_open(call, "after", &sides.after))
        compare(call, &sides);
    http_phase_close(call, &sides.before);
    http_phase_close(call, &sides.after);
}
