/* Transformers: windings as the trade writes them, `325-0-325` and `95+100`. */
#include "circuit_impl.h"

#include <math.h>
#include <string.h>

#define AT(member) offsetof(circuit_part, member)

/* A winding whose resistance the file does not state: 5 % regulation at its `amps`, or at 0.1 A
 * (a primary: 1 A). An output transformer: 5 % of its primary impedance. Common practice, no
 * source; the reader warns of each. */
#define REGULATION 0.05
#define WINDING_AMPS 0.1
#define PRIMARY_AMPS 1.0
#define OUTPUT_PART 0.05

static const field transformer_fields[] = {
    {"primary", FIELD_LATER, .needed = "`primary: {volts: 117, ohms: 4, at: [line, neutral]}`"},
    {"windings", FIELD_LATER, .needed = "`windings:` with at least one"},
    {NULL}};
static const field primary_fields[] = {
    {"volts", FIELD_LATER, .needed = "`volts: 117`"},
    {"ohms", FIELD_LATER, .words = NULL},
    {"amps", FIELD_VALUE, AT(value), BASE_AMPERES, 1e-3, 100, NULL, NULL},
    {"at", FIELD_LATER, .words = NULL},
    {NULL}};
static const field winding_fields[] = {
    {"volts", FIELD_LATER, .needed = "`volts: 325-0-325` or `volts: 6.3`"},
    {"ohms", FIELD_LATER, .words = NULL},
    {"amps", FIELD_VALUE, AT(value), BASE_AMPERES, 1e-3, 100, NULL, NULL},
    {"heater", FIELD_FLAG, AT(winding.heater), .words = NULL},
    {"at", FIELD_LATER, .needed = "its ends: `at: [a, b]` or, with a tap, `[a, tap, b]`"},
    {NULL}};
static const field winding_common[] = {
    {"tolerance", FIELD_VALUE, AT(tolerance), BASE_PERCENT, 0, 1, NULL, NULL},
    {"original", FIELD_YES, AT(original), .words = NULL},
    {"sits", FIELD_WORDS, AT(sits), .words = NULL},
    {"does", FIELD_WORDS, AT(what), .words = NULL},
    {NULL}};

/* ---- halves -------------------------------------------------------------------------------- */

typedef struct halves_rule {
    const char *who, *key;
    char parted_by; /* '-': three pieces, the middle one 0; '+': two */
    base_quantity quantity;
    double least, most;
    const char *example;
} halves_rule;

static bool half_read(reader *read, const base_yaml_item *item, const char *piece,
                      const halves_rule *rule, double *half) {
    base_code code = base_value_read(piece, rule->quantity, item->at, half, read->yaml.errors);
    if (base_yaml_note(&read->yaml, code) != BASE_OK) return false;
    if (isfinite(*half) && *half >= rule->least && *half <= rule->most) return true;
    char least[32], most[32];
    base_yaml_complain(&read->yaml, BASE_VALUE, item->at,
                       "%s: `%s` of %s makes no sense|write a value from %s to %s", rule->who,
                       rule->key, base_yaml_show(&read->yaml, piece),
                       base_value_write(rule->least, rule->quantity, least, sizeof least),
                       base_value_write(rule->most, rule->quantity, most, sizeof most));
    return false;
}

/* Cuts `text` at each `by`; how many pieces, 4 meaning too many. */
static int pieces_cut(char *text, char by, char *piece[4]) {
    int count = 0;
    piece[count++] = text;
    for (char *c = text; *c && count < 4; c++)
        if (*c == by) {
            *c = 0;
            piece[count++] = c + 1;
        }
    return count;
}

/* How many halves the item states: 1 (the whole winding), 2, or 0 with a complaint. */
static int halves_read(reader *read, const base_yaml_item *item, const halves_rule *rule,
                       double half[2]) {
    const char *written = base_yaml_text(&read->yaml, item, rule->who);
    char *text = written ? base_arena_text(read->yaml.arena, written) : NULL;
    char *piece[4];
    if (!text) return 0;
    int count = pieces_cut(text, rule->parted_by, piece), last = rule->parted_by == '-' ? 2 : 1;
    bool middle = last == 1 || (count == 3 && strspn(piece[1], "0") == 1 && !piece[1][1]);
    if (count == 1) return half_read(read, item, piece[0], rule, &half[0]) ? 1 : 0;
    if (count == last + 1 && middle)
        return half_read(read, item, piece[0], rule, &half[0]) &&
                       half_read(read, item, piece[last], rule, &half[1])
                   ? 2
                   : 0;
    base_yaml_complain(&read->yaml, BASE_SYNTAX, item->at,
                       "%s: `%s: %s` cannot be read|write it as %s", rule->who, rule->key,
                       base_yaml_show(&read->yaml, written), rule->example);
    return 0;
}

