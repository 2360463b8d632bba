/* The readings file (docs/readings-file.md) and readings written on a command line. */
#include "diagnose_impl.h"
#include "yaml_impl.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define MOST_READINGS 300
#define MOST_VOLTS 3000.0 /* no place in these amps shows more */

typedef struct reader {
    diagnose_yaml yaml;
    const solve_system *system;
    diagnose_readings *readings;
    size_t room;
    diagnose_meter meter; /* for readings that name none */
} reader;

static const char *const top_keys[] = {"amp", "mains", "meter", "readings", "note"};
static const char *const reading_keys[] = {"volts", "meter", "range"};
#define COUNT(array) (sizeof(array) / sizeof *(array))

static int find_key(const char *const *keys, size_t count, const char *key) {
    for (size_t i = 0; i < count; i++)
        if (strcasecmp(keys[i], key) == 0) return (int)i;
    return -1;
}

/* ---- a value ------------------------------------------------------------------------------------
 */

/* The last digit that was written: 1 for "182", 0.1 for "3.1", 0.01 for "1,25 V". */
static double last_digit(const char *text) {
    const char *point = strpbrk(text, ".,");
    double digit = 1;
    for (const char *c = point ? point + 1 : ""; isdigit((unsigned char)*c); c++)
        digit /= 10;
    if (strcasestr(text, "mv")) digit *= 1e-3;
    if (strcasestr(text, "kv")) digit *= 1e3;
    return digit;
}

/* Ohms written where volts are due would be read as thousands of volts. */
static bool looks_like_ohms(const char *text) {
    return strpbrk(text, "kKMRrgG") && !strpbrk(text, "vV");
}

static base_code read_volts(reader *reader, const char *at, const char *text, base_place place,
                            diagnose_reading *reading) {
    base_errors *errors = reader->yaml.errors;
    if (!text || !*text)
        return base_errors_add(errors, BASE_SYNTAX, place,
                               "%.60s has no value|write the volts that the meter showed: %.60s: "
                               "1.2",
                               at, at);
    if (looks_like_ohms(text))
        return base_errors_add(errors, BASE_VALUE, place,
                               "%.60s reads %.60s, which is no voltage|write volts: 182 or 1.2 V",
                               at, text);
    base_code code = base_value_read(text, BASE_VOLTS, place, &reading->volts, errors);
    if (code != BASE_OK) return code;
    if (!(fabs(reading->volts) <= MOST_VOLTS))
        return base_errors_add(errors, BASE_VALUE, place,
                               "%.60s reads %.60s, more than any place in such an amp shows"
                               "|look for a missing decimal point",
                               at, text);
    reading->resolution = last_digit(text);
    return BASE_OK;
}

/* ---- keeping
 * -------------------------------------------------------------------------------------- */

static bool same_probe(const solve_probe *a, const solve_probe *b) {
    return a->plus == b->plus && a->minus == b->minus && a->heater == b->heater;
}

static void warn_of_twice(reader *reader, const diagnose_reading *reading) {
    for (size_t i = 0; i < reader->readings->count; i++) {
        const diagnose_reading *other = &reader->readings->reading[i];
        double apart = fabs(other->volts - reading->volts);
        if (!same_probe(&other->probe, &reading->probe)) continue;
        if (apart <= 0.1 + 0.02 * fabs(reading->volts)) continue;
        COMPLAIN(&reader->yaml, BASE_SUSPICIOUS, reading->place,
                 "%.60s is given twice, as %.4g and as %.4g volts|both are used; take out the one "
                 "that was wrong",
                 reading->at, other->volts, reading->volts);
        return;
    }
}

static bool grow(reader *reader) {
    diagnose_readings *readings = reader->readings;
    if (readings->count < reader->room) return true;
    size_t room = reader->room ? 2 * reader->room : 16;
    diagnose_reading *more = base_arena_take(readings->arena, room, sizeof *more);
    if (!more) return false;
    if (readings->count) memcpy(more, readings->reading, readings->count * sizeof *more);
    readings->reading = more;
    reader->room = room;
    return true;
}

static base_code keep(reader *reader, diagnose_reading reading) {
    if (reader->readings->count == MOST_READINGS)
        return base_errors_add(reader->yaml.errors, BASE_VALUE, reading.place,
                               "more than %d readings|keep one for each place", MOST_READINGS);
    reading.at = base_arena_text(reader->readings->arena, reading.at);
    if (!reading.at || !grow(reader)) {
        diagnose_yaml_no_memory(&reader->yaml);
        return BASE_MEMORY;
    }
    reading.probe.meter_ohms =
        reading.probe.heater ? INFINITY : diagnose_meter_ohms(&reading.meter, reading.volts, 0);
    warn_of_twice(reader, &reading);
    reader->readings->reading[reader->readings->count++] = reading;
    return BASE_OK;
}

