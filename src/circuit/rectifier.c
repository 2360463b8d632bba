/* Rectifiers: from the winding's ends through the parts in its leads to the diodes. */
#include "circuit_impl.h"

#include <math.h>
#include <stddef.h>
#include <string.h>
#include <strings.h>

#define AT(member) offsetof(circuit_part, member)
#define THROUGH_MOST 4

static const field_word forms[] = {{"full wave", CIRCUIT_FULL_WAVE},
                                   {"half wave", CIRCUIT_HALF_WAVE},
                                   {"bridge", CIRCUIT_BRIDGE},
                                   {"doubler", CIRCUIT_DOUBLER},
                                   {NULL, 0}};

static const field rectifier_fields[] = {
    {"form", FIELD_WORD, AT(rectifier.form), .words = forms, .needed = "`form: full wave`"},
    {"by", FIELD_LATER, .needed = "`by: V5`, or `by: silicon`"},
    {"from", FIELD_LATER, .needed = "`from: T1 high voltage`"},
    {"through", FIELD_LATER, .words = NULL},
    {"out", FIELD_LATER, .words = NULL},
    {"return", FIELD_LATER, .words = NULL},
    {"negative", FIELD_FLAG, AT(rectifier.negative), .words = NULL},
    {NULL}};

static void rectifier_finish(reader *read, int part) {
    read->amp->part[part].ends = 2;
}

const section circuit_rectifier_section = {
    "rectifiers", CIRCUIT_RECTIFIER, rectifier_fields,      circuit_common_fields,
    NAN,          rectifier_finish,  circuit_rectifier_join};

/* One rectifier while its leads are followed. Places are roots of terms. */
typedef struct chain {
    reader *read;
    int part;
    circuit_part *it;
    int source[3]; /* the winding's ends a, tap, b; -1 where none */
    int throughs;
    bool used[THROUGH_MOST];
} chain;

/* ---- by, from, through --------------------------------------------------------------------- */

static bool by_read(chain *c, const base_yaml_item *item) {
    const char *text = base_yaml_text(&c->read->yaml, item, c->it->name);
    if (!text) return false;
    if (strcasecmp(text, "silicon") == 0 || strcasecmp(text, "selenium") == 0) {
        c->it->material = strcasecmp(text, "silicon") == 0 ? CIRCUIT_SILICON : CIRCUIT_SELENIUM;
        return true;
    }
    int tube = circuit_part_by_name(c->read->amp, text, strlen(text));
    const circuit_part *it = tube >= 0 ? &c->read->amp->part[tube] : NULL;
    if (!it || it->kind != CIRCUIT_TUBE) {
        base_yaml_complain(
            &c->read->yaml, BASE_UNKNOWN, item->at,
            "%s is `by` %s, and no such tube is declared|write a tube's name, silicon or "
            "selenium",
            c->it->name, base_yaml_show(&c->read->yaml, text));
        return false;
    }
    if (it->tube && it->tube->unit[0].kind != TUBE_DIODE) {
        base_yaml_complain(
            &c->read->yaml, BASE_VALUE, item->at,
            "%s is `by` %s, and a %s is no rectifier|write a rectifier tube, silicon or "
            "selenium",
            c->it->name, it->name, it->tube->name);
        return false;
    }
    c->it->rectifier.tube = tube;
    return it->tube != NULL; /* an unknown type has been complained of */
}

static void complain_from(chain *c, const base_yaml_item *item, const char *text) {
    const circuit *amp = c->read->amp;
    const char **names = base_yaml_take(&c->read->yaml, amp->parts + 1, sizeof *names);
    size_t count = 0;
    for (size_t i = 0; names && i < amp->parts; i++)
        if (amp->part[i].kind == CIRCUIT_WINDING && !amp->part[i].winding.primary)
            names[count++] = amp->part[i].name;
    const char *nearest = names ? base_nearest_name(text, names, count) : NULL;
    if (nearest)
        base_yaml_complain(&c->read->yaml, BASE_UNKNOWN, item->at,
                           "%s is fed `from` %s, which is no winding|did you mean `%s`?",
                           c->it->name, base_yaml_show(&c->read->yaml, text), nearest);
    else
        base_yaml_complain(
            &c->read->yaml, BASE_UNKNOWN, item->at,
            "%s is fed `from` %s, which is no winding|write the transformer and its winding, "
            "`T1 high voltage`, or `mains`",
            c->it->name, base_yaml_show(&c->read->yaml, text));
}

