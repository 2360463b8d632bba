/* What is done to an amp before it is read, as numbers: "V3 pulled", "C4 lifted", "P1 at 3". */
#include "observe_impl.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define OPEN_OHMS 1e10
#define NO_LEAK 1e12
#define NO_FARADS 1e-18
#define CLIP_OHMS 0.1 /* of a clip lead and its two contacts */
#define NAME_ROOM 100

typedef struct asked {
    const solve_system *system;
    const char *written;
    base_place at;
    base_errors *errors;
    diagnose_action *action;
} asked;

/* ---- numbers ------------------------------------------------------------------------------- */

static void set(asked *asked, int slot, double number) {
    diagnose_action *action = asked->action;
    if (slot < 0 || action->sets == DIAGNOSE_ACTION_SETS) return;
    action->set[action->sets].slot = slot;
    action->set[action->sets].other = -1;
    action->set[action->sets++].number = number;
}

static int slot_of(const asked *asked, solve_what what, int which) {
    return solve_slot_find(asked->system, asked->action->part, what, which);
}

static bool in_bulb(solve_what what) {
    return what != SOLVE_CONTACT;
}

void diagnose_action_apply(const diagnose_action *action, double *numbers) {
    for (int i = 0; i < action->sets; i++) {
        int slot = action->set[i].slot, other = action->set[i].other;
        double before = numbers[slot];
        if (other >= 0) {
            numbers[slot] = numbers[other];
            numbers[other] = before;
        } else {
            numbers[slot] = action->set[i].number + (action->set[i].adds ? before : 0);
        }
    }
}

bool diagnose_action_same(const diagnose_action *a, const diagnose_action *b) {
    return a->does == b->does &&
           (a->does == DIAGNOSE_AS_IT_IS ||
            (a->part == b->part && a->other == b->other && a->turn == b->turn &&
             a->sets == b->sets && (a->sets == 0 || a->set[0].slot == b->set[0].slot)));
}

/* ---- each of them -------------------------------------------------------------------------- */

/* `why`: cause and remedy, a bar between. */
static base_code refuse(const asked *asked, const char *why) {
    const char *bar = strchr(why, '|');
    return base_errors_add(asked->errors, BASE_VALUE, asked->at, "\"%.60s\": %.*s|%s",
                           asked->written, (int)(bar - why), why, bar + 1);
}

static const circuit_part *part_of(const asked *asked) {
    return circuit_part_at(solve_circuit(asked->system), (size_t)asked->action->part);
}

static base_code pull(asked *asked) {
    const circuit_part *part = part_of(asked);
    if (part->kind != CIRCUIT_TUBE) return refuse(asked, "it is no tube|only tubes are pulled");
    for (int pin = 1; pin <= part->tube->pins; pin++)
        set(asked, slot_of(asked, SOLVE_CONTACT, pin), OPEN_OHMS);
    set(asked, slot_of(asked, SOLVE_HEATER, 0), OPEN_OHMS);
    for (int unit = 0; unit < part->tube->units; unit++)
        set(asked, slot_of(asked, SOLVE_EMISSION, unit), 0);
    return BASE_OK;
}

/* `end`: which one is off, from 1; of a part with two ends it is all the same. */
static base_code lift(asked *asked, int end) {
    const circuit_part *part = part_of(asked);
    if (part->kind == CIRCUIT_CAPACITOR) {
        set(asked, slot_of(asked, SOLVE_LEAK, 0), NO_LEAK);
        set(asked, slot_of(asked, SOLVE_FARADS, 0), NO_FARADS);
    } else if (part->kind == CIRCUIT_POT) {
        set(asked,
            end == 2 ? slot_of(asked, SOLVE_CONTACT, 0) : slot_of(asked, SOLVE_OHMS, end == 3),
            OPEN_OHMS);
    } else if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER) {
        set(asked, slot_of(asked, SOLVE_OHMS, end == 3 ? 1 : 0), OPEN_OHMS);
        if (end == 2) set(asked, slot_of(asked, SOLVE_OHMS, 1), OPEN_OHMS);
    } else if (part->kind == CIRCUIT_RESISTOR || part->kind == CIRCUIT_INDUCTOR ||
               part->kind == CIRCUIT_SPEAKER) {
        set(asked, slot_of(asked, SOLVE_OHMS, 0), OPEN_OHMS);
    }
    return asked->action->sets
               ? BASE_OK
               : refuse(asked, "that is no lead that can be lifted|lift a resistor, "
                               "a capacitor, a control, a choke");
}

