/* Invented photos: JPEG bytes in memory. */
#ifndef GRIDLEAK_TESTS_REPORT_PHOTO_H
#define GRIDLEAK_TESTS_REPORT_PHOTO_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

/* Slanted stripes, `width` by `height`; to be freed. */
static inline void *photo_new(unsigned width, unsigned height, size_t *length) {
    struct jpeg_compress_struct info;
    struct jpeg_error_mgr error;
    unsigned char *bytes = NULL, *row = malloc(3 * (size_t)width);
    unsigned long size = 0;
    info.err = jpeg_std_error(&error);
    jpeg_create_compress(&info);
    jpeg_mem_dest(&info, &bytes, &size);
    info.image_width = width;
    info.image_height = height;
    info.input_components = 3;
    info.in_color_space = JCS_RGB;
    jpeg_set_defaults(&info);
    jpeg_start_compress(&info, TRUE);
    for (unsigned y = 0; y < height; y++) {
        for (unsigned x = 0; x < width; x++)
            for (unsigned k = 0; k < 3; k++)
                row[3 * x + k] = (unsigned char)((x + y) / (20 + 10 * k) % 2 ? 230 : 60);
        JSAMPROW rows[] = {row};
        jpeg_write_scanlines(&info, rows, 1);
    }
    jpeg_finish_compress(&info);
    jpeg_destroy_compress(&info);
    free(row);
    *length = size;
    return bytes;
}

#endif
