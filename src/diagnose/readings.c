/* The readings file (docs/readings-file.md) and readings written on a command line. */
#include "observe_impl.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define MOST_READINGS 300
#define MOST_VOLTS 3000.0 /* no place in these amps shows more */
#define MOST_SCENES 20    /* signals, actions and cold resistances that one file may ask for */

typedef struct reader {
    base_yaml yaml;
    const solve_system *system;
    diagnose_readings *readings;
    size_t room;
    diagnose_meter meter; /* for readings that name none */
} reader;

static const base_yaml_kind readings_files = {"readings files", "amp",
                                              "the places and volts: `readings: {V1.1: 182}`"};
static const char *const top_keys[] = {"amp",      "mains", "meter", "readings",
                                       "symptoms", "note",  NULL};
static const char *const reading_keys[] = {"volts", "meter", "range", NULL};

/* ---- a value ------------------------------------------------------------------------------- */

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

/* "open", "OL", "none": beyond what the meter shows. */
static bool is_beyond(const char *text) {
    static const char *const words[] = {"open", "OL", "over", "none"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcasecmp(text, words[i]) == 0) return true;
    return false;
}

/* Ohms, or farads. */
static base_code read_size(reader *reader, const char *text, base_quantity unit, base_place place,
                           diagnose_reading *reading) {
    if (unit == BASE_OHMS && is_beyond(text)) {
        reading->volts = INFINITY;
        return BASE_OK;
    }
    return base_value_read(text, unit, place, &reading->volts, reader->yaml.errors);
}

static base_code read_volts(reader *reader, const char *at, const char *text, base_place place,
                            diagnose_reading *reading) {
    base_errors *errors = reader->yaml.errors;
    base_quantity unit = diagnose_quantity_unit(reader->system, &reading->test);
    if (!text || !*text)
        return base_errors_add(errors, BASE_SYNTAX, place,
                               "%.60s has no value|write what the meter showed: %.60s: 1.2", at,
                               at);
    if (unit != BASE_VOLTS) return read_size(reader, text, unit, place, reading);
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
    if (reading->test.quantity == DIAGNOSE_DC || reading->volts >= 0) return BASE_OK;
    return base_errors_add(errors, BASE_VALUE, place,
                           "%.60s reads %.60s: alternating volts have no sign|leave the minus out",
                           at, text);
}

/* ---- keeping
 * -------------------------------------------------------------------------------------- */

static bool same_reading(const diagnose_reading *a, const diagnose_reading *b) {
    const solve_probe *p = &a->probe, *q = &b->probe;
    return p->plus == q->plus && p->minus == q->minus && p->heater == q->heater &&
           diagnose_test_same(&a->test, &b->test);
}