/* ---- windings ------------------------------------------------------------------------------ */

static int ends_listed(reader *read, int part) {
    const base_yaml_item *at = circuit_part_item(read, part, "at");
    return at && at->value->type == BASE_YAML_LIST && at->value->count == 3 ? 3 : 2;
}

static void winding_volts(reader *read, circuit_part *part, const base_yaml_item *item) {
    circuit_winding *winding = &part->winding;
    const halves_rule rule = {part->name,
                              "volts",
                              '-',
                              BASE_VOLTS,
                              winding->primary ? 20 : 0.5,
                              3000,
                              "`325-0-325` with a tap, `50` without"};
    int halves = halves_read(read, item, &rule, winding->volts);
    bool tap = part->ends == 3, may_split = winding->heater || winding->primary;
    if (halves == 1 && tap && may_split)
        winding->volts[0] = winding->volts[1] = winding->volts[0] / 2;
    else if (halves == 1 && tap)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, item->at,
            "%s has a centre tap: is %s the whole winding or each half?|write both halves, "
            "as `325-0-325`",
            part->name, base_yaml_show(&read->yaml, base_yaml_text(&read->yaml, item, part->name)));
    else if (halves == 2 && !tap)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, item->at,
            "%s has a centre tap by its `volts` and two ends by its `at`|write where the tap "
            "goes: `at: [a, tap, b]`",
            part->name);
}

static void warn_assumed(reader *read, const circuit_part *part, double ohms, bool each_half) {
    char text[32];
    base_yaml_complain(&read->yaml, BASE_SUSPICIOUS, part->place,
                       "%s has no `ohms`: %s%s is assumed|measure it with the power off and the "
                       "capacitors drained, and write it",
                       part->name, base_value_write(ohms, BASE_OHMS, text, sizeof text),
                       each_half ? " each half" : "");
}

static void winding_ohms_default(reader *read, circuit_part *part) {
    circuit_winding *winding = &part->winding;
    double amps = !isnan(part->value) ? part->value
                  : winding->primary  ? PRIMARY_AMPS
                                      : WINDING_AMPS;
    for (int i = 0; i < 2; i++)
        winding->ohms[i] = winding->heater ? 0 : REGULATION * winding->volts[i] / amps;
    if (winding->heater || winding->volts[0] == 0) return;
    warn_assumed(read, part, winding->ohms[0], part->ends == 3);
}

static void winding_finish(reader *read, int index) {
    circuit_part *part = &read->amp->part[index];
    circuit_winding *winding = &part->winding;
    const base_yaml_item *volts = circuit_part_item(read, index, "volts"),
                         *ohms = circuit_part_item(read, index, "ohms");
    const halves_rule rule = {part->name,
                              "ohms",
                              '+',
                              BASE_OHMS,
                              winding->heater ? 0 : 1e-3,
                              1e5,
                              "`95+100` for two halves, `190` for the whole"};
    part->ends = ends_listed(read, index);
    if (volts) winding_volts(read, part, volts);
    if (!ohms) {
        winding_ohms_default(read, part);
        return;
    }
    int halves = halves_read(read, ohms, &rule, winding->ohms);
    if (halves == 1 && part->ends == 3) winding->ohms[0] = winding->ohms[1] = winding->ohms[0] / 2;
    if (halves == 2 && part->ends == 2)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, ohms->at,
            "%s has two halves by its `ohms` and no tap by its `at`|write one figure, or "
            "where the tap goes",
            part->name);
}

static void winding_join(reader *read, int part) {
    if (circuit_part_item(read, part, "at")) {
        circuit_join_list(read, part, "at", 2, 3);
        return;
    }
    if (!read->amp->part[part].winding.primary) return;
    circuit_term_join_plain(read, part, 0, "line");
    circuit_term_join_plain(read, part, 1, "neutral");
}

const section circuit_primary_section = {"primary", CIRCUIT_WINDING, primary_fields, winding_common,
                                         0.10,      winding_finish,  winding_join};
const section circuit_winding_section = {
    "windings", CIRCUIT_WINDING, winding_fields, winding_common,
    0.10,       winding_finish,  winding_join};

/* ---- declaring
 * ------------------------------------------------------------------------------------ */

/* One winding as a part "T1 high voltage", with what the transformer's own keys say. */
static void winding_declare(reader *read, const section *section, const circuit_part *transformer,
                            const base_yaml_item *item) {
    base_yaml_items map = {.who = transformer->name};
    const char *name = base_yaml_print(&read->yaml, "%s %s", transformer->name, item->key);
    map.who = base_yaml_show(&read->yaml, name);
    if (!base_yaml_map(&read->yaml, item, &map)) return;
    int index = circuit_part_declare(read, section, name, &map);
    if (index < 0) return;
    circuit_part *part = &read->amp->part[index];
    part->winding.transformer = transformer->name;
    part->winding.primary = section == &circuit_primary_section;
    part->tolerance = transformer->tolerance;
    part->original = transformer->original;
    part->sits = transformer->sits;
    part->what = transformer->what;
}

