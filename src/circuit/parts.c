/* The parts with their keys: what each section of the file may say, and how its ends join. */
#include "circuit_impl.h"

#include <math.h>
#include <string.h>
#include <strings.h>

#define AT(member) offsetof(circuit_part, member)

/* ---- words --------------------------------------------------------------------------------- */

static const field_word resistor_kinds[] = {{"carbon composition", CIRCUIT_CARBON_COMPOSITION},
                                            {"carbon film", CIRCUIT_CARBON_FILM},
                                            {"metal film", CIRCUIT_METAL_FILM},
                                            {"wirewound", CIRCUIT_WIREWOUND},
                                            {NULL, 0}};
static const field_word capacitor_kinds[] = {{"paper", CIRCUIT_PAPER},
                                             {"film", CIRCUIT_PLASTIC_FILM},
                                             {"electrolytic", CIRCUIT_ELECTROLYTIC},
                                             {"mica", CIRCUIT_MICA},
                                             {"ceramic", CIRCUIT_CERAMIC},
                                             {NULL, 0}};
static const field_word inductor_kinds[] = {
    {"choke", CIRCUIT_CHOKE}, {"field coil", CIRCUIT_FIELD_COIL}, {NULL, 0}};
static const field_word diode_kinds[] = {
    {"silicon", CIRCUIT_SILICON}, {"selenium", CIRCUIT_SELENIUM}, {NULL, 0}};
static const field_word fuse_kinds[] = {
    {"slow", CIRCUIT_TIME_LAG}, {"fast", CIRCUIT_QUICK}, {NULL, 0}};

/* Part of the track at half turn, in percent. Common practice, no source. */
static const field_word tapers[] = {{"linear", 50},        {"audio", 15},       {"log", 15},
                                    {"reverse audio", 85}, {"reverse log", 85}, {NULL, 0}};
static const field_word switch_positions[] = {{"open", 0}, {"closed", 100}, {"0", 0},   {"1", 100},
                                              {"2", 200},  {"3", 300},      {"4", 400}, {"5", 500},
                                              {"6", 600},  {"7", 700},      {"8", 800}, {NULL, 0}};
static const field_word plugged[] = {
    {"no", 0}, {"yes", 100}, {"false", 0}, {"true", 100}, {NULL, 0}};

static const struct {
    const char *word;
    circuit_site site;
} sites[] = {{"board", CIRCUIT_BOARD},
             {"socket", CIRCUIT_SOCKET},
             {"strip", CIRCUIT_STRIP},
             {"chassis", CIRCUIT_CHASSIS}};

/* ---- keys ---------------------------------------------------------------------------------- */

const field circuit_common_fields[] = {
    {"tolerance", FIELD_VALUE, AT(tolerance), BASE_PERCENT, 0, 1, NULL, NULL},
    {"watts", FIELD_VALUE, AT(watts), BASE_WATTS, 1e-3, 1e4, NULL, NULL},
    {"volts", FIELD_VALUE, AT(volts), BASE_VOLTS, 0.1, 1e5, NULL, NULL},
    {"original", FIELD_YES, AT(original), .words = NULL},
    {"sits", FIELD_WORDS, AT(sits), .words = NULL},
    {"does", FIELD_WORDS, AT(what), .words = NULL},
    {NULL}};

static const field resistor_fields[] = {
    {"value", FIELD_VALUE, AT(value), BASE_OHMS, 1e-3, 1e12, NULL, "`value: 68k`"},
    {"at", FIELD_LATER, .needed = "its two ends: `at: [B1, V1.1]`"},
    {"kind", FIELD_WORD, AT(material), .words = resistor_kinds},
    {NULL}};
static const field capacitor_fields[] = {
    {"value", FIELD_VALUE, AT(value), BASE_FARADS, 1e-13, 1, NULL, "`value: 22n`"},
    {"at", FIELD_LATER, .needed = "its two ends, the + end first: `at: [V1.3, ground]`"},
    {"kind", FIELD_WORD, AT(material), .words = capacitor_kinds},
    {NULL}};
