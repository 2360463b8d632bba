/* Text broken into lines, and paragraphs that flow over pages.
 *
 * Pango's time grows with the square of a word's length and of a layout's paragraphs, so that long
 * text is set in pieces: a piece that ends in mid-text gives its last line back to the next. */
#include "report_impl.h"

#define PIECE 1500 /* bytes */
#define LEADING 1.12
#define INDENT 10.0

/* ---- signs --------------------------------------------------------------------------------- */

/* The code points that Unicode keeps free of characters for good; the drawing library refuses them.
 */
static bool no_character(gunichar sign) {
    return (sign & 0xfffe) == 0xfffe || (sign >= 0xfdd0 && sign <= 0xfdef);
}

/* The text with a replacement sign for all that is no character; to be freed with g_free. */
static char *drawable(const char *text) {
    char *valid = g_utf8_make_valid(text, -1), *to = valid;
    for (const char *from = valid; *from;) {
        gunichar sign = g_utf8_get_char(from);
        from = g_utf8_next_char(from); /* before it is written over */
        to += g_unichar_to_utf8(no_character(sign) ? 0xfffd : sign, to);
    }
    *to = 0;
    return valid;
}

/* ---- breaking ------------------------------------------------------------------------------ */

static PangoLayout *layout_new(report_sheet *sheet, report_set set) {
    PangoLayout *layout = pango_layout_new(sheet->context);
    pango_layout_set_font_description(layout, sheet->font[set.style]);
    pango_layout_set_width(layout, (int)(set.width * PANGO_SCALE));
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_alignment(layout, set.align);
    return layout;
}

/* Bytes of the next piece: all of the rest, or up to a whole character within PIECE. */
static int piece_length(const char *rest) {
    size_t length = strnlen(rest, PIECE + 1);
    if (length <= PIECE) return (int)length;
    const char *end = g_utf8_find_prev_char(rest, rest + PIECE);
    return end && end > rest ? (int)(end - rest) : PIECE;
}

static bool room_for(report_block *block, size_t lines) {
    PangoLayout **piece = realloc(block->piece, (block->pieces + 1) * sizeof *piece);
    if (!piece) return false;
    block->piece = piece;
    report_line *line = realloc(block->line, (block->lines + lines + 1) * sizeof *line);
    if (line) block->line = line;
    return line != NULL;
}

/* Takes the first `count` lines of the layout; returns the bytes of text that they hold. */
static int take_lines(report_block *block, PangoLayout *layout, int count) {
    int used = 0;
    PangoLayoutIter *iter = pango_layout_get_iter(layout);
    for (int i = 0; i < count; i++) {
        PangoRectangle area;
        PangoLayoutLine *line = pango_layout_iter_get_line_readonly(iter);
        pango_layout_line_get_extents(line, NULL, &area);
        double height = LEADING * area.height / PANGO_SCALE;
        double above = (LEADING - 1) / 2 * area.height / PANGO_SCALE;
        block->line[block->lines++] =
            (report_line){.piece = (int)block->pieces,
                          .index = i,
                          .height = height,
                          .baseline = above - (double)area.y / PANGO_SCALE};
        block->height += height;
        if (!pango_layout_iter_next_line(iter)) continue;
        used = pango_layout_iter_get_line_readonly(iter)->start_index;
    }
    pango_layout_iter_free(iter);
    block->piece[block->pieces++] = layout;
    return used;
}

/* Sets one piece; returns the bytes used, or 0 where memory is out. */
static int set_piece(report_sheet *sheet, report_block *block, const char *rest, report_set set) {
    int length = piece_length(rest);
    bool last = rest[length] == 0;
    PangoLayout *layout = layout_new(sheet, set);
    pango_layout_set_text(layout, rest, length);
    int lines = pango_layout_get_line_count(layout);
    int taken = last || lines < 2 ? lines : lines - 1;
    if (!room_for(block, (size_t)taken)) {
        g_object_unref(layout);
        sheet->failed = true;
        return 0;
    }
    int used = take_lines(block, layout, taken);
    return last || taken == lines ? length : used;
}

report_block report_block_new(report_sheet *sheet, const char *text, report_set set) {
    report_block block = {0};
    char *valid = drawable(text);
    size_t length = strlen(valid);
    while (length > 0 && strchr(" \t\r\n", valid[length - 1]))
        valid[--length] = 0;
    const char *rest = valid;
    while (*rest) {
        int used = set_piece(sheet, &block, rest, set);
        if (used == 0) break;
        rest += used;
    }
    g_free(valid);
    return block;
}

void report_block_free(report_block *block) {
    for (size_t i = 0; i < block->pieces; i++)
        g_object_unref(block->piece[i]);
    free(block->piece);
    free(block->line);
    *block = (report_block){0};
}

/* ---- drawing ------------------------------------------------------------------------------- */

