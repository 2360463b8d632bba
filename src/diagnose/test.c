/* What stands before a reading's `=`: a place, what is read there, and what was done before. */
#include "observe_impl.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define NAME_ROOM 160
#define GENERATOR_OHMS 600.0 /* of a usual signal generator; common practice, no source */
#define MOST_DRIVE 30.0      /* V; no input takes more */
#define LEAST_HERTZ 1.0
#define MOST_HERTZ 1e6

typedef struct asked {
    const solve_system *system;
    const char *written;
    base_place at;
    base_errors *errors;
    diagnose_test *test;
    solve_probe *probe;
} asked;

/* `why`: cause and remedy, a bar between. */
static base_code refuse(const asked *asked, const char *why) {
    const char *bar = strchr(why, '|');
    return base_errors_add(asked->errors, BASE_VALUE, asked->at, "\"%.60s\": %.*s|%s",
                           asked->written, (int)(bar - why), why, bar + 1);
}

/* Cuts blanks off both ends, in place. */
static char *trim(char *text) {
    while (isspace((unsigned char)*text))
        text++;
    for (char *end = text + strlen(text); end > text && isspace((unsigned char)end[-1]);)
        *--end = 0;
    return text;
}

/* ---- a test signal: "1kHz,20mV J1", "1 kHz 20 mV at J1" ------------------------------------- */

static bool drives_speaker(const circuit *amp, const circuit_part *jack) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        bool joined = part->end[0] == jack->end[0] || part->end[1] == jack->end[0];
        if (part->kind == CIRCUIT_SPEAKER && joined) return true;
    }
    return false;
}

int diagnose_first_input(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_JACK && part->end[0] > 0 && !drives_speaker(amp, part))
            return (int)i;
    }
    return -1;
}

static bool has_signal(const solve_system *system, int node) {
    solve_probe probe = {.plus = node, .meter_ohms = INFINITY};
    return node > 0 && solve_probe_exists(system, &probe);
}

bool diagnose_test_signal(const solve_system *system, int jack, double hertz, double drive,
                          diagnose_test *test) {
    const circuit_part *part = circuit_part_at(solve_circuit(system), (size_t)jack);
    test->quantity = DIAGNOSE_SIGNAL;
    test->input = jack;
    test->source =
        (solve_source){part->end[0], part->end[1] > 0 ? part->end[1] : 0, GENERATOR_OHMS};
    test->hertz = hertz;
    test->drive = drive;
    return has_signal(system, part->end[0]);
}

static base_code find_source(asked *asked, const char *name) {
    const circuit *amp = solve_circuit(asked->system);
    diagnose_test *test = asked->test;
    int jack = *name ? circuit_part_find(amp, name) : diagnose_first_input(amp);
    if (!*name && jack < 0)
        return refuse(asked, "the amp has no input jack|say where the signal goes in: @1kHz,20mV "
                             "V1.2");
    bool is_jack = jack >= 0 && circuit_part_at(amp, (size_t)jack)->kind == CIRCUIT_JACK;
    if (is_jack && diagnose_test_signal(asked->system, jack, test->hertz, test->drive, test))
        return BASE_OK;
    circuit_place place = {.node = -1};
    if (!is_jack) {
        base_code code = circuit_place_find(amp, name, asked->at, &place, asked->errors);
        if (code != BASE_OK) return code;
    }
    test->input = -1;
    test->source = (solve_source){place.node, 0, GENERATOR_OHMS};
    if (has_signal(asked->system, place.node)) return BASE_OK;
    return refuse(asked, "no signal can go in there|name a jack, a tube's grid or a node of the "
                         "signal's path");
}

/* The next word, or two where the unit stands apart: "1 kHz". Returns what follows. */
static char *take_value(char *text, char *value, size_t room) {
    size_t length = strcspn(text, " ,");
    char *rest = text + length;
    bool unit_apart =
        *rest == ' ' &&
        (strncasecmp(rest + 1, "khz", 3) == 0 || strncasecmp(rest + 1, "hz", 2) == 0 ||
         strncasecmp(rest + 1, "mv", 2) == 0 ||
         (strncasecmp(rest + 1, "v", 1) == 0 && (rest[2] == ' ' || rest[2] == ',' || !rest[2])));
    if (unit_apart) rest += 1 + strcspn(rest + 1, " ,");
    snprintf(value, room, "%.*s", (int)(rest - text), text);
    while (*rest == ' ' || *rest == ',')
        rest++;
    return rest;
}