static const field pot_fields[] = {
    {"value", FIELD_VALUE, AT(value), BASE_OHMS, 1e-1, 1e9, NULL, "`value: 1M`"},
    {"taper", FIELD_REAL, AT(taper), .words = tapers},
    {"position", FIELD_VALUE, AT(position), BASE_NUMBER, 0, 10, NULL, NULL},
    {"at", FIELD_LATER, .needed = "its low end, wiper and high end: `at: [ground, wiper, C2.2]`"},
    {NULL}};
static const field switch_fields[] = {
    {"at", FIELD_LATER, .words = NULL},
    {"common", FIELD_LATER, .words = NULL},
    {"ways", FIELD_LATER, .words = NULL},
    {"position", FIELD_REAL, AT(position), .words = switch_positions},
    {NULL}};
static const field jack_fields[] = {{"tip", FIELD_LATER, .needed = "`tip: in1`"},
                                    {"sleeve", FIELD_LATER, .words = NULL},
                                    {"rests on", FIELD_LATER, .words = NULL},
                                    {"plugged", FIELD_REAL, AT(position), .words = plugged},
                                    {NULL}};
static const field inductor_fields[] = {
    {"henries", FIELD_VALUE, AT(value), BASE_HENRIES, 1e-6, 1e4, NULL, NULL},
    {"ohms", FIELD_VALUE, AT(dc_ohms), BASE_OHMS, 1e-3, 1e6, NULL,
     "its DC resistance, measured with the power off: `ohms: 200`"},
    {"kind", FIELD_WORD, AT(material), .words = inductor_kinds},
    {"at", FIELD_LATER, .needed = "its two ends: `at: [B1, B2]`"},
    {NULL}};
static const field diode_fields[] = {
    {"kind", FIELD_WORD, AT(material), .words = diode_kinds},
    {"at", FIELD_LATER, .needed = "its anode and cathode: `at: [a, b]`"},
    {NULL}};
static const field fuse_fields[] = {
    {"amps", FIELD_VALUE, AT(value), BASE_AMPERES, 1e-3, 100, NULL, NULL},
    {"kind", FIELD_WORD, AT(material), .words = fuse_kinds},
    {"at", FIELD_LATER, .needed = "its two ends: `at: [line, fused]`"},
    {NULL}};
static const field lamp_fields[] = {
    {"volts", FIELD_VALUE, AT(volts), BASE_VOLTS, 0.5, 300, NULL, "`volts: 6.3`"},
    {"amps", FIELD_VALUE, AT(value), BASE_AMPERES, 1e-3, 10, NULL, "`amps: 0.15`"},
    {"at", FIELD_LATER, .needed = "its two ends: `at: [heatA, heatB]`"},
    {NULL}};
static const field speaker_fields[] = {
    {"ohms", FIELD_VALUE, AT(value), BASE_OHMS, 0.5, 1e4, NULL, "`ohms: 8`"},
    {"at", FIELD_LATER, .needed = "its two ends: `at: [spk, ground]`"},
    {NULL}};
static const field output_fields[] = {
    {"primary", FIELD_VALUE, AT(primary_ohms), BASE_OHMS, 10, 1e6, NULL, NULL},
    {"secondary", FIELD_VALUE, AT(value), BASE_OHMS, 0.1, 1e5, NULL, NULL},
    {"ratio", FIELD_VALUE, AT(ratio), BASE_NUMBER, 0.1, 1e3, NULL, NULL},
    {"ohms", FIELD_LATER, .words = NULL},
    {"secondary ohms", FIELD_VALUE, AT(secondary_ohms), BASE_OHMS, 0, 1e4, NULL, NULL},
    {"henries", FIELD_VALUE, AT(henries), BASE_HENRIES, 1e-3, 1e4, NULL, NULL},
    {"at", FIELD_LATER, .needed = "plate and B+: `at: [V3.3, B1]`, or `[V3.3, B1, V4.3]`"},
    {"speaker", FIELD_LATER, .words = NULL},
    {NULL}};
