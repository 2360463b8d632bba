/* The record for the next technician: what was changed, left, measured and tested. */
#include "report_impl.h"

#define POWER_W 5.0 /* plates rated this and more are output tubes */

static const json_t *list_of(const report_given *given, const char *key) {
    return json_object_get(given->job, key);
}

/* ---- parts --------------------------------------------------------------------------------- */

bool report_replaced(const json_t *job, const char *part) {
    const json_t *decision = report_find(json_object_get(job, "decisions"), "part", part), *one;
    bool listed = false, done = false;
    size_t i;
    if (!decision || strcmp(report_words(decision, "action"), "replace") != 0) return false;
    json_array_foreach(json_object_get(job, "work"), i, one) {
        if (strcmp(report_words(one, "part"), part) != 0) continue;
        listed = true;
        done = done || report_true(one, "done");
    }
    return listed ? done : json_is_object(json_object_get(job, "hand_back"));
}

/* The repair's edit of the part's value, or NULL. */
static const json_t *edit_of(const report_given *given, const char *part) {
    size_t i;
    const json_t *one, *found = NULL;
    json_array_foreach(list_of(given, "edits"), i, one) {
        if (strcmp(report_words(one, "phase"), "repaired") == 0 &&
            strcmp(report_words(one, "part"), part) == 0 &&
            strcmp(report_words(one, "key"), "value") == 0)
            found = one;
    }
    return found;
}

/* Where its leads go: the pins of its lines of work. */
static const char *pins_of(report_sheet *sheet, const report_given *given, const char *part) {
    size_t i;
    const json_t *one;
    const char *all = "";
    json_array_foreach(list_of(given, "work"), i, one) {
        const char *pins = report_words(one, "pins");
        if (strcmp(report_words(one, "part"), part) == 0 && *pins)
            all = report_say(sheet, "%s%s%s", all, *all ? "; " : "", pins);
    }
    return all;
}

static const char *first_of(const char *a, const char *b) {
    return *a ? a : b;
}

static const char *bag_words(const json_t *decision) {
    const json_t *bag = json_object_get(decision, "bag");
    return json_is_true(bag) ? "returned" : json_is_false(bag) ? "not returned" : "";
}

static void replaced(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Part", .share = 38},
                                            {.head = "Old", .share = 120},
                                            {.head = "New", .share = 120},
                                            {.head = "Where", .share = 100},
                                            {.head = "Old part", .share = 60}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 5};
    size_t i;
    const json_t *one;
    json_array_foreach(list_of(given, "decisions"), i, one) {
        const char *part = report_words(one, "part");
        const json_t *edit = edit_of(given, part);
        if (strcmp(report_words(one, "action"), "replace") != 0 ||
            !report_replaced(given->job, part))
            continue;
        report_row row = {
            .cell = {part, first_of(report_words(one, "what"), report_words(edit, "from")),
                     first_of(report_words(one, "substitute"), report_words(edit, "to")),
                     pins_of(sheet, given, part), bag_words(one)}};
        report_table_add(sheet, &table, row);
    }
    report_table_draw(sheet, "Parts replaced", &table, NULL);
}

static const char *outcome_words(const report_given *given, const json_t *decision) {
    const char *action = report_words(decision, "action"), *part = report_words(decision, "part");
    const json_t *work = report_find(list_of(given, "work"), "part", part);
    bool open = work && !report_true(work, "done");
    if (strcmp(action, "replace") == 0) return "not replaced yet";
    if (strcmp(action, "clean") == 0) return open ? "not cleaned yet" : "cleaned";
    if (strcmp(action, "test") == 0) return open ? "not tested yet" : "tested";
    return "left";
}

