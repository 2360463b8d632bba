/* Tables: a head that comes again on each page, rows that stay whole, no row alone on a page. */
#include "report_impl.h"

#define GAP 8.0   /* between columns */
#define PAD 2.6   /* above and below a row's text */
#define THICK 0.9 /* under the head */
#define HAIR 0.3  /* under a row */
#define NOTE_GAP 3.0

typedef struct laid_row {
    report_block cell[REPORT_COLUMNS];
    bool over; /* its first cell stands over the whole width */
    bool total;
    double height;
} laid_row;

typedef struct layer {
    report_sheet *sheet;
    const report_table *table;
    double x[REPORT_COLUMNS], width[REPORT_COLUMNS];
    laid_row head;
    bool grouped;
    double group_height;
} layer;

/* ---- widths and rows ----------------------------------------------------------------------- */

static void share_width(layer *to) {
    const report_table *table = to->table;
    double all = 0, x = to->sheet->left;
    double width = to->sheet->right - to->sheet->left - GAP * (double)(table->columns - 1);
    for (size_t i = 0; i < table->columns; i++)
        all += table->column[i].share;
    for (size_t i = 0; i < table->columns; i++) {
        to->x[i] = x;
        to->width[i] = width * table->column[i].share / all;
        x += to->width[i] + GAP;
    }
}

static report_style style_of(const layer *to, const report_row *row, size_t column) {
    bool over = to->table->columns > 1 && !row->cell[1];
    if (row->total) return REPORT_SECTION;
    return over || to->table->column[column].strong ? REPORT_HEAD : to->table->style;
}

static laid_row lay_row(layer *to, const report_row *given) {
    const report_table *table = to->table;
    laid_row row = {.over = table->columns > 1 && !given->cell[1], .total = given->total};
    double whole = to->sheet->right - to->sheet->left;
    for (size_t i = 0; i < (row.over ? 1 : table->columns); i++) {
        report_set set = {style_of(to, given, i), row.over ? whole : to->width[i],
                          table->column[i].right ? PANGO_ALIGN_RIGHT : PANGO_ALIGN_LEFT};
        row.cell[i] = report_block_new(to->sheet, given->cell[i] ? given->cell[i] : "", set);
        row.height = fmax(row.height, row.cell[i].height);
    }
    row.height = fmax(row.height + 2 * PAD, row.over ? 0 : table->least);
    return row;
}

static void free_row(const layer *to, laid_row *row) {
    for (size_t i = 0; i < to->table->columns; i++)
        report_block_free(&row->cell[i]);
}

/* ---- drawing ------------------------------------------------------------------------------- */

static void draw_whole(layer *to, const laid_row *row, double line) {
    report_sheet *sheet = to->sheet;
    double top = sheet->y, width = sheet->right - sheet->left;
    if (row->total) report_rule(sheet, sheet->left, width, THICK);
    for (size_t i = 0; i < to->table->columns; i++) {
        sheet->y = top + PAD;
        /* Where there is room to write, the text stands at the foot of it, as writing does. */
        if (to->table->least > 0) sheet->y = top + row->height - PAD - row->cell[i].height;
        report_block_draw(sheet, &row->cell[i], 0, to->x[i], INFINITY);
    }
    sheet->y = top + row->height;
    if (!to->table->plain) report_rule(sheet, sheet->left, width, line);
}

/* The words over neighbouring columns, each run with a hairline below it. */
static void draw_groups(layer *to) {
    const report_column *column = to->table->column;
    size_t columns = to->table->columns;
    report_sheet *sheet = to->sheet;
    double top = sheet->y;
    for (size_t i = 0, end; i < columns; i = end) {
        for (end = i + 1; end < columns && column[end].group && column[i].group &&
                          strcmp(column[end].group, column[i].group) == 0;)
            end++;
        if (!column[i].group) continue;
        double width = to->x[end - 1] + to->width[end - 1] - to->x[i];
        report_place(sheet, column[i].group, to->x[i], top + PAD,
                     (report_set){REPORT_HEAD, width, PANGO_ALIGN_LEFT});
        sheet->y = top + to->group_height;
        report_rule(sheet, to->x[i], width, HAIR);
    }
    sheet->y = top + to->group_height;
}

static void draw_head(layer *to) {
    if (to->table->plain) return;
    if (to->grouped) draw_groups(to);
    draw_whole(to, &to->head, THICK);
}

