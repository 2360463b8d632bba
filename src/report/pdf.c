/* From a composed document to PDF bytes in memory. */
#include "report_impl.h"

#include <cairo-pdf.h>
#include <time.h>

/* ---- bytes --------------------------------------------------------------------------------- */

typedef struct bytes {
    unsigned char *data;
    size_t length, room;
} bytes;

static cairo_status_t take(void *closure, const unsigned char *data, unsigned int length) {
    bytes *bytes = closure;
    if (length > REPORT_PDF_MAXIMUM - bytes->length) return CAIRO_STATUS_WRITE_ERROR;
    if (bytes->length + length > bytes->room) {
        size_t room = bytes->room ? 2 * bytes->room : 64 << 10;
        while (room < bytes->length + length)
            room *= 2;
        unsigned char *more = realloc(bytes->data, room);
        if (!more) return CAIRO_STATUS_NO_MEMORY;
        bytes->data = more;
        bytes->room = room;
    }
    memcpy(bytes->data + bytes->length, data, length);
    bytes->length += length;
    return CAIRO_STATUS_SUCCESS;
}

/* ---- sheets -------------------------------------------------------------------------------- */

#define SIDE 56.0 /* margins: 2 cm */
#define TOP 50.0
#define FOOT 70.0

static const struct {
    double width, height;
} papers[] = {[REPORT_A4] = {595.276, 841.89}, [REPORT_LETTER] = {612, 792}};

/* DejaVu is what Debian's fontconfig brings; without it any sans. */
static const char *const fonts[REPORT_STYLES] = {
    [REPORT_BODY] = "DejaVu Sans,sans 10",       [REPORT_QUOTE] = "DejaVu Sans,sans Oblique 10",
    [REPORT_SMALL] = "DejaVu Sans,sans 8",       [REPORT_CELL] = "DejaVu Sans,sans 8.5",
    [REPORT_HEAD] = "DejaVu Sans,sans Bold 8.5", [REPORT_SECTION] = "DejaVu Sans,sans Bold 11",
    [REPORT_TITLE] = "DejaVu Sans,sans Bold 17"};

/* Outlines without hinting: the same breaks on any machine with the same font. */
static void set_context(PangoContext *context) {
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    pango_cairo_context_set_font_options(context, options);
    cairo_font_options_destroy(options);
    pango_context_set_language(context, pango_language_from_string("en"));
}

static report_sheet sheet_open(const report_print *print, cairo_t *cr, int pages) {
    double width = papers[print->paper].width, height = papers[print->paper].height;
    report_sheet sheet = {.cr = cr,
                          .left = SIDE,
                          .right = width - SIDE,
                          .top = TOP,
                          .bottom = height - FOOT,
                          .y = TOP,
                          .page = 1,
                          .pages = pages,
                          .foot = "",
                          .arena = base_arena_new()};
    sheet.failed = !sheet.arena;
    sheet.fonts = pango_cairo_font_map_new();
    pango_cairo_font_map_set_resolution(PANGO_CAIRO_FONT_MAP(sheet.fonts), 72);
    sheet.context = pango_font_map_create_context(sheet.fonts);
    set_context(sheet.context);
    for (int i = 0; i < REPORT_STYLES; i++)
        sheet.font[i] = pango_font_description_from_string(fonts[i]);
    return sheet;
}

static void sheet_close(report_sheet *sheet) {
    for (int i = 0; i < REPORT_STYLES; i++)
        pango_font_description_free(sheet->font[i]);
    g_object_unref(sheet->context);
    g_object_unref(sheet->fonts);
    base_arena_free(sheet->arena);
}

/* One pass; *pages (0: to be counted) receives how many there are. false: something failed. */
static bool pass(const report_print *print, cairo_t *cr, int *pages) {
    report_sheet sheet = sheet_open(print, cr, *pages);
    if (sheet.arena) print->compose(&sheet, print->what);
    report_end_page(&sheet);
    *pages = sheet.page;
    sheet_close(&sheet);
    return !sheet.failed;
}

static void tell_about(cairo_surface_t *surface, const report_print *print) {
    time_t seconds = (time_t)(print->now / 1000);
    char date[64] = "1970-01-01T00:00:00Z";
    struct tm utc;
    if (gmtime_r(&seconds, &utc)) strftime(date, sizeof date, "%Y-%m-%dT%H:%M:%SZ", &utc);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, date);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, print->title);
}

static cairo_status_t draw(const report_print *print, int pages, bytes *bytes) {
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(
        take, bytes, papers[print->paper].width, papers[print->paper].height);
    tell_about(surface, print);
    cairo_t *cr = cairo_create(surface);
    bool whole = pass(print, cr, &pages);
    cairo_status_t status = whole ? cairo_status(cr) : CAIRO_STATUS_NO_MEMORY;
    cairo_destroy(cr);
    cairo_surface_finish(surface);
    if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    return status;
}

static base_code complain(cairo_status_t status, int pages, base_errors *errors) {
    base_place nowhere = {0};
    if (status == CAIRO_STATUS_NO_MEMORY)
        return base_errors_add(errors, BASE_MEMORY, nowhere,
                               "no memory left for a document of %d pages|close other programs",
                               pages);
    if (status == CAIRO_STATUS_WRITE_ERROR)
        return base_errors_add(errors, BASE_VALUE, nowhere,
                               "a document of %d pages and its photos passes %zu MB|leave out "
                               "photos",
                               pages, REPORT_PDF_MAXIMUM >> 20);
    return base_errors_add(errors, BASE_VALUE, nowhere,
                           "the document cannot be drawn: %s|look for odd signs in its texts",
                           cairo_status_to_string(status));
}

/* Without any font Pango draws boxes of no size. */
static base_code find_font(base_errors *errors) {
    PangoFontMap *map = pango_cairo_font_map_new();
    PangoContext *context = pango_font_map_create_context(map);
    PangoFontDescription *wanted = pango_font_description_from_string(fonts[REPORT_BODY]);
    PangoFont *font = pango_font_map_load_font(map, context, wanted);
    bool found = font != NULL;
    if (font) g_object_unref(font);
    pango_font_description_free(wanted);
    g_object_unref(context);
    g_object_unref(map);
    if (found) return BASE_OK;
    return base_errors_add(errors, BASE_FILE, (base_place){0},
                           "no font is installed to print with|install one, such as DejaVu Sans "
                           "(Debian: fonts-dejavu-core)");
}

void *report_pdf(const report_print *print, size_t *length, base_errors *errors) {
    if (find_font(errors) != BASE_OK) return NULL;
    bytes bytes = {0};
    int pages = 0;
    cairo_status_t status = CAIRO_STATUS_NO_MEMORY;
    if (pass(print, NULL, &pages)) status = draw(print, pages, &bytes);
    if (status == CAIRO_STATUS_SUCCESS) {
        *length = bytes.length;
        return bytes.data;
    }
    free(bytes.data);
    complain(status, pages, errors);
    return NULL;
}
