/* The report of a job: a first page for the owner, the record for the next technician. */
#include "report_impl.h"

typedef struct writer {
    report_sheet *sheet;
    const report_given *given;
    const json_t *job;
} writer;

/* ---- before it is plugged in --------------------------------------------------------------- */

static const char *and_then(report_sheet *sheet, const char *all, const char *more) {
    return *all ? report_say(sheet, "%s\n%s", all, more) : more;
}

static void dangers(const writer *to) {
    const json_t *cord = json_object_get(to->job, "cord");
    bool bare = report_true(json_object_get(to->job, "amp"), "transformerless");
    const char *all = "";
    if (bare)
        all =
            "This amp has no power transformer: its chassis and your strings can be live. Play it "
            "only through an isolation transformer.";
    if (!bare && report_number(cord, "wires") == 2)
        all = and_then(to->sheet, all,
                       "The mains cord has two wires, so that nothing earths the chassis. Have a "
                       "three-wire cord fitted before you play it.");
    if (report_true(cord, "chassis_capacitor"))
        all = and_then(to->sheet, all,
                       "A capacitor joins the mains to the chassis. If it fails, the chassis and "
                       "your strings are live. Have it taken out.");
    if (!*all) return;
    report_section(to->sheet, "Before you plug it in", 30);
    report_marked(to->sheet, all);
}

/* ---- what to watch ------------------------------------------------------------------------- */

static bool original(const writer *to, const char *part) {
    const json_t *look = report_find(json_object_get(to->job, "looks"), "part", part);
    return strcmp(report_words(look, "state"), "original") == 0;
}

static const char *old_filters(const writer *to) {
    const json_t *drained = json_object_get(to->job, "drained"), *one;
    const char *all = "";
    size_t i;
    json_array_foreach(json_object_get(drained, "capacitors"), i, one) {
        const char *part = report_words(one, "part");
        if (original(to, part) && !report_replaced(to->job, part))
            all = report_say(to->sheet, "%s%s%s", all, *all ? ", " : "", part);
    }
    if (!*all) return "";
    return report_say(to->sheet,
                      "Still original among the filter capacitors: %s. If the amp starts to hum, "
                      "smells hot or a fuse goes, switch it off and bring it back.",
                      all);
}

static bool bad(const json_t *look) {
    static const char *const words[] = {"bulged", "leaking", "cracked", "burnt", "cold joint"};
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(look, "condition"), i, one) {
        for (size_t k = 0; k < sizeof words / sizeof *words; k++)
            if (json_is_string(one) && strcmp(json_string_value(one), words[k]) == 0) return true;
    }
    return false;
}

static const char *worn_parts(const writer *to, const char *all) {
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(to->job, "looks"), i, one) {
        const char *part = report_words(one, "part");
        if (!bad(one) || report_replaced(to->job, part)) continue;
        const char *line = report_say(to->sheet, "%s was found %s, and was not replaced.", part,
                                      report_list(to->sheet, json_object_get(one, "condition")));
        all = and_then(to->sheet, all, line);
    }
    return all;
}

static const char *poor_checks(const writer *to, const char *all) {
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(to->job, "checks"), i, one) {
        const char *note = report_words(one, "note");
        if (strcmp(report_words(one, "result"), "poor") != 0) continue;
        all = and_then(to->sheet, all,
                       report_say(to->sheet, "Still poor: %s%s%s.", report_words(one, "what"),
                                  *note ? ", " : "", note));
    }
    return all;
}

/* Readings after the repair that still lie outside. */
static const char *outside(const writer *to, const char *all) {
    const json_t *readings = json_object_get(to->job, "readings"), *one;
    const service_chart *chart = to->given->after ? to->given->after : to->given->before;
    const char *places = "";
    size_t i;
    json_array_foreach(json_object_get(readings, "after"), i, one) {
        int verdict = report_verdict(one, chart);
        if (verdict != -1 && verdict != 1) continue;
        places = report_say(to->sheet, "%s%s%s %s", places, *places ? ", " : "",
                            report_words(one, "at"), verdict < 0 ? "low" : "high");
    }
    if (!*places) return all;
    return and_then(
        to->sheet, all,
        report_say(to->sheet, "Readings that are still out of the ordinary: %s.", places));
}

