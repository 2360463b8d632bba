/* The file as a whole: its top-level keys, the four steps, the printed volts. */
#include "circuit_impl.h"

#include <math.h>
#include <string.h>
#include <strings.h>

#define AT(member) offsetof(circuit_about, member)

static const field file_fields[] = {
    {"amp", FIELD_WORDS, AT(name), .needed = "the amp's name: `amp: My amp`"},
    {"family", FIELD_WORDS, AT(family), .words = NULL},
    {"story", FIELD_WORDS, AT(story), .words = NULL},
    {"mains", FIELD_LATER, .needed = "`mains: {volts: 120, hertz: 60, drawn for: 117}`"},
    {"power transformer", FIELD_LATER, .words = NULL},
    {"rectifiers", FIELD_LATER, .words = NULL},
    {"output transformer", FIELD_LATER, .words = NULL},
    {"speaker", FIELD_LATER, .words = NULL},
    {"inductors", FIELD_LATER, .words = NULL},
    {"tubes", FIELD_LATER, .words = NULL},
    {"resistors", FIELD_LATER, .words = NULL},
    {"capacitors", FIELD_LATER, .words = NULL},
    {"pots", FIELD_LATER, .words = NULL},
    {"switches", FIELD_LATER, .words = NULL},
    {"jacks", FIELD_LATER, .words = NULL},
    {"diodes", FIELD_LATER, .words = NULL},
    {"fuses", FIELD_LATER, .words = NULL},
    {"lamps", FIELD_LATER, .words = NULL},
    {"printed", FIELD_LATER, .words = NULL},
    {NULL}};
static const field mains_fields[] = {
    {"volts", FIELD_VALUE, AT(mains_volts), BASE_VOLTS, 50, 500, NULL, "`volts: 120`"},
    {"hertz", FIELD_VALUE, AT(mains_hertz), BASE_HERTZ, 20, 100, NULL,
     "`hertz: 60` or `hertz: 50`"},
    {"drawn for", FIELD_VALUE, AT(mains_drawn_volts), BASE_VOLTS, 50, 500, NULL, NULL},
    {NULL}};
static const field printed_fields[] = {
    {"meter", FIELD_LATER, .words = NULL}, {"volts", FIELD_LATER, .words = NULL}, {NULL}};

void *circuit_grow(reader *read, void *array, size_t count, size_t *room, size_t size) {
    if (count < *room) return array;
    size_t more = *room ? 2 * *room : 64;
    void *moved = base_yaml_take(&read->yaml, more, size);
    if (!moved) return array;
    if (count > 0) memcpy(moved, array, count * size);
    *room = more;
    return moved;
}

/* ---- declare ------------------------------------------------------------------------------- */

static void declare_parts(reader *read, const section *section, const base_yaml_item *item) {
    base_yaml_items all = {.who = item->key};
    if (!base_yaml_map(&read->yaml, item, &all)) return;
    for (size_t i = 0; i < all.items; i++) {
        base_yaml_items one = {.who = base_yaml_show(&read->yaml, all.item[i].key)};
        if (base_yaml_map(&read->yaml, &all.item[i], &one))
            circuit_part_declare(read, section, all.item[i].key, &one);
    }
}

static void declare_item(reader *read, const base_yaml_item *item) {
    base_yaml_items all = {.who = item->key};
    for (const section *section = circuit_sections; section->key; section++)
        if (strcasecmp(section->key, item->key) == 0) declare_parts(read, section, item);
    if (strcasecmp(item->key, "rectifiers") == 0)
        declare_parts(read, &circuit_rectifier_section, item);
    if (strcasecmp(item->key, "power transformer") == 0 && base_yaml_map(&read->yaml, item, &all))
        circuit_power_declare(read, &all);
}

/* ---- fields and joins ---------------------------------------------------------------------- */

static void parts_fields(reader *read) {
    for (size_t i = 0; i < read->amp->parts && !read->yaml.no_memory; i++) {
        circuit_part *part = &read->amp->part[i];
        const draft *draft = &read->draft[i];
        circuit_fields_read(&read->yaml, &draft->map, draft->section->own, draft->section->common,
                            part);
        circuit_part_site(part);
        if (isnan(part->tolerance)) part->tolerance = draft->section->tolerance;
        const base_yaml_item *value = circuit_part_item(read, (int)i, "value");
        if (value && !isnan(part->value))
            part->written = base_yaml_text(&read->yaml, value, part->name);
        draft->section->finish(read, (int)i);
    }
}

/* A rectifier follows what the others joined, so it comes last. */
static void parts_join(reader *read) {
    for (int last = 0; last < 2; last++)
        for (size_t i = 0; i < read->amp->parts && !read->yaml.no_memory; i++)
            if ((read->amp->part[i].kind == CIRCUIT_RECTIFIER) == (last == 1))
                read->draft[i].section->join(read, (int)i);
}

/* ---- printed volts ------------------------------------------------------------------------- */

/* "20k per volt", or "10M". */
static void meter_read(reader *read, const base_yaml_item *item) {
    circuit_about *about = &read->amp->about;
    const char *text = base_yaml_text(&read->yaml, item, "printed");
    char *figure = text ? base_arena_text(read->yaml.arena, text) : NULL;
    if (!figure) return;
    char *per = strcasestr(figure, " per volt");
    if (per && per[strlen(" per volt")] == 0) *per = 0;
    double ohms;
    base_code code = base_value_read(figure, BASE_OHMS, item->at, &ohms, read->yaml.errors);
    if (base_yaml_note(&read->yaml, code) != BASE_OK) return;
    double least = per ? 10 : 1e3, most = per ? 1e7 : 1e12;
    if (!isfinite(ohms) || ohms < least || ohms > most)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, item->at,
            "printed: a meter of %s makes no sense|write `meter: 20k per volt` or `meter: "
            "10M`",
            base_yaml_show(&read->yaml, text));
    else if (per)
        about->printed_meter_ohms_per_volt = ohms;
    else
        about->printed_meter_ohms = ohms;
}