/* ---- one place of the file
 * --------------------------------------------------------------------------- */

/* {volts: 1.5, meter: 20k per volt, range: 10} */
static void read_details(reader *reader, struct fy_node *node, diagnose_reading *reading,
                         const char **volts) {
    diagnose_yaml_pair pair = {0};
    const char *range = NULL;
    base_place range_place = {0};
    while (diagnose_yaml_next(&reader->yaml, node, &pair)) {
        const char *text = diagnose_yaml_text(&reader->yaml, pair.value);
        int key = find_key(reading_keys, COUNT(reading_keys), pair.key);
        if (key < 0) {
            diagnose_yaml_unknown_key(&reader->yaml, &pair, reading_keys, COUNT(reading_keys));
        } else if (!text) {
            COMPLAIN(&reader->yaml, BASE_SYNTAX, pair.place,
                     "%.60s needs one value|write %.60s: 10", pair.key, pair.key);
        } else if (key == 0) {
            *volts = text;
        } else if (key == 1) {
            if (diagnose_meter_read(text, pair.place, &reading->meter, reader->yaml.errors) !=
                BASE_OK)
                reader->yaml.refused = true;
        } else {
            range = text;
            range_place = pair.place;
        }
    }
    if (range && base_value_read(range, BASE_VOLTS, range_place, &reading->meter.range,
                                 reader->yaml.errors) != BASE_OK)
        reader->yaml.refused = true;
}

static void read_one(reader *reader, const char *at, struct fy_node *node, base_place place) {
    diagnose_reading reading = {.at = at, .meter = reader->meter, .place = place};
    const char *volts = NULL;
    if (node && fy_node_is_mapping(node)) {
        read_details(reader, node, &reading, &volts);
    } else {
        volts = diagnose_yaml_text(&reader->yaml, node);
    }
    base_errors *errors = reader->yaml.errors;
    base_code where = diagnose_probe_read(reader->system, at, place, &reading.probe, errors);
    base_code what = read_volts(reader, at, volts, place, &reading);
    if (where == BASE_OK && what == BASE_OK) what = keep(reader, reading);
    if (where != BASE_OK || what != BASE_OK) reader->yaml.refused = true;
}

/* A place may have a list: the same reading taken again. */
static void read_place(reader *reader, const diagnose_yaml_pair *pair) {
    if (!pair->value || !fy_node_is_sequence(pair->value)) {
        read_one(reader, pair->key, pair->value, pair->place);
        return;
    }
    void *iterator = NULL;
    struct fy_node *item;
    while ((item = fy_node_sequence_iterate(pair->value, &iterator)))
        read_one(reader, pair->key, item, pair->place);
}

/* ---- the file
 * ------------------------------------------------------------------------------------------ */

static void check_amp(reader *reader, const diagnose_yaml_pair *pair) {
    const char *said = diagnose_yaml_text(&reader->yaml, pair->value);
    const char *name = circuit_about_of(solve_circuit(reader->system))->name;
    if (!said || !name || strcasecmp(said, name) == 0) return;
    COMPLAIN(&reader->yaml, BASE_SUSPICIOUS, pair->place,
             "these readings are said to be of %.60s, but the amp file is of %.60s|make sure that "
             "they belong together",
             said, name);
}

static void read_mains(reader *reader, const diagnose_yaml_pair *pair) {
    const char *text = diagnose_yaml_text(&reader->yaml, pair->value);
    double volts = NAN;
    if (!text ||
        base_value_read(text, BASE_VOLTS, pair->place, &volts, reader->yaml.errors) != BASE_OK) {
        reader->yaml.refused = true;
    } else if (!(volts >= 20 && volts <= 300)) {
        COMPLAIN(&reader->yaml, BASE_VALUE, pair->place,
                 "mains of %.60s volts|write what the meter showed at the wall, such as 121", text);
    } else {
        reader->readings->mains = volts;
    }
}

static void read_meter(reader *reader, const diagnose_yaml_pair *pair) {
    const char *text = diagnose_yaml_text(&reader->yaml, pair->value);
    if (!text ||
        diagnose_meter_read(text, pair->place, &reader->meter, reader->yaml.errors) != BASE_OK)
        reader->yaml.refused = true;
}

