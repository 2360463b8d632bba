/* The words behind a number: multipliers and units as the trade and old print write them. */
#include "value_impl.h"

#include <string.h>
#include <strings.h>

#define OF(quantity) (1u << BASE_##quantity)

static const struct {
    const char *name, *example;
} QUANTITIES[BASE_QUANTITIES] = {
    [BASE_OHMS] = {"ohms", "4k7, 470R or 1M"},
    [BASE_FARADS] = {"farads", "22n, 0.022u or 470p"},
    [BASE_HENRIES] = {"henries", "8 H or 2.5 mH"},
    [BASE_VOLTS] = {"volts", "362.2 or -1.5 V"},
    [BASE_AMPERES] = {"amperes", "45 mA or 2 A"},
    [BASE_WATTS] = {"watts", "0.5 W"},
    [BASE_HERTZ] = {"hertz", "60 Hz"},
    [BASE_PERCENT] = {"a percentage", "10%"},
    [BASE_NUMBER] = {"a bare number", "2.5"},
};

/* Units, case folded. Longer spellings first where one ends another. */
static const struct {
    base_quantity quantity;
    const char *word;
} UNITS[] = {
    {BASE_OHMS, "ohms"},      {BASE_OHMS, "ohm"},        {BASE_OHMS, "R"},
    {BASE_OHMS, "Rohms"},     {BASE_OHMS, "Rohm"},       {BASE_FARADS, "farads"},
    {BASE_FARADS, "farad"},   {BASE_FARADS, "fds"},      {BASE_FARADS, "fd"},
    {BASE_FARADS, "F"},       {BASE_HENRIES, "henries"}, {BASE_HENRIES, "henrys"},
    {BASE_HENRIES, "henry"},  {BASE_HENRIES, "hy"},      {BASE_HENRIES, "H"},
    {BASE_VOLTS, "volts"},    {BASE_VOLTS, "volt"},      {BASE_VOLTS, "VDC"},
    {BASE_VOLTS, "VAC"},      {BASE_VOLTS, "V"},         {BASE_AMPERES, "amperes"},
    {BASE_AMPERES, "ampere"}, {BASE_AMPERES, "amps"},    {BASE_AMPERES, "amp"},
    {BASE_AMPERES, "A"},      {BASE_WATTS, "watts"},     {BASE_WATTS, "watt"},
    {BASE_WATTS, "W"},        {BASE_HERTZ, "hertz"},     {BASE_HERTZ, "Hz"},
    {BASE_HERTZ, "cycles"},   {BASE_HERTZ, "cycle"},     {BASE_HERTZ, "cps"},
    {BASE_HERTZ, "c/s"},      {BASE_HERTZ, "c"},         {BASE_PERCENT, "percent"},
    {BASE_PERCENT, "pct"},    {BASE_PERCENT, "%"},
};

typedef enum { FOLD, EXACT } letters;
typedef enum { ALONE, WITH_UNIT } company;

/* Multipliers. `M` is mega in ohms and hertz; in henries and amperes nothing so large exists and
 * old print in capitals means milli. In farads `m` is micro and `mm` pico, but only before a unit:
 * `.02 mfd`, `100 mmf`. (Common practice of American print before about 1960, no source.) */
static const struct {
    const char *word;
    int power;
    unsigned quantities;
    letters letters;
    company company;
} MULTIPLIERS[] = {
    {"", 0, ~OF(FARADS), FOLD, ALONE},
    {"", 0, OF(FARADS), FOLD, WITH_UNIT},
    {"k", 3, OF(OHMS) | OF(VOLTS) | OF(WATTS) | OF(HERTZ), FOLD, ALONE},
    {"kilo", 3, OF(OHMS) | OF(VOLTS) | OF(WATTS) | OF(HERTZ), FOLD, WITH_UNIT},
    {"kil", 3, OF(OHMS), FOLD, WITH_UNIT}, /* kilohms */
    {"m", 6, OF(OHMS), FOLD, ALONE},
    {"meg", 6, OF(OHMS), FOLD, ALONE},
    {"megs", 6, OF(OHMS), FOLD, ALONE},
    {"mega", 6, OF(OHMS) | OF(HERTZ), FOLD, WITH_UNIT},
    {"M", 6, OF(HERTZ), EXACT, ALONE},
    {"G", 9, OF(OHMS), FOLD, ALONE},
    {"T", 12, OF(OHMS), FOLD, ALONE},
    {"m", -3, OF(VOLTS) | OF(WATTS), EXACT, ALONE},
    {"m", -3, OF(HENRIES) | OF(AMPERES), FOLD, ALONE},
    {"milli", -3, OF(OHMS) | OF(FARADS) | OF(HENRIES), FOLD, WITH_UNIT},
    {"milli", -3, OF(VOLTS) | OF(AMPERES) | OF(WATTS), FOLD, WITH_UNIT},
    {"u", -6, OF(FARADS) | OF(HENRIES) | OF(VOLTS) | OF(AMPERES) | OF(WATTS), FOLD, ALONE},
    {"micro", -6, OF(FARADS) | OF(HENRIES) | OF(VOLTS) | OF(AMPERES), FOLD, WITH_UNIT},
    {"m", -6, OF(FARADS), FOLD, WITH_UNIT},
    {"n", -9, OF(FARADS) | OF(HENRIES) | OF(VOLTS) | OF(AMPERES), FOLD, ALONE},
    {"nano", -9, OF(FARADS), FOLD, WITH_UNIT},
    {"p", -12, OF(FARADS), FOLD, ALONE},
    {"pico", -12, OF(FARADS), FOLD, WITH_UNIT},
    {"uu", -12, OF(FARADS), FOLD, WITH_UNIT},
    {"mm", -12, OF(FARADS), FOLD, WITH_UNIT},
    {"micromicro", -12, OF(FARADS), FOLD, WITH_UNIT},
};

