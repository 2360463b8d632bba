/* Changes as the bench writes them, `C3=22u,450V`, made in an amp file's text by its edits. */
#include "circuit_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define ITEMS 8     /* of one change */
#define WRITTEN 256 /* bytes of one change */

/* What stands behind the name where nothing else is said of it. */
static const struct {
    const char *key;
    base_quantity quantity; /* BASE_QUANTITIES: no number */
} values[CIRCUIT_KINDS] = {
    [CIRCUIT_RESISTOR] = {"value", BASE_OHMS},
    [CIRCUIT_CAPACITOR] = {"value", BASE_FARADS},
    [CIRCUIT_POT] = {"value", BASE_OHMS},
    [CIRCUIT_SWITCH] = {"position", BASE_QUANTITIES},
    [CIRCUIT_JACK] = {"plugged", BASE_QUANTITIES},
    [CIRCUIT_INDUCTOR] = {"henries", BASE_HENRIES},
    [CIRCUIT_DIODE] = {"kind", BASE_QUANTITIES},
    [CIRCUIT_FUSE] = {"amps", BASE_AMPERES},
    [CIRCUIT_LAMP] = {"amps", BASE_AMPERES},
    [CIRCUIT_TUBE] = {"type", BASE_QUANTITIES},
    [CIRCUIT_WINDING] = {"volts", BASE_QUANTITIES},
    [CIRCUIT_RECTIFIER] = {"by", BASE_QUANTITIES},
    [CIRCUIT_OUTPUT_TRANSFORMER] = {"primary", BASE_OHMS},
    [CIRCUIT_SPEAKER] = {"ohms", BASE_OHMS},
};

typedef struct changer {
    const circuit *amp;
    const tube_library *tubes;
    const char *change; /* as written */
    char name[WRITTEN], item[ITEMS][WRITTEN];
    int items;
    char *text; /* with what has been made so far */
    base_errors *errors;
} changer;

static base_place place_of(const changer *c) {
    return (base_place){.file = c->change};
}

/* ---- taking it apart ----------------------------------------------------------------------- */

/* `text` up to `end` without blanks around it. */
static void trimmed(char *out, const char *text, size_t length) {
    while (length && isspace((unsigned char)*text))
        text++, length--;
    while (length && isspace((unsigned char)text[length - 1]))
        length--;
    snprintf(out, WRITTEN, "%.*s", (int)length, text);
}

static base_code take_apart(changer *c) {
    const char *equals = strchr(c->change, '=');
    if (strlen(c->change) >= WRITTEN || !equals || !equals[1])
        return base_errors_add(c->errors, BASE_SYNTAX, (base_place){0},
                               "`%.60s` is no change|write the part, = and what it becomes: R12=1k "
                               "or C3=22u,450V",
                               c->change);
    trimmed(c->name, c->change, (size_t)(equals - c->change));
    c->items = 0;
    for (const char *at = equals; at && c->items < ITEMS; c->items++) {
        const char *next = strchr(at + 1, ',');
        trimmed(c->item[c->items], at + 1, next ? (size_t)(next - at - 1) : strlen(at + 1));
        if (!*c->item[c->items])
            return base_errors_add(c->errors, BASE_SYNTAX, place_of(c),
                                   "nothing stands between two commas|write R12=1k or C3=22u,450V");
        at = next;
    }
    return BASE_OK;
}

static const circuit_part *part_of(const changer *c) {
    int index = circuit_part_find(c->amp, c->name);
    size_t parts = circuit_parts(c->amp);
    if (index >= 0) return circuit_part_at(c->amp, (size_t)index);
    const char **names = calloc(parts + 1, sizeof *names);
    for (size_t i = 0; names && i < parts; i++)
        names[i] = circuit_part_at(c->amp, i)->name;
    const char *near = names ? base_nearest_name(c->name, names, parts) : NULL;
    base_errors_add(c->errors, BASE_UNKNOWN, place_of(c), "the amp has no part \"%.40s\"|%s%s%s",
                    c->name, near ? "did you mean " : "write the part as the drawing names it",
                    near ? near : "", near ? "?" : "");
    free(names);
    return NULL;
}

/* ---- a tube in another's socket ------------------------------------------------------------ */

static bool is_heater(tube_electrode electrode) {
    return electrode == TUBE_HEATER || electrode == TUBE_HEATER_TAP;
}

/* Does the pin do for the new type what it does for the old? A pin that only the new type uses fits
 * where nothing needs it: a shell, a spare pin. */
static bool pin_fits(const tube_type *old, const tube_type *made, int pin) {
    const tube_pin *was = &old->pin[pin], *is = &made->pin[pin];
    if (is_heater(was->electrode) || is_heater(is->electrode))
        return was->electrode == is->electrode;
    return was->electrode == is->electrode &&
           (was->electrode == TUBE_NONE || was->unit == is->unit);
}

static base_code refuse_pin(const changer *c, const circuit_part *tube, const tube_type *made,
                            int pin) {
    char was[96], is[96];
    tube_pin_words(tube->tube, pin, was, sizeof was);
    tube_pin_words(made, pin, is, sizeof is);
    return base_errors_add(
        c->errors, BASE_VALUE, place_of(c),
        "%s does not fit the socket of %s: pin %d is %s in a %s and %s in a %s"
        "|rewire the socket in the amp's file, or choose a type of the basing %s",
        made->name, tube->name, pin, was, tube->tube->name, is, made->name, tube->tube->basing);
}

