/* One table: which function answers which path. It drives dispatch, 404 and 405, and is what
 * docs/openapi.json is held against. */
#include "http_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const http_entry table[] = {
    // clang-format off
    {{"GET", "/api/ping", "Is anybody there"}, http_api_ping, HTTP_NOTHING, 0},
    {{"GET", "/api/keys", "The kinds of facts and their keys"}, http_api_keys, HTTP_NOTHING, 0},
    {{"GET", "/api/symptoms", "Symptoms and findings that may be told"},
     http_api_symptoms, HTTP_NOTHING, 0},
    {{"GET", "/api/shop", "The shop's name, address and rates"}, http_api_shop, HTTP_NOTHING, 0},
    {{"PUT", "/api/shop", "Change them"}, http_api_shop_put, HTTP_JSON, 0},
    {{"GET", "/api/jobs", "Jobs: on the bench, or found by words"}, http_api_jobs, HTTP_NOTHING, 0},
    {{"POST", "/api/jobs", "Take an amp in"}, http_api_job_new, HTTP_JSON, 0},
    {{"GET", "/api/jobs/{job}", "The job as it stands"}, http_api_job, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/facts", "All its facts, oldest first"},
     http_api_facts, HTTP_NOTHING, 0},
    {{"POST", "/api/jobs/{job}/facts", "Add a fact"}, http_api_fact_new, HTTP_JSON, 0},
    {{"POST", "/api/jobs/{job}/undo", "Take a fact back"}, http_api_undo, HTTP_JSON, 0},
    {{"GET", "/api/jobs/{job}/safety", "How to empty this amp's capacitors"},
     http_api_drain, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/chart", "The voltage chart, with what was read"},
     http_api_chart, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/suspects", "Who is to blame, and the next reading"},
     http_api_suspects, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/compare", "Before beside after"}, http_api_compare, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/amp", "The job's amp as drawn, found or repaired"},
     http_api_job_amp, HTTP_NOTHING, 0},
    {{"POST", "/api/jobs/{job}/edit", "Change the job's amp"}, http_api_edit, HTTP_JSON, 0},
    {{"GET", "/api/jobs/{job}/differences", "What differs, and how to undo it"},
     http_api_differences, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/substitute", "What to order for a part"},
     http_api_substitute, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/dates", "What the date codes say together"},
     http_api_dates, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/report.pdf", "The report"},
     http_api_report, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/invoice.pdf", "The invoice"},
     http_api_invoice, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/chart.pdf", "A chart sheet to write on"},
     http_api_chart_sheet, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/readings.csv", "The readings"},
     http_api_csv, HTTP_NOTHING, HTTP_HEAVY},
    {{"POST", "/api/jobs/{job}/photos", "Store a photo"},
     http_api_photo_new, HTTP_BYTES, HTTP_HEAVY},
    {{"GET", "/api/photos/{hash}", "A photo"}, http_api_photo, HTTP_NOTHING, 0},
    {{"GET", "/api/history", "What past repairs of such amps were"},
     http_api_history, HTTP_NOTHING, 0},
    {{"GET", "/api/amps", "The library's amps and the shop's own"}, http_api_amps, HTTP_NOTHING, 0},
    {{"GET", "/api/amps/{name}", "An amp: its file, parts, chart"}, http_api_amp, HTTP_NOTHING, 0},
    {{"PUT", "/api/amps/{name}", "Save the shop's own amp"}, http_api_amp_put, HTTP_JSON, 0},
    {{"GET", "/api/amps/{name}/response", "Gain and phase from an input to a stage"},
     http_api_response, HTTP_NOTHING, 0},
    {{"GET", "/api/amps/{name}/hum", "The supply's ripple, and the hum at the speaker"},
     http_api_hum, HTTP_NOTHING, 0},
    {{"GET", "/api/amps/{name}/tremolo", "Whether the tremolo starts, and what can stop it"},
     http_api_tremolo, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/amps/{name}/margins", "Every part beside its rating"},
     http_api_margins, HTTP_NOTHING, 0},
    {{"POST", "/api/amps/{name}/swap", "Changes tried on paper, before beside after"},
     http_api_swap, HTTP_JSON, 0},
    {{"GET", "/api/amps/{name}/fuse", "The right fuses, and what a wrong one does"},
     http_api_fuse, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/margins", "Every part beside its rating"},
     http_api_margins, HTTP_NOTHING, 0},
    {{"POST", "/api/jobs/{job}/swap", "Changes tried on paper, before beside after"},
     http_api_swap, HTTP_JSON, 0},
    {{"GET", "/api/jobs/{job}/fuse", "The right fuses, and what a wrong one does"},
     http_api_fuse, HTTP_NOTHING, 0},
    {{"GET", "/api/amps/{name}/value", "The value of a part for a target"},
     http_api_value, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/amps/{name}/powerup", "From the switch to rest, and off again"},
     http_api_powerup, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/powerup", "From the switch to rest, and off again"},
     http_api_powerup, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/amps/{name}/output", "What the output stage gives, into which speaker"},
     http_api_output, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/output", "What the output stage gives, into which speaker"},
     http_api_output, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/amps/{name}/drain", "What the capacitors hold, and how to empty them"},
     http_api_drain, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/value", "The value of a part for a target"},
     http_api_value, HTTP_NOTHING, HTTP_HEAVY},
    {{"GET", "/api/jobs/{job}/drain", "What the capacitors hold, and how to empty them"},
     http_api_drain, HTTP_NOTHING, 0},
    {{"GET", "/api/amps/{name}/substitute", "What to order for a part"},
     http_api_substitute, HTTP_NOTHING, 0},
    {{"GET", "/api/amps/{name}/mains", "The amp on another mains, and what puts it right"},
     http_api_mains, HTTP_NOTHING, 0},
    {{"GET", "/api/jobs/{job}/mains", "The amp on another mains, and what puts it right"},
     http_api_mains, HTTP_NOTHING, 0},
    {{"POST", "/api/check", "What is wrong or odd in an amp file"}, http_api_check, HTTP_JSON, 0},
    {{"GET", "/api/curves", "A tube's plate curves with its load line"},
     http_api_curves, HTTP_NOTHING, 0},
    {{"GET", "/api/events", "What changes, as it happens"}, http_api_events, HTTP_NOTHING, 0},
    {{"GET", "/api/meter", "What the meter shows"}, http_api_meter, HTTP_NOTHING, 0},
    {{"PUT", "/api/meter", "Connect to a meter, or let it go"},
     http_api_meter_put, HTTP_JSON, HTTP_BENCH | HTTP_HEAVY},
    {{"GET", "/api/meter/recent", "Its last samples"}, http_api_meter_recent, HTTP_NOTHING, 0},
    {{"GET", "/api/meters", "What is connected to the bench"},
     http_api_meters, HTTP_NOTHING, HTTP_BENCH | HTTP_HEAVY},
    {{"GET", "/api/guide", "Where to probe now"}, http_api_guide, HTTP_NOTHING, 0},
    {{"POST", "/api/guide", "Take, skip, back or stop"}, http_api_guide_press, HTTP_JSON, 0},
    {{"POST", "/api/jobs/{job}/guide", "Begin to be led, or to watch a drain"},
     http_api_guide_start, HTTP_JSON, 0},
    {{"GET", "/api/words", "The spoken words and their clips"}, http_api_words, HTTP_NOTHING, 0},
    {{"GET", "/api/practice", "The practice bench as it stands"},
     http_api_practice, HTTP_NOTHING, 0},
    {{"POST", "/api/practice", "Move the probe, switch, drain, replace"},
     http_api_practice_do, HTTP_JSON, 0},
    {{"POST", "/api/practice/end", "Give up or be judged"},
     http_api_practice_end, HTTP_JSON, HTTP_HEAVY},
    {{"GET", "/api/pairing", "The pairing code and the paired devices"},
     http_api_pairing, HTTP_NOTHING, HTTP_BENCH},
    {{"POST", "/api/pairing", "A new code; forget the devices"},
     http_api_pairing_new, HTTP_JSON, HTTP_BENCH},
    {{"GET", "/api/pairing.svg", "The pairing code as QR"},
     http_api_pairing_qr, HTTP_NOTHING, HTTP_BENCH},
    {{"GET", "/pair", "The form in which a device gives the code"},
     http_pair_page, HTTP_NOTHING, HTTP_OPEN},
    {{"GET", "/pair.css", "Its style"}, http_pair_style, HTTP_NOTHING, HTTP_OPEN},
    {{"POST", "/pair", "Give the code"}, http_pair_try, HTTP_FORM, HTTP_OPEN},
    // clang-format on
};
#define ENTRIES (sizeof table / sizeof *table)