/* Words with two readings a factor of a thousand or more apart. */
static const struct {
    base_quantity quantity;
    const char *word;
    value_doubt doubt;
} DOUBTS[] = {
    {BASE_FARADS, "", {"u", "p"}},
    {BASE_FARADS, "m", {"u", " millifarad"}},
    {BASE_FARADS, "M", {"u", "p"}},
    {BASE_FARADS, "mF", {"u", " millifarad"}},
    {BASE_FARADS, "mFarad", {"u", " millifarad"}},
    {BASE_FARADS, "mfarad", {"u", " millifarad"}},
    {BASE_FARADS, "MM", {"p", "u"}},
    {BASE_FARADS, "mm", {"p", "u"}},
    {BASE_OHMS, "mR", {" meg", " milliohm"}},
    {BASE_OHMS, "mohm", {" meg", " milliohm"}},
    {BASE_OHMS, "mohms", {" meg", " milliohm"}},
    {BASE_OHMS, "mOhm", {" meg", " milliohm"}},
    {BASE_OHMS, "mOhms", {" meg", " milliohm"}},
    {BASE_VOLTS, "M", {" mV", " kV"}},
    {BASE_VOLTS, "MV", {" mV", " kV"}},
    {BASE_WATTS, "M", {" mW", " kW"}},
    {BASE_WATTS, "MW", {" mW", " kW"}},
};

enum {
    UNITS_COUNT = sizeof UNITS / sizeof *UNITS,
    MULTIPLIERS_COUNT = sizeof MULTIPLIERS / sizeof *MULTIPLIERS,
    DOUBTS_COUNT = sizeof DOUBTS / sizeof *DOUBTS,
};

const char *value_quantity_name(base_quantity quantity) {
    return QUANTITIES[quantity].name;
}

const char *value_quantity_example(base_quantity quantity) {
    return QUANTITIES[quantity].example;
}

/* The multiplier that is the first `length` characters of the word, or false. */
static bool multiplier(const char *word, size_t length, bool unit, base_quantity quantity,
                       int *power) {
    for (int m = 0; m < MULTIPLIERS_COUNT; m++) {
        const char *known = MULTIPLIERS[m].word;
        if (!(MULTIPLIERS[m].quantities >> quantity & 1)) continue;
        if (MULTIPLIERS[m].company == WITH_UNIT && !unit) continue;
        if (strlen(known) != length || strncasecmp(known, word, length) != 0) continue;
        if (MULTIPLIERS[m].letters == EXACT && strncmp(known, word, length) != 0) continue;
        *power = MULTIPLIERS[m].power;
        return true;
    }
    return false;
}

/* Splits the word into a multiplier and the unit `u`; false if it does not end in that unit. */
static bool with_unit(const char *word, int u, int *power) {
    size_t length = strlen(word), unit = strlen(UNITS[u].word);
    if (unit > length || strcasecmp(word + length - unit, UNITS[u].word) != 0) return false;
    return multiplier(word, length - unit, true, UNITS[u].quantity, power);
}

bool value_word(const char *word, base_quantity quantity, int *power) {
    if (multiplier(word, strlen(word), false, quantity, power)) return true;
    for (int u = 0; u < UNITS_COUNT; u++)
        if (UNITS[u].quantity == quantity && with_unit(word, u, power)) return true;
    return false;
}

base_quantity value_unit_of(const char *word) {
    int power;
    for (int u = 0; u < UNITS_COUNT; u++)
        if (with_unit(word, u, &power)) return UNITS[u].quantity;
    return BASE_QUANTITIES;
}

bool value_doubtful(const char *word, base_quantity quantity, value_doubt *doubt) {
    for (int d = 0; d < DOUBTS_COUNT; d++) {
        if (DOUBTS[d].quantity != quantity || strcmp(DOUBTS[d].word, word) != 0) continue;
        *doubt = DOUBTS[d].doubt;
        return true;
    }
    return false;
}
