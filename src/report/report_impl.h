/* Private to report: a sheet of paper that text and tables flow down, page after page.
 *
 * A document is composed twice: once without drawing, which counts its pages, and once onto the
 * PDF. So `compose` must do the same both times. Lengths are in points, y grows downwards. Text is
 * set by Pango and drawn in black only. GLib ends the program when memory is out inside Pango; our
 * own failures set `failed` and are told at the end. */
#ifndef GRIDLEAK_REPORT_IMPL_H
#define GRIDLEAK_REPORT_IMPL_H

#include "report.h"

#include <math.h>
#include <pango/pangocairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef enum report_style {
    REPORT_BODY,
    REPORT_QUOTE,   /* another's words */
    REPORT_SMALL,   /* footer, notes below a table */
    REPORT_CELL,    /* in tables */
    REPORT_HEAD,    /* of a table's column */
    REPORT_SECTION, /* above a section; a total */
    REPORT_TITLE,
    REPORT_STYLES
} report_style;

typedef struct report_sheet {
    cairo_t *cr; /* NULL while pages are only counted */
    PangoFontMap *fonts;
    PangoContext *context;
    PangoFontDescription *font[REPORT_STYLES];
    double left, right, top, bottom; /* of the text; the footer stands below `bottom` */
    double y;                        /* where the next thing goes */
    int page, pages;                 /* from 1; 0 while they are counted */
    const char *foot;                /* left of the page number; `compose` sets it */
    base_arena *arena;               /* what `compose` writes, until the end of this pass */
    bool failed;
} report_sheet;

/* ---- the whole (pdf.c) --------------------------------------------------------------------- */

typedef struct report_print {
    report_paper paper;
    int64_t now;
    const char *title; /* in the file's own description */
    void (*compose)(report_sheet *sheet, void *what);
    void *what;
} report_print;

/* PDF bytes, to be freed; NULL with a complaint. At most REPORT_PDF_MAXIMUM bytes. */
#define REPORT_PDF_MAXIMUM ((size_t)64 << 20)
void *report_pdf(const report_print *print, size_t *length, base_errors *errors);

/* ---- pages (sheet.c) ----------------------------------------------------------------------- */

/* A new page unless this much room is left on this one (or it is still empty). */
void report_need(report_sheet *sheet, double height);
void report_new_page(report_sheet *sheet);
void report_end_page(report_sheet *sheet);
void report_space(report_sheet *sheet, double height); /* none at the top of a page */
void report_rule(report_sheet *sheet, double x, double width, double thickness); /* at y */

/* ---- text (block.c) ------------------------------------------------------------------------ */

/* Text broken into lines for one width. Any UTF-8: bytes that are none are shown as such. */
typedef struct report_line {
    int piece, index; /* of its layout; of the line in it */
    double height, baseline;
} report_line;
typedef struct report_block {
    PangoLayout **piece;
    report_line *line;
    size_t pieces, lines;
    double height; /* of all lines */
} report_block;

typedef struct report_set { /* how text is set */
    report_style style;
    double width;
    PangoAlignment align;
} report_set;

report_block report_block_new(report_sheet *sheet, const char *text, report_set set);
void report_block_free(report_block *block);
/* Draws lines from `first` while they fit above `bottom`; returns the line after the last drawn.
 */
size_t report_block_draw(report_sheet *sheet, const report_block *block, size_t first, double x,
                         double bottom);
/* Paragraphs over the whole width, flowing over pages; no line of them alone on a page. */
void report_text(report_sheet *sheet, const char *text, report_style style);
/* The same, indented by `indent`, with a thick rule at its left. */
void report_marked(report_sheet *sheet, const char *text);
/* A section's heading; stays on the page with the `keep` points that follow. */
void report_section(report_sheet *sheet, const char *title, double keep);
/* Heading and paragraph; nothing at all where there is no text. */
void report_told(report_sheet *sheet, const char *title, const char *text, report_style style);
/* One line at the given place, cut off with an ellipsis where it is too long. */
void report_place(report_sheet *sheet, const char *text, double x, double y, report_set set);

