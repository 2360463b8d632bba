/* Readings before and after, each beside what a good amp reads there. */
#include "report_impl.h"

#include <strings.h>

const service_line *report_line_at(const service_chart *chart, const char *at) {
    for (size_t i = 0; chart && i < chart->lines; i++)
        if (strcasecmp(chart->line[i].at, at) == 0) return &chart->line[i];
    return NULL;
}

const json_t *report_find(const json_t *list, const char *key, const char *value) {
    size_t i;
    const json_t *one, *found = NULL;
    json_array_foreach(list, i, one) {
        if (strcasecmp(report_words(one, key), value) == 0) found = one;
    }
    return found; /* the last one counts */
}

/* Was it read with the meter that the chart is for? What the chart's band holds for no other. */
static bool same_meter(const json_t *reading, const service_chart *chart) {
    const char *words = report_words(reading, "meter");
    diagnose_meter meter;
    if (!*words) return true;
    base_errors *errors = base_errors_new();
    bool read = errors && diagnose_meter_read(words, (base_place){0}, &meter, errors) == BASE_OK;
    base_errors_free(errors);
    if (!read) return false;
    if (isfinite(meter.ohms) || isfinite(chart->meter.ohms)) return meter.ohms == chart->meter.ohms;
    return meter.ohms_per_volt == chart->meter.ohms_per_volt;
}

int report_verdict(const json_t *reading, const service_chart *chart) {
    double volts = report_number(reading, "volts");
    const service_line *line = report_line_at(chart, report_words(reading, "at"));
    if (!line || isnan(volts) || !same_meter(reading, chart)) return 2;
    return service_verdict(line, volts);
}

/* ---- the table ----------------------------------------------------------------------------- */

typedef struct lister {
    report_sheet *sheet;
    const service_chart *chart[2]; /* before, after */
    const json_t *list[2];
    report_table table;
    bool other_meter;
} lister;

static const char *verdict_words(lister *to, const json_t *reading, int phase) {
    static const char *const words[] = {"\u25bc low", "\u2713 inside", "\u25b2 high"};
    int verdict = report_verdict(reading, to->chart[phase]);
    if (verdict < 2) return words[verdict + 1];
    bool other = to->chart[phase] && report_line_at(to->chart[phase], report_words(reading, "at"));
    to->other_meter = to->other_meter || other;
    return other ? "*" : "";
}

/* Expected, read and verdict of one phase. */
static void fill(lister *to, const char *at, int phase, const char **cell) {
    const json_t *reading = report_find(to->list[phase], "at", at);
    const service_line *line = report_line_at(to->chart[phase], at);
    cell[0] = line ? report_band(to->sheet, line->low, line->high) : "";
    cell[1] = cell[2] = "";
    if (!reading) return;
    cell[1] = report_volts(to->sheet, report_number(reading, "volts"));
    cell[2] = verdict_words(to, reading, phase);
}

static void add(lister *to, const char *at) {
    const service_line *line = report_line_at(to->chart[0], at);
    if (!line) line = report_line_at(to->chart[1], at);
    report_row row = {.cell = {at, line ? line->what : ""}};
    fill(to, at, 0, &row.cell[2]);
    if (to->table.columns > 5) fill(to, at, 1, &row.cell[5]);
    report_table_add(to->sheet, &to->table, row);
}

static bool read_at(const lister *to, const char *at) {
    return report_find(to->list[0], "at", at) || report_find(to->list[1], "at", at);
}

/* First the places of the chart in its order, then what the chart does not have. */
static void add_all(lister *to) {
    const service_chart *order = to->chart[0] ? to->chart[0] : to->chart[1];
    for (size_t i = 0; order && i < order->lines; i++)
        if (read_at(to, order->line[i].at)) add(to, order->line[i].at);
    for (int phase = 0; phase < 2; phase++) {
        size_t i;
        const json_t *one;
        json_array_foreach(to->list[phase], i, one) {
            const char *at = report_words(one, "at");
            bool earlier = phase == 1 && report_find(to->list[0], "at", at);
            if (*at && !report_line_at(order, at) && !earlier &&
                report_find(to->list[phase], "at", at) == one)
                add(to, at);
        }
    }
}

static const char *note(const lister *to) {
    const service_chart *chart = to->chart[1] ? to->chart[1] : to->chart[0];
    if (!chart) return "DC volts to the chassis, unless two places are named.";
    const char *meter = isfinite(chart->meter.ohms)
                            ? report_say(to->sheet, "%g Mohm", chart->meter.ohms / 1e6)
                            : report_say(to->sheet, "%g ohm per volt", chart->meter.ohms_per_volt);
    return report_say(to->sheet,
                      "Good amps: computed, what 19 of 20 amps of this kind in good health read on "
                      "%g V %g Hz with a meter of %s. Volts to the chassis, unless a part or two "
                      "places are named.%s",
                      base_value_round(chart->mains_v, 4), base_value_round(chart->mains_hz, 3),
                      meter, to->other_meter ? " *: read with another meter." : "");
}

#define CAME "As it came"
#define LEFT "After the repair"

void report_readings(report_sheet *sheet, const report_given *given) {
    static const report_column columns[] = {{.head = "At", .share = 58},
                                            {.head = "What", .share = 50},
                                            {.head = "Good amps", .group = CAME, .share = 88},
                                            {.head = "Read", .group = CAME, .share = 50},
                                            {.head = "", .group = CAME, .share = 48},
                                            {.head = "Good amps", .group = LEFT, .share = 88},
                                            {.head = "Read", .group = LEFT, .share = 50},
                                            {.head = "", .group = LEFT, .share = 48}};
    const json_t *readings = json_object_get(given->job, "readings");
    lister to = {.sheet = sheet,
                 .chart = {given->before, given->after ? given->after : given->before},
                 .list = {json_object_get(readings, "before"), json_object_get(readings, "after")}};
    to.table = (report_table){.style = REPORT_CELL,
                              .column = columns,
                              .columns = json_array_size(to.list[1]) > 0 ? 8 : 5};
    add_all(&to);
    report_table_draw(sheet, "Readings", &to.table, to.table.rows ? note(&to) : NULL);
}