static void cautions(const writer *to) {
    const char *told = report_words(json_object_get(to->job, "hand_back"), "cautions");
    const char *all = outside(to, poor_checks(to, worn_parts(to, old_filters(to))));
    if (*told) all = and_then(to->sheet, all, told);
    if (!*all) return;
    report_section(to->sheet, "Keep an eye on it", 30);
    report_marked(to->sheet, all);
}

/* ---- the first page ------------------------------------------------------------------------ */

static const char *year_words(const writer *to) {
    double year = report_number(to->job, "year");
    return isnan(year) ? "" : report_say(to->sheet, "%.0f", year);
}

static void facts(const writer *to) {
    report_sheet *sheet = to->sheet;
    const json_t *amp = json_object_get(to->job, "amp");
    const report_fact facts[] = {
        {"Owner", report_words(to->job, "owner")},
        {"Came in", report_date(sheet, report_number(to->job, "opened"))},
        {"Contact", report_words(to->job, "contact")},
        {"Went out", report_date(sheet, report_number(to->job, "closed"))},
        {"Amp", report_words(amp, "name")},
        {"Serial", report_words(to->job, "serial")},
        {"Kind", report_words(amp, "family")},
        {"Year", year_words(to)},
        {"With it", report_list(sheet, json_object_get(to->job, "accessories"))},
    };
    report_facts(sheet, facts, sizeof facts / sizeof *facts);
}

/* One sentence of how it was tested. */
static const char *proved(const writer *to) {
    const json_t *soak = json_object_get(to->job, "soak"), *one;
    size_t good = 0, all = 0, i;
    const char *words = "";
    json_array_foreach(json_object_get(to->job, "checks"), i, one) {
        good += strcmp(report_words(one, "result"), "good") == 0;
        all++;
    }
    if (all > 0)
        words =
            report_say(to->sheet, "%zu controls, jacks and switches tried: %s. ", all,
                       good == all ? "all good"
                                   : report_say(to->sheet, "%zu good, %zu not", good, all - good));
    if (json_is_object(soak))
        words = report_say(to->sheet, "%sLeft running for %g minutes: %s.", words,
                           report_number(soak, "minutes"), report_words(soak, "result"));
    return words;
}

static void for_the_owner(const writer *to) {
    const json_t *back = json_object_get(to->job, "hand_back");
    report_sheet *sheet = to->sheet;
    report_told(sheet, "What you told us", report_words(to->job, "complaint"), REPORT_QUOTE);
    report_told(sheet, "What you asked for", report_words(to->job, "keep"), REPORT_QUOTE);
    report_told(sheet, "What we found", report_words(back, "found"), REPORT_BODY);
    report_told(sheet, "What was done", report_words(back, "done"), REPORT_BODY);
    report_told(sheet, "What was kept, and why", report_words(back, "kept"), REPORT_BODY);
    report_told(sheet, "How it was tested", proved(to), REPORT_BODY);
    cautions(to);
    report_told(sheet, "Advice", report_words(back, "advice"), REPORT_BODY);
}

#define COMPUTED                                                                                   \
    "Figures named \"computed\" come from a calculation with this amp's circuit. All others were " \
    "read on this amp. A calculation never says that an amp is without danger: before a hand "     \
    "goes "                                                                                        \
    "in, take the mains out, drain the capacitors and measure them."

static void compose(report_sheet *sheet, void *what) {
    const report_given *given = what;
    writer to = {.sheet = sheet, .given = given, .job = given->job};
    const char *number = report_number_words(sheet, given, "Job");
    sheet->foot = report_foot(sheet, given, number);
    report_head(sheet, given->shop, "Repair report", number);
    facts(&to);
    dangers(&to);
    for_the_owner(&to);
    report_new_page(sheet);
    report_set set = {REPORT_TITLE, sheet->right - sheet->left, PANGO_ALIGN_LEFT};
    report_place(sheet, "For the next technician", sheet->left, sheet->y, set);
    sheet->y += 26;
    report_text(sheet, COMPUTED, REPORT_SMALL);
    report_record(sheet, given);
}

/* ---- the report ---------------------------------------------------------------------------- */

void *report_job(const report_given *given, size_t *length, base_errors *errors) {
    report_print print = {.paper = given->paper,
                          .now = given->now,
                          .title = "Repair report",
                          .compose = compose,
                          .what = (void *)given};
    return report_pdf(&print, length, errors);
}