static const field tube_fields[] = {
    {"type", FIELD_LATER, .needed = "`type: 12AX7`"}, {"pins", FIELD_LATER, .words = NULL}, {NULL}};

/* ---- after the fields ---------------------------------------------------------------------- */

const base_yaml_item *circuit_part_item(const reader *read, int part, const char *key) {
    return base_yaml_find(&read->draft[part].map, key);
}

static void finish_two(reader *read, int part) {
    read->amp->part[part].ends = 2;
}

static void finish_three(reader *read, int part) {
    read->amp->part[part].ends = 3;
}

/* A lamp's amps become its hot resistance. */
static void finish_lamp(reader *read, int part) {
    circuit_part *lamp = &read->amp->part[part];
    lamp->ends = 2;
    lamp->watts = lamp->volts * lamp->value;
    lamp->value = lamp->volts / lamp->value;
}

static void finish_switch(reader *read, int part) {
    circuit_part *it = &read->amp->part[part];
    const base_yaml_item *ways = circuit_part_item(read, part, "ways");
    bool pair = circuit_part_item(read, part, "at"),
         common = circuit_part_item(read, part, "common");
    written_word word[CIRCUIT_WAYS];
    it->ends = 2;
    if (pair ? ways || common : !ways || !common) {
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, it->place,
            "%s must have either `at` or both `common` and `ways`|write `at: [a, b]` for a "
            "plain switch, `common: x, ways: [y, z]` for a selector",
            it->name);
        return;
    }
    if (ways) it->ends = 1 + circuit_words_of(&read->yaml, ways, it->name, word, CIRCUIT_WAYS);
    if (it->ends < 2) it->ends = 1 + CIRCUIT_WAYS; /* complained of: take any way as there */
    if (it->position > it->ends - 1)
        base_yaml_complain(&read->yaml, BASE_VALUE, circuit_part_item(read, part, "position")->at,
                           "%s is at position %.0f and has %d|write 0 (none) to %d", it->name,
                           it->position, it->ends - 1, it->ends - 1);
}

static void finish_tube(reader *read, int part) {
    circuit_part *tube = &read->amp->part[part];
    const base_yaml_item *type = circuit_part_item(read, part, "type");
    const char *text = type ? base_yaml_text(&read->yaml, type, tube->name) : NULL;
    tube->ends = TUBE_PINS + 1;
    if (!text) return;
    tube->written = text;
    tube->tube = tube_find(read->tubes, text);
    if (tube->tube) {
        tube->ends = tube->tube->pins + 1;
        return;
    }
    const char *nearest = tube_nearest(read->tubes, text);
    const char *shown = base_yaml_show(&read->yaml, text);
    if (nearest)
        base_yaml_complain(&read->yaml, BASE_UNKNOWN, type->at,
                           "%s is a %s, and the tube library has no such type|did you mean %s?",
                           tube->name, shown, nearest);
    else
        base_yaml_complain(
            &read->yaml, BASE_UNKNOWN, type->at,
            "%s is a %s, and the tube library has no such type|`gridleak tube` lists the "
            "types",
            tube->name, shown);
}

/* ---- joins --------------------------------------------------------------------------------- */

static const char *ends_wanted(int least, int most) {
    return most == 2 ? "two" : least == most ? "three" : "two or three";
}

int circuit_join_list(reader *read, int part, const char *key, int least, int most) {
    const base_yaml_item *item = circuit_part_item(read, part, key);
    written_word word[CIRCUIT_ENDS];
    if (!item) return 0;
    circuit_part *it = &read->amp->part[part];
    int count = circuit_words_of(&read->yaml, item, it->name, word, CIRCUIT_ENDS);
    if (count < 0) return 0;
    if (count < least || count > most) {
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, item->at,
            "`%s` of %s has %d name%s, and a %s has %s there|write where each end goes", key,
            it->name, count, count == 1 ? "" : "s", circuit_kind_name(it->kind),
            ends_wanted(least, most));
        return 0;
    }
    for (int i = 0; i < count; i++)
        circuit_term_join(read, part, i, &word[i]);
    return count;
}

