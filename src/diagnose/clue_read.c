/* A symptom or a finding as written: which of the list it is, and of what in this amp. */
#include "symptoms_impl.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define NAME_ROOM 100
#define MOST_CLUES 60
#define MOST_WORDS 200
#define SLOWEST 0.2 /* swings a second that a tremolo may make */
#define QUICKEST 20.0

typedef struct teller {
    diagnose_readings *readings;
    const solve_system *system;
    const char *said;
    base_place at;
    base_errors *errors;
    diagnose_clue clue;
} teller;

/* `why`: cause and remedy, a bar between. */
static base_code refuse(const teller *teller, const char *why) {
    const char *bar = strchr(why, '|');
    return base_errors_add(teller->errors, BASE_VALUE, teller->at, "\"%.60s\": %.*s|%s",
                           teller->said, (int)(bar - why), why, bar + 1);
}

static char *trim(char *text) {
    while (isspace((unsigned char)*text))
        text++;
    for (char *end = text + strlen(text); end > text && isspace((unsigned char)end[-1]);)
        *--end = 0;
    return text;
}

/* ---- which symptom ----------------------------------------------------------------------------
 */

static bool is_called(const diagnose_symptom *symptom, const char *name) {
    if (strcasecmp(symptom->key, name) == 0) return true;
    for (size_t i = 0; symptom->also[i]; i++)
        if (strcasecmp(symptom->also[i], name) == 0) return true;
    return false;
}

static base_code unknown(const teller *teller, const char *name) {
    const diagnose_symptoms *symptoms = teller->readings->symptoms;
    const char *words[MOST_WORDS];
    size_t count = 0;
    for (size_t i = 0; i < diagnose_symptoms_count(symptoms); i++) {
        const diagnose_symptom *one = diagnose_symptoms_at(symptoms, i);
        if (count < MOST_WORDS) words[count++] = one->key;
        for (size_t k = 0; one->also[k] && count < MOST_WORDS; k++)
            words[count++] = one->also[k];
    }
    const char *near = base_nearest_name(name, words, count);
    if (near)
        return base_errors_add(teller->errors, BASE_UNKNOWN, teller->at,
                               "\"%.60s\" is not in the list of symptoms|did you mean %s?", name,
                               near);
    return base_errors_add(teller->errors, BASE_UNKNOWN, teller->at,
                           "\"%.60s\" is not in the list of symptoms|choose from it (docs/"
                           "symptoms.md): loud hum, no sound, scratchy: P1, wiggle: V2.3 ...",
                           name);
}

static base_code find_symptom(teller *teller, const char *name) {
    const diagnose_symptoms *symptoms = teller->readings->symptoms;
    for (size_t i = 0; i < diagnose_symptoms_count(symptoms); i++)
        if (is_called(diagnose_symptoms_at(symptoms, i), name))
            teller->clue.symptom = diagnose_symptoms_at(symptoms, i);
    return teller->clue.symptom ? BASE_OK : unknown(teller, name);
}

/* ---- of what in this amp ----------------------------------------------------------------------
 */

/* "the amp has no control P9; its controls are P1, P2" */
static base_code no_such(const teller *teller, const char *name, circuit_kind kind) {
    const circuit *amp = solve_circuit(teller->system);
    const char *what = kind == CIRCUIT_POT ? "control" : "tube";
    char list[160] = "";
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != kind || strlen(list) > 120) continue;
        snprintf(list + strlen(list), sizeof list - strlen(list), "%s%.20s", *list ? ", " : "",
                 part->name);
    }
    if (!*list)
        return base_errors_add(teller->errors, BASE_UNKNOWN, teller->at,
                               "\"%.60s\": the amp has no %s at all|leave it out, or add the %s to "
                               "the amp's file",
                               teller->said, what, what);
    return base_errors_add(teller->errors, BASE_UNKNOWN, teller->at,
                           "\"%.60s\": the amp has no %s called %.40s|its %ss are %s", teller->said,
                           what, name, what, list);
}

static base_code find_pin(teller *teller, const char *name) {
    circuit_place place;
    base_code code =
        circuit_place_find(solve_circuit(teller->system), name, teller->at, &place, teller->errors);
    if (code != BASE_OK) return code;
    if (place.part < 0 || place.pin <= 0)
        return refuse(teller, "that is no pin of a socket|write wiggle: V2.3");
    teller->clue.part = place.part;
    teller->clue.pin = place.pin;
    return BASE_OK;
}

