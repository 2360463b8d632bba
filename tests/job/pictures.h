/* Pictures for tests, made here: a white field with a red corner top left, green top right, blue
 * bottom left. The bytes are to be freed. */
#ifndef GRIDLEAK_TESTS_JOB_PICTURES_H
#define GRIDLEAK_TESTS_JOB_PICTURES_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>
#include <spng.h>

typedef struct picture {
    unsigned char *bytes;
    size_t length;
} picture;

typedef struct picture_wish {
    int width, height;
    int turn; /* EXIF orientation, 0: none written */
    bool progressive, grey, inks, interlaced, clear;
} picture_wish;

static inline void picture_pixel(const picture_wish *wish, int x, int y, unsigned char rgb[3]) {
    bool left = x < wish->width / 4, right = x >= wish->width - wish->width / 4;
    bool top = y < wish->height / 4, bottom = y >= wish->height - wish->height / 4;
    bool red = left && top, green = right && top, blue = left && bottom;
    rgb[0] = green || blue ? 0 : 255;
    rgb[1] = red || blue ? 0 : 255;
    rgb[2] = red || green ? 0 : 255;
}

/* EXIF with an orientation, and words that must not survive. */
static inline void picture_exif(struct jpeg_compress_struct *jpeg, int turn) {
    static const unsigned char head[] = "Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0";
    unsigned char exif[80] = {0};
    memcpy(exif, head, sizeof head - 1);
    exif[24] = (unsigned char)turn;
    strcpy((char *)exif + 40, "SECRET PLACE");
    jpeg_write_marker(jpeg, JPEG_APP0 + 1, exif, 60);
    jpeg_write_marker(jpeg, JPEG_COM, (const unsigned char *)"SECRET WORDS", 12);
}

static inline void picture_rows(struct jpeg_compress_struct *jpeg, const picture_wish *wish) {
    unsigned char *row = malloc((size_t)wish->width * 4), rgb[3];
    int parts = jpeg->input_components;
    for (int y = 0; y < wish->height; y++) {
        for (int x = 0; x < wish->width; x++) {
            picture_pixel(wish, x, y, rgb);
            for (int c = 0; c < parts; c++)
                row[parts * x + c] = c < 3 ? rgb[c] : 255;
        }
        jpeg_write_scanlines(jpeg, &row, 1);
    }
    free(row);
}

static inline picture picture_jpeg(picture_wish wish) {
    struct jpeg_compress_struct jpeg;
    struct jpeg_error_mgr errors;
    unsigned long length = 0;
    picture made = {0};
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_compress(&jpeg);
    jpeg_mem_dest(&jpeg, &made.bytes, &length);
    jpeg.image_width = (JDIMENSION)wish.width;
    jpeg.image_height = (JDIMENSION)wish.height;
    jpeg.input_components = wish.grey ? 1 : wish.inks ? 4 : 3;
    jpeg.in_color_space = wish.grey ? JCS_GRAYSCALE : wish.inks ? JCS_CMYK : JCS_RGB;
    jpeg_set_defaults(&jpeg);
    jpeg_set_quality(&jpeg, 90, TRUE);
    if (wish.progressive) jpeg_simple_progression(&jpeg);
    jpeg_start_compress(&jpeg, TRUE);
    if (wish.turn) picture_exif(&jpeg, wish.turn);
    picture_rows(&jpeg, &wish);
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    made.length = length;
    return made;
}

static inline picture picture_png(picture_wish wish) {
    size_t size = (size_t)wish.width * (size_t)wish.height * 4;
    unsigned char *rgba = malloc(size);
    for (int y = 0; y < wish.height; y++)
        for (int x = 0; x < wish.width; x++) {
            unsigned char *at = rgba + 4 * ((size_t)y * (size_t)wish.width + (size_t)x);
            picture_pixel(&wish, x, y, at);
            at[3] = wish.clear ? 0 : 255;
        }
    spng_ctx *png = spng_ctx_new(SPNG_CTX_ENCODER);
    struct spng_ihdr head = {.width = (uint32_t)wish.width, .height = (uint32_t)wish.height};
    head.bit_depth = 8;
    head.color_type = SPNG_COLOR_TYPE_TRUECOLOR_ALPHA;
    head.interlace_method = wish.interlaced;
    spng_set_option(png, SPNG_ENCODE_TO_BUFFER, 1);
    spng_set_ihdr(png, &head);
    int error = spng_encode_image(png, rgba, size, SPNG_FMT_PNG, SPNG_ENCODE_FINALIZE);
    picture made = {0};
    made.bytes = spng_get_png_buffer(png, &made.length, &error);
    spng_ctx_free(png);
    free(rgba);
    return made;
}

/* Pixels of a JPEG, 3 bytes each, to be freed. */
static inline unsigned char *picture_read(const picture *from, int *width, int *height) {
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&jpeg);
    jpeg_mem_src(&jpeg, from->bytes, (unsigned long)from->length);
    jpeg_read_header(&jpeg, TRUE);
    jpeg_start_decompress(&jpeg);
    *width = (int)jpeg.output_width;
    *height = (int)jpeg.output_height;
    unsigned char *pixels = malloc((size_t)*width * (size_t)*height * 3);
    while (jpeg.output_scanline < jpeg.output_height) {
        JSAMPROW row = pixels + (size_t)jpeg.output_scanline * (size_t)*width * 3;
        jpeg_read_scanlines(&jpeg, &row, 1);
    }
    jpeg_finish_decompress(&jpeg);
    jpeg_destroy_decompress(&jpeg);
    return pixels;
}

#endif
