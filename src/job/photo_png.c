/* PNG: row by row where it is written so, on white where it is transparent. */
#include "photo_impl.h"

#include <spng.h>
#include <stdlib.h>
#include <string.h>

#define CHUNK_MOST (8u << 20) /* of what is not picture: profiles, texts */

typedef struct png_reading {
    spng_ctx *png;
    struct spng_ihdr head;
    photo_scaler scaler;
    unsigned char *rgba, *rgb; /* one row; `rgba` the whole picture where it is interlaced */
} png_reading;

static base_code fault(int error, base_errors *errors) {
    if (error == SPNG_EMEM) return job_no_memory(errors);
    if (error == SPNG_IO_EOF || error == SPNG_EOI) return job_photo_cut(errors);
    return job_photo_broken(errors);
}

static void row_take(png_reading *reading, const unsigned char *rgba) {
    for (size_t x = 0; x < reading->head.width; x++) {
        unsigned alpha = rgba[4 * x + 3];
        for (size_t c = 0; c < 3; c++)
            reading->rgb[3 * x + c] =
                (unsigned char)((rgba[4 * x + c] * alpha + 255 * (255 - alpha)) / 255);
    }
    job_scaler_row(&reading->scaler, reading->rgb);
}

static int rows_read(png_reading *reading) {
    size_t row = (size_t)reading->head.width * 4;
    int error = spng_decode_image(reading->png, NULL, 0, SPNG_FMT_RGBA8,
                                  SPNG_DECODE_TRNS | SPNG_DECODE_PROGRESSIVE);
    for (uint32_t y = 0; y < reading->head.height && !error; y++) {
        error = spng_decode_row(reading->png, reading->rgba, row);
        /* The last row comes with the news that it is the last. */
        if (error == SPNG_EOI && y == reading->head.height - 1) error = 0;
        if (!error) row_take(reading, reading->rgba);
    }
    return error;
}

static int whole_read(png_reading *reading) {
    size_t row = (size_t)reading->head.width * 4, size = row * reading->head.height;
    int error =
        spng_decode_image(reading->png, reading->rgba, size, SPNG_FMT_RGBA8, SPNG_DECODE_TRNS);
    for (uint32_t y = 0; y < reading->head.height && !error; y++)
        row_take(reading, reading->rgba + y * row);
    return error;
}

static base_code pixels_read(png_reading *reading, base_errors *errors) {
    bool whole = reading->head.interlace_method != 0;
    size_t width = reading->head.width, rows = whole ? reading->head.height : 1;
    reading->rgba = malloc(width * 4 * rows);
    reading->rgb = malloc(width * 3);
    if (!reading->rgba || !reading->rgb ||
        !job_scaler_open(&reading->scaler, (int)width, (int)reading->head.height, PHOTO_SIDE))
        return job_no_memory(errors);
    int error = whole ? whole_read(reading) : rows_read(reading);
    return error ? fault(error, errors) : BASE_OK;
}

/* The chunk holds EXIF data without the word that begins it elsewhere. */
static int turn_of(spng_ctx *png) {
    struct spng_exif exif;
    if (spng_get_exif(png, &exif) != 0) return 1;
    unsigned char *data = malloc(exif.length + 6);
    if (!data) return 1;
    memcpy(data, "Exif\0\0", 6);
    memcpy(data + 6, exif.data, exif.length);
    int turn = job_exif_turn(data, exif.length + 6);
    free(data);
    return turn;
}

static base_code image_read(png_reading *reading, const void *bytes, size_t length,
                            base_errors *errors) {
    spng_set_image_limits(reading->png, PHOTO_SIDE_MOST, PHOTO_SIDE_MOST);
    spng_set_chunk_limits(reading->png, CHUNK_MOST, 2 * CHUNK_MOST);
    int error = spng_set_png_buffer(reading->png, bytes, length);
    if (!error) error = spng_get_ihdr(reading->png, &reading->head);
    if (error == SPNG_EUSER_WIDTH || error == SPNG_EUSER_HEIGHT)
        return job_photo_size(PHOTO_SIDE_MOST + 1, 1, false, errors);
    if (error) return fault(error, errors);
    base_code code = job_photo_size(reading->head.width, reading->head.height,
                                    reading->head.interlace_method != 0, errors);
    return code == BASE_OK ? pixels_read(reading, errors) : code;
}

base_code job_png_read(const void *bytes, size_t length, photo_image *image, int *turn,
                       base_errors *errors) {
    png_reading reading = {.png = spng_ctx_new(0)};
    *image = (photo_image){0};
    if (!reading.png) return job_no_memory(errors);
    base_code code = image_read(&reading, bytes, length, errors);
    *turn = code == BASE_OK ? turn_of(reading.png) : 1;
    spng_ctx_free(reading.png);
    *image = job_scaler_close(&reading.scaler);
    if (code != BASE_OK) job_image_free(image);
    free(reading.rgba);
    free(reading.rgb);
    return code;
}