static const http_entry page = {{"GET", "/{file}", "The page's files"}, NULL, HTTP_NOTHING, 0};

const http_route *http_route_at(size_t index) {
    return index < ENTRIES ? &table[index].route : NULL;
}

/* ---- finding one --------------------------------------------------------------------------- */

static bool matches(const char *pattern, const http_target *target) {
    for (int i = 0; i < target->segments; i++) {
        if (*pattern++ != '/') return false;
        size_t length = strcspn(pattern, "/");
        bool any = *pattern == '{';
        const char *segment = target->segment[i];
        if (!any && (strncmp(pattern, segment, length) != 0 || segment[length])) return false;
        pattern += length;
    }
    return *pattern == 0;
}

static void refuse_method(http_answer *answer, const http_target *target) {
    char allow[sizeof answer->allow] = "";
    for (size_t i = 0; i < ENTRIES; i++)
        if (matches(table[i].route.path, target))
            snprintf(allow + strlen(allow), sizeof allow - strlen(allow), "%s%s%s",
                     *allow ? ", " : "", table[i].route.method,
                     strcmp(table[i].route.method, "GET") == 0 ? ", HEAD" : "");
    http_refuse(answer, 405, BASE_USAGE, "this path has no such method|docs/api.md lists them");
    strcpy(answer->allow, *allow ? allow : "GET, HEAD");
}