static bool from_read(chain *c, const base_yaml_item *item) {
    const char *text = base_yaml_text(&c->read->yaml, item, c->it->name);
    reader *read = c->read;
    if (!text) return false;
    c->source[0] = c->source[1] = c->source[2] = -1;
    if (strcasecmp(text, "mains") == 0) {
        int line = circuit_term_plain(read, "line"), neutral = circuit_term_plain(read, "neutral");
        if (line < 0 || neutral < 0) return false;
        c->source[0] = circuit_term_root(read, line);
        c->source[2] = circuit_term_root(read, neutral);
        return true;
    }
    int winding = circuit_part_by_name(read->amp, text, strlen(text));
    const circuit_part *from = winding >= 0 ? &read->amp->part[winding] : NULL;
    if (!from || from->kind != CIRCUIT_WINDING || from->winding.primary) {
        complain_from(c, item, text);
        return false;
    }
    c->it->rectifier.winding = winding;
    for (int end = 0; end < from->ends; end++)
        c->source[from->ends == 2 ? 2 * end : end] =
            circuit_term_root(read, circuit_term_of_end(read, winding, end));
    return true;
}

static bool may_be_through(circuit_kind kind) {
    return kind == CIRCUIT_RESISTOR || kind == CIRCUIT_FUSE || kind == CIRCUIT_SWITCH ||
           kind == CIRCUIT_INDUCTOR || kind == CIRCUIT_LAMP;
}

static bool through_read(chain *c, const base_yaml_item *item) {
    written_word word[THROUGH_MOST];
    if (!item) return true;
    int count = circuit_words_of(&c->read->yaml, item, c->it->name, word, THROUGH_MOST);
    for (int i = 0; i < count; i++) {
        int part = circuit_part_by_name(c->read->amp, word[i].text, strlen(word[i].text));
        if (part < 0 || !may_be_through(c->read->amp->part[part].kind)) {
            base_yaml_complain(
                &c->read->yaml, BASE_UNKNOWN, word[i].at,
                "%s goes `through` %s, which is no resistor, fuse, switch, lamp or inductor "
                "here|write the name of a part in the winding's lead",
                c->it->name, base_yaml_show(&c->read->yaml, word[i].text));
            return false;
        }
        c->it->rectifier.through[i] = part;
    }
    c->throughs = count > 0 ? count : 0;
    return count >= 0;
}

/* ---- the leads ----------------------------------------------------------------------------- */

/* The two ends of a part in a lead, as roots; a switch by the way that it is joined to. */
static void lead_ends(const chain *c, int part, int end[2]) {
    const circuit_part *it = &c->read->amp->part[part];
    int way = it->kind == CIRCUIT_SWITCH && it->position > 1 ? (int)it->position : 1;
    end[0] = circuit_term_root(c->read, circuit_term_of_end(c->read, part, 0));
    end[1] = circuit_term_root(c->read, circuit_term_of_end(c->read, part, way));
}

/* From `at` along unused parts of `through`, marking them for this side; where it ends. */
static int lead_walk(chain *c, int at, int side) {
    for (int i = 0; i < c->throughs; i++) {
        int end[2];
        lead_ends(c, c->it->rectifier.through[i], end);
        if (c->used[i] || (end[0] != at && end[1] != at)) continue;
        c->used[i] = true;
        c->it->rectifier.side[i] = side;
        at = end[0] == at ? end[1] : end[0];
        i = -1; /* look through all again from here */
    }
    return at;
}

/* The electrode that the AC reaches: the plate, or the cathode of a negative supply. */
static tube_electrode fed_electrode(const chain *c) {
    return c->it->rectifier.negative ? TUBE_CATHODE : TUBE_PLATE;
}