bool circuit_join_key(reader *read, int part, const char *key, int end) {
    const base_yaml_item *item = circuit_part_item(read, part, key);
    if (!item) return false;
    written_word word = {base_yaml_text(&read->yaml, item, read->amp->part[part].name), item->at};
    if (word.text) circuit_term_join(read, part, end, &word);
    return true;
}

static void join_two(reader *read, int part) {
    circuit_join_list(read, part, "at", 2, 2);
}

static void join_three(reader *read, int part) {
    circuit_join_list(read, part, "at", 3, 3);
}

static void join_switch(reader *read, int part) {
    const base_yaml_item *ways = circuit_part_item(read, part, "ways");
    written_word word[CIRCUIT_WAYS];
    circuit_join_list(read, part, "at", 2, 2);
    circuit_join_key(read, part, "common", 0);
    int count = ways ? circuit_words_of(&read->yaml, ways, "ways", word, CIRCUIT_WAYS) : 0;
    for (int i = 0; i < count; i++)
        circuit_term_join(read, part, 1 + i, &word[i]);
}

static void join_jack(reader *read, int part) {
    circuit_join_key(read, part, "tip", 0);
    circuit_join_key(read, part, "sleeve", 1);
    circuit_join_key(read, part, "rests on", 2);
}

/* `pins: {4: heatA}`: each key a pin that the base has. */
static void join_tube(reader *read, int part) {
    const base_yaml_item *pins = circuit_part_item(read, part, "pins");
    circuit_part *tube = &read->amp->part[part];
    base_yaml_items map = {.who = tube->name};
    if (!pins || !base_yaml_map(&read->yaml, pins, &map)) return;
    for (size_t i = 0; i < map.items; i++) {
        int pin = circuit_end_by_name(tube, map.item[i].key);
        if (pin < 0) {
            base_yaml_complain(&read->yaml, BASE_UNKNOWN, map.item[i].key_at,
                               "%s has no pin `%s`: %s has %d pins|write a pin from 1 to %d",
                               tube->name, base_yaml_show(&read->yaml, map.item[i].key),
                               tube->tube ? tube->tube->base_name : "no socket", tube->ends - 1,
                               tube->ends - 1);
            continue;
        }
        written_word word = {base_yaml_text(&read->yaml, &map.item[i], tube->name), map.item[i].at};
        if (word.text) circuit_term_join(read, part, pin, &word);
    }
}

/* ---- the table
 * ----------------------------------------------------------------------------------- */

const section circuit_sections[] = {
    {"resistors", CIRCUIT_RESISTOR, resistor_fields, circuit_common_fields, 0.10, finish_two,
     join_two},
    {"capacitors", CIRCUIT_CAPACITOR, capacitor_fields, circuit_common_fields, 0.20, finish_two,
     join_two},
    {"pots", CIRCUIT_POT, pot_fields, circuit_common_fields, 0.20, finish_three, join_three},
    {"switches", CIRCUIT_SWITCH, switch_fields, circuit_common_fields, NAN, finish_switch,
     join_switch},
    {"jacks", CIRCUIT_JACK, jack_fields, circuit_common_fields, NAN, finish_three, join_jack},
    {"inductors", CIRCUIT_INDUCTOR, inductor_fields, circuit_common_fields, 0.10, finish_two,
     join_two},
    {"diodes", CIRCUIT_DIODE, diode_fields, circuit_common_fields, NAN, finish_two, join_two},
    {"fuses", CIRCUIT_FUSE, fuse_fields, circuit_common_fields, NAN, finish_two, join_two},
    {"lamps", CIRCUIT_LAMP, lamp_fields, circuit_common_fields, NAN, finish_lamp, join_two},
    {"tubes", CIRCUIT_TUBE, tube_fields, circuit_common_fields, NAN, finish_tube, join_tube},
    {"output transformer", CIRCUIT_OUTPUT_TRANSFORMER, output_fields, circuit_common_fields, 0.10,
     circuit_output_finish, circuit_output_join},
    {"speaker", CIRCUIT_SPEAKER, speaker_fields, circuit_common_fields, NAN, finish_two, join_two},
    {NULL}};

