/* Text for the eye at arm's length: styles, filled words, values with units, chances, bars. */
#include "cli.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *cli_style_on(const cli *cli, cli_style style) {
    static const char *const codes[] = {"\033[0m", "\033[1m", "\033[1m", "\033[1;31m", "\033[2m"};
    return cli->colour ? codes[style] : "";
}

void cli_heading(cli *cli, const char *text) {
    base_text_add(&cli->out, "\n%s%s%s\n", cli_style_on(cli, CLI_HEAD), text,
                  cli_style_on(cli, CLI_PLAIN));
}

/* Does `next` belong on the line of the word before it? A unit to its number, a number to "about".
 */
static bool belongs(const char *word, int length, const char *next) {
    static const char *const units[] = {"%", "V", "mA", "W", "ohm", "kohm", "Mohm", "Hz"};
    static const char *const heads[] = {"about", "under", "over", "(about", "(under", "(over"};
    for (size_t i = 0; i < sizeof heads / sizeof *heads; i++)
        if ((int)strlen(heads[i]) == length && strncmp(word, heads[i], (size_t)length) == 0)
            return isdigit((unsigned char)*next);
    if (length == 0 || !isdigit((unsigned char)word[length - 1])) return false;
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        size_t unit = strlen(units[i]);
        if (strncmp(next, units[i], unit) == 0 && !isalpha((unsigned char)next[unit])) return true;
    }
    return false;
}

/* The length of the word at `text`, with what may not be parted from it: "about 20 %", "41 V". */
static int word_length(const char *text) {
    int start = 0, length = (int)strcspn(text, " \n");
    while (text[length] == ' ' && belongs(text + start, length - start, text + length + 1)) {
        start = length + 1;
        length = start + (int)strcspn(text + start, " \n");
    }
    return length;
}

void cli_fill(cli *cli, int column, int indent, const char *text) {
    bool fresh = true; /* no word on this line yet, so no blank before the next */
    while (*text) {
        int word = word_length(text);
        if (!fresh && column + 1 + word > CLI_WIDTH) {
            base_text_add(&cli->out, "\n%*s", indent, "");
            column = indent;
        } else if (!fresh) {
            base_text_add(&cli->out, " ");
            column++;
        }
        base_text_add(&cli->out, "%.*s", word, text);
        fresh = false;
        column += word;
        text += word;
        text += strspn(text, " \n");
    }
    base_text_add(&cli->out, "\n");
}

void cli_end_line(cli *cli) {
    base_text *out = &cli->out;
    while (out->length && out->data[out->length - 1] == ' ')
        out->data[--out->length] = 0;
    base_text_add(out, "\n");
}

void cli_danger(cli *cli) {
    base_text_add(&cli->out, "%sDANGER%s  ", cli_style_on(cli, CLI_WARN),
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 8, 8, CLI_DANGER);
    base_text_add(&cli->out, "\n");
}

/* ---- values -------------------------------------------------------------------------------- */

static cli_cell cell(const char *format, ...) __attribute__((format(printf, 1, 2)));
static cli_cell cell(const char *format, ...) {
    cli_cell made;
    va_list list;
    va_start(list, format);
    vsnprintf(made.text, sizeof made.text, format, list);
    va_end(list);
    return made;
}

/* Three figures, as a meter's display gives them; never finer than a hundredth. */
static int decimals(double value) {
    double size = fabs(value);
    return size >= 99.95 ? 0 : size >= 9.995 ? 1 : 2;
}

static double without_minus_zero(double value) {
    return fabs(value) < 0.005 ? 0 : value;
}

cli_cell cli_volts(double volts) {
    if (!isfinite(volts)) return cell("%s", "");
    volts = without_minus_zero(volts);
    return cell("%.*f V", volts == 0 ? 0 : decimals(volts), volts);
}

cli_cell cli_signed(double volts) {
    cli_cell plain = cli_volts(volts);
    return volts >= 0.005 ? cell("+%.40s", plain.text) : plain;
}

cli_cell cli_amperes(double amperes) {
    double milli = without_minus_zero(amperes * 1e3);
    return isfinite(amperes) ? cell("%.*f mA", decimals(milli), milli) : cell("%s", "");
}

cli_cell cli_watts(double watts) {
    return isfinite(watts) ? cell("%.*f W", decimals(watts), watts) : cell("%s", "");
}

cli_cell cli_ohms(double ohms) {
    char written[40], figures[40];
    if (!isfinite(ohms)) return cell("%s", "");
    snprintf(figures, sizeof figures, "%.3g", ohms);
    double rounded = 0;
    sscanf(figures, "%lf", &rounded);
    return cell("%.40s", base_value_write(rounded, BASE_OHMS, written, sizeof written));
}

cli_cell cli_value_of(double value, base_quantity quantity) {
    char written[40], figures[40];
    if (!isfinite(value)) return cell("%s", "");
    if (quantity == BASE_VOLTS) return cli_volts(value);
    if (quantity == BASE_WATTS) return cli_watts(value);
    snprintf(figures, sizeof figures, "%.3g", value);
    return cell("%.40s",
                base_value_write(strtod(figures, NULL), quantity, written, sizeof written));
}

cli_cell cli_meter(const diagnose_meter *meter) {
    if (isfinite(meter->ohms)) return cell("%.3g Mohm", meter->ohms / 1e6);
    if (isfinite(meter->range))
        return cell("%.3g kohm per volt on %g V", meter->ohms_per_volt / 1e3, meter->range);
    return cell("%.3g kohm per volt", meter->ohms_per_volt / 1e3);
}

/* ---- chances ------------------------------------------------------------------------------- */

/* To the nearest five between 10 and 90, whole numbers outside, and never 0 or 100. */
static int percent(double probability) {
    double of100 = probability * 100;
    if (of100 >= 10 && of100 <= 90) return (int)(5 * round(of100 / 5));
    return (int)round(of100);
}

cli_cell cli_chance(double probability) {
    if (!(probability >= 0.01)) return cell("under 1 %%");
    if (probability > 0.99) return cell("over 99 %%");
    return cell("about %d %%", percent(probability));
}

cli_cell cli_chance_words(double probability) {
    if (probability < 0.15 || probability >= 0.95) return cli_chance(probability);
    return cell("about %d in 10", (int)round(probability * 10));
}

/* Plain characters; eighths of a block only where the locale can show them. */
cli_cell cli_bar(const cli *cli, double part, int width) {
    cli_cell bar = {{0}};
    int eighths = (int)round(fmin(fmax(part, 0), 1) * width * 8);
    int whole = cli->utf8 ? eighths / 8 : (eighths + 4) / 8;
    for (int i = 0; i < whole; i++)
        strcat(bar.text, cli->utf8 ? "\u2588" : "#");
    if (cli->utf8 && eighths % 8) {
        char last[4] = {(char)0xE2, (char)0x96, (char)(0x90 - eighths % 8), 0};
        strcat(bar.text, last);
    }
    return bar;
}
