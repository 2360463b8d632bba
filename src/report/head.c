/* The head of a document: whose paper it is, what it is, and the facts of the job. */
#include "report_impl.h"

void report_head(report_sheet *sheet, const json_t *shop, const char *title, const char *number) {
    double width = sheet->right - sheet->left, half = width / 2, top = sheet->y;
    report_set left = {REPORT_SECTION, half - 10, PANGO_ALIGN_LEFT};
    report_set small = {REPORT_SMALL, half - 10, PANGO_ALIGN_LEFT};
    report_set right = {REPORT_TITLE, half, PANGO_ALIGN_RIGHT};
    report_set plain = {REPORT_BODY, half, PANGO_ALIGN_RIGHT};
    report_block name = report_block_new(sheet, report_words(shop, "name"), left);
    report_block address = report_block_new(sheet, report_words(shop, "address"), small);
    report_place(sheet, title, sheet->left + half, top, right);
    report_place(sheet, number, sheet->left + half, top + 24, plain);
    /* A shop's name or address of many lines is cut at a third of the page, not its owner's. */
    double most = sheet->top + (sheet->bottom - sheet->top) / 3;
    report_block_draw(sheet, &name, 0, sheet->left, most);
    report_block_draw(sheet, &address, 0, sheet->left, most);
    sheet->y = fmax(sheet->y + 8, top + 46);
    report_rule(sheet, sheet->left, width, 1.2);
    sheet->y += 6;
    report_block_free(&name);
    report_block_free(&address);
}

const char *report_number_words(report_sheet *sheet, const report_given *given, const char *what) {
    const char *number = report_label(sheet, given->job, "number");
    return *number ? report_say(sheet, "%s %s", what, number) : "";
}

const char *report_foot(report_sheet *sheet, const report_given *given, const char *number) {
    const char *parts[] = {report_words(given->shop, "name"), number,
                           report_words(json_object_get(given->job, "amp"), "name")};
    const char *all = "";
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (*parts[i]) all = *all ? report_say(sheet, "%s  \u00b7  %s", all, parts[i]) : parts[i];
    return all;
}

void report_facts(report_sheet *sheet, const report_fact *fact, size_t count) {
    static const report_column columns[] = {
        {.share = 11, .strong = true}, {.share = 33}, {.share = 10, .strong = true}, {.share = 26}};
    report_table table = {.style = REPORT_CELL, .column = columns, .columns = 4, .plain = true};
    report_row row = {.cell = {"", "", "", ""}};
    size_t used = 0;
    for (size_t i = 0; i < count; i++) {
        if (!*fact[i].value) continue;
        row.cell[used] = fact[i].name;
        row.cell[used + 1] = fact[i].value;
        used += 2;
        if (used < 4) continue;
        report_table_add(sheet, &table, row);
        row = (report_row){.cell = {"", "", "", ""}};
        used = 0;
    }
    if (used > 0) report_table_add(sheet, &table, row);
    report_table_draw(sheet, NULL, &table, NULL);
    sheet->y += 4;
    report_rule(sheet, sheet->left, sheet->right - sheet->left, 0.4);
}
