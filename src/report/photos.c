/* Photos, small, beside each other. The JPEG bytes go into the PDF as they are. */
#include "report_impl.h"

#include <setjmp.h>

#include <jpeglib.h>

#define PHOTOS 3
#define GAP 12.0
#define CAPTION 40.0 /* kept for its lines; a longer one is cut at the foot of the page */
#define TALLEST 1.25 /* height by width: a taller photo is drawn narrower */

typedef struct photo {
    cairo_surface_t *surface;
    double width, height; /* as drawn */
    const char *caption;
} photo;

/* ---- its size ------------------------------------------------------------------------------ */

typedef struct trouble {
    struct jpeg_error_mgr manager; /* first: the library hands it back as a pointer to this */
    jmp_buf out;
} trouble;

static void leave(j_common_ptr info) {
    longjmp(((trouble *)info->err)->out, 1);
}

static void say_nothing(j_common_ptr info, int level) {
    (void)info;
    (void)level;
}

/* The photo's pixels each way; false: no JPEG that a page can take. */
static bool measure(const unsigned char *bytes, size_t length, int *width, int *height) {
    struct jpeg_decompress_struct info;
    trouble trouble;
    info.err = jpeg_std_error(&trouble.manager);
    trouble.manager.error_exit = leave;
    trouble.manager.emit_message = say_nothing;
    if (setjmp(trouble.out)) {
        jpeg_destroy_decompress(&info);
        return false;
    }
    jpeg_create_decompress(&info);
    jpeg_mem_src(&info, bytes, (unsigned long)length);
    bool read = jpeg_read_header(&info, TRUE) == JPEG_HEADER_OK;
    *width = (int)info.image_width;
    *height = (int)info.image_height;
    bool usual = info.num_components == 1 || info.num_components == 3;
    jpeg_destroy_decompress(&info);
    return read && usual && *width > 0 && *height > 0 && *width <= 10000 && *height <= 10000;
}

/* ---- one photo ----------------------------------------------------------------------------- */

/* A surface of the photo's size that holds no pixels of its own: the PDF takes the bytes. */
static cairo_surface_t *surface_of(void *bytes, size_t length, int width, int height) {
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_A1, width, height);
    cairo_status_t status = cairo_surface_status(surface);
    if (status == CAIRO_STATUS_SUCCESS)
        status =
            cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_JPEG, bytes, length, free, bytes);
    if (status == CAIRO_STATUS_SUCCESS) return surface;
    cairo_surface_destroy(surface);
    free(bytes);
    return NULL;
}

static bool fetch(const report_given *given, const char *hash, double width, photo *photo) {
    size_t length = 0;
    int across, down;
    void *bytes = given->photo(given->photos, hash, &length);
    if (!bytes) return false;
    if (!measure(bytes, length, &across, &down)) {
        free(bytes);
        return false;
    }
    photo->surface = surface_of(bytes, length, across, down);
    double scale = fmin(width / across, TALLEST * width / down);
    photo->width = scale * across;
    photo->height = scale * down;
    return photo->surface != NULL;
}

static void draw(report_sheet *sheet, const photo *photo, double x) {
    if (!sheet->cr) return;
    double scale = photo->width / cairo_image_surface_get_width(photo->surface);
    cairo_save(sheet->cr);
    cairo_translate(sheet->cr, x, sheet->y);
    cairo_scale(sheet->cr, scale, scale);
    cairo_set_source_surface(sheet->cr, photo->surface, 0, 0);
    cairo_paint(sheet->cr);
    cairo_restore(sheet->cr);
}

/* ---- the row of them ----------------------------------------------------------------------- */

static size_t fetch_all(const report_given *given, double width, photo *photos) {
    size_t count = 0, i;
    const json_t *one;
    if (!given->photo) return 0;
    json_array_foreach(json_object_get(given->job, "photos"), i, one) {
        if (count == PHOTOS || i >= 3 * PHOTOS) break;
        photos[count] = (photo){.caption = report_words(one, "caption")};
        if (fetch(given, report_words(one, "hash"), width, &photos[count])) count++;
    }
    return count;
}

/* The photo with its caption under it; `y` stays. Returns where they end. */
static double draw_one(report_sheet *sheet, const photo *photo, double x, double width) {
    report_set set = {REPORT_SMALL, width, PANGO_ALIGN_LEFT};
    report_block block = report_block_new(sheet, photo->caption, set);
    double top = sheet->y;
    draw(sheet, photo, x);
    sheet->y += photo->height + 3;
    report_block_draw(sheet, &block, 0, x, sheet->bottom);
    double end = sheet->y;
    sheet->y = top;
    report_block_free(&block);
    return end;
}

void report_photos(report_sheet *sheet, const report_given *given) {
    photo photos[PHOTOS];
    double width = (sheet->right - sheet->left - (PHOTOS - 1) * GAP) / PHOTOS, height = 0;
    size_t count = fetch_all(given, width, photos);
    if (count == 0) return;
    for (size_t i = 0; i < count; i++)
        height = fmax(height, photos[i].height);
    report_section(sheet, "Photos", height + CAPTION);
    double lowest = sheet->y;
    for (size_t i = 0; i < count; i++) {
        double x = sheet->left + (double)i * (width + GAP);
        lowest = fmax(lowest, draw_one(sheet, &photos[i], x, width));
        cairo_surface_destroy(photos[i].surface);
    }
    sheet->y = lowest;
}