static void kept(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Part", .share = 38},
                                            {.head = "What became of it", .share = 90},
                                            {.head = "Reason", .share = 70},
                                            {.head = "Note", .share = 240}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 4};
    size_t i;
    const json_t *one;
    json_array_foreach(list_of(given, "decisions"), i, one) {
        const char *part = report_words(one, "part");
        if (report_replaced(given->job, part)) continue;
        const char *what = report_words(one, "what"), *note = report_words(one, "note");
        const char *both =
            *what && *note ? report_say(sheet, "%s: %s", what, note) : first_of(what, note);
        report_table_add(sheet, &table,
                         (report_row){.cell = {part, outcome_words(given, one),
                                               report_words(one, "reason"), both}});
    }
    report_table_draw(sheet, "Parts kept", &table, NULL);
}

/* ---- measured before work ------------------------------------------------------------------ */

static void drained(report_sheet *sheet, const report_given *given) {
    const char *all = "", *day = "";
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(list_of(given, "drained"), "capacitors"), i, one) {
        double volts = report_number(one, "volts");
        if (isnan(volts)) continue;
        const char *when = report_date(sheet, report_number(one, "at"));
        if (*all) all = report_say(sheet, "%s, ", all);
        if (*when && strcmp(when, day) != 0) all = report_say(sheet, "%son %s: ", all, when);
        all = report_say(sheet, "%s%s %s", all, report_words(one, "part"),
                         report_volts(sheet, volts));
        day = when;
    }
    if (*all)
        report_told(sheet, "Filter capacitors as last measured",
                    report_say(sheet,
                               "%s. They charge again each time that the amp is on: drain "
                               "and measure them before a hand goes in.",
                               report_upper(sheet, all)),
                    REPORT_BODY);
}

/* ---- output tubes -------------------------------------------------------------------------- */

static const service_tube *same_tube(const service_chart *chart, const service_tube *tube) {
    for (size_t i = 0; chart && i < chart->tubes; i++)
        if (strcmp(chart->tube[i].tube, tube->tube) == 0 &&
            strcmp(chart->tube[i].unit, tube->unit) == 0)
            return &chart->tube[i];
    return NULL;
}

static const char *burns(report_sheet *sheet, const service_tube *tube) {
    if (!tube) return "";
    return report_say(sheet, "%g V %g mA, %g W: %.0f %%",
                      base_value_round(tube->plate_v - tube->cathode_v, 3),
                      base_value_round(1e3 * tube->plate_a, 3), base_value_round(tube->plate_w, 3),
                      100 * tube->plate_w / tube->rating[0].plate_w);
}

static void output_tubes(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Tube", .share = 80},
                                            {.head = "As it came", .share = 130},
                                            {.head = "After the repair", .share = 130},
                                            {.head = "Rated", .share = 110}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 4};
    const service_chart *chart = given->before ? given->before : given->after;
    for (size_t i = 0; chart && i < chart->tubes; i++) {
        const service_tube *tube = &chart->tube[i];
        if (tube->ratings == 0 || !(tube->rating[0].plate_w >= POWER_W)) continue;
        report_row row = {.cell = {report_say(sheet, "%s %s", tube->tube, tube->type),
                                   burns(sheet, same_tube(given->before, tube)),
                                   burns(sheet, same_tube(given->after, tube)),
                                   report_say(sheet, "%g W %s", tube->rating[0].plate_w,
                                              tube->rating[0].system)}};
        report_table_add(sheet, &table, row);
    }
    report_table_draw(sheet, "Output tubes at idle, computed", &table,
                      "Plate to cathode, plate current, watts in the plate and their part of the "
                      "rating. Computed from the circuit, not measured.");
}

/* ---- tests --------------------------------------------------------------------------------- */

static void tests(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Tested", .share = 130},
                                            {.head = "Result", .share = 60},
                                            {.head = "Note", .share = 250}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 3};
    const json_t *soak = list_of(given, "soak"), *one;
    size_t i;
    json_array_foreach(list_of(given, "checks"), i, one) {
        report_row row = {.cell = {report_words(one, "what"), report_words(one, "result"),
                                   report_words(one, "note")}};
        report_table_add(sheet, &table, row);
    }
    if (json_is_object(soak)) {
        const char *what =
            report_say(sheet, "left running %g minutes", report_number(soak, "minutes"));
        report_table_add(
            sheet, &table,
            (report_row){.cell = {what, report_words(soak, "result"), report_words(soak, "note")}});
    }
    report_table_draw(sheet, "Tests after the repair", &table, NULL);
}

