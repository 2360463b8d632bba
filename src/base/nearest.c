/* What was meant: the nearest preferred value, the nearest name. */
#include "base.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

/* ---- IEC 60063 preferred numbers ---- */

/* E24, hundreds; E12 is every second, E6 every fourth. */
static const int E24[] = {100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
                          330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910};

/* Number `index` of the series, in hundreds; `index` may be `series`, the next decade's first. */
static double preferred(int series, int index) {
    if (index == series) return 1000;
    if (series == 96) return round(100 * pow(10, index / 96.0)); /* E96 follows its rule exactly */
    return E24[index * (24 / series)];
}

double base_value_nearest(double value, int series) {
    if (series != 6 && series != 12 && series != 24 && series != 96) return NAN;
    if (!(value > 0) || !isfinite(value)) return NAN;
    int decade = (int)floor(log10(value)) - 2;
    double hundreds = value / pow(10, decade), best = 100;
    for (int i = 0; i <= series; i++) {
        double candidate = preferred(series, i);
        if (fabs(log(candidate / hundreds)) < fabs(log(best / hundreds))) best = candidate;
    }
    /* Dividing by a whole power keeps 22n the same double as the text "22n" gives. */
    return decade < 0 ? best / pow(10, -decade) : best * pow(10, decade);
}

/* ---- names ---- */

enum { LONGEST = 63 };

static int folded_differ(char a, char b) {
    return tolower((unsigned char)a) != tolower((unsigned char)b);
}

static size_t least(size_t a, size_t b) {
    return a < b ? a : b;
}

/* Changes, insertions, deletions and swaps of neighbours that turn `a` into `b` (optimal string
 * alignment). Rows of the table: two characters ago, one ago, this one. */
static size_t distance(const char *a, const char *b) {
    size_t length_b = strlen(b), rows[3][LONGEST + 1] = {0};
    for (size_t j = 0; j <= length_b; j++)
        rows[0][j] = j;
    for (size_t i = 1; a[i - 1]; i++) {
        size_t *now = rows[i % 3], *before = rows[(i + 2) % 3], *earlier = rows[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= length_b; j++) {
            size_t differ = (size_t)folded_differ(a[i - 1], b[j - 1]);
            now[j] = least(least(before[j], now[j - 1]) + 1, before[j - 1] + differ);
            bool swapped = i > 1 && j > 1 && !folded_differ(a[i - 1], b[j - 2]) &&
                           !folded_differ(a[i - 2], b[j - 1]);
            if (swapped) now[j] = least(now[j], earlier[j - 2] + 1);
        }
    }
    return rows[strlen(a) % 3][length_b];
}

const char *base_nearest_name(const char *text, const char *const *names, size_t count) {
    const char *nearest = NULL;
    size_t length = strlen(text), best = SIZE_MAX;
    if (length > LONGEST) return NULL;
    for (size_t i = 0; i < count; i++) {
        size_t name_length = strlen(names[i]);
        if (name_length > LONGEST) continue;
        size_t away = distance(text, names[i]);
        size_t longer = length > name_length ? length : name_length;
        if (away < best && 3 * away <= longer) {
            best = away;
            nearest = names[i];
        }
    }
    return nearest;
}
