/* A text as a QR code: for the bench screen, and for a terminal. */
#include "http_impl.h"

#include <qrencode.h>
#include <stdlib.h>

#define QUIET 4 /* modules of margin, ISO/IEC 18004 */

static bool is_dark(const QRcode *code, int row, int column) {
    bool inside = row >= 0 && column >= 0 && row < code->width && column < code->width;
    return inside && (code->data[row * code->width + column] & 1);
}

static QRcode *encode(const char *text) {
    return QRcode_encodeString(text, 0, QR_ECLEVEL_M, QR_MODE_8, 1);
}

static char *finish(base_text *out, QRcode *code) {
    QRcode_free(code);
    if (!out->failed) return out->data;
    base_text_free(out);
    return NULL;
}

char *http_qr_svg(const char *text) {
    base_text out;
    QRcode *code = encode(text);
    if (!code) return NULL;
    int size = code->width + 2 * QUIET;
    base_text_init(&out, 1u << 20);
    base_text_add(&out,
                  "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" "
                  "shape-rendering=\"crispEdges\"><path fill=\"#fff\" d=\"M0 0h%dv%dH0z\"/>"
                  "<path d=\"",
                  size, size, size, size);
    for (int row = 0; row < code->width; row++)
        for (int column = 0; column < code->width; column++)
            if (is_dark(code, row, column))
                base_text_add(&out, "M%d %dh1v1h-1z", column + QUIET, row + QUIET);
    base_text_add(&out, "\"/></svg>\n");
    return finish(&out, code);
}

/* Two rows of modules in a line of text; what is light is drawn, since terminals are dark. */
char *http_qr_text(const char *text) {
    static const char *const blocks[] = {"█", "▀", "▄", " "};
    base_text out;
    QRcode *code = encode(text);
    if (!code) return NULL;
    base_text_init(&out, 1u << 16);
    for (int row = -QUIET; row < code->width + QUIET; row += 2) {
        for (int column = -QUIET; column < code->width + QUIET; column++)
            base_text_add(&out, "%s",
                          blocks[2 * is_dark(code, row, column) + is_dark(code, row + 1, column)]);
        base_text_add(&out, "\n");
    }
    return finish(&out, code);
}