static void transformer_declare(reader *read, const base_yaml_item *item) {
    circuit_part transformer = {.name = item->key, .tolerance = NAN, .original = -1};
    base_yaml_items map = {.who = base_yaml_show(&read->yaml, item->key)}, windings = map;
    if (!circuit_is_word(item->key)) {
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, item->key_at,
            "`%s` cannot be the name of a transformer|use letters, digits, `_` and `+`: `T1`",
            map.who);
        return;
    }
    if (!base_yaml_map(&read->yaml, item, &map)) return;
    circuit_fields_read(&read->yaml, &map, transformer_fields, winding_common, &transformer);
    const base_yaml_item *primary = base_yaml_find(&map, "primary"),
                         *list = base_yaml_find(&map, "windings");
    if (primary) winding_declare(read, &circuit_primary_section, &transformer, primary);
    if (!list || !base_yaml_map(&read->yaml, list, &windings)) return;
    for (size_t i = 0; i < windings.items; i++)
        winding_declare(read, &circuit_winding_section, &transformer, &windings.item[i]);
}

void circuit_power_declare(reader *read, const base_yaml_items *transformers) {
    for (size_t i = 0; i < transformers->items; i++)
        transformer_declare(read, &transformers->item[i]);
}

/* ---- the output transformer
 * ------------------------------------------------------------------------- */

/* Of impedance and ratio, what one says of the other: primary = ratio^2 secondary. */
static void output_ratio(reader *read, circuit_part *part) {
    if (isnan(part->primary_ohms)) part->primary_ohms = part->ratio * part->ratio * part->value;
    if (isnan(part->ratio)) part->ratio = sqrt(part->primary_ohms / part->value);
    if (isnan(part->ratio))
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, part->place,
            "%s has neither its impedances nor its ratio|write `primary: 5k, secondary: 4` or "
            "`ratio: 35`",
            part->name);
}

static void output_ohms_default(reader *read, circuit_part *part, bool push_pull) {
    if (isnan(part->primary_ohms)) {
        if (!isnan(part->ratio))
            base_yaml_complain(
                &read->yaml, BASE_SYNTAX, part->place,
                "%s has neither `ohms` nor what its resistance could be guessed from|measure "
                "its primary with the power off and write `ohms: 180+190`",
                part->name);
        return;
    }
    double whole = OUTPUT_PART * part->primary_ohms;
    part->dc_ohms[0] = push_pull ? whole / 2 : whole;
    part->dc_ohms[1] = push_pull ? whole / 2 : 0;
    warn_assumed(read, part, part->dc_ohms[0], push_pull);
}

void circuit_output_finish(reader *read, int index) {
    circuit_part *part = &read->amp->part[index];
    const base_yaml_item *ohms = circuit_part_item(read, index, "ohms");
    const halves_rule rule = {part->name,
                              "ohms",
                              '+',
                              BASE_OHMS,
                              1e-2,
                              1e5,
                              "`180+190` for two halves, `370` for the whole"};
    bool push_pull = ends_listed(read, index) == 3;
    part->ends = 5;
    output_ratio(read, part);
    if (!ohms) {
        output_ohms_default(read, part, push_pull);
        return;
    }
    int halves = halves_read(read, ohms, &rule, part->dc_ohms);
    if (halves == 1) {
        if (push_pull) part->dc_ohms[0] /= 2;
        part->dc_ohms[1] = push_pull ? part->dc_ohms[0] : 0;
    }
    if (halves == 2 && !push_pull)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, ohms->at,
            "%s has two halves by its `ohms` and one plate by its `at`|write one figure, or "
            "both plates: `at: [V3.3, B1, V4.3]`",
            part->name);
}

void circuit_output_join(reader *read, int part) {
    const base_yaml_item *speaker = circuit_part_item(read, part, "speaker");
    written_word word[2];
    circuit_join_list(read, part, "at", 2, 3);
    if (!speaker) return;
    int count = circuit_words_of(&read->yaml, speaker, read->amp->part[part].name, word, 2);
    if (count == 1)
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, speaker->at,
            "`speaker` of %s has one name, and a winding has two ends|write `speaker: [spk, "
            "ground]`",
            read->amp->part[part].name);
    for (int i = 0; count == 2 && i < 2; i++)
        circuit_term_join(read, part, 3 + i, &word[i]);
}