/* ---- tables (table.c) ---------------------------------------------------------------------- */

#define REPORT_COLUMNS 9

typedef struct report_column {
    const char *head;
    const char *group; /* stands over neighbours that share it, or NULL */
    double share;      /* of the width, beside the others' shares */
    bool right;        /* aligned to the right: money, numbers */
    bool strong;       /* its cells are names */
} report_column;

typedef struct report_row {
    const char *cell[REPORT_COLUMNS]; /* [1] NULL: the first stands over the whole width */
    bool total;                       /* a sum: larger, a rule above */
} report_row;

typedef struct report_table {
    report_style style; /* of its cells */
    const report_column *column;
    size_t columns;
    report_row *row;
    size_t rows, room;
    double least; /* height of a row at least: room to write */
    bool plain;   /* no head and no rules */
} report_table;

/* Adds a row; cells are borrowed until the table is drawn. */
void report_table_add(report_sheet *sheet, report_table *table, report_row row);
/* Draws and empties the table, its head again on each page; nothing where it has no rows. `title`
 * and `note` (below) may be NULL. */
void report_table_draw(report_sheet *sheet, const char *title, report_table *table,
                       const char *note);

/* ---- words (words.c) ----------------------------------------------------------------------- */

/* Never NULL: "" where the key is missing or no text. */
const char *report_words(const json_t *object, const char *key);
double report_number(const json_t *object, const char *key); /* NAN where it is none */
bool report_true(const json_t *object, const char *key);
/* A text, or a whole number written out. */
const char *report_label(report_sheet *sheet, const json_t *object, const char *key);
/* "bulged, leaking": of a list of texts. */
const char *report_list(report_sheet *sheet, const json_t *list);
/* Kept until the pass ends; "" where memory is out. */
const char *report_say(report_sheet *sheet, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* "20 November 2025", "" where the time is none. UTC. */
const char *report_date(report_sheet *sheet, double milliseconds);
/* "105.00 EUR": digits by ISO 4217, two where the currency is not in it. */
const char *report_money(report_sheet *sheet, const json_t *shop, double amount);
/* Volts as a meter shows them: "385 V", "1.72 V"; "" for NAN. */
const char *report_volts(report_sheet *sheet, double volts);
const char *report_band(report_sheet *sheet, double low, double high); /* "373 to 398 V" */
const char *report_upper(report_sheet *sheet, const char *text);       /* first letter a capital */

/* ---- parts that documents share ------------------------------------------------------------ */

/* The shop at the left, title and number at the right (head.c). */
void report_head(report_sheet *sheet, const json_t *shop, const char *title, const char *number);
/* "Job 12", "" where it has no number. */
const char *report_number_words(report_sheet *sheet, const report_given *given, const char *what);
/* Shop, number and amp in one line, for the foot of each page. */
const char *report_foot(report_sheet *sheet, const report_given *given, const char *number);
/* Facts in two columns: name and value, those without a value left out. */
typedef struct report_fact {
    const char *name, *value;
} report_fact;
void report_facts(report_sheet *sheet, const report_fact *fact, size_t count);
/* Up to three photos beside each other, with their captions (photos.c). */
void report_photos(report_sheet *sheet, const report_given *given);

/* What the report's pages share of a job. */
/* Has the part been changed? A decision to replace it, and its work done or the job handed back. */
bool report_replaced(const json_t *job, const char *part);
const json_t *report_find(const json_t *list, const char *key, const char *value); /* or NULL */
const service_line *report_line_at(const service_chart *chart, const char *at);    /* or NULL */
/* As service_verdict; 2 also where the chart has no such place or is for another meter. */
int report_verdict(const json_t *reading, const service_chart *chart);

/* The record for the next technician (record.c), and its table of readings (readings.c). */
void report_record(report_sheet *sheet, const report_given *given);
void report_readings(report_sheet *sheet, const report_given *given);

#endif
