/* Words and figures out of the view, as they are printed. */
#include "report_impl.h"

#include <ctype.h>
#include <time.h>

const char *report_words(const json_t *object, const char *key) {
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

double report_number(const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

const char *report_label(report_sheet *sheet, const json_t *object, const char *key) {
    const json_t *value = json_object_get(object, key);
    if (json_is_integer(value))
        return report_say(sheet, "%lld", (long long)json_integer_value(value));
    return report_words(object, key);
}

bool report_true(const json_t *object, const char *key) {
    return json_is_true(json_object_get(object, key));
}

const char *report_say(report_sheet *sheet, const char *format, ...) {
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    char *text = length < 0 ? NULL : base_arena_take(sheet->arena, (size_t)length + 1, 1);
    if (text)
        vsnprintf(text, (size_t)length + 1, format, again);
    else
        sheet->failed = true;
    va_end(again);
    va_end(arguments);
    return text ? text : "";
}

const char *report_date(report_sheet *sheet, double milliseconds) {
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    struct tm utc;
    if (!(milliseconds >= 0 && milliseconds < 253402300800e3)) return ""; /* the year 10000 */
    time_t seconds = (time_t)(milliseconds / 1000);
    if (!gmtime_r(&seconds, &utc)) return "";
    return report_say(sheet, "%d %s %d", utc.tm_mday, months[utc.tm_mon], utc.tm_year + 1900);
}

const char *report_list(report_sheet *sheet, const json_t *list) {
    const char *all = "";
    size_t i;
    const json_t *one;
    json_array_foreach(list, i, one) {
        const char *text = json_string_value(one);
        if (text && *text) all = report_say(sheet, "%s%s%s", all, *all ? ", " : "", text);
    }
    return all;
}

/* ---- money --------------------------------------------------------------------------------- */

/* Decimal places by ISO 4217 where they are not two. */
static int places_of(const char *currency) {
    static const char none[] =
        "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF";
    static const char three[] = "BHD IQD JOD KWD LYD OMR TND";
    if (strlen(currency) != 3 || !isalpha((unsigned char)currency[0])) return 2;
    return strstr(none, currency) ? 0 : strstr(three, currency) ? 3 : 2;
}

const char *report_money(report_sheet *sheet, const json_t *shop, double amount) {
    static const long long coins[] = {1, 10, 100, 1000};
    const char *currency = report_words(shop, "currency");
    int places = places_of(currency);
    if (!(fabs(amount) < 9e15)) return "";
    long long all = llround(fabs(amount)), whole = all / coins[places];
    const char *sign = amount <= -0.5 ? "-" : "", *space = *currency ? " " : "";
    if (places == 0) return report_say(sheet, "%s%lld%s%s", sign, whole, space, currency);
    return report_say(sheet, "%s%lld.%0*lld%s%s", sign, whole, places, all % coins[places], space,
                      currency);
}

/* ---- volts --------------------------------------------------------------------------------- */

const char *report_volts(report_sheet *sheet, double volts) {
    if (isnan(volts)) return "";
    if (fabs(volts) < 0.0005) return "0 V";
    if (fabs(volts) < 1) return report_say(sheet, "%g V", base_value_round(volts, 3));
    return report_say(sheet, "%g V", base_value_round(volts, 4));
}

const char *report_band(report_sheet *sheet, double low, double high) {
    if (isnan(low) || isnan(high)) return "";
    if (fabs(low) < 0.1 && fabs(high) < 0.1) return "about 0 V";
    return report_say(sheet, "%g to %g V", base_value_round(low, 3), base_value_round(high, 3));
}

const char *report_upper(report_sheet *sheet, const char *text) {
    return *text ? report_say(sheet, "%c%s", toupper((unsigned char)*text), text + 1) : "";
}