static void volts_print(reader *read, const base_yaml_item *item) {
    circuit *amp = read->amp;
    circuit_place place;
    double volts;
    if (!base_yaml_value(&read->yaml, item, "printed", BASE_VOLTS, &volts)) return;
    base_code code = circuit_place_find(amp, item->key, item->key_at, &place, read->yaml.errors);
    if (base_yaml_note(&read->yaml, code) != BASE_OK) return;
    circuit_node *node = &amp->node[place.node];
    if (!isfinite(volts) || fabs(volts) > 1e4)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, item->at, "printed: %s at %s makes no sense|write volts",
            base_yaml_show(&read->yaml, base_yaml_text(&read->yaml, item, "printed")), item->key);
    else if (!isnan(node->printed) && node->printed != volts)
        base_yaml_complain(
            &read->yaml, BASE_VALUE, item->key_at,
            "printed: %s is the node %s, which has %g V already|remove one of the two", item->key,
            node->name, node->printed);
    else
        node->printed = volts;
}

static void printed_read(reader *read, const base_yaml_item *item) {
    base_yaml_items map = {.who = "printed"}, volts = {.who = "printed volts"};
    if (!base_yaml_map(&read->yaml, item, &map)) return;
    circuit_fields_read(&read->yaml, &map, printed_fields, NULL, NULL);
    const base_yaml_item *meter = base_yaml_find(&map, "meter"),
                         *list = base_yaml_find(&map, "volts");
    if (meter) meter_read(read, meter);
    if (!list || !base_yaml_map(&read->yaml, list, &volts)) return;
    for (size_t i = 0; i < volts.items; i++)
        volts_print(read, &volts.item[i]);
}

/* ---- the file ------------------------------------------------------------------------------ */

static const base_yaml_kind amp_files = {"amp files", "amp", "`amp:` and the amp's name"};

static void mains_read(reader *read, const base_yaml_items *file) {
    circuit_about *about = &read->amp->about;
    const base_yaml_item *item = base_yaml_find(file, "mains");
    base_yaml_items map = {.who = "mains"};
    if (!item || !base_yaml_map(&read->yaml, item, &map)) return;
    circuit_fields_read(&read->yaml, &map, mains_fields, NULL, about);
    if (isnan(about->mains_drawn_volts)) about->mains_drawn_volts = about->mains_volts;
}

static void file_read(reader *read, const base_yaml_item *root) {
    base_yaml_items file = {.who = root->key};
    if (!base_yaml_map(&read->yaml, root, &file)) return;
    circuit_fields_read(&read->yaml, &file, file_fields, NULL, &read->amp->about);
    mains_read(read, &file);
    for (size_t i = 0; i < file.items && !read->yaml.no_memory; i++)
        declare_item(read, &file.item[i]);
    parts_fields(read);
    parts_join(read);
    if (!read->yaml.no_memory) circuit_nodes_make(read);
    if (read->yaml.no_memory) return;
    const base_yaml_item *printed = base_yaml_find(&file, "printed");
    if (printed) printed_read(read, printed);
    circuit_nodes_check(read);
    if (read->amp->parts == 0)
        base_yaml_complain(&read->yaml, BASE_CIRCUIT, root->key_at,
                           "the amp has no parts|list them under tubes, resistors, capacitors...");
}

static circuit *circuit_new(void) {
    base_arena *arena = base_arena_new();
    circuit *amp = arena ? base_arena_take(arena, 1, sizeof *amp) : NULL;
    if (!amp) {
        base_arena_free(arena);
        return NULL;
    }
    amp->arena = arena;
    circuit_about *about = &amp->about;
    about->printed_meter_ohms = NAN;
    about->mains_volts = about->mains_drawn_volts = about->mains_hertz = NAN;
    return amp;
}

/* Ground is the first name mentioned, so it becomes node 0. */
static void ground_first(reader *read) {
    int ground = circuit_term_plain(read, "ground");
    read->mention = circuit_grow(read, NULL, 0, &read->mention_room, sizeof *read->mention);
    if (read->yaml.no_memory) return;
    read->term[ground].joined = true;
    read->mention[read->mentions++] = (mention){ground, {read->yaml.file, 0, 0}};
}

circuit *circuit_read(const char *file, const char *text, size_t length, const tube_library *tubes,
                      base_errors *errors) {
    circuit *amp = circuit_new();
    if (!amp) {
        base_errors_add(errors, BASE_MEMORY, (base_place){file, 0, 0},
                        "no memory to read it|close other programs");
        return NULL;
    }
    reader read = {.amp = amp, .tubes = tubes};
    read.yaml = (base_yaml){.kind = &amp_files, .arena = amp->arena, .errors = errors};
    read.yaml.file = amp->about.file = file ? base_arena_text(amp->arena, file) : NULL;
    base_yaml_item root;
    if (base_yaml_open(&read.yaml, text, length, &root)) {
        ground_first(&read);
        if (!read.yaml.no_memory) file_read(&read, &root);
    }
    base_yaml_close(&read.yaml);
    if (read.yaml.worst == BASE_OK) return amp;
    circuit_free(amp);
    return NULL;
}