/* The meter must be known before the readings that use it, wherever it stands in the file. */
static void read_heads(reader *reader) {
    diagnose_yaml_pair pair = {0};
    while (diagnose_yaml_next(&reader->yaml, reader->yaml.root, &pair)) {
        switch (find_key(top_keys, COUNT(top_keys), pair.key)) {
        case 0:
            check_amp(reader, &pair);
            break;
        case 1:
            read_mains(reader, &pair);
            break;
        case 2:
            read_meter(reader, &pair);
            break;
        case 3:
        case 4:
            break;
        default:
            diagnose_yaml_unknown_key(&reader->yaml, &pair, top_keys, COUNT(top_keys));
        }
    }
}

static void read_readings(reader *reader) {
    diagnose_yaml_pair pair = {0};
    bool found = false;
    while (diagnose_yaml_next(&reader->yaml, reader->yaml.root, &pair)) {
        if (find_key(top_keys, COUNT(top_keys), pair.key) != 3) continue;
        found = true;
        if (!pair.value || !fy_node_is_mapping(pair.value)) {
            COMPLAIN(&reader->yaml, BASE_SYNTAX, pair.place,
                     "readings is a list of places and volts|write readings: {V1.1: 182}");
            continue;
        }
        diagnose_yaml_pair place = {0};
        while (diagnose_yaml_next(&reader->yaml, pair.value, &place))
            read_place(reader, &place);
    }
    if (!found)
        COMPLAIN(&reader->yaml, BASE_SYNTAX, diagnose_yaml_place(&reader->yaml, reader->yaml.root),
                 "the file has no readings|write readings: {V1.1: 182}");
}

static void read_file(reader *reader, const char *text, size_t length) {
    if (!diagnose_yaml_open(&reader->yaml, text, length)) return;
    if (!fy_node_is_mapping(reader->yaml.root)) {
        COMPLAIN(&reader->yaml, BASE_SYNTAX, diagnose_yaml_place(&reader->yaml, reader->yaml.root),
                 "a readings file is a mapping|begin with readings: {V1.1: 182}");
    } else {
        read_heads(reader);
        read_readings(reader);
    }
    diagnose_yaml_close(&reader->yaml);
}

diagnose_readings *diagnose_readings_new(void) {
    base_arena *arena = base_arena_new();
    diagnose_readings *readings = arena ? base_arena_take(arena, 1, sizeof *readings) : NULL;
    if (!readings) {
        base_arena_free(arena);
        return NULL;
    }
    readings->arena = arena;
    readings->mains = NAN;
    return readings;
}

void diagnose_readings_free(diagnose_readings *readings) {
    if (readings) base_arena_free(readings->arena);
}

diagnose_readings *diagnose_readings_read(const solve_system *system, const char *file,
                                          const char *text, size_t length, base_errors *errors) {
    reader reader = {.system = system, .readings = diagnose_readings_new()};
    base_arena *arena = base_arena_new();
    reader.yaml = (diagnose_yaml){.name = file, .errors = errors, .arena = arena};
    reader.meter = diagnose_defaults().meter;
    if (!reader.readings || !arena)
        diagnose_yaml_no_memory(&reader.yaml);
    else
        read_file(&reader, text, length);
    base_arena_free(arena);
    if (!reader.yaml.refused) return reader.readings;
    diagnose_readings_free(reader.readings);
    return NULL;
}

base_code diagnose_readings_add(diagnose_readings *readings, const solve_system *system,
                                const char *written, const diagnose_meter *meter,
                                base_errors *errors) {
    base_place here = {0};
    const char *equals = strchr(written, '=');
    if (!equals || equals == written)
        return base_errors_add(errors, BASE_SYNTAX, here,
                               "%.60s is no reading|write place=volts: V2.3=1.2", written);
    reader reader = {.system = system, .readings = readings, .room = readings->count};
    reader.yaml = (diagnose_yaml){.errors = errors, .arena = readings->arena};
    char *at = base_arena_take(readings->arena, (size_t)(equals - written) + 1, 1);
    if (!at) {
        diagnose_yaml_no_memory(&reader.yaml);
        return BASE_MEMORY;
    }
    memcpy(at, written, (size_t)(equals - written));
    diagnose_reading reading = {.at = at, .place = here};
    reading.meter = meter ? *meter : diagnose_defaults().meter;
    base_code code = diagnose_probe_read(system, at, here, &reading.probe, errors);
    if (code == BASE_OK) code = read_volts(&reader, at, equals + 1, here, &reading);
    return code == BASE_OK ? keep(&reader, reading) : code;
}
