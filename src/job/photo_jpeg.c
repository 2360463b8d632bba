/* JPEG in and out. The library reports a fault by a jump; everything that must then be freed is in
 * one struct that outlives it. */
#include "photo_impl.h"

#include <libexif/exif-data.h>
#include <setjmp.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include <jerror.h>

#define SCANS_MOST 200 /* of a progressive file: more is made to waste time */

typedef struct jpeg_reading {
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    struct jpeg_progress_mgr progress;
    jmp_buf fault;
    bool no_memory, cut, broken;
    photo_scaler scaler;
    unsigned char *row; /* as decoded */
    unsigned char *rgb; /* made of CMYK */
    int turn;
} jpeg_reading;

/* ---- faults -------------------------------------------------------------------------------- */

static void fault(j_common_ptr jpeg) {
    jpeg_reading *reading = jpeg->client_data;
    if (jpeg->err->msg_code == JERR_OUT_OF_MEMORY) reading->no_memory = true;
    if (jpeg->err->msg_code == JERR_INPUT_EMPTY || jpeg->err->msg_code == JERR_INPUT_EOF)
        reading->cut = true;
    longjmp(reading->fault, 1);
}

/* The library goes on after these and fills up with grey: here they are faults. Others, such as
 * bytes too many between two markers, harm nothing. */
static void warning(j_common_ptr jpeg, int level) {
    jpeg_reading *reading = jpeg->client_data;
    int code = jpeg->err->msg_code;
    if (level >= 0) return;
    if (code == JWRN_JPEG_EOF || code == JWRN_HIT_MARKER) reading->cut = true;
    if (code == JWRN_HUFF_BAD_CODE || code == JWRN_ARITH_BAD_CODE) reading->broken = true;
}

static void say_nothing(j_common_ptr jpeg) {
    (void)jpeg;
}

static void count_scans(j_common_ptr jpeg) {
    jpeg_reading *reading = jpeg->client_data;
    if (reading->jpeg.input_scan_number <= SCANS_MOST) return;
    reading->broken = true;
    longjmp(reading->fault, 1);
}

static base_code outcome(const jpeg_reading *reading, base_errors *errors) {
    if (reading->no_memory) return job_no_memory(errors);
    if (reading->cut) return job_photo_cut(errors);
    return job_photo_broken(errors);
}

/* ---- orientation --------------------------------------------------------------------------- */

int job_exif_turn(const unsigned char *data, size_t length) {
    ExifData *exif = exif_data_new_from_data(data, (unsigned)length);
    ExifEntry *entry =
        exif ? exif_content_get_entry(exif->ifd[EXIF_IFD_0], EXIF_TAG_ORIENTATION) : NULL;
    int turn = 1;
    if (entry && entry->format == EXIF_FORMAT_SHORT && entry->size >= 2)
        turn = exif_get_short(entry->data, exif_data_get_byte_order(exif));
    if (exif) exif_data_unref(exif);
    return turn >= 1 && turn <= 8 ? turn : 1;
}

static int turn_of(const struct jpeg_decompress_struct *jpeg) {
    for (jpeg_saved_marker_ptr marker = jpeg->marker_list; marker; marker = marker->next)
        if (marker->marker == JPEG_APP0 + 1 && marker->data_length > 6 &&
            memcmp(marker->data, "Exif\0\0", 6) == 0)
            return job_exif_turn(marker->data, marker->data_length);
    return 1;
}

/* ---- reading ------------------------------------------------------------------------------- */

static void reading_open(jpeg_reading *reading, const void *bytes, size_t length) {
    reading->jpeg.err = jpeg_std_error(&reading->errors);
    reading->errors.error_exit = fault;
    reading->errors.emit_message = warning;
    reading->errors.output_message = say_nothing;
    reading->jpeg.client_data = reading;
    jpeg_create_decompress(&reading->jpeg);
    reading->progress.progress_monitor = count_scans;
    reading->jpeg.progress = &reading->progress;
    jpeg_save_markers(&reading->jpeg, JPEG_APP0 + 1, 0xFFFF);
    jpeg_mem_src(&reading->jpeg, bytes, (unsigned long)length);
    jpeg_read_header(&reading->jpeg, TRUE);
}

/* The library itself halves while it decodes: as often as leaves enough to average from. */
static void choose_scale(struct jpeg_decompress_struct *jpeg) {
    unsigned longer =
        jpeg->image_width > jpeg->image_height ? jpeg->image_width : jpeg->image_height;
    jpeg->scale_num = 1;
    jpeg->scale_denom = 1;
    while (jpeg->scale_denom < 8 && longer / (2 * jpeg->scale_denom) >= PHOTO_SIDE)
        jpeg->scale_denom *= 2;
    bool inks = jpeg->jpeg_color_space == JCS_CMYK || jpeg->jpeg_color_space == JCS_YCCK;
    jpeg->out_color_space = inks ? JCS_CMYK : JCS_RGB;
}