/* The line's own x follows its alignment and the direction of its script. */
static void draw_line(report_sheet *sheet, const report_block *block, const report_line *line,
                      double x) {
    PangoLayout *layout = block->piece[line->piece];
    PangoLayoutLine *set = pango_layout_get_line_readonly(layout, line->index);
    PangoRectangle area;
    double width = (double)pango_layout_get_width(layout) / PANGO_SCALE, shift = 0;
    pango_layout_line_get_extents(set, NULL, &area);
    double free_width = width - (double)area.width / PANGO_SCALE;
    bool from_right = set->resolved_dir == PANGO_DIRECTION_RTL;
    if ((pango_layout_get_alignment(layout) == PANGO_ALIGN_RIGHT) != from_right) shift = free_width;
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_move_to(sheet->cr, x + fmax(shift, 0), sheet->y + line->baseline);
    pango_cairo_show_layout_line(sheet->cr, set);
}

size_t report_block_draw(report_sheet *sheet, const report_block *block, size_t first, double x,
                         double bottom) {
    size_t i = first;
    for (; i < block->lines && sheet->y + block->line[i].height <= bottom + 0.01; i++) {
        if (sheet->cr) draw_line(sheet, block, &block->line[i], x);
        sheet->y += block->line[i].height;
    }
    return i;
}

void report_place(report_sheet *sheet, const char *text, double x, double y, report_set set) {
    if (!sheet->cr) return;
    char *valid = drawable(text);
    PangoLayout *layout = layout_new(sheet, set);
    pango_layout_set_single_paragraph_mode(layout, true);
    pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_END);
    pango_layout_set_text(layout, valid, (int)strnlen(valid, PIECE));
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_move_to(sheet->cr, x, y);
    pango_cairo_show_layout(sheet->cr, layout);
    g_object_unref(layout);
    g_free(valid);
}

/* ---- paragraphs ---------------------------------------------------------------------------- */

/* How many lines from `first` fit on this page. */
static size_t fitting(const report_sheet *sheet, const report_block *block, size_t first) {
    double y = sheet->y;
    size_t i = first;
    for (; i < block->lines && y + block->line[i].height <= sheet->bottom; i++)
        y += block->line[i].height;
    return i - first;
}

/* How many lines go on this page so that no line stands alone on either side; 0: a new page. */
static size_t allowed(const report_sheet *sheet, const report_block *block, size_t first) {
    size_t rest = block->lines - first, fit = fitting(sheet, block, first);
    bool fresh = sheet->y <= sheet->top;
    if (fit >= rest) return rest;
    if (fresh) return fit > 2 && rest - fit == 1 ? fit - 1 : fit > 0 ? fit : 1;
    if (rest - fit == 1) fit = fit > 0 ? fit - 1 : 0;
    return fit < 2 ? 0 : fit;
}

static void mark(report_sheet *sheet, double from) {
    if (!sheet->cr) return;
    cairo_set_source_rgb(sheet->cr, 0, 0, 0);
    cairo_rectangle(sheet->cr, sheet->left, from, 2.5, sheet->y - from);
    cairo_fill(sheet->cr);
}

static void flow(report_sheet *sheet, const char *text, report_style style, bool marked) {
    double x = sheet->left + (marked ? INDENT : 0);
    report_set set = {style, sheet->right - x, PANGO_ALIGN_LEFT};
    report_block block = report_block_new(sheet, text, set);
    for (size_t i = 0; i < block.lines;) {
        size_t count = allowed(sheet, &block, i);
        if (count == 0) {
            report_new_page(sheet);
            continue;
        }
        double from = sheet->y;
        for (size_t end = i + count; i < end;) {
            size_t next = report_block_draw(sheet, &block, i, x, sheet->y + block.line[i].height);
            i = next > i ? next : end;
        }
        if (marked) mark(sheet, from);
        if (i < block.lines) report_new_page(sheet);
    }
    report_block_free(&block);
}

void report_text(report_sheet *sheet, const char *text, report_style style) {
    flow(sheet, text, style, false);
}

void report_marked(report_sheet *sheet, const char *text) {
    flow(sheet, text, REPORT_BODY, true);
}

void report_section(report_sheet *sheet, const char *title, double keep) {
    report_set set = {REPORT_SECTION, sheet->right - sheet->left, PANGO_ALIGN_LEFT};
    report_block block = report_block_new(sheet, title, set);
    report_need(sheet, 13 + block.height + keep);
    report_space(sheet, 13);
    report_block_draw(sheet, &block, 0, sheet->left, INFINITY);
    sheet->y += 2;
    report_block_free(&block);
}

void report_told(report_sheet *sheet, const char *title, const char *text, report_style style) {
    if (strspn(text, " \t\r\n") == strlen(text)) return;
    report_section(sheet, title, 2 * 14);
    report_text(sheet, text, style);
}
