/* The chart sheet: places and what good amps read there, with room for what the pen writes. */
#include "report_impl.h"

#define ROOM 18.0 /* a row's height: for handwriting */
#define BLANK "........................"

typedef struct writer {
    report_sheet *sheet;
    const report_given *given;
    const service_chart *chart;
} writer;

/* "V1  12AX7, both preamp stages": of the tube that a line belongs to. */
static const char *tube_words(const writer *to, const service_line *line) {
    int name = (int)strcspn(line->at, ".");
    for (size_t i = 0; i < to->chart->tubes; i++) {
        const service_tube *tube = &to->chart->tube[i];
        if (tube->part != line->part) continue;
        return report_say(to->sheet, "%s  %s%s%s", tube->tube, tube->type, tube->does ? ", " : "",
                          tube->does ? tube->does : "");
    }
    return report_say(to->sheet, "%.*s  rectifier", name, line->at);
}

/* The heading over a run of lines, or NULL where the run goes on. */
static const char *group_words(const writer *to, size_t index) {
    const service_line *line = &to->chart->line[index];
    const service_line *before = index ? line - 1 : NULL;
    if (line->pin >= 0)
        return before && before->pin >= 0 && before->part == line->part ? NULL
                                                                        : tube_words(to, line);
    bool across = strcmp(line->what, "across") == 0;
    bool same = before && before->pin < 0 && (strcmp(before->what, "across") == 0) == across;
    return same ? NULL : across ? "Across parts" : "Supply nodes";
}

static void add_line(const writer *to, report_table *table, const service_line *line) {
    report_sheet *sheet = to->sheet;
    const char *what = line->heater ? "heater, AC" : line->what;
    report_row row = {.cell = {line->at, what,
                               report_volts(sheet, base_value_round(line->shown, 3)),
                               report_band(sheet, line->low, line->high),
                               report_volts(sheet, line->printed), "", "", ""}};
    report_table_add(sheet, table, row);
}

#define LEGEND                                                                                     \
    "Expected and good amps: computed, as the meter named above shows them; 19 of 20 amps of "     \
    "this "                                                                                        \
    "kind in good health read within \"good amps\". Printed: on the schematic. DC volts to the "   \
    "chassis, unless a part or two places are named; red lead on the first."

static void table(const writer *to) {
    static const report_column columns[] = {
        {.head = "At", .share = 62},        {.head = "What", .share = 58},
        {.head = "Expected", .share = 56},  {.head = "Good amps", .share = 92},
        {.head = "Printed", .share = 52},   {.head = "Read before", .share = 74},
        {.head = "Read after", .share = 74}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 7, .least = ROOM};
    for (size_t i = 0; i < to->chart->lines; i++) {
        const char *group = group_words(to, i);
        if (group) report_table_add(to->sheet, &table, (report_row){.cell = {group}});
        add_line(to, &table, &to->chart->line[i]);
    }
    report_space(to->sheet, 4);
    report_text(to->sheet, LEGEND, REPORT_SMALL);
    report_space(to->sheet, 2);
    report_table_draw(to->sheet, NULL, &table, NULL);
}

static const char *meter_words(const writer *to) {
    const diagnose_meter *meter = &to->chart->meter;
    if (isfinite(meter->ohms)) return report_say(to->sheet, "%g Mohm", meter->ohms / 1e6);
    if (meter->ohms_per_volt > 0)
        return report_say(to->sheet, "%g ohm per volt", meter->ohms_per_volt);
    return "no load";
}

static void facts(const writer *to) {
    report_sheet *sheet = to->sheet;
    const json_t *job = to->given->job;
    const report_fact facts[] = {
        {"Amp", to->chart->amp ? to->chart->amp : ""},
        {"Date", BLANK},
        {"Owner", report_words(job, "owner")},
        {"Serial", report_words(job, "serial")},
        {"Mains", report_say(sheet, "%g V %g Hz", base_value_round(to->chart->mains_v, 4),
                             base_value_round(to->chart->mains_hz, 3))},
        {"Read", BLANK},
        {"Meter", meter_words(to)},
        {"Used", BLANK},
        {"Drained to", BLANK " V DC"},
        {"At", BLANK},
    };
    report_facts(sheet, facts, sizeof facts / sizeof *facts);
}

#define LIVE                                                                                       \
    "The amp is live while these are read. One hand only; black lead clipped to the chassis; put " \
    "clips on with the amp off and drained; highest range first. Before a hand goes in: mains "    \
    "plug out, capacitors drained, and each measured under 60 V DC. Stop if you are unsure. "      \
    "Local "                                                                                       \
    "electrical codes and licensed practice come first."
#define BARE                                                                                       \
    "This amp has no power transformer: its chassis can be live. Isolation transformer first; "    \
    "the "                                                                                         \
    "black lead goes to the common negative.\n"

static void compose(report_sheet *sheet, void *what) {
    const writer *given = what;
    writer to = {.sheet = sheet, .given = given->given, .chart = given->chart};
    const char *number = report_number_words(sheet, to.given, "Job");
    bool bare = report_true(json_object_get(to.given->job, "amp"), "transformerless");
    sheet->foot = report_foot(sheet, to.given, number);
    report_head(sheet, to.given->shop, "Voltage chart", number);
    facts(&to);
    report_space(sheet, 8);
    report_marked(sheet, bare ? BARE LIVE : LIVE);
    table(&to);
}

void *report_chart(const service_chart *chart, const report_given *given, size_t *length,
                   base_errors *errors) {
    writer writer = {.given = given, .chart = chart};
    report_print print = {.paper = given->paper,
                          .now = given->now,
                          .title = "Voltage chart",
                          .compose = compose,
                          .what = &writer};
    return report_pdf(&print, length, errors);
}