static base_code check_type(const changer *c, const circuit_part *tube, const char *name) {
    const tube_type *made = tube_find(c->tubes, name);
    if (!made) {
        const char *near = tube_nearest(c->tubes, name);
        return base_errors_add(c->errors, BASE_UNKNOWN, place_of(c),
                               "the tube library has no type \"%.40s\"|%s%s%s", name,
                               near ? "did you mean " : "`gridleak tube` lists the types",
                               near ? near : "", near ? "?" : "");
    }
    if (!tube->tube) return BASE_OK;
    if (made->pins != tube->tube->pins)
        return base_errors_add(c->errors, BASE_VALUE, place_of(c),
                               "%s does not fit the socket of %s: its base is %s, and the socket "
                               "is %s|choose a type with that base",
                               made->name, tube->name, made->base_name, tube->tube->base_name);
    for (int pin = 1; pin <= made->pins; pin++)
        if (!pin_fits(tube->tube, made, pin)) return refuse_pin(c, tube, made, pin);
    return BASE_OK;
}

/* ---- one item ------------------------------------------------------------------------------ */

static base_code edit(changer *c, const char *part, const char *key, const char *value) {
    circuit_edit edit = {CIRCUIT_CHANGE, part, key, value};
    char *made = circuit_edit_text(c->text, strlen(c->text), &edit, c->errors);
    if (!made) return BASE_VALUE; /* complained of */
    free(c->text);
    c->text = made;
    return BASE_OK;
}

static bool is_material(const char *word) {
    for (int i = 1; i < CIRCUIT_MATERIALS; i++)
        if (strcasecmp(circuit_material_name((circuit_material)i), word) == 0) return true;
    return false;
}

/* "450V", "2 W", "5%": a rating or tolerance by its unit; NULL: something else. */
static const char *rating_key(const char *item) {
    static const struct {
        char unit;
        const char *key;
    } rows[] = {{'V', "volts"}, {'v', "volts"}, {'W', "watts"}, {'w', "watts"}, {'%', "tolerance"}};
    size_t length = strlen(item);
    if (length < 2 || !(isdigit((unsigned char)*item) || *item == '.')) return NULL;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (item[length - 1] == rows[i].unit) return rows[i].key;
    return NULL;
}

/* A rectifier tube gives way to diodes in the rectifier that it serves. */
static base_code by_diodes(changer *c, const circuit_part *tube, const char *word) {
    for (size_t i = 0; i < circuit_parts(c->amp); i++) {
        const circuit_part *part = circuit_part_at(c->amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.tube >= 0 &&
            circuit_part_at(c->amp, (size_t)part->rectifier.tube) == tube)
            return edit(c, part->name, "by", word);
    }
    return base_errors_add(c->errors, BASE_VALUE, place_of(c),
                           "%s is no rectifier, so that diodes cannot stand in for it|name a tube "
                           "type",
                           tube->name);
}

static bool is_diode(const char *word) {
    return strcasecmp(word, "silicon") == 0 || strcasecmp(word, "selenium") == 0;
}

/* What the part is by now: its value, its type. */
static base_code change_value(changer *c, const circuit_part *part, const char *item) {
    double value;
    if (part->kind == CIRCUIT_TUBE && is_diode(item)) return by_diodes(c, part, item);
    if (part->kind == CIRCUIT_TUBE && check_type(c, part, item) != BASE_OK) return BASE_VALUE;
    base_quantity quantity = values[part->kind].quantity;
    if (quantity != BASE_QUANTITIES &&
        base_value_read(item, quantity, place_of(c), &value, c->errors) != BASE_OK)
        return BASE_VALUE;
    return edit(c, part->name, values[part->kind].key, item);
}

static base_code change_item(changer *c, const circuit_part *part, const char *item) {
    const char *colon = strchr(item, ':'), *rating = rating_key(item);
    char key[WRITTEN], value[WRITTEN];
    if (colon) {
        trimmed(key, item, (size_t)(colon - item));
        trimmed(value, colon + 1, strlen(colon + 1));
        return edit(c, part->name, key, value);
    }
    bool rated = part->kind != CIRCUIT_WINDING && part->kind != CIRCUIT_RECTIFIER;
    if (rating && rated) return edit(c, part->name, rating, item);
    bool kind = part->kind != CIRCUIT_TUBE && part->kind != CIRCUIT_RECTIFIER && is_material(item);
    if (kind) return edit(c, part->name, "kind", item);
    return change_value(c, part, item);
}

/* ---- all of them --------------------------------------------------------------------------- */

static base_code change_one(changer *c) {
    const circuit_part *part = NULL;
    base_code code = take_apart(c);
    if (code == BASE_OK && !(part = part_of(c))) code = BASE_UNKNOWN;
    for (int i = 0; i < c->items && code == BASE_OK; i++)
        code = change_item(c, part, c->item[i]);
    return code;
}

char *circuit_change_text(const circuit *amp, const char *text, const tube_library *tubes,
                          const char *const *changes, base_errors *errors) {
    changer c = {.amp = amp, .tubes = tubes, .text = strdup(text), .errors = errors};
    base_code code = BASE_OK;
    if (!c.text)
        code = base_errors_add(errors, BASE_MEMORY, (base_place){0},
                               "no memory left|close other programs");
    for (; *changes && code == BASE_OK; changes++) {
        c.change = *changes;
        code = change_one(&c);
    }
    if (code == BASE_OK) return c.text;
    free(c.text);
    return NULL;
}
