/* Averaging rows into a smaller image, and turning it. */
#include "photo_impl.h"

#include <stdlib.h>
#include <string.h>

void job_image_free(photo_image *image) {
    free(image->rgb);
    *image = (photo_image){0};
}

static int smaller(int length, int longer, int side) {
    if (longer <= side) return length;
    int scaled = (int)((double)length * side / longer + 0.5);
    return scaled > 0 ? scaled : 1;
}

bool job_scaler_open(photo_scaler *scaler, int width, int height, int side) {
    int longer = width > height ? width : height;
    *scaler = (photo_scaler){.in_width = width, .in_height = height};
    scaler->out.width = smaller(width, longer, side);
    scaler->out.height = smaller(height, longer, side);
    size_t row = (size_t)scaler->out.width * 3;
    scaler->out.rgb = malloc(row * (size_t)scaler->out.height);
    scaler->line = calloc(row, sizeof(float));
    scaler->sum = calloc(row, sizeof(float));
    return scaler->out.rgb && scaler->line && scaler->sum;
}

/* Each input pixel covers [x, x + 1); an output pixel averages what lies in its own width. */
static void across(photo_scaler *scaler, const unsigned char *rgb) {
    double step = (double)scaler->in_width / scaler->out.width;
    memset(scaler->line, 0, (size_t)scaler->out.width * 3 * sizeof(float));
    for (int to = 0; to < scaler->out.width; to++) {
        double from = to * step, end = (to + 1) * step;
        for (int x = (int)from; x < scaler->in_width && x < end; x++) {
            double left = x > from ? x : from, right = x + 1 < end ? x + 1 : end;
            float weight = (float)((right - left) / step);
            for (int c = 0; c < 3; c++)
                scaler->line[3 * to + c] += weight * rgb[3 * (size_t)x + (size_t)c];
        }
    }
}

static void finish_row(photo_scaler *scaler) {
    size_t count = (size_t)scaler->out.width * 3;
    unsigned char *out = scaler->out.rgb + (size_t)scaler->done++ * count;
    for (size_t i = 0; i < count; i++) {
        float value = scaler->sum[i] + 0.5f;
        out[i] = value > 255 ? 255 : (unsigned char)value;
        scaler->sum[i] = 0;
    }
}

static void add_row(photo_scaler *scaler, double part) {
    for (int i = 0; i < scaler->out.width * 3; i++)
        scaler->sum[i] += (float)part * scaler->line[i];
}

/* A row of the input may end one row of the output and begin the next. */
void job_scaler_row(photo_scaler *scaler, const unsigned char *rgb) {
    double step = (double)scaler->in_height / scaler->out.height;
    int y = scaler->row++;
    if (y >= scaler->in_height) return;
    bool last = y == scaler->in_height - 1;
    across(scaler, rgb);
    while (scaler->done < scaler->out.height) {
        double from = scaler->done * step, end = (scaler->done + 1) * step;
        double covered = (end < y + 1 ? end : y + 1) - (from > y ? from : y);
        if (covered > 0) add_row(scaler, covered / step);
        if (end > y + 1 + 1e-9 && !last) break;
        finish_row(scaler);
    }
}

photo_image job_scaler_close(photo_scaler *scaler) {
    photo_image image = scaler->out;
    free(scaler->line);
    free(scaler->sum);
    *scaler = (photo_scaler){0};
    return image;
}
