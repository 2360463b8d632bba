/* Values as the trade writes them, so that base_value_read gives them back. */
#include "value_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A quantity is written with the first of its units that starts at or below the value. */
typedef struct unit {
    double from;
    int power;
    const char *word;
    bool letter; /* the word takes the place of the decimal point */
} unit;

enum { UNITS = 5 };
static const unit SCALES[BASE_QUANTITIES][UNITS] = {
    [BASE_OHMS] =
        {{1e12, 12, "T", 1}, {1e9, 9, "G", 1}, {1e6, 6, "M", 1}, {1e3, 3, "k", 1}, {0, 0, "R", 1}},
    [BASE_FARADS] = {{1, 0, "F", 1}, {1e-6, -6, "u", 1}, {1e-9, -9, "n", 1}, {0, -12, "p", 1}},
    [BASE_HENRIES] = {{0.1, 0, " H", 0}, {1e-4, -3, " mH", 0}, {0, -6, " uH", 0}},
    [BASE_VOLTS] = {{0.1, 0, " V", 0}, {1e-4, -3, " mV", 0}, {0, -6, " uV", 0}},
    [BASE_AMPERES] = {{1, 0, " A", 0}, {1e-4, -3, " mA", 0}, {0, -6, " uA", 0}},
    [BASE_WATTS] = {{0.1, 0, " W", 0}, {1e-4, -3, " mW", 0}, {0, -6, " uW", 0}},
    [BASE_HERTZ] = {{1e6, 6, " MHz", 0}, {1e4, 3, " kHz", 0}, {0, 0, " Hz", 0}},
    [BASE_PERCENT] = {{0, -2, "%", 0}},
    [BASE_NUMBER] = {{0, 0, "", 0}},
};

/* d.ddd x 10^exponent with as few digits as read back within 1e-12: at most 13. */
typedef struct decimal {
    char digits[20]; /* no point */
    int count, exponent;
} decimal;

static decimal shortest(double size) {
    decimal d = {.count = 0};
    for (int count = 1; count <= 17; count++) {
        char text[40];
        snprintf(text, sizeof text, "%.*e", count - 1, size);
        if (fabs(strtod(text, NULL) - size) > 1e-12 * size && count < 17) continue;
        /* The locale's decimal point, whatever it is, stands between the first digit and the rest.
         */
        const char *e = strchr(text, 'e');
        d.count = count;
        d.digits[0] = text[0];
        if (count > 1) memcpy(d.digits + 1, e - (count - 1), (size_t)count - 1);
        d.exponent = atoi(e + 1);
        break;
    }
    return d;
}

/* 4k7, R47, 22n: the digits with `word` at the point; or 362.2 and `word` behind. */
static void plain(const decimal *d, const unit *with, char *out, size_t size) {
    int whole = d->exponent - with->power + 1; /* digits left of the point */
    int shown = whole > d->count ? d->count : whole > 0 ? whole : 0;
    int padding = whole > d->count ? whole - d->count : 0;
    int leading = whole < 0 ? -whole : 0;
    const char *rest = d->digits + shown;
    bool lone = !with->letter && whole <= 0;
    snprintf(out, size, "%.*s%.*s%s%s%.*s%s%s", shown, d->digits, padding, "00000000000000000000",
             lone ? "0" : "",
             with->letter ? with->word
             : *rest      ? "."
                          : "",
             leading, "00000000000000000000", rest, with->letter ? "" : with->word);
}

/* 1.5e-15F: what no multiplier reaches. The exponent always has its sign (ohms: 4E7 is 4.7). */
static void scientific(const decimal *d, const unit *with, char *out, size_t size) {
    bool fraction = d->count > 1;
    snprintf(out, size, "%c%s%se%+d%s", d->digits[0], fraction ? "." : "", d->digits + 1,
             d->exponent - with->power, with->word);
}

static const unit *unit_for(double size, base_quantity quantity) {
    const unit *with = SCALES[quantity];
    while (with->from > size)
        with++;
    return with;
}

char *base_value_write(double value, base_quantity quantity, char *buffer, size_t size) {
    const unit *with = unit_for(fabs(value), quantity);
    char text[64];
    if (!isfinite(value)) {
        snprintf(buffer, size, "unknown");
        return buffer;
    }
    if (value == 0) {
        snprintf(buffer, size, "0%s", with->word);
        return buffer;
    }
    decimal d = shortest(fabs(value));
    int whole = d.exponent - with->power + 1;
    if (whole > 9 || whole < -3)
        scientific(&d, with, text, sizeof text);
    else
        plain(&d, with, text, sizeof text);
    snprintf(buffer, size, "%s%s", value < 0 ? "-" : "", text);
    return buffer;
}

double base_value_round(double value, int digits) {
    char text[40];
    if (!isfinite(value)) return value;
    snprintf(text, sizeof text, "%.*e", digits > 1 ? digits - 1 : 0, value);
    return strtod(text, NULL);
}
