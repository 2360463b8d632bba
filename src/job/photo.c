/* A photo into the store and out of it. */
#include "photo_impl.h"

#include <stdlib.h>
#include <string.h>

#define QUALITY 85
#define QUALITY_SMALL 80

/* ---- complaints ---------------------------------------------------------------------------- */

base_code job_photo_cut(base_errors *errors) {
    return base_errors_add(errors, BASE_SYNTAX, JOB_NOWHERE,
                           "the photo ends too soon: a part of it is missing|send it again, or "
                           "copy it from the camera again");
}

base_code job_photo_broken(base_errors *errors) {
    return base_errors_add(errors, BASE_SYNTAX, JOB_NOWHERE,
                           "the photo is damaged and cannot be read|open it in a photo program, "
                           "save it as JPEG and send that");
}

base_code job_photo_size(double width, double height, bool whole, base_errors *errors) {
    double most = whole ? PHOTO_WHOLE_MOST : PHOTO_PIXELS_MOST;
    if (width < 1 || height < 1) return job_photo_broken(errors);
    if (width <= PHOTO_SIDE_MOST && height <= PHOTO_SIDE_MOST && width * height <= most)
        return BASE_OK;
    return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                           "the photo has %.0f by %.0f points, and at most %.0f million are taken%s"
                           "|make it smaller, or set the camera to smaller pictures",
                           width, height, most / 1e6,
                           whole ? " of an interlaced or progressive one" : "");
}

/* ---- pixels -------------------------------------------------------------------------------- */

/* Where pixel (x, y) of the turned picture comes from; EXIF 2.3, tag 0x0112. */
static size_t source(const photo_image *image, int turn, int x, int y) {
    int w = image->width, h = image->height;
    const int from[9][2] = {{x, y},         {x, y}, {w - 1 - x, y}, {w - 1 - x, h - 1 - y},
                            {x, h - 1 - y}, {y, x}, {y, h - 1 - x}, {w - 1 - y, h - 1 - x},
                            {w - 1 - y, x}};
    return (size_t)from[turn][1] * (size_t)w + (size_t)from[turn][0];
}

static base_code turn_image(photo_image *image, int turn, base_errors *errors) {
    if (turn == 1) return BASE_OK;
    bool lies = turn >= 5;
    photo_image turned = {.width = lies ? image->height : image->width,
                          .height = lies ? image->width : image->height};
    turned.rgb = malloc((size_t)turned.width * (size_t)turned.height * 3);
    if (!turned.rgb) return job_no_memory(errors);
    for (int y = 0; y < turned.height; y++)
        for (int x = 0; x < turned.width; x++)
            memcpy(turned.rgb + 3 * ((size_t)y * (size_t)turned.width + (size_t)x),
                   image->rgb + 3 * source(image, turn, x, y), 3);
    job_image_free(image);
    *image = turned;
    return BASE_OK;
}

static base_code shrink(const photo_image *image, int side, photo_image *small,
                        base_errors *errors) {
    photo_scaler scaler;
    bool room = job_scaler_open(&scaler, image->width, image->height, side);
    for (int y = 0; y < image->height && room; y++)
        job_scaler_row(&scaler, image->rgb + (size_t)y * (size_t)image->width * 3);
    *small = job_scaler_close(&scaler);
    if (room) return BASE_OK;
    job_image_free(small);
    return job_no_memory(errors);
}

static base_code decode(const unsigned char *bytes, size_t length, photo_image *image,
                        base_errors *errors) {
    int turn = 1;
    base_code code;
    *image = (photo_image){0};
    if (length > PHOTO_BYTES_MOST)
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "the photo has %zu MB, and at most %u are taken|make it smaller, or "
                               "set the camera to smaller pictures",
                               length >> 20, PHOTO_BYTES_MOST >> 20);
    if (length > 3 && memcmp(bytes, "\xff\xd8\xff", 3) == 0)
        code = job_jpeg_read(bytes, length, image, &turn, errors);
    else if (length > 8 && memcmp(bytes, "\x89PNG\r\n\x1a\n", 8) == 0)
        code = job_png_read(bytes, length, image, &turn, errors);
    else
        return base_errors_add(errors, BASE_SYNTAX, JOB_NOWHERE,
                               "the file is no JPEG and no PNG|set the camera to JPEG, or save the "
                               "picture as JPEG");
    return code == BASE_OK ? turn_image(image, turn, errors) : code;
}

/* ---- the store ----------------------------------------------------------------------------- */

typedef struct encoded {
    unsigned char *jpeg, *small;
    size_t length, small_length;
} encoded;

static base_code encode(const photo_image *image, encoded *out, base_errors *errors) {
    photo_image small;
    base_code code = shrink(image, PHOTO_SMALL, &small, errors);
    *out = (encoded){0};
    if (code != BASE_OK) return code;
    out->jpeg = job_jpeg_write(image, QUALITY, &out->length);
    out->small = job_jpeg_write(&small, QUALITY_SMALL, &out->small_length);
    job_image_free(&small);
    return out->jpeg && out->small ? BASE_OK : job_no_memory(errors);
}

static base_code keep(job_store *store, const encoded *photo, char *hash, base_errors *errors) {
    base_code code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    job_hash(photo->jpeg, photo->length, hash);
    if (!job_sql_run(store, "INSERT OR IGNORE INTO photo (hash, jpeg, small) VALUES (?, ?, ?)",
                     "sbb", hash, photo->jpeg, photo->length, photo->small, photo->small_length))
        code = job_sql_complain(store->db, "the photo was not saved", errors);
    return job_end(store, code, errors);
}

base_code job_photo_add(job_store *store, const void *bytes, size_t length, char *hash,
                        base_errors *errors) {
    photo_image image;
    encoded photo = {0};
    hash[0] = 0;
    base_code code = decode(bytes, length, &image, errors);
    if (code == BASE_OK) code = encode(&image, &photo, errors);
    if (code == BASE_OK) code = keep(store, &photo, hash, errors);
    if (code != BASE_OK) hash[0] = 0;
    job_image_free(&image);
    free(photo.jpeg);
    free(photo.small);
    return code;
}

void *job_photo(job_store *store, const char *hash, bool thumbnail, size_t *length,
                base_errors *errors) {
    void *bytes = NULL;
    job_lock(store);
    sqlite3_stmt *row =
        job_sql(store, "SELECT CASE WHEN ? THEN small ELSE jpeg END FROM photo WHERE hash = ?",
                "is", (int64_t)thumbnail, hash);
    bool found = job_sql_row(row);
    if (found) {
        *length = (size_t)sqlite3_column_bytes(row, 0);
        bytes = malloc(*length + 1);
        if (bytes) memcpy(bytes, sqlite3_column_blob(row, 0), *length);
    }
    if (!job_sql_done(store, row))
        job_sql_complain(store->db, "the photo was not read", errors);
    else if (!found)
        base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                        "the store has no photo %.64s|look at "
                        "the job's list of photos",
                        hash);
    else if (!bytes)
        job_no_memory(errors);
    job_unlock(store);
    return bytes;
}
