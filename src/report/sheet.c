/* Pages: where the next thing goes, when a page is full, and its footer. */
#include "report_impl.h"

#define FOOT_GAP 14.0 /* from the text to the footer's hairline */
#define HAIRLINE 0.4

static void stroke(report_sheet *sheet, double x, double y, double width, double thickness) {
    if (!sheet->cr) return;
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_set_line_width(sheet->cr, thickness);
    cairo_move_to(sheet->cr, x, y);
    cairo_line_to(sheet->cr, x + width, y);
    cairo_stroke(sheet->cr);
}

void report_rule(report_sheet *sheet, double x, double width, double thickness) {
    stroke(sheet, x, sheet->y, width, thickness);
}

static void foot(report_sheet *sheet) {
    double width = sheet->right - sheet->left, y = sheet->bottom + FOOT_GAP;
    char number[64];
    snprintf(number, sizeof number, "page %d of %d", sheet->page, sheet->pages);
    stroke(sheet, sheet->left, y, width, HAIRLINE);
    report_place(sheet, sheet->foot, sheet->left, y + 4,
                 (report_set){REPORT_SMALL, 0.8 * width, PANGO_ALIGN_LEFT});
    report_place(sheet, number, sheet->left + 0.8 * width, y + 4,
                 (report_set){REPORT_SMALL, 0.2 * width, PANGO_ALIGN_RIGHT});
}

void report_end_page(report_sheet *sheet) {
    if (!sheet->cr) return;
    foot(sheet);
    cairo_show_page(sheet->cr);
}

void report_new_page(report_sheet *sheet) {
    report_end_page(sheet);
    sheet->page++;
    sheet->y = sheet->top;
}

void report_need(report_sheet *sheet, double height) {
    if (sheet->y + height > sheet->bottom && sheet->y > sheet->top) report_new_page(sheet);
}

void report_space(report_sheet *sheet, double height) {
    if (sheet->y > sheet->top) sheet->y += height;
}