static void warn_of_twice(reader *reader, const diagnose_reading *reading) {
    for (size_t i = 0; i < reader->readings->count; i++) {
        const diagnose_reading *other = &reader->readings->reading[i];
        bool size = diagnose_quantity_unit(reader->system, &reading->test) != BASE_VOLTS;
        double apart = fabs(other->volts - reading->volts);
        if (!same_reading(other, reading)) continue;
        if (!(apart > (size ? 0 : 0.1) + 0.02 * fabs(reading->volts))) continue;
        base_yaml_complain(
            &reader->yaml, BASE_SUSPICIOUS, reading->place,
            "%.60s is given twice, as %.4g and as %.4g|both are used; take out the one "
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

/* Once: a meter on ohms in a charged circuit shows nonsense. */
static void warn_of_charge(reader *reader, const diagnose_reading *reading) {
    if (reading->test.quantity != DIAGNOSE_COLD) return;
    for (size_t i = 0; i < reader->readings->count; i++)
        if (reader->readings->reading[i].test.quantity == DIAGNOSE_COLD) return;
    base_yaml_complain(&reader->yaml, BASE_SUSPICIOUS, reading->place,
                       "%.60s: ohms in the circuit hold only with the power off and empty "
                       "capacitors|unplug, drain them and MEASURE that they are empty, then read "
                       "ohms",
                       reading->at);
}

static bool has_scene(const diagnose_reading *reading) {
    return !diagnose_plain(&reading->test) && reading->test.quantity != DIAGNOSE_ALONE;
}

static bool same_scene(const diagnose_reading *a, const diagnose_reading *b) {
    bool cold = a->test.quantity == DIAGNOSE_COLD;
    return diagnose_test_same(&a->test, &b->test) && (!cold || same_reading(a, b));
}

static bool too_many_scenes(const reader *reader, const diagnose_reading *reading) {
    const diagnose_readings *readings = reader->readings;
    size_t scenes = 0;
    if (!has_scene(reading)) return false;
    for (size_t i = 0; i < readings->count; i++) {
        size_t before = 0;
        if (!has_scene(&readings->reading[i])) continue;
        if (same_scene(&readings->reading[i], reading)) return false;
        while (!same_scene(&readings->reading[before], &readings->reading[i]))
            before++;
        scenes += before == i;
    }
    return scenes >= MOST_SCENES;
}

static double meter_ohms(const diagnose_reading *reading) {
    diagnose_quantity quantity = reading->test.quantity;
    if (reading->probe.heater || quantity == DIAGNOSE_COLD || quantity == DIAGNOSE_ALONE)
        return INFINITY;
    return diagnose_meter_ohms(&reading->meter, reading->volts, 0);
}

static base_code keep(reader *reader, diagnose_reading reading) {
    if (reader->readings->count == MOST_READINGS)
        return base_errors_add(reader->yaml.errors, BASE_VALUE, reading.place,
                               "more than %d readings|keep one for each place", MOST_READINGS);
    if (too_many_scenes(reader, &reading))
        return base_errors_add(reader->yaml.errors, BASE_VALUE, reading.place,
                               "more than %d different signals, actions and resistances|keep those "
                               "that tell most",
                               MOST_SCENES);
    reading.at = base_arena_text(reader->readings->arena, reading.at);
    if (!reading.at || !grow(reader)) {
        base_yaml_no_memory(&reader->yaml);
        return BASE_MEMORY;
    }
    reading.probe.meter_ohms = meter_ohms(&reading);
    warn_of_twice(reader, &reading);
    warn_of_charge(reader, &reading);
    reader->readings->reading[reader->readings->count++] = reading;
    return BASE_OK;
}

/* ---- one place of the file --- */

static void read_meter(reader *reader, const base_yaml_item *item, const char *who,
                       diagnose_meter *meter) {
    const char *text = base_yaml_text(&reader->yaml, item, who);
    if (text)
        base_yaml_note(&reader->yaml,
                       diagnose_meter_read(text, item->key_at, meter, reader->yaml.errors));
}

/* {volts: 1.5, meter: 20k per volt, range: 10} */
static void read_details(reader *reader, const base_yaml_item *item, diagnose_reading *reading,
                         const char **volts) {
    base_yaml_items map = {.who = base_yaml_show(&reader->yaml, item->key)};
    if (!base_yaml_map(&reader->yaml, item, &map)) return;
    const base_yaml_item *value = base_yaml_find(&map, "volts"),
                         *meter = base_yaml_find(&map, "meter"),
                         *range = base_yaml_find(&map, "range");
    base_yaml_check_keys(&reader->yaml, &map, reading_keys);
    if (value) *volts = base_yaml_text_of(&reader->yaml, value->value);
    if (meter) read_meter(reader, meter, map.who, &reading->meter);
    if (!range ||
        !base_yaml_value(&reader->yaml, range, map.who, BASE_VOLTS, &reading->meter.range))
        return;
    if (!(reading->meter.range >= 0.1 && reading->meter.range <= 5000))
        base_yaml_complain(&reader->yaml, BASE_VALUE, range->key_at,
                           "a meter has no range of %.60s volts|write the full scale in use: 300",
                           range->value->text);
}

static void read_one(reader *reader, const base_yaml_item *item) {
    diagnose_reading reading = {.at = item->key, .meter = reader->meter, .place = item->key_at};
    base_errors *errors = reader->yaml.errors;
    const char *volts = NULL;
    if (item->value->type == BASE_YAML_MAP)
        read_details(reader, item, &reading, &volts);
    else
        volts = base_yaml_text_of(&reader->yaml, item->value);
    base_code where = diagnose_test_read(reader->system, item->key, item->key_at, &reading, errors);
    base_code what = read_volts(reader, item->key, volts, item->key_at, &reading);
    if (where == BASE_OK && what == BASE_OK) what = keep(reader, reading);
    base_yaml_note(&reader->yaml, where);
    base_yaml_note(&reader->yaml, what);
}

/* A place may have a list: the same reading taken again. */
static void read_place(reader *reader, const base_yaml_item *item) {
    base_yaml_items again = {.who = "readings"};
    if (item->value->type != BASE_YAML_LIST) {
        read_one(reader, item);
        return;
    }
    if (!base_yaml_list(&reader->yaml, item, &again)) return;
    for (size_t i = 0; i < again.items; i++)
        read_one(reader, &again.item[i]);
}

/* ---- the file --- */

static void check_amp(reader *reader, const base_yaml_item *item) {
    const char *said = base_yaml_text_of(&reader->yaml, item->value);
    const char *name = circuit_about_of(solve_circuit(reader->system))->name;
    if (!said || !name || strcasecmp(said, name) == 0) return;
    base_yaml_complain(&reader->yaml, BASE_SUSPICIOUS, item->key_at,
                       "these readings are said to be of %.60s, but the amp file is of %.60s|make "
                       "sure that they belong together",
                       said, name);
}

static void read_mains(reader *reader, const base_yaml_item *item) {
    double volts;
    if (!base_yaml_value(&reader->yaml, item, "the file", BASE_VOLTS, &volts)) return;
    if (volts >= 20 && volts <= 300)
        reader->readings->mains = volts;
    else
        base_yaml_complain(&reader->yaml, BASE_VALUE, item->key_at,
                           "mains of %.60s volts|write what the meter showed at the wall, such as "
                           "121",
                           item->value->text);
}

static void read_readings(reader *reader, const base_yaml_item *item) {
    base_yaml_items places = {.who = "readings", .repeats = true};
    if (item->value->type != BASE_YAML_MAP) {
        base_yaml_complain(&reader->yaml, BASE_SYNTAX, item->key_at,
                           "readings is a list of places and volts|write readings: {V1.1: 182}");
        return;
    }
    if (!base_yaml_map(&reader->yaml, item, &places)) return;
    for (size_t i = 0; i < places.items; i++)
        read_place(reader, &places.item[i]);
}

/* "loud hum", or with what it is of: "scratchy: P2", which YAML may also take for a mapping. */
static void read_symptom(reader *reader, const base_yaml_node *value) {
    const char *said =
        value->type == BASE_YAML_TEXT ? base_yaml_text_of(&reader->yaml, value) : NULL;
    if (value->type == BASE_YAML_MAP && value->count == 2 && value->child->type == BASE_YAML_TEXT &&
        value->last->type == BASE_YAML_TEXT)
        said = base_yaml_print(&reader->yaml, "%s: %s", value->child->text, value->last->text);
    if (!said)
        base_yaml_complain(
            &reader->yaml, BASE_SYNTAX, value->at,
            "a symptom is a word or two of the list|write loud hum, or scratchy: P2");
    else
        base_yaml_note(&reader->yaml, diagnose_readings_tell(reader->readings, reader->system, said,
                                                             value->at, reader->yaml.errors));
}

static void read_symptoms(reader *reader, const base_yaml_item *item) {
    base_yaml_items list = {.who = "symptoms"};
    if (!base_yaml_list(&reader->yaml, item, &list)) return;
    for (size_t i = 0; i < list.items; i++)
        read_symptom(reader, list.item[i].value);
}

/* The meter must be known before the readings that use it, wherever it stands in the file. */
static void read_top(reader *reader, const base_yaml_item *root) {
    base_yaml_items file = {.who = root->key};
    if (!base_yaml_map(&reader->yaml, root, &file)) return;
    const base_yaml_item *amp = base_yaml_find(&file, "amp"),
                         *mains = base_yaml_find(&file, "mains"),
                         *meter = base_yaml_find(&file, "meter"),
                         *readings = base_yaml_find(&file, "readings"),
                         *symptoms = base_yaml_find(&file, "symptoms");
    base_yaml_check_keys(&reader->yaml, &file, top_keys);
    if (amp) check_amp(reader, amp);
    if (mains) read_mains(reader, mains);
    if (meter) read_meter(reader, meter, root->key, &reader->meter);
    if (symptoms) read_symptoms(reader, symptoms);
    if (readings)
        read_readings(reader, readings);
    else if (!symptoms)
        base_yaml_complain(&reader->yaml, BASE_SYNTAX, root->at,
                           "the file has no readings|write readings: {V1.1: 182}");
}

static void read_file(reader *reader, const char *text, size_t length) {
    base_yaml_item root;
    if (base_yaml_open(&reader->yaml, text, length, &root)) read_top(reader, &root);
    base_yaml_close(&reader->yaml);
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
    if (!readings) return;
    diagnose_symptoms_free(readings->symptoms);
    base_arena_free(readings->arena);
}

diagnose_readings *diagnose_readings_read(const solve_system *system, const char *file,
                                          const char *text, size_t length, base_errors *errors) {
    reader reader = {.system = system, .readings = diagnose_readings_new()};
    base_arena *arena = base_arena_new();
    reader.yaml =
        (base_yaml){.kind = &readings_files, .file = file, .errors = errors, .arena = arena};
    reader.meter = diagnose_defaults().meter;
    if (!reader.readings || !arena)
        base_yaml_no_memory(&reader.yaml);
    else
        read_file(&reader, text, length);
    base_arena_free(arena);
    if (reader.yaml.worst == BASE_OK) return reader.readings;
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
    reader.yaml = (base_yaml){.errors = errors, .arena = readings->arena};
    char *at = base_arena_take(readings->arena, (size_t)(equals - written) + 1, 1);
    if (!at) {
        base_yaml_no_memory(&reader.yaml);
        return BASE_MEMORY;
    }
    memcpy(at, written, (size_t)(equals - written));
    diagnose_reading reading = {.at = at, .place = here};
    reading.meter = meter ? *meter : diagnose_defaults().meter;
    base_code code = diagnose_test_read(system, at, here, &reading, errors);
    if (code == BASE_OK) code = read_volts(&reader, at, equals + 1, here, &reading);
    return code == BASE_OK ? keep(&reader, reading) : code;
}