/* Printing inks, written upside down by the programs that write them at all. */
static const unsigned char *inks_to_rgb(jpeg_reading *reading) {
    for (size_t x = 0; x < reading->jpeg.output_width; x++) {
        const unsigned char *ink = reading->row + 4 * x;
        for (size_t c = 0; c < 3; c++)
            reading->rgb[3 * x + c] = (unsigned char)(ink[c] * ink[3] / 255);
    }
    return reading->rgb;
}

static void read_rows(jpeg_reading *reading) {
    struct jpeg_decompress_struct *jpeg = &reading->jpeg;
    while (jpeg->output_scanline < jpeg->output_height) {
        jpeg_read_scanlines(jpeg, &reading->row, 1);
        job_scaler_row(&reading->scaler,
                       jpeg->out_color_space == JCS_CMYK ? inks_to_rgb(reading) : reading->row);
    }
    jpeg_finish_decompress(jpeg);
}

/* May jump back to job_jpeg_read at any line. */
static base_code read_image(jpeg_reading *reading, const void *bytes, size_t length,
                            base_errors *errors) {
    struct jpeg_decompress_struct *jpeg = &reading->jpeg;
    reading_open(reading, bytes, length);
    base_code code = job_photo_size(jpeg->image_width, jpeg->image_height,
                                    jpeg_has_multiple_scans(jpeg), errors);
    if (code != BASE_OK) return code;
    reading->turn = turn_of(jpeg);
    choose_scale(jpeg);
    jpeg_start_decompress(jpeg);
    size_t width = jpeg->output_width;
    reading->row = malloc(width * 4);
    reading->rgb = malloc(width * 3);
    if (!reading->row || !reading->rgb ||
        !job_scaler_open(&reading->scaler, (int)width, (int)jpeg->output_height, PHOTO_SIDE))
        return job_no_memory(errors);
    read_rows(reading);
    return reading->cut || reading->broken ? outcome(reading, errors) : BASE_OK;
}

base_code job_jpeg_read(const void *bytes, size_t length, photo_image *image, int *turn,
                        base_errors *errors) {
    jpeg_reading *reading = calloc(1, sizeof *reading);
    base_code code;
    *image = (photo_image){0};
    if (!reading) return job_no_memory(errors);
    if (setjmp(reading->fault))
        code = outcome(reading, errors);
    else
        code = read_image(reading, bytes, length, errors);
    jpeg_destroy_decompress(&reading->jpeg);
    *image = job_scaler_close(&reading->scaler);
    if (code != BASE_OK) job_image_free(image);
    *turn = reading->turn;
    free(reading->row);
    free(reading->rgb);
    free(reading);
    return code;
}

bool job_photo_is_jpeg(const void *bytes, size_t length) {
    jpeg_reading *reading = calloc(1, sizeof *reading);
    volatile bool well = false;
    if (!reading) return false;
    if (!setjmp(reading->fault)) {
        reading_open(reading, bytes, length);
        well = job_photo_size(reading->jpeg.image_width, reading->jpeg.image_height, false, NULL) ==
               BASE_OK;
    }
    jpeg_destroy_decompress(&reading->jpeg);
    free(reading);
    return well;
}

/* ---- writing ------------------------------------------------------------------------------- */

typedef struct jpeg_writing {
    struct jpeg_compress_struct jpeg;
    struct jpeg_error_mgr errors;
    jmp_buf fault;
    unsigned char *bytes;
    unsigned long length;
} jpeg_writing;

static void write_fault(j_common_ptr jpeg) {
    longjmp(((jpeg_writing *)jpeg->client_data)->fault, 1);
}

static void write_image(jpeg_writing *writing, const photo_image *image, int quality) {
    struct jpeg_compress_struct *jpeg = &writing->jpeg;
    jpeg->err = jpeg_std_error(&writing->errors);
    writing->errors.error_exit = write_fault;
    writing->errors.output_message = say_nothing;
    jpeg->client_data = writing;
    jpeg_create_compress(jpeg);
    jpeg_mem_dest(jpeg, &writing->bytes, &writing->length);
    jpeg->image_width = (JDIMENSION)image->width;
    jpeg->image_height = (JDIMENSION)image->height;
    jpeg->input_components = 3;
    jpeg->in_color_space = JCS_RGB;
    jpeg_set_defaults(jpeg);
    jpeg_set_quality(jpeg, quality, TRUE);
    jpeg_start_compress(jpeg, TRUE);
    while (jpeg->next_scanline < jpeg->image_height) {
        JSAMPROW row = image->rgb + (size_t)jpeg->next_scanline * (size_t)image->width * 3;
        jpeg_write_scanlines(jpeg, &row, 1);
    }
    jpeg_finish_compress(jpeg);
}

unsigned char *job_jpeg_write(const photo_image *image, int quality, size_t *length) {
    jpeg_writing *writing = calloc(1, sizeof *writing);
    volatile bool well = false;
    if (!writing) return NULL;
    if (!setjmp(writing->fault)) {
        write_image(writing, image, quality);
        well = true;
    }
    jpeg_destroy_compress(&writing->jpeg);
    unsigned char *bytes = writing->bytes;
    *length = writing->length;
    free(writing);
    if (well) return bytes;
    free(bytes);
    return NULL;
}