static base_code read_hertz(asked *asked, const char *text) {
    base_code code =
        base_value_read(text, BASE_HERTZ, asked->at, &asked->test->hertz, asked->errors);
    if (code != BASE_OK) return code;
    if (asked->test->hertz >= LEAST_HERTZ && asked->test->hertz <= MOST_HERTZ) return BASE_OK;
    return refuse(asked, "no signal of that frequency|stay within 1 Hz and 1 MHz");
}

static base_code read_signal(asked *asked, char *text) {
    char hertz[40], drive[40];
    char *rest = take_value(trim(text), hertz, sizeof hertz);
    rest = take_value(rest, drive, sizeof drive);
    if (!*hertz || !*drive)
        return refuse(asked, "a test signal has a frequency and volts|write V1.1 @1kHz,20mV J1");
    base_code code = read_hertz(asked, hertz);
    if (code == BASE_OK)
        code = base_value_read(drive, BASE_VOLTS, asked->at, &asked->test->drive, asked->errors);
    if (code != BASE_OK) return code;
    if (!(asked->test->drive > 0 && asked->test->drive <= MOST_DRIVE))
        return refuse(asked, "a test signal of those volts makes no sense|write what goes in: "
                             "@1kHz,20mV J1");
    if (strncasecmp(rest, "at ", 3) == 0) rest += 3;
    if (strncasecmp(rest, "in ", 3) == 0) rest += 3;
    asked->test->quantity = DIAGNOSE_SIGNAL;
    return find_source(asked, trim(rest));
}

/* ---- one number of a part -------------------------------------------------------------------- */

static int slot_alone(const asked *asked, int part, int end) {
    const circuit_part *of = circuit_part_at(solve_circuit(asked->system), (size_t)part);
    const solve_system *system = asked->system;
    if (of->kind == CIRCUIT_CAPACITOR) return solve_slot_find(system, part, SOLVE_FARADS, 0);
    if (of->kind == CIRCUIT_TUBE) return solve_slot_find(system, part, SOLVE_HEATER, 0);
    if (of->kind == CIRCUIT_POT || of->kind == CIRCUIT_OUTPUT_TRANSFORMER ||
        of->kind == CIRCUIT_WINDING)
        return solve_slot_find(system, part, SOLVE_OHMS, end == 3 ? 1 : 0);
    return solve_slot_find(system, part, SOLVE_OHMS, 0);
}

static int slot_of(const asked *asked, const char *word, int part, int end) {
    if (strcasecmp(word, "alone") == 0) return slot_alone(asked, part, end);
    if (strcasecmp(word, "esr") == 0) return solve_slot_find(asked->system, part, SOLVE_ESR, 0);
    if (strncasecmp(word, "leak", 4) == 0)
        return solve_slot_find(asked->system, part, SOLVE_LEAK, 0);
    return solve_slot_find(asked->system, part, SOLVE_CONTACT, end);
}

static base_code read_alone(asked *asked, const char *name, const char *word) {
    const circuit *amp = solve_circuit(asked->system);
    char own[NAME_ROOM];
    const char *dot = strrchr(name, '.');
    int part = circuit_part_find(amp, name), end = 0;
    if (part < 0 && dot) {
        snprintf(own, sizeof own, "%.*s", (int)(dot - name), name);
        part = circuit_part_find(amp, own);
        end = dot[1] >= '0' && dot[1] <= '9' ? (int)strtol(dot + 1, NULL, 10) : 0;
    }
    if (part < 0) {
        circuit_place place;
        base_code code = circuit_place_find(amp, name, asked->at, &place, asked->errors);
        return code != BASE_OK ? code : refuse(asked, "that is a place, not a part|name a part");
    }
    asked->test->quantity = DIAGNOSE_ALONE;
    asked->test->slot = slot_of(asked, word, part, end);
    if (asked->test->slot >= 0) return BASE_OK;
    return refuse(asked,
                  "that part has no such number|a resistor has ohms alone; a capacitor farads "
                  "alone, a leak, an electrolytic its ESR; a socket's pin a contact (V2.3 "
                  "contact)");
}

/* ---- the whole ------------------------------------------------------------------------------- */

static base_code read_place(asked *asked, const char *place) {
    base_code code =
        diagnose_probe_read(asked->system, place, asked->at, asked->probe, asked->errors);
    if (code == BASE_OK && asked->probe->heater && asked->test->quantity != DIAGNOSE_DC)
        return refuse(asked, "heaters have volts only|read them as V2.2-V2.7");
    return code;
}

static bool ends_in(char *text, const char *word) {
    size_t length = strlen(text), own = strlen(word);
    if (length <= own || strcasecmp(text + length - own, word) != 0) return false;
    if (!isspace((unsigned char)text[length - own - 1])) return false;
    text[length - own - 1] = 0;
    return true;
}