/* Which pin of the tube, fed by the AC, is joined to `at`; 0: none. */
static int fed_pin(const chain *c, int at) {
    int tube = c->it->rectifier.tube;
    const tube_type *type = c->read->amp->part[tube].tube;
    for (int unit = 0; unit < type->units; unit++) {
        int pin = type->unit[unit].pin[fed_electrode(c)];
        if (type->unit[unit].kind != TUBE_DIODE || pin < 1) continue;
        if (circuit_term_root(c->read, circuit_term_of_end(c->read, tube, pin)) == at) return pin;
    }
    return 0;
}

/* `side` 1 is the winding's end b: its plate is the tube's second, where there is one. */
static void fed_check(chain *c, const char *from, int at, int side) {
    if (c->it->rectifier.tube < 0 || fed_pin(c, at)) return;
    const circuit_part *tube = &c->read->amp->part[c->it->rectifier.tube];
    const tube_type *type = tube->tube;
    bool second = side == 1 && type->units > 1 && type->unit[1].kind == TUBE_DIODE;
    int pin = type->unit[second].pin[fed_electrode(c)];
    base_yaml_complain(
        &c->read->yaml, BASE_CIRCUIT, c->it->place,
        "%s: %s does not reach a %s of %s (a %s has one at pin %d)|join the winding's end to "
        "%s.%d, or name the parts between them under `through`",
        c->it->name, from, c->it->rectifier.negative ? "cathode" : "plate", tube->name, type->name,
        pin, tube->name, pin);
}

/* Both ends of the winding feed; returns the return's root, or -1: ground. */
static int leads_full(chain *c) {
    bool full = c->it->rectifier.form == CIRCUIT_FULL_WAVE;
    c->it->rectifier.ac[0] = lead_walk(c, c->source[0], full ? 1 : 0);
    c->it->rectifier.ac[1] = lead_walk(c, c->source[2], full ? 2 : 0);
    if (!full) return -1;
    fed_check(c, "one end of its winding", c->it->rectifier.ac[0], 0);
    fed_check(c, "the other end of its winding", c->it->rectifier.ac[1], 1);
    if (c->it->rectifier.tube >= 0 && c->it->rectifier.ac[0] == c->it->rectifier.ac[1])
        base_yaml_complain(
            &c->read->yaml, BASE_CIRCUIT, c->it->place,
            "%s: both ends of its winding reach one plate|join each end to a plate of its own",
            c->it->name);
    return lead_walk(c, c->source[1], 0);
}

/* One end feeds: the one that the first part of `through`, or a plate, is joined to. */
static int leads_half(chain *c) {
    circuit_rectifier *it = &c->it->rectifier;
    bool tapped = c->source[1] >= 0;
    for (int b = 0; b < 2; b++) {
        int start = c->source[b ? 2 : 0], at = lead_walk(c, start, 0);
        bool found = it->tube >= 0 ? fed_pin(c, at) != 0 : c->throughs == 0 || at != start;
        if (!found && b == 0) {
            memset(c->used, 0, sizeof c->used);
            continue;
        }
        it->ac[0] = at;
        it->from_b = tapped && b == 1;
        if (!found) fed_check(c, "its winding", at, 0);
        return lead_walk(c, tapped ? c->source[1] : c->source[b ? 0 : 2], 0);
    }
    return -1;
}

static void unused_check(chain *c) {
    for (int i = 0; i < c->throughs; i++)
        if (!c->used[i])
            base_yaml_complain(
                &c->read->yaml, BASE_CIRCUIT, c->it->place,
                "%s: %s is not in the leads of its winding|join one end of it to the "
                "winding's end, the other to the rectifier",
                c->it->name, c->read->amp->part[c->it->rectifier.through[i]].name);
}

/* ---- out and return ------------------------------------------------------------------------ */

/* Is this pin where a tube's supply is taken: its cathode, either filament end, or (negative) a
 * plate. */
static bool out_pin(const chain *c, const tube_type *type, int pin) {
    tube_electrode electrode = type->pin[pin].electrode;
    if (c->it->rectifier.negative) return electrode == TUBE_PLATE;
    return electrode == TUBE_CATHODE || (type->direct && electrode == TUBE_HEATER);
}

