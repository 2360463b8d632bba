/* What is spoken: a fixed vocabulary, one clip for each word, so that it works without a network
 * and sounds the same everywhere. */
#include "meter_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static const meter_spoken vocabulary[] = {
#include "spoken.inc" /* made of data/spoken.txt */
};

const meter_spoken *meter_spoken_words(size_t *count) {
    *count = sizeof vocabulary / sizeof *vocabulary;
    return vocabulary;
}

static void add(char *out, size_t size, const char *word) {
    size_t length = strlen(out), more = strlen(word) + (length > 0);
    if (length + more + 1 > size) return; /* a word is said whole or not at all */
    if (length) out[length++] = ' ';
    strcpy(out + length, word);
}

static void add_letter(char *out, size_t size, char c) {
    char word[2] = {(char)tolower((unsigned char)c), 0};
    if (isalnum((unsigned char)c)) add(out, size, word);
}

char *meter_say_place(const char *at, char *out, size_t size) {
    if (size) *out = 0;
    for (; *at && size; at++) {
        if (*at == '.')
            add(out, size, "pin");
        else if (*at == '-')
            add(out, size, "to");
        else
            add_letter(out, size, *at);
    }
    return out;
}

void meter_say_volts(double volts, char *out, size_t size) {
    char text[32];
    if (!isfinite(volts)) return;
    double shown = base_value_round(volts, 3);
    snprintf(text, sizeof text,
             fabs(shown) < 9.995   ? "%.2f"
             : fabs(shown) < 99.95 ? "%.1f"
                                   : "%.0f",
             fabs(shown));
    if (shown < 0) add(out, size, "minus");
    for (const char *at = text; *at; at++) {
        if (*at == '.')
            add(out, size, "point");
        else
            add_letter(out, size, *at);
    }
    add(out, size, "volts");
}