/* "B1 hum", "B1 hum 120Hz": cut off at the word. */
static char *find_hum(char *text, char **hertz) {
    static const char *const words[] = {" hum", " ripple"};
    for (int k = 0; k < 2; k++) {
        char *found = strcasestr(text, words[k]);
        size_t own = strlen(words[k]);
        if (!found || (found[own] && !isspace((unsigned char)found[own]))) continue;
        *found = 0;
        *hertz = trim(found + own);
        return found;
    }
    return NULL;
}

static base_code read_what(asked *asked, char *text) {
    static const char *const alone[] = {"alone", "esr", "leak", "leakage", "contact"};
    char *hertz, *signal = strchr(text, '@');
    base_code code = BASE_OK;
    if (signal) {
        *signal = 0;
        code = read_signal(asked, signal + 1);
    } else if (find_hum(text, &hertz)) {
        asked->test->quantity = DIAGNOSE_HUM;
        if (*hertz) code = read_hertz(asked, hertz);
    } else if (ends_in(text, "cold")) {
        asked->test->quantity = DIAGNOSE_COLD;
    }
    for (size_t i = 0; i < sizeof alone / sizeof *alone; i++)
        if (!signal && asked->test->quantity == DIAGNOSE_DC && ends_in(text, alone[i]))
            return read_alone(asked, trim(text), alone[i]);
    return code == BASE_OK ? read_place(asked, text) : code;
}

static base_code check(const asked *asked) {
    const diagnose_test *test = asked->test;
    double mains = circuit_about_of(solve_circuit(asked->system))->mains_hertz;
    if (test->quantity == DIAGNOSE_ALONE && test->action.does)
        return refuse(asked, "a part is measured alone whatever is done to the amp|leave the "
                             "`with` out");
    if (test->quantity != DIAGNOSE_HUM || test->hertz == 0) return BASE_OK;
    double order = test->hertz / mains;
    if (order < 0.9 || fabs(order - nearbyint(order)) > 0.1 || order > SOLVE_HARMONICS + 0.1)
        return refuse(asked, "hum has the mains' frequency or a few times that|write hum alone, or "
                             "hum 60Hz, hum 120Hz as the mains is");
    asked->test->hertz = nearbyint(order) * mains;
    return BASE_OK;
}

static const diagnose_test plain = {.input = -1, .slot = -1, .action = {.part = -1, .other = -1}};

base_code diagnose_test_read(const solve_system *system, const char *written, base_place at,
                             diagnose_reading *reading, base_errors *errors) {
    diagnose_test *test = &reading->test;
    solve_probe *probe = &reading->probe;
    char text[NAME_ROOM];
    asked asked = {system, written, at, errors, test, probe};
    *test = plain;
    *probe = (solve_probe){.meter_ohms = INFINITY};
    if (strlen(written) >= sizeof text)
        return refuse(&asked, "that is too long for a place|write V2.3, B1, V5.4-B2");
    strcpy(text, written);
    char *with = strcasestr(text, " with ");
    base_code code = BASE_OK;
    if (with) {
        *with = 0;
        code = diagnose_action_read(system, with + 6, at, &test->action, errors);
    }
    if (code == BASE_OK) code = read_what(&asked, text);
    if (code == BASE_OK) code = check(&asked);
    if (code != BASE_OK) *test = plain;
    return code;
}

bool diagnose_test_same(const diagnose_test *a, const diagnose_test *b) {
    return a->quantity == b->quantity && a->input == b->input && a->source.node == b->source.node &&
           a->hertz == b->hertz && a->drive == b->drive && a->slot == b->slot &&
           diagnose_action_same(&a->action, &b->action);
}

bool diagnose_plain(const diagnose_test *test) {
    return test->quantity == DIAGNOSE_DC && test->action.does == DIAGNOSE_AS_IT_IS;
}

base_quantity diagnose_quantity_unit(const solve_system *system, const diagnose_test *test) {
    if (test->quantity == DIAGNOSE_COLD) return BASE_OHMS;
    if (test->quantity != DIAGNOSE_ALONE) return BASE_VOLTS;
    bool farads = solve_slot_at(system, (size_t)test->slot)->what == SOLVE_FARADS;
    return farads ? BASE_FARADS : BASE_OHMS;
}

const char *diagnose_quantity_name(const solve_system *system, const diagnose_test *test,
                                   const solve_probe *probe) {
    switch (diagnose_quantity_unit(system, test)) {
    case BASE_OHMS:
        return test->quantity == DIAGNOSE_COLD ? "ohms, power off" : "ohms of the part alone";
    case BASE_FARADS:
        return "farads of the part alone";
    default:
        return test->quantity == DIAGNOSE_DC && !probe->heater ? "DC volts" : "AC volts";
    }
}
