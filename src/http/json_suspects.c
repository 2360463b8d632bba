/* The suspects as JSON: docs/json.md. */
#include "http.h"

static json_t *suspects(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        list = http_json_append(
            list, json_pack("{s:o,s:o,s:o,s:o,s:i}", "part", http_json_text(suspect->part), "what",
                            http_json_text(suspect->what), "probability",
                            http_json_number(suspect->probability), "involved",
                            http_json_number(suspect->involved), "group", suspect->group));
    }
    return list;
}

#define PAIRS 20 /* shown; of less than a thousandth none */

static json_t *pairs(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->pairs && i < PAIRS; i++) {
        const diagnose_pair *pair = &belief->pair[i];
        if (pair->probability < 1e-3) break;
        json_t *both = json_array();
        for (int k = 0; k < 2; k++)
            both =
                http_json_append(both, json_pack("{s:o,s:o}", "part", http_json_text(pair->part[k]),
                                                 "what", http_json_text(pair->what[k])));
        list = http_json_append(list, json_pack("{s:o,s:o,s:o,s:i}", "both", both, "words",
                                                http_json_text(pair->words), "probability",
                                                http_json_number(pair->probability), "group",
                                                pair->group));
    }
    return list;
}

static json_t *groups(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->groups; i++)
        list = http_json_append(list, json_pack("{s:o,s:I,s:I,s:o}", "probability",
                                                http_json_number(belief->group[i].probability),
                                                "members", (json_int_t)belief->group[i].members,
                                                "pairs", (json_int_t)belief->group[i].pairs, "tell",
                                                http_json_text(belief->group[i].tell)));
    return list;
}

static json_t *nexts(const http_case *at) {
    static const char *const kinds[] = {
        [METER_LOW] = "low", [METER_HIGH] = "high", [METER_HEATER] = "heater"};
    const diagnose_belief *belief = at->belief;
    json_t *list = json_array();
    for (size_t i = 0; i < belief->nexts; i++) {
        const diagnose_probe_next *next = &belief->next[i];
        meter_point point;
        practice_point(at->engine, next, &point);
        list = http_json_append(
            list, json_pack("{s:o,s:o,s:o,s:o,s:o,s:s,s:o,s:o}", "at", http_json_text(next->at),
                            "quantity", http_json_text(next->quantity), "bits",
                            http_json_number(next->bits), "cost", http_json_number(next->cost),
                            "why", http_json_text(next->why), "kind", kinds[point.kind],
                            "expected_v", http_json_number(point.expected_v), "spread_v",
                            http_json_number(point.spread_v)));
    }
    return list;
}

/* "C13 + R7" */
static json_t *pair_parts(const diagnose_pair *pair) {
    return json_sprintf("%s + %s", pair->part[0], pair->part[1]);
}

/* What the leaders of the first groups predict for one reading. */
static json_t *predictions(const http_case *at, size_t reading) {
    json_t *list = json_array();
    for (size_t group = 0; group < at->belief->groups && group < DIAGNOSE_TOLD; group++) {
        const diagnose_belief *belief = at->belief;
        int leader = diagnose_leader(belief, group), pair = diagnose_leading_pair(belief, group);
        if (leader < 0 && pair < 0) continue;
        const diagnose_suspect *suspect = leader < 0 ? NULL : &belief->suspect[leader];
        double volts = diagnose_leader_reads(at->engine, belief, group, at->readings, reading);
        json_t *part = pair >= 0 ? pair_parts(&belief->pair[pair]) : http_json_text(suspect->part);
        json_t *what = http_json_text(pair >= 0 ? belief->pair[pair].words : suspect->what);
        list = http_json_append(list, json_pack("{s:o,s:o,s:o}", "part", part, "what", what,
                                                "volts", http_json_number(volts)));
    }
    return list;
}

static const char *unit_of(const diagnose_compare *compare) {
    if (compare->unit == BASE_OHMS) return "ohm";
    return compare->unit == BASE_FARADS ? "F" : "V";
}

static json_t *readings(const http_case *at) {
    json_t *list = json_array();
    for (size_t i = 0; i < at->belief->compares; i++) {
        const diagnose_compare *compare = &at->belief->compare[i];
        list = http_json_append(list, json_pack("{s:o,s:s,s:s,s:o,s:o,s:o,s:o,s:o,s:o}", "at",
                                                http_json_text(compare->at), "quantity",
                                                compare->quantity, "unit", unit_of(compare), "read",
                                                http_json_number(compare->read), "healthy",
                                                http_json_number(compare->healthy), "predicted",
                                                http_json_number(compare->predicted), "spread",
                                                http_json_number(compare->spread), "chance_wrong",
                                                http_json_number(compare->chance_wrong),
                                                "by_suspect", predictions(at, i)));
    }
    return list;
}

static json_t *tests(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->tests; i++) {
        const diagnose_test_next *next = &belief->test[i];
        list = http_json_append(
            list,
            json_pack("{s:o,s:o,s:o,s:o,s:i,s:o,s:o}", "at", http_json_text(next->at), "quantity",
                      http_json_text(next->quantity), "bits", http_json_number(next->bits), "cost",
                      http_json_number(next->cost), "risk", next->risk, "why",
                      http_json_text(next->why), "caution", http_json_text(next->caution)));
    }
    return list;
}

static json_t *symptoms(const diagnose_belief *belief) {
    json_t *list = json_array();
    for (size_t i = 0; i < belief->heards; i++) {
        const diagnose_heard *heard = &belief->heard[i];
        list =
            http_json_append(list, json_pack("{s:o,s:o,s:o}", "said", http_json_text(heard->said),
                                             "by_leader", http_json_number(heard->by_leader),
                                             "good", http_json_number(heard->good)));
    }
    return list;
}

json_t *http_json_suspects(const http_case *at) {
    const diagnose_belief *belief = at->belief;
    return json_pack(
        "{s:o,s:o,s:b,s:o,s:s,s:o,s:o,s:b,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp",
        http_json_text(circuit_about_of(at->amp)->name), "mains_v", http_json_number(at->mains),
        "mains_measured", at->measured, "meter", http_json_meter(&at->meter), "verdict",
        diagnose_verdict_name(belief->verdict), "reason", http_json_text(belief->reason),
        "entropy_bits", http_json_number(belief->entropy_bits), "trusted", !belief->outside,
        "suspects", suspects(belief), "pairs", pairs(belief), "groups", groups(belief), "next",
        nexts(at), "readings", readings(at), "symptoms", symptoms(belief), "tests", tests(belief));
}
