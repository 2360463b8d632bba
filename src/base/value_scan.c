/* Takes a value's text apart into digits and a word, before anything is known of units. */
#include "value_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { FARTHEST = 9999 }; /* exponents past it are as good as infinite */

/* Signs beyond ASCII that people type, and what they stand for here. */
static const struct {
    const char *written, *meant;
} SIGNS[] = {
    {"\u00b5", "u"}, /* micro sign */
    {"\u03bc", "u"}, /* Greek small mu */
    {"\u03a9", "R"}, /* Greek capital omega */
    {"\u2126", "R"}, /* ohm sign */
    {"\u2212", "-"}, /* minus */
    {"\u00a0", " "}, /* blank that does not break */
    {"\u202f", " "}, /* narrow one */
    {"\u2009", " "}, /* thin one */
    {"\t", " "},
};

static const char TOO_LONG[] = "is too long to be a value";
static const char NOTHING[] = "no value is given";
static const char NO_NUMBER[] = "is no number";
static const char BOTH[] = "has more than one comma or point|write one decimal point and no other";
static const char SPLIT[] = "has more than one number in it|write one number and its unit";

/* Copies `text` with its signs in ASCII and no blanks at its ends. */
static const char *plain(const char *text, char out[VALUE_LONGEST + 1]) {
    size_t length = 0;
    while (*text == ' ' || *text == '\t')
        text++;
    while (*text) {
        char meant = *text;
        size_t taken = 1;
        for (size_t i = 0; i < sizeof SIGNS / sizeof *SIGNS; i++) {
            if (strncmp(text, SIGNS[i].written, strlen(SIGNS[i].written)) != 0) continue;
            meant = SIGNS[i].meant[0];
            taken = strlen(SIGNS[i].written);
        }
        if (length == VALUE_LONGEST) return TOO_LONG;
        out[length++] = meant;
        text += taken;
    }
    while (length && out[length - 1] == ' ')
        length--;
    out[length] = 0;
    return length ? NULL : NOTHING;
}

static size_t digits_at(const char *at) {
    return strspn(at, "0123456789");
}

/* Appends the digits at `*at`; those behind the decimal point lower the exponent. */
static size_t take_digits(value_number *number, const char **at, bool fraction) {
    size_t count = digits_at(*at);
    strncat(number->digits, *at, count);
    if (fraction) number->exponent -= (int)count;
    *at += count;
    return count;
}

/* `4,700` and `220,000`, but not `0,022` or `4,7`. */
static bool maybe_thousands(const char *whole, size_t whole_count, size_t fraction_count) {
    return fraction_count == 3 && whole_count >= 1 && whole_count <= 3 && whole[0] != '0';
}

/* e-6, E+3, e3 right behind the digits. */
static void take_exponent(value_number *number, const char **at, bool plain_whole) {
    if (tolower((unsigned char)**at) != 'e') return;
    const char *digits = *at + 1;
    bool sign = *digits == '+' || *digits == '-';
    if (!digits_at(digits + sign)) return;
    long exponent = strtol(digits, NULL, 10);
    if (exponent > FARTHEST) exponent = FARTHEST;
    if (exponent < -FARTHEST) exponent = -FARTHEST;
    number->letter_e = !sign && plain_whole;
    number->exponent += (int)exponent;
    *at = digits + sign + digits_at(digits + sign);
}

/* Letters and the signs of units, blanks dropped, a closing full stop too ("mfd."). */
static void take_word(value_number *number, const char **at) {
    size_t length = strlen(number->word);
    for (; **at && (isalpha((unsigned char)**at) || strchr(" %/", **at)); (*at)++) {
        if (**at != ' ') number->word[length++] = **at;
    }
    if (**at == '.' && !(*at)[1]) (*at)++;
    number->word[length] = 0;
}

/* The digits behind a letter that stands for the decimal point: 4k7, R47, 2u2F. */
static const char *take_letter_point(value_number *number, const char **at, bool plain_whole) {
    bool one_letter = strlen(number->word) == 1 && isalpha((unsigned char)number->word[0]);
    if (!digits_at(*at)) return NULL;
    if (!plain_whole || !one_letter || (*at)[-1] == ' ') return SPLIT;
    take_digits(number, at, true);
    take_word(number, at);
    return digits_at(*at) ? SPLIT : NULL;
}

/* The digits up to the word: a whole part, a point or one comma, a fraction, an exponent. */
static const char *take_number(value_number *number, const char **at, bool *plain_whole) {
    const char *whole = *at;
    size_t whole_count = take_digits(number, at, false), fraction_count = 0;
    *plain_whole = true;
    if (**at == '.' || **at == ',') {
        char separator = *(*at)++;
        *plain_whole = false;
        fraction_count = take_digits(number, at, true);
        number->thousands = separator == ',' && maybe_thousands(whole, whole_count, fraction_count);
        if (!whole_count && !fraction_count) return NO_NUMBER;
        if (**at == '.' || **at == ',') return BOTH;
    }
    const char *before = *at;
    if (whole_count + fraction_count) take_exponent(number, at, *plain_whole);
    if (*at != before) *plain_whole = false;
    return NULL;
}

const char *value_scan(const char *text, value_number *number) {
    char clean[VALUE_LONGEST + 1];
    bool plain_whole;
    *number = (value_number){0};
    const char *wrong = plain(text, clean), *at = clean;
    if (wrong) return wrong;
    number->negative = *at == '-';
    if (*at == '-' || *at == '+') at++;
    while (*at == ' ')
        at++;
    wrong = take_number(number, &at, &plain_whole);
    if (wrong) return wrong;
    bool blank = *at == ' ';
    take_word(number, &at);
    if (!number->digits[0] && !digits_at(at)) return NO_NUMBER;
    wrong = take_letter_point(number, &at, plain_whole && !blank);
    if (wrong) return wrong;
    if (*at == '.' || *at == ',') return BOTH;
    return *at ? NO_NUMBER : NULL;
}

double value_of(const value_number *number, int power) {
    char written[VALUE_LONGEST + 32];
    /* No decimal point, so that no locale can change what it says. */
    snprintf(written, sizeof written, "%s%se%d", number->negative ? "-" : "", number->digits,
             number->exponent + power);
    return strtod(written, NULL);
}
