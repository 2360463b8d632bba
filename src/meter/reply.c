/* A reply to READ? taken apart. Own scanner: strtod follows the locale and takes "inf" and hex. */
#include "meter_impl.h"

#include <math.h>
#include <string.h>
#include <strings.h>

#define OVERLOAD 9.9e37 /* SCPI-99, 7.2.1.4: infinity */
#define NOT_A_NUMBER 9.91e37

typedef struct scan {
    const char *at, *end;
} scan;

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

static void skip_blanks(scan *scan) {
    while (scan->at < scan->end && (*scan->at == ' ' || *scan->at == '\t'))
        scan->at++;
}

static bool take(scan *scan, const char *set) {
    if (scan->at >= scan->end || !*scan->at || !strchr(set, *scan->at)) return false;
    scan->at++;
    return true;
}

/* Digits into *value; how many. */
static int digits(scan *scan, double *value) {
    int count = 0;
    for (; scan->at < scan->end && is_digit(*scan->at); scan->at++, count++)
        *value = *value * 10 + (*scan->at - '0');
    return count;
}

/* E+02. An E without digits is no exponent. */
static bool exponent(scan *scan, int *power) {
    struct scan kept = *scan;
    double value = 0;
    if (!take(scan, "eE")) return true;
    bool minus = scan->at < scan->end && *scan->at == '-';
    take(scan, "+-");
    int count = digits(scan, &value);
    if (count == 0) *scan = kept;
    if (count > 3) return false;
    *power = (int)(minus ? -value : value);
    return true;
}

/* IEEE 488.2 NR1, NR2, NR3. */
static bool number(scan *scan, double *value) {
    double whole = 0;
    int power = 0, tenths = 0;
    bool minus = scan->at < scan->end && *scan->at == '-';
    take(scan, "+-");
    int count = digits(scan, &whole);
    if (take(scan, ".")) count += tenths = digits(scan, &whole);
    if (count == 0 || count > 30 || !exponent(scan, &power)) return false;
    power -= tenths;
    double size = power < 0 ? whole / pow(10, -power) : whole * pow(10, power);
    *value = minus ? -size : size;
    return isfinite(size);
}

/* "VDC", "mV", "kV", "V DC": the factor, 0 for what is no volts. */
static double unit(const char *text, size_t length) {
    static const struct {
        const char *name;
        double factor;
    } units[] = {{"", 1},      {"V", 1},       {"VDC", 1},      {"V DC", 1},  {"VOLT", 1},
                 {"mV", 1e-3}, {"mVDC", 1e-3}, {"mV DC", 1e-3}, {"uV", 1e-6}, {"uVDC", 1e-6},
                 {"kV", 1e3},  {"kVDC", 1e3},  {"VAC", 0},      {"VOLTS", 1}};
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        bool scaled = units[i].factor != 1; /* m and M are not the same there */
        bool same = strlen(units[i].name) == length &&
                    (scaled ? strncmp(units[i].name, text, length)
                            : strncasecmp(units[i].name, text, length)) == 0;
        if (same) return units[i].factor;
    }
    return 0;
}

static meter_word word(const char *text, size_t length) {
    static const struct {
        const char *name;
        meter_word word;
    } words[] = {
        {"OL", METER_OVERLOAD},       {"+OL", METER_OVERLOAD},  {"-OL", METER_OVERLOAD},
        {"O.L", METER_OVERLOAD},      {"OVLD", METER_OVERLOAD}, {"OVERLOAD", METER_OVERLOAD},
        {"OVERFLOW", METER_OVERLOAD}, {"INF", METER_OVERLOAD},  {"+INF", METER_OVERLOAD},
        {"-INF", METER_OVERLOAD},     {"NINF", METER_OVERLOAD}, {"NAN", METER_NAN}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strlen(words[i].name) == length && strncasecmp(words[i].name, text, length) == 0)
            return words[i].word;
    return METER_GARBLED;
}

static bool printable(const char *text, size_t length) {
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)text[i] < ' ' || (unsigned char)text[i] > '~')
            if (text[i] != '\t') return false;
    return true;
}

static meter_word judge(double value, double factor, double *volts) {
    if (fabs(value) >= NOT_A_NUMBER * 0.9999 && fabs(value) <= NOT_A_NUMBER * 1.0001)
        return METER_NAN;
    if (fabs(value) >= OVERLOAD) return METER_OVERLOAD;
    if (fabs(value * factor) > 1e6) return METER_GARBLED; /* no meter shows that */
    *volts = value * factor;
    return METER_NUMBER;
}

meter_word meter_reply_read(const char *text, size_t length, double *volts) {
    scan scan = {text, text + length};
    double value = 0;
    *volts = NAN;
    if (!printable(text, length)) return METER_GARBLED;
    skip_blanks(&scan);
    while (scan.end > scan.at && (scan.end[-1] == ' ' || scan.end[-1] == '\t'))
        scan.end--;
    struct scan begin = scan;
    if (!number(&scan, &value)) return word(begin.at, (size_t)(begin.end - begin.at));
    skip_blanks(&scan);
    double factor = unit(scan.at, (size_t)(scan.end - scan.at));
    return factor > 0 ? judge(value, factor, volts) : METER_GARBLED;
}