const http_entry *http_entry_find(const char *method, const http_target *target,
                                  http_answer *answer) {
    bool known = false, head = strcmp(method, "HEAD") == 0;
    for (size_t i = 0; i < ENTRIES; i++) {
        if (!matches(table[i].route.path, target)) continue;
        if (strcmp(table[i].route.method, head ? "GET" : method) == 0) return &table[i];
        known = true;
    }
    bool api = target->segments > 0 && strcmp(target->segment[0], "api") == 0;
    if (!known && !api && target->segments <= 1) {
        if (head || strcmp(method, "GET") == 0) return &page;
        known = true;
    }
    if (known)
        refuse_method(answer, target);
    else
        http_refuse(answer, 404, BASE_UNKNOWN,
                    "there is nothing at this path|docs/api.md lists "
                    "the paths");
    return NULL;
}

size_t http_entry_limit(const http_entry *entry) {
    static const size_t limits[] = {[HTTP_NOTHING] = 0,
                                    [HTTP_JSON] = HTTP_BODY_MAXIMUM,
                                    [HTTP_BYTES] = HTTP_PHOTO_MAXIMUM,
                                    [HTTP_FORM] = 1024};
    return limits[entry->takes];
}

/* ---- what can be refused from the head alone ----------------------------------------------- */

static bool type_is(const char *given, const char *wanted) {
    size_t length = strlen(wanted);
    return given && strncasecmp(given, wanted, length) == 0 &&
           (wanted[length - 1] == '/' || strchr("; \t", given[length]));
}

static bool typed_right(const http_entry *entry, const http_request *request, http_answer *answer) {
    static const char *const types[] = {[HTTP_JSON] = "application/json",
                                        [HTTP_BYTES] = "image/",
                                        [HTTP_FORM] = "application/x-www-form-urlencoded"};
    if (entry->takes == HTTP_NOTHING || type_is(request->content_type, types[entry->takes]))
        return true;
    http_refuse(answer, 415, BASE_USAGE,
                entry->takes == HTTP_JSON
                    ? "the body is not said to be JSON|send Content-Type: application/json"
                : entry->takes == HTTP_BYTES
                    ? "the body is not said to be a picture|send Content-Type: image/jpeg or "
                      "image/png"
                    : "the body is not said to be a form|use the form at /pair");
    return false;
}

const http_entry *http_admit(http_server *server, const http_request *request,
                             http_answer *answer) {
    if (!http_guard_origin(server, request, answer)) return NULL;
    const http_entry *entry = http_entry_find(request->method, &request->target, answer);
    if (!entry || !http_guard_device(server, request, entry, answer) ||
        !typed_right(entry, request, answer))
        return NULL;
    return entry;
}
