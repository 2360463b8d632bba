/* What is spoken: a fixed vocabulary, one clip for each word, so that it works without a network
 * and sounds the same everywhere. */
#include "meter_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static const meter_spoken vocabulary[] = {
    {"0", "zero"},
    {"1", "one"},
    {"2", "two"},
    {"3", "three"},
    {"4", "four"},
    {"5", "five"},
    {"6", "six"},
    {"7", "seven"},
    {"8", "eight"},
    {"9", "nine"},
    {"a", "ay"},
    {"b", "bee"},
    {"c", "see"},
    {"d", "dee"},
    {"e", "ee"},
    {"f", "eff"},
    {"g", "jee"},
    {"h", "aitch"},
    {"i", "eye"},
    {"j", "jay"},
    {"k", "kay"},
    {"l", "el"},
    {"m", "em"},
    {"n", "en"},
    {"o", "oh"},
    {"p", "pee"},
    {"q", "queue"},
    {"r", "are"},
    {"s", "ess"},
    {"t", "tee"},
    {"u", "you"},
    {"v", "vee"},
    {"w", "double you"},
    {"x", "ex"},
    {"y", "why"},
    {"z", "zed"},
    {"again", "again"},
    {"and", "and"},
    {"back", "back"},
    {"below", "below sixty volts"},
    {"caution", "caution"},
    {"charged", "charged, does not fall"},
    {"clip", "look at the clip"},
    {"confirm", "nothing there. is the probe on it?"},
    {"done", "done"},
    {"falling", "falling"},
    {"far", "far off"},
    {"heater", "heater. A C volts"},
    {"high", "high voltage"},
    {"hold", "hold"},
    {"kilo", "kilo"},
    {"lost", "no reading from the meter"},
    {"milli", "milli"},
    {"minus", "minus"},
    {"next", "next"},
    {"onehand", "one hand"},
    {"pin", "pin"},
    {"point", "point"},
    {"rising", "rising again"},
    {"skip", "skipped"},
    {"stop", "stop. hands out"},
    {"taken", "taken"},
    {"to", "to"},
    {"volts", "volts"},
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
