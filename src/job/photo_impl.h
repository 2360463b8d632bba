/* Photos inside the room: bytes to pixels, smaller, turned, and to bytes again. */
#ifndef GRIDLEAK_JOB_PHOTO_IMPL_H
#define GRIDLEAK_JOB_PHOTO_IMPL_H

#include "job_impl.h"

#define PHOTO_BYTES_MOST (40u << 20)
#define PHOTO_PIXELS_MOST 100e6
#define PHOTO_WHOLE_MOST 24e6 /* pixels of one that must be held whole: interlaced, progressive */
#define PHOTO_SIDE_MOST 65500 /* what JPEG itself allows */
#define PHOTO_SIDE 2400       /* longer side of what is kept */
#define PHOTO_SMALL 320       /* of the thumbnail */

typedef struct photo_image {
    int width, height;
    unsigned char *rgb; /* width * height * 3 */
} photo_image;
void job_image_free(photo_image *image);

/* Takes rows of any length of image one by one and averages them into a smaller one: the memory is
 * that of the result. `out` has at most `side` pixels on its longer side, and is never larger. */
typedef struct photo_scaler {
    int in_width, in_height, row, done; /* rows taken, rows finished */
    photo_image out;
    float *line; /* one input row, scaled across; then the output row that is being summed */
    float *sum;
} photo_scaler;
bool job_scaler_open(photo_scaler *scaler, int width, int height, int side); /* false: no memory */
void job_scaler_row(photo_scaler *scaler, const unsigned char *rgb);
photo_image job_scaler_close(photo_scaler *scaler); /* the image is the caller's */

/* Decoders: at most PHOTO_SIDE on the longer side, and `turn`, the EXIF orientation 1..8. */
base_code job_jpeg_read(const void *bytes, size_t length, photo_image *image, int *turn,
                        base_errors *errors);
base_code job_png_read(const void *bytes, size_t length, photo_image *image, int *turn,
                       base_errors *errors);
/* The orientation in EXIF data (which begins with "Exif"); 1 where there is none. */
int job_exif_turn(const unsigned char *data, size_t length);
/* Baseline JPEG with no metadata, to be freed with free(); NULL: no memory. */
unsigned char *job_jpeg_write(const photo_image *image, int quality, size_t *length);

/* Complains of a picture's size before a pixel is decoded. `whole`: it must be held whole. */
base_code job_photo_size(double width, double height, bool whole, base_errors *errors);
base_code job_photo_cut(base_errors *errors);    /* it ends too soon */
base_code job_photo_broken(base_errors *errors); /* it is damaged */

#endif