/* A part from the node to the chassis stands for the clip lead. */
static base_code ground(asked *asked, int node) {
    const circuit *amp = solve_circuit(asked->system);
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        bool plain = part->kind == CIRCUIT_RESISTOR || part->kind == CIRCUIT_CAPACITOR;
        if (!plain || part->end[0] + part->end[1] != node) continue;
        if (part->end[0] != 0 && part->end[1] != 0) continue;
        solve_what what = part->kind == CIRCUIT_RESISTOR ? SOLVE_OHMS : SOLVE_LEAK;
        set(asked, solve_slot_find(asked->system, (int)i, what, 0), CLIP_OHMS);
        if (asked->action->sets) return BASE_OK;
    }
    return refuse(asked, "nothing stands from there to the chassis that a clip lead could go "
                         "across|ground the other end of its grid stopper");
}

static base_code renew(asked *asked) {
    for (size_t i = 0; i < solve_slots(asked->system); i++) {
        const solve_slot *slot = solve_slot_at(asked->system, i);
        bool tube = part_of(asked)->kind == CIRCUIT_TUBE;
        if (slot->part != asked->action->part || (tube && !in_bulb(slot->what))) continue;
        set(asked, (int)i, solve_nominal(asked->system)[i]);
    }
    return asked->action->sets ? BASE_OK
                               : refuse(asked, "it has nothing that a new one would change|name a "
                                               "part that can fail");
}

static base_code bridge(asked *asked) {
    int farads = slot_of(asked, SOLVE_FARADS, 0), esr = slot_of(asked, SOLVE_ESR, 0);
    if (farads < 0) return refuse(asked, "it is no capacitor|only capacitors are bridged");
    set(asked, farads, solve_nominal(asked->system)[farads]);
    asked->action->set[asked->action->sets - 1].adds = true;
    if (esr >= 0) set(asked, esr, solve_nominal(asked->system)[esr]);
    return BASE_OK;
}

static base_code turn(asked *asked, double to) {
    if (!(to >= 0 && to <= 10))
        return refuse(asked, "a control stands between 0 and 10|say where its pointer stands");
    const double *drawn = solve_nominal(asked->system);
    size_t slots = solve_slots(asked->system);
    double *numbers = malloc(slots * sizeof *numbers);
    if (!numbers)
        return base_errors_add(asked->errors, BASE_MEMORY, asked->at,
                               "no memory left|close other programs");
    memcpy(numbers, drawn, slots * sizeof *numbers);
    bool turned = solve_turn(asked->system, asked->action->part, to, numbers);
    for (size_t i = 0; turned && i < slots; i++)
        if (solve_slot_at(asked->system, i)->part == asked->action->part && numbers[i] != drawn[i])
            set(asked, (int)i, numbers[i]);
    asked->action->turn = to;
    free(numbers);
    return turned ? BASE_OK
                  : refuse(asked, "it is no control|name a pot, or a switch: 0 open, 1 as drawn");
}

static base_code exchange(asked *asked) {
    const circuit *amp = solve_circuit(asked->system);
    const circuit_part *a = part_of(asked), *b = circuit_part_at(amp, (size_t)asked->action->other);
    if (a->kind != CIRCUIT_TUBE || b->kind != CIRCUIT_TUBE || a->tube != b->tube || a == b)
        return refuse(asked, "they are not two tubes of one type|only those change places");
    diagnose_action *action = asked->action;
    for (size_t i = 0; i < solve_slots(asked->system); i++) {
        const solve_slot *slot = solve_slot_at(asked->system, i);
        if (slot->part != action->part || !in_bulb(slot->what)) continue;
        int other = solve_slot_find(asked->system, action->other, slot->what, slot->which);
        if (other < 0 || action->sets == DIAGNOSE_ACTION_SETS) continue;
        action->set[action->sets].slot = (int)i;
        action->set[action->sets++].other = other;
    }
    return BASE_OK;
}

/* ---- words --------------------------------------------------------------------------------- */

static const struct {
    const char *word;
    diagnose_does does;
} words[] = {
    {"pulled", DIAGNOSE_PULLED},
    {"out", DIAGNOSE_PULLED},
    {"lifted", DIAGNOSE_LIFTED},
    {"grounded", DIAGNOSE_GROUNDED},
    {"exchanged", DIAGNOSE_EXCHANGED},
    {"swapped", DIAGNOSE_EXCHANGED},
    {"new", DIAGNOSE_NEW},
    {"replaced", DIAGNOSE_NEW},
    {"bridged", DIAGNOSE_BRIDGED},
};

const char *diagnose_does_name(diagnose_does does) {
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (words[i].does == does) return words[i].word;
    return does == DIAGNOSE_TURNED ? "at" : "";
}

static void trim(char to[NAME_ROOM], const char *from, size_t length) {
    while (length && isspace((unsigned char)*from))
        from++, length--;
    while (length && isspace((unsigned char)from[length - 1]))
        length--;
    snprintf(to, NAME_ROOM, "%.*s", (int)(length < NAME_ROOM ? length : NAME_ROOM - 1), from);
}