static base_code find_part(teller *teller, const char *name, const char *wanted) {
    const circuit *amp = solve_circuit(teller->system);
    circuit_kind kind = strcmp(wanted, "control") == 0 ? CIRCUIT_POT : CIRCUIT_TUBE;
    bool any = strcmp(wanted, "part") == 0;
    teller->clue.part = circuit_part_find(amp, name);
    if (teller->clue.part >= 0 &&
        (any || circuit_part_at(amp, (size_t)teller->clue.part)->kind == kind))
        return BASE_OK;
    if (!any) return no_such(teller, name, kind);
    circuit_place place;
    base_code code = circuit_place_find(amp, name, teller->at, &place, teller->errors);
    return code != BASE_OK ? code : refuse(teller, "that is a place, not a part|name the part");
}

/* "3", "3 Hz", "3 per second" */
static base_code read_speed(teller *teller, const char *text) {
    char *end;
    double hertz = strtod(text, &end);
    static const char *const units[] = {"", "hz", "per second", "a second", "/s", "times a second"};
    while (isspace((unsigned char)*end))
        end++;
    bool known = end != text;
    for (size_t i = 0, found = 0; known && i < sizeof units / sizeof *units; i++) {
        found |= strcasecmp(end, units[i]) == 0;
        if (i + 1 == sizeof units / sizeof *units) known = found;
    }
    if (!known) return refuse(teller, "that is no speed|write tremolo speed: 3 Hz");
    if (!(hertz >= SLOWEST && hertz <= QUICKEST))
        return refuse(teller, "a tremolo swings between 0.2 and 20 times a second|count again");
    teller->clue.hertz = hertz;
    return BASE_OK;
}

static base_code find_object(teller *teller, char *of) {
    const char *names = teller->clue.symptom->names;
    if (!names && !of) return BASE_OK;
    if (!names)
        return refuse(teller, "nothing stands behind this symptom|leave out what follows the :");
    if (!of || !*of)
        return base_errors_add(teller->errors, BASE_SYNTAX, teller->at,
                               "\"%.60s\" does not say of which %s|write %.40s: %s", teller->said,
                               names, teller->clue.symptom->key,
                               strcmp(names, "pin") == 0       ? "V2.3"
                               : strcmp(names, "control") == 0 ? "P1"
                               : strcmp(names, "speed") == 0   ? "3 Hz"
                               : strcmp(names, "tube") == 0    ? "V2"
                                                               : "R7");
    if (strcmp(names, "pin") == 0) return find_pin(teller, of);
    if (strcmp(names, "speed") == 0) return read_speed(teller, of);
    return find_part(teller, of, names);
}

/* ---- keeping it -------------------------------------------------------------------------------
 */

static base_code keep(teller *teller) {
    diagnose_readings *readings = teller->readings;
    if (readings->clues == MOST_CLUES)
        return refuse(teller, "more symptoms than one amp can have|keep those that matter");
    if (!readings->clue)
        readings->clue = base_arena_take(readings->arena, MOST_CLUES, sizeof *readings->clue);
    teller->clue.said = base_arena_text(readings->arena, teller->said);
    teller->clue.place = teller->at;
    if (!readings->clue || !teller->clue.said)
        return base_errors_add(teller->errors, BASE_MEMORY, teller->at,
                               "no memory left|close other programs");
    readings->clue[readings->clues++] = teller->clue;
    return BASE_OK;
}

base_code diagnose_readings_tell(diagnose_readings *readings, const solve_system *system,
                                 const char *said, base_place place, base_errors *errors) {
    teller teller = {readings, system, said, place, errors, {.part = -1}};
    char text[NAME_ROOM];
    if (!readings->symptoms) readings->symptoms = diagnose_symptoms_read(NULL, NULL, 0, errors);
    if (!readings->symptoms) return BASE_MEMORY;
    if (strlen(said) >= sizeof text)
        return refuse(&teller, "that is too long for a symptom|choose one from the list");
    strcpy(text, said);
    char *colon = strchr(text, ':'), *of = NULL, *name;
    if (colon) {
        *colon = 0;
        of = trim(colon + 1);
    }
    name = trim(text);
    teller.clue.absent = strncasecmp(name, "not ", 4) == 0;
    if (teller.clue.absent) name = trim(name + 4);
    base_code code = find_symptom(&teller, name);
    if (code == BASE_OK) code = find_object(&teller, of);
    return code == BASE_OK ? keep(&teller) : code;
}
