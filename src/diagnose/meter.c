/* Meters as a technician writes them: "10M", "20k per volt", "20k/V on 300". */
#include "diagnose_impl.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

/* One standard deviation. A digital meter: of the reading. A hand meter of 2 or 3 % of full scale:
 * of the range. Common practice, no source. */
#define DIGITAL_ACCURACY 0.005
#define HAND_ACCURACY 0.015

/* Copies what stands before `end`, without blanks at its ends. */
static void trim(char *to, size_t room, const char *from, const char *end) {
    while (from < end && isspace((unsigned char)*from))
        from++;
    while (end > from && isspace((unsigned char)end[-1]))
        end--;
    size_t length = (size_t)(end - from);
    if (length >= room) length = room - 1;
    memcpy(to, from, length);
    to[length] = 0;
}

/* Where the words begin that say "per volt"; NULL: nowhere. */
static const char *find_per_volt(const char *text, size_t *length) {
    static const char *const words[] = {"per volt", "ohms per volt", "/volt", "/v"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        const char *found = strcasestr(text, words[i]);
        if (!found) continue;
        *length = strlen(words[i]);
        return found;
    }
    return NULL;
}

static base_code complain(const char *text, base_place place, base_errors *errors) {
    return base_errors_add(errors, BASE_VALUE, place,
                           "%.60s is no meter|write its input resistance, 10M, or its ohms per "
                           "volt and range, 20k per volt on 300",
                           text);
}

static base_code read_range(const char *text, base_place place, diagnose_meter *meter,
                            base_errors *errors) {
    char word[64];
    trim(word, sizeof word, text, text + strlen(text));
    if (!*word) return BASE_OK;
    if (strncasecmp(word, "on ", 3) != 0) return complain(word, place, errors);
    base_code code = base_value_read(word + 3, BASE_VOLTS, place, &meter->range, errors);
    if (code != BASE_OK) return code;
    if (meter->range >= 0.1 && meter->range <= 5000) return BASE_OK;
    return base_errors_add(errors, BASE_VALUE, place,
                           "a meter has no range of %.60s volts|write the full scale in use: 300",
                           word + 3);
}

base_code diagnose_meter_read(const char *text, base_place place, diagnose_meter *meter,
                              base_errors *errors) {
    *meter = (diagnose_meter){
        .ohms = NAN, .ohms_per_volt = NAN, .range = NAN, .accuracy = DIGITAL_ACCURACY};
    char word[64];
    size_t length = 0;
    const char *per = find_per_volt(text, &length);
    if (!per) {
        trim(word, sizeof word, text, text + strlen(text));
        base_code code = base_value_read(word, BASE_OHMS, place, &meter->ohms, errors);
        if (code != BASE_OK) return code;
        return meter->ohms >= 1e3 && meter->ohms <= 1e15 ? BASE_OK : complain(text, place, errors);
    }
    trim(word, sizeof word, text, per);
    base_code code = base_value_read(word, BASE_OHMS, place, &meter->ohms_per_volt, errors);
    if (code != BASE_OK) return code;
    if (!(meter->ohms_per_volt >= 50 && meter->ohms_per_volt <= 1e7))
        return complain(text, place, errors);
    meter->accuracy = HAND_ACCURACY;
    return read_range(per + length, place, meter, errors);
}

/* ---- its load ------------------------------------------------------------------------------ */

/* Full scales of the hand meters that service notes were written with. */
static const double ranges[] = {1000, 300, 100, 30, 10, 3};
enum { RANGES = sizeof ranges / sizeof *ranges };

double diagnose_range(double volts) {
    int i = 0;
    while (i + 1 < RANGES && fabs(volts) <= ranges[i + 1])
        i++;
    return ranges[i];
}

double diagnose_meter_ohms(const diagnose_meter *meter, double volts, double source_ohms) {
    if (isfinite(meter->ohms)) return meter->ohms;
    if (!(meter->ohms_per_volt > 0)) return INFINITY;
    if (isfinite(meter->range)) return meter->ohms_per_volt * meter->range;
    double source = source_ohms > 0 ? source_ohms : 0, ohms = meter->ohms_per_volt * ranges[0];
    /* The hand starts on the highest range and turns down while the next one holds what is shown.
     */
    for (int i = 1; i < RANGES && fabs(volts) * ohms / (ohms + source) <= ranges[i]; i++)
        ohms = meter->ohms_per_volt * ranges[i];
    return ohms;
}