static void out_join_tube(chain *c) {
    int tube = c->it->rectifier.tube;
    const circuit_part *it = &c->read->amp->part[tube];
    const base_yaml_item *item = circuit_part_item(c->read, c->part, "out");
    int out = circuit_term_root(c->read, circuit_term_of_end(c->read, c->part, 0)), first = 0;
    for (int pin = it->tube->pins; pin > 0; pin--) {
        if (!out_pin(c, it->tube, pin)) continue;
        first = it->tube->pin[pin].electrode == TUBE_HEATER && first ? first : pin;
        if (item && circuit_term_root(c->read, circuit_term_of_end(c->read, tube, pin)) == out)
            return;
    }
    const char *text = base_yaml_print(&c->read->yaml, "%s.%d", it->name, first);
    if (!item) {
        written_word word = {text, c->it->place};
        if (first) circuit_term_join(c->read, c->part, 0, &word);
        return;
    }
    base_yaml_complain(
        &c->read->yaml, BASE_CIRCUIT, item->at,
        "%s: its `out` is not joined to the %s of %s|write `out: %s`, or join pin %d of %s "
        "to it",
        c->it->name, c->it->rectifier.negative ? "plate" : "cathode", it->name, text, first,
        it->name);
}

static void out_join(chain *c) {
    bool stated = circuit_join_key(c->read, c->part, "out", 0);
    if (c->it->rectifier.tube >= 0)
        out_join_tube(c);
    else if (!stated)
        base_yaml_complain(&c->read->yaml, BASE_SYNTAX, c->it->place,
                           "%s has no `out`|write the node that it feeds: `out: B1`", c->it->name);
}

/* Joins an end to whatever a root stands for. */
static void return_join(chain *c, int root) {
    if (circuit_join_key(c->read, c->part, "return", 1)) return;
    if (root < 0) {
        circuit_term_join_plain(c->read, c->part, 1, "ground");
        return;
    }
    int end = circuit_term_of_end(c->read, c->part, 1);
    c->read->term[end].joined = c->read->term[root].joined = true;
    c->read->term[circuit_term_root(c->read, end)].parent = circuit_term_root(c->read, root);
}

/* ---- all together
 * --------------------------------------------------------------------------------- */

/* Has the winding the ends that the form wants? */
static bool form_fits(chain *c) {
    const circuit_rectifier *it = &c->it->rectifier;
    const base_yaml_item *item = circuit_part_item(c->read, c->part, "form");
    base_place at = item ? item->at : c->it->place;
    bool both = it->form == CIRCUIT_BRIDGE || it->form == CIRCUIT_DOUBLER;
    if (it->form == CIRCUIT_FULL_WAVE && c->source[1] < 0)
        base_yaml_complain(
            &c->read->yaml, BASE_CIRCUIT, at,
            "%s is full wave, and its winding has no centre tap|write `form: bridge`, or the "
            "winding's tap: `at: [a, tap, b]`",
            c->it->name);
    else if (both && it->tube >= 0)
        base_yaml_complain(
            &c->read->yaml, BASE_CIRCUIT, at,
            "%s: a %s is made of silicon or selenium here, not of one tube|write `by: "
            "silicon`, or another form",
            c->it->name, circuit_word_of(forms, (int)it->form));
    else
        return true;
    return false;
}

void circuit_rectifier_join(reader *read, int part) {
    chain c = {.read = read, .part = part, .it = &read->amp->part[part]};
    const base_yaml_item *by = circuit_part_item(read, part, "by"),
                         *from = circuit_part_item(read, part, "from");
    bool known = by && by_read(&c, by);
    known = from && from_read(&c, from) && known;
    known = through_read(&c, circuit_part_item(read, part, "through")) && known;
    if (!known || c.it->rectifier.form == CIRCUIT_FORM_UNREAD || !form_fits(&c)) return;
    bool half = c.it->rectifier.form == CIRCUIT_HALF_WAVE;
    int back = half ? leads_half(&c) : leads_full(&c);
    unused_check(&c);
    out_join(&c);
    return_join(&c, back);
}