/* ---- as it came ---------------------------------------------------------------------------- */

static void looks(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Part", .share = 40},
                                            {.head = "State", .share = 60},
                                            {.head = "Condition", .share = 100},
                                            {.head = "Date code", .share = 65},
                                            {.head = "Note", .share = 180}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 5};
    size_t i;
    const json_t *one;
    json_array_foreach(list_of(given, "looks"), i, one) {
        report_row row = {.cell = {report_words(one, "part"), report_words(one, "state"),
                                   report_list(sheet, json_object_get(one, "condition")),
                                   report_words(one, "code"), report_words(one, "note")}};
        report_table_add(sheet, &table, row);
    }
    report_table_draw(sheet, "Looked over as it came", &table, NULL);
}

static const char *change_words(report_sheet *sheet, const json_t *edit) {
    const char *does = report_words(edit, "does"), *key = report_words(edit, "key");
    const char *from = report_words(edit, "from"), *to = report_words(edit, "to");
    if (strcmp(does, "remove") == 0) return "removed";
    if (strcmp(does, "add") == 0) return *to ? report_say(sheet, "added, %s", to) : "added";
    return report_say(sheet, "%s%s%s%s%s", key, *key ? ": " : "", from, *from ? " to " : "", to);
}

static void edits(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Part", .share = 40},
                                            {.head = "Since", .share = 90},
                                            {.head = "Change", .share = 150},
                                            {.head = "Reason", .share = 170}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 4};
    size_t i;
    const json_t *one;
    json_array_foreach(list_of(given, "edits"), i, one) {
        bool found = strcmp(report_words(one, "phase"), "found") == 0;
        report_row row = {.cell = {report_words(one, "part"), found ? "it came so" : "this repair",
                                   change_words(sheet, one), report_words(one, "reason")}};
        report_table_add(sheet, &table, row);
    }
    report_table_draw(sheet, "Where it departs from the drawing", &table, NULL);
}

/* ---- what else was told and read ----------------------------------------------------------- */

static void told(const report_given *given, report_sheet *sheet, report_table *table,
                 const char *kind) {
    size_t i;
    const json_t *one;
    json_array_foreach(list_of(given, kind), i, one) {
        bool test = *report_words(one, "at");
        report_row row = {.cell = {report_words(one, test ? "at" : "said"),
                                   report_words(one, test ? "value" : "note")}};
        report_table_add(sheet, table, row);
    }
}

static void evidence(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Told, found, tested", .share = 200},
                                            {.head = "Read, or noted", .share = 250}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 2};
    told(given, sheet, &table, "symptoms");
    told(given, sheet, &table, "findings");
    told(given, sheet, &table, "tests");
    report_table_draw(sheet, "Other evidence", &table, NULL);
}

/* ---- worked out beforehand ----------------------------------------------------------------- */

static void papers(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "Computed", .share = 130},
                                            {.head = "What it gives", .share = 320}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 2};
    size_t i, k;
    const json_t *one, *line;
    json_array_foreach(list_of(given, "papers"), i, one) {
        const char *all = "";
        json_array_foreach(json_object_get(one, "lines"), k, line) {
            all = report_say(sheet, "%s%s%s", all, *all ? "\n" : "", json_string_value(line));
        }
        report_table_add(sheet, &table, (report_row){.cell = {report_words(one, "what"), all}});
    }
    report_table_draw(sheet, "Worked out beforehand, on paper", &table, NULL);
}

/* ---- the record ---------------------------------------------------------------------------- */

void report_record(report_sheet *sheet, const report_given *given) {
    replaced(sheet, given);
    kept(sheet, given);
    drained(sheet, given);
    report_readings(sheet, given);
    output_tubes(sheet, given);
    evidence(sheet, given);
    tests(sheet, given);
    looks(sheet, given);
    edits(sheet, given);
    papers(sheet, given);
    report_photos(sheet, given);
}