/* What fits of each cell above `bottom`; false where nothing did. */
static bool draw_part(layer *to, const laid_row *row, size_t *done, double bottom) {
    report_sheet *sheet = to->sheet;
    double top = sheet->y, lowest = top;
    bool some = false;
    for (size_t i = 0; i < to->table->columns; i++) {
        size_t from = done[i];
        sheet->y = top + PAD;
        done[i] = report_block_draw(sheet, &row->cell[i], from, to->x[i], bottom);
        some = some || done[i] > from;
        lowest = fmax(lowest, sheet->y);
    }
    sheet->y = lowest + PAD;
    if (!to->table->plain) report_rule(sheet, sheet->left, sheet->right - sheet->left, HAIR);
    return some;
}

static bool all_done(const layer *to, const laid_row *row, const size_t *done) {
    for (size_t i = 0; i < to->table->columns; i++)
        if (done[i] < row->cell[i].lines) return false;
    return true;
}

/* A row that no page holds: what fits of each cell, then on with the next page. A line that is
 * higher than a page is drawn past its foot. */
static void draw_split(layer *to, const laid_row *row) {
    report_sheet *sheet = to->sheet;
    size_t done[REPORT_COLUMNS] = {0};
    bool fits = draw_part(to, row, done, sheet->bottom - PAD);
    while (!all_done(to, row, done)) {
        report_new_page(sheet);
        draw_head(to);
        fits = draw_part(to, row, done, fits ? sheet->bottom - PAD : INFINITY);
    }
}

/* The room that a row needs: with the next one where it must not part from it. */
static double room_of(const layer *to, size_t index, const laid_row *row, const laid_row *next) {
    size_t rows = to->table->rows;
    bool keep = index + 1 < rows && (index == 0 || index + 2 == rows || row->over);
    return row->height + (keep ? next->height : 0);
}

static void draw_row(layer *to, size_t index, const laid_row *row, const laid_row *next) {
    report_sheet *sheet = to->sheet;
    double page = sheet->bottom - sheet->top - to->head.height - to->group_height;
    double room = room_of(to, index, row, next);
    if (room > page) room = row->height;
    if (sheet->y + room > sheet->bottom && index > 0) {
        report_new_page(sheet);
        draw_head(to);
    }
    if (row->height > page)
        draw_split(to, row);
    else
        draw_whole(to, row, HAIR);
}

static void draw_rows(layer *to, const char *title) {
    const report_table *table = to->table;
    report_sheet *sheet = to->sheet;
    laid_row row = lay_row(to, &table->row[0]), next = {0};
    for (size_t i = 0; i < table->rows; i++) {
        if (i + 1 < table->rows) next = lay_row(to, &table->row[i + 1]);
        if (i == 0) {
            double first = to->head.height + to->group_height + room_of(to, 0, &row, &next);
            double page = sheet->bottom - sheet->top - 40;
            if (title)
                report_section(sheet, title, fmin(first, page));
            else
                report_need(sheet, fmin(first, page));
            draw_head(to);
        }
        draw_row(to, i, &row, &next);
        free_row(to, &row);
        row = next;
        next = (laid_row){0};
    }
}

/* ---- the table ----------------------------------------------------------------------------- */

void report_table_add(report_sheet *sheet, report_table *table, report_row row) {
    if (table->rows == table->room) {
        size_t room = table->room ? 2 * table->room : 32;
        report_row *more = realloc(table->row, room * sizeof *more);
        if (!more) {
            sheet->failed = true;
            return;
        }
        table->row = more;
        table->room = room;
    }
    table->row[table->rows++] = row;
}

static void lay_head(layer *to) {
    const report_table *table = to->table;
    if (table->plain) return;
    for (size_t i = 0; i < table->columns; i++) {
        report_set set = {REPORT_HEAD, to->width[i],
                          table->column[i].right ? PANGO_ALIGN_RIGHT : PANGO_ALIGN_LEFT};
        to->head.cell[i] = report_block_new(to->sheet, table->column[i].head, set);
        to->head.height = fmax(to->head.height, to->head.cell[i].height + 2 * PAD);
        to->grouped = to->grouped || table->column[i].group;
    }
    if (to->grouped) to->group_height = to->head.height;
}

void report_table_draw(report_sheet *sheet, const char *title, report_table *table,
                       const char *note) {
    if (table->rows > 0) {
        layer to = {.sheet = sheet, .table = table};
        share_width(&to);
        lay_head(&to);
        draw_rows(&to, title);
        free_row(&to, &to.head);
        if (note) {
            report_space(sheet, NOTE_GAP);
            report_text(sheet, note, REPORT_SMALL);
        }
    }
    free(table->row);
    table->row = NULL;
    table->rows = table->room = 0;
}
