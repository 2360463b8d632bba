#include "base.h"

size_t base_utf8_length(const char *s, size_t left) {
    static const struct {
        unsigned char low, high, next_low, next_high;
        size_t length;
    } rows[] = {
        {0x00, 0x7f, 0, 0, 1},       {0xc2, 0xdf, 0x80, 0xbf, 2}, {0xe0, 0xe0, 0xa0, 0xbf, 3},
        {0xe1, 0xec, 0x80, 0xbf, 3}, {0xed, 0xed, 0x80, 0x9f, 3}, {0xee, 0xef, 0x80, 0xbf, 3},
        {0xf0, 0xf0, 0x90, 0xbf, 4}, {0xf1, 0xf3, 0x80, 0xbf, 4}, {0xf4, 0xf4, 0x80, 0x8f, 4},
    };
    const unsigned char *p = (const unsigned char *)s;
    for (size_t r = 0; left > 0 && r < sizeof rows / sizeof *rows; r++) {
        if (p[0] < rows[r].low || p[0] > rows[r].high) continue;
        if (rows[r].length == 1) return 1;
        if (left < rows[r].length || p[1] < rows[r].next_low || p[1] > rows[r].next_high) return 0;
        for (size_t i = 2; i < rows[r].length; i++)
            if (p[i] < 0x80 || p[i] > 0xbf) return 0;
        return rows[r].length;
    }
    return 0;
}