/* "V3 pulled": the name, and what stands last. */
static const char *last_word(const char *text, char name[NAME_ROOM]) {
    const char *end = text + strlen(text);
    while (end > text && isspace((unsigned char)end[-1]))
        end--;
    const char *word = end;
    while (word > text && !isspace((unsigned char)word[-1]))
        word--;
    trim(name, text, (size_t)(word - text));
    return word;
}

static base_code unknown_part(const asked *asked, const char *name) {
    circuit_place place;
    char both[NAME_ROOM + 4];
    /* the finder of places knows the nearest name */
    snprintf(both, sizeof both, "%.90s.1", name);
    base_code code =
        circuit_place_find(solve_circuit(asked->system), both, asked->at, &place, asked->errors);
    return code != BASE_OK ? code : refuse(asked, "no such part|look at the amp's parts");
}

/* "R7" or "R7.1" */
static base_code find_part(const asked *asked, const char *name, int *part, int *end) {
    const circuit *amp = solve_circuit(asked->system);
    char own[NAME_ROOM];
    const char *dot = strrchr(name, '.');
    *end = 1;
    *part = circuit_part_find(amp, name);
    if (*part < 0 && dot) {
        trim(own, name, (size_t)(dot - name));
        *part = circuit_part_find(amp, own);
        *end = atoi(dot + 1);
    }
    return *part >= 0 ? BASE_OK : unknown_part(asked, name);
}

static base_code find_two(const asked *asked, const char *names, int part[2]) {
    const char *and = strcasestr(names, " and ");
    char name[2][NAME_ROOM];
    int end;
    if (!and) return refuse(asked, "two tubes change places|write V1 and V2 exchanged");
    trim(name[0], names, (size_t)(and-names));
    trim(name[1], and+5, strlen(and+5));
    for (int k = 0; k < 2; k++) {
        base_code code = find_part(asked, name[k], &part[k], &end);
        if (code != BASE_OK) return code;
    }
    return BASE_OK;
}

static base_code do_with_part(asked *asked, diagnose_does does, const char *name) {
    int part[2] = {-1, -1}, end = 1;
    base_code code = does == DIAGNOSE_EXCHANGED ? find_two(asked, name, part)
                                                : find_part(asked, name, &part[0], &end);
    if (code != BASE_OK) return code;
    asked->action->part = part[0];
    asked->action->other = part[1];
    switch (does) {
    case DIAGNOSE_PULLED:
        return pull(asked);
    case DIAGNOSE_LIFTED:
        return lift(asked, end);
    case DIAGNOSE_NEW:
        return renew(asked);
    case DIAGNOSE_BRIDGED:
        return bridge(asked);
    default:
        return exchange(asked);
    }
}

static base_code do_ground(asked *asked, const char *name) {
    circuit_place place;
    base_code code =
        circuit_place_find(solve_circuit(asked->system), name, asked->at, &place, asked->errors);
    return code == BASE_OK ? ground(asked, place.node) : code;
}

/* "P1 at 3" */
static base_code do_turn(asked *asked, const char *name, const char *to) {
    char pot[NAME_ROOM];
    double position;
    int end;
    size_t length = strlen(name);
    trim(pot, name, length >= 3 ? length - 3 : 0); /* without its " at" */
    base_code code = find_part(asked, pot, &asked->action->part, &end);
    if (code == BASE_OK)
        code = base_value_read(to, BASE_NUMBER, asked->at, &position, asked->errors);
    return code == BASE_OK ? turn(asked, position) : code;
}

base_code diagnose_action_read(const solve_system *system, const char *written, base_place at,
                               diagnose_action *action, base_errors *errors) {
    char name[NAME_ROOM];
    const char *word = last_word(written, name);
    size_t length = strlen(name);
    asked asked = {system, written, at, errors, action};
    *action = (diagnose_action){.part = -1, .other = -1, .turn = NAN};
    action->turn = 0;
    if (length > 3 && strcasecmp(name + length - 3, " at") == 0) {
        action->does = DIAGNOSE_TURNED;
        return do_turn(&asked, name, word);
    }
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        size_t own = strlen(words[i].word);
        if (strncasecmp(word, words[i].word, own) != 0 ||
            (word[own] && !isspace((unsigned char)word[own])))
            continue;
        action->does = words[i].does;
        if (!*name)
            return refuse(&asked, "what is to be done to is not said|write V3 pulled, C4 lifted");
        return action->does == DIAGNOSE_GROUNDED ? do_ground(&asked, name)
                                                 : do_with_part(&asked, action->does, name);
    }
    return refuse(&asked, "that cannot be reckoned with|write V3 pulled, C4 lifted, V2.2 grounded, "
                          "V1 and V2 exchanged, V4 new, C12 bridged or P1 at 3");
}