/* ---- declaring
 * ------------------------------------------------------------------------------------- */

static circuit_part part_blank(const char *name, circuit_kind kind, base_place place) {
    circuit_part part = {.name = name, .kind = kind, .place = place, .value = NAN};
    part.tolerance = part.watts = part.volts = part.henries = part.ratio = NAN;
    part.dc_ohms[0] = part.dc_ohms[1] = part.primary_ohms = part.secondary_ohms = NAN;
    part.original = -1;
    part.taper = 0.5;
    part.position = kind == CIRCUIT_POT ? 5 : kind == CIRCUIT_SWITCH ? 1 : 0;
    part.rectifier.winding = part.rectifier.tube = -1;
    for (int i = 0; i < CIRCUIT_ENDS; i++)
        part.end[i] = -1;
    for (int i = 0; i < 4; i++)
        part.rectifier.through[i] = -1;
    part.rectifier.ac[0] = part.rectifier.ac[1] = -1;
    part.rectifier.form = CIRCUIT_FORM_UNREAD;
    return part;
}

static int name_used(const circuit *amp, const char *name) {
    for (size_t i = 0; i < amp->parts; i++) {
        const char *transformer = amp->part[i].winding.transformer;
        if (strcasecmp(amp->part[i].name, name) == 0) return (int)i;
        if (transformer && strcasecmp(transformer, name) == 0) return (int)i;
    }
    return -1;
}

static bool name_may_be(reader *read, const section *section, const char *name, base_place at) {
    int first = name_used(read->amp, name);
    bool taken = strcasecmp(name, "ground") == 0;
    const char *shown = base_yaml_show(&read->yaml, name);
    if (section->kind != CIRCUIT_WINDING && !circuit_is_word(name))
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, at,
            "`%s` cannot be the name of a part|use letters, digits, `_` and `+`: `R7`", shown);
    else if (taken)
        base_yaml_complain(&read->yaml, BASE_SYNTAX, at,
                           "`%s` names the chassis, not a part|give the part another name", shown);
    else if (first >= 0)
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, at,
            "`%s` names two parts, the first at line %d|give one of them another name", shown,
            read->amp->part[first].place.line);
    else if (read->amp->parts >= PARTS_MOST)
        base_yaml_complain(&read->yaml, BASE_SYNTAX, at,
                           "the amp has more than %d parts|is it an amp?", PARTS_MOST);
    else
        return true;
    return false;
}

int circuit_part_declare(reader *read, const section *section, const char *name,
                         const base_yaml_items *map) {
    circuit *amp = read->amp;
    if (!name_may_be(read, section, name, map->at)) return -1;
    amp->part = circuit_grow(read, amp->part, amp->parts, &amp->part_room, sizeof *amp->part);
    read->draft = circuit_grow(read, read->draft, amp->parts, &read->draft_room, sizeof(draft));
    if (read->yaml.no_memory) return -1;
    int part = (int)amp->parts++;
    amp->part[part] = part_blank(name, section->kind, map->at);
    read->draft[part] = (draft){*map, section, (int)read->terms};
    for (int end = 0; end < CIRCUIT_ENDS; end++) {
        read->term = circuit_grow(read, read->term, read->terms, &read->term_room, sizeof(term));
        if (read->yaml.no_memory) return -1;
        read->term[read->terms] = (term){NULL, part, end, (int)read->terms, false};
        read->terms++;
    }
    return part;
}

void circuit_part_site(circuit_part *part) {
    for (size_t i = 0; part->sits && i < sizeof sites / sizeof *sites; i++)
        if (strcasecmp(part->sits, sites[i].word) == 0) part->site = sites[i].site;
}
