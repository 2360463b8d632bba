/* The fixed list of symptoms and findings, read from its file. */
#include "symptoms_impl.h"

#include <string.h>
#include <strings.h>

extern const char diagnose_symptoms_text[]; /* symptoms.S */

struct diagnose_symptoms {
    base_arena *arena;
    diagnose_symptom *symptom;
    size_t count;
};

static const base_yaml_kind symptom_files = {"symptom files", "list",
                                             "`symptoms:` and its entries"};
static const char *const top_keys[] = {"about", "symptoms", NULL};
static const char *const entry_keys[] = {"key",   "also", "names",     "sign",   "limit", "missed",
                                         "false", "when", "otherwise", "ground", NULL};
static const char *const when_keys[] = {"part", "kind", "mode", "same", "chance", NULL};
static const char *const names[] = {"part", "control", "tube", "pin", "speed"};
static const char *const sames[] = {"part", "pin"};

const char *const symptom_signs[SIGNS] = {
    [SIGN_NONE] = "chances",          [SIGN_HUM] = "speaker hum",
    [SIGN_SIGNAL] = "speaker signal", [SIGN_SLOW] = "slow mode",
    [SIGN_QUICK] = "quick mode",      [SIGN_TREMOLO] = "tremolo",
    [SIGN_SPEED] = "tremolo speed",   [SIGN_CONTROL] = "control volts",
    [SIGN_HEATER] = "heater",         [SIGN_DISSIPATION] = "dissipation",
    [SIGN_SUPPLY] = "supply current",
};

int symptom_sign(const diagnose_symptom *symptom) {
    for (int i = 1; symptom->sign && i < SIGNS; i++)
        if (strcmp(symptom_signs[i], symptom->sign) == 0) return i;
    return SIGN_NONE;
}

/* ---- words and numbers ---------------------------------------------------------------------- */

/* An item's text that must be among `list`; NULL with a complaint, or where it is not given. */
static const char *read_word(base_yaml *yaml, const base_yaml_items *map, const char *key,
                             const char *const *list, size_t count) {
    const base_yaml_item *item = base_yaml_find(map, key);
    const char *text = item ? base_yaml_text(yaml, item, map->who) : NULL;
    for (size_t i = 0; text && i < count; i++)
        if (strcasecmp(text, list[i]) == 0) return list[i];
    if (!text) return NULL;
    const char *near = base_nearest_name(text, list, count);
    base_yaml_complain(yaml, BASE_UNKNOWN, item->at, "%s is no %s that is known|did you mean %s?",
                       base_yaml_show(yaml, text), key, near ? near : list[0]);
    return NULL;
}

static double read_number(base_yaml *yaml, const base_yaml_items *map, const char *key,
                          double otherwise) {
    const base_yaml_item *item = base_yaml_find(map, key);
    double value = otherwise;
    if (item && !base_yaml_value(yaml, item, map->who, BASE_NUMBER, &value)) return otherwise;
    return value;
}

static double read_chance(base_yaml *yaml, const base_yaml_items *map, const char *key,
                          double otherwise) {
    double value = read_number(yaml, map, key, otherwise);
    if (value > 0 && value < 1) return value;
    base_yaml_complain(yaml, BASE_VALUE, map->at,
                       "%s of %s is no chance between 0 and 1|write a figure such as 0.1", key,
                       map->who);
    return otherwise;
}

/* ---- one entry ------------------------------------------------------------------------------ */

static void read_when(base_yaml *yaml, const base_yaml_item *item, symptom_chance *chance) {
    base_yaml_items map = {.who = "when"};
    const char *words[CIRCUIT_MATERIALS + DIAGNOSE_MODES + SORT_COUNT];
    *chance = (symptom_chance){.sort = -1, .kind = -1, .mode = -1};
    if (!base_yaml_map(yaml, item, &map)) return;
    base_yaml_check_keys(yaml, &map, when_keys);
    for (int i = 0; i < SORT_COUNT; i++)
        words[i] = diagnose_sort_name((diagnose_sort)i);
    const char *word = read_word(yaml, &map, "part", words, SORT_COUNT);
    if (word) chance->sort = diagnose_sort_find(word);
    for (int i = 0; i < DIAGNOSE_MODES; i++)
        words[i] = diagnose_mode_key((diagnose_mode)i);
    word = read_word(yaml, &map, "mode", words, DIAGNOSE_MODES);
    if (word) chance->mode = diagnose_mode_find(word);
    for (int i = 0; i < CIRCUIT_MATERIALS; i++)
        words[i] = circuit_material_name((circuit_material)i);
    word = read_word(yaml, &map, "kind", words, CIRCUIT_MATERIALS);
    for (int i = 0; word && i < CIRCUIT_MATERIALS; i++)
        if (strcmp(word, words[i]) == 0) chance->kind = i;
    word = read_word(yaml, &map, "same", sames, 2);
    chance->same_part = word != NULL;
    chance->same_pin = word == sames[1];
    chance->chance = read_chance(yaml, &map, "chance", 0.5);
}

static void read_chances(base_yaml *yaml, const base_yaml_item *item, diagnose_symptom *symptom) {
    base_yaml_items list = {.who = symptom->key};
    if (!base_yaml_list(yaml, item, &list)) return;
    symptom_chance *chance = base_yaml_take(yaml, list.items + 1, sizeof *chance);
    if (!chance) return;
    for (size_t i = 0; i < list.items; i++)
        read_when(yaml, &list.item[i], &chance[i]);
    symptom->chance = chance;
    symptom->chances = list.items;
}

static void read_also(base_yaml *yaml, const base_yaml_item *item, diagnose_symptom *symptom) {
    base_yaml_items list = {.who = symptom->key};
    if (!base_yaml_list(yaml, item, &list)) return;
    const char **also = base_yaml_take(yaml, list.items + 1, sizeof *also);
    size_t count = 0;
    for (size_t i = 0; also && i < list.items; i++) {
        const char *text = base_yaml_text_of(yaml, list.item[i].value);
        if (text) also[count++] = text;
    }
    symptom->also = also;
}

static void check(base_yaml *yaml, const base_yaml_items *map, const diagnose_symptom *symptom) {
    if (!symptom->ground)
        base_yaml_complain(yaml, BASE_SYNTAX, map->at,
                           "%s has no ground|say where its figures come from: ground: judgement",
                           symptom->key);
    if (!symptom->sign && symptom->chances == 0)
        base_yaml_complain(yaml, BASE_SYNTAX, map->at,
                           "%s follows from nothing|give it a sign, or chances under when",
                           symptom->key);
}

static void read_entry(base_yaml *yaml, const base_yaml_item *item, diagnose_symptom *symptom) {
    static const char *const none[] = {NULL};
    base_yaml_items map = {.who = "a symptom"};
    *symptom = (diagnose_symptom){.key = "?", .also = none, .otherwise = NAN};
    if (!base_yaml_map(yaml, item, &map)) return;
    const base_yaml_item *key = base_yaml_find(&map, "key"), *also = base_yaml_find(&map, "also"),
                         *when = base_yaml_find(&map, "when"),
                         *ground = base_yaml_find(&map, "ground");
    base_yaml_check_keys(yaml, &map, entry_keys);
    const char *text = key ? base_yaml_text(yaml, key, map.who) : NULL;
    if (text)
        symptom->key = map.who = text;
    else if (!key)
        base_yaml_complain(yaml, BASE_SYNTAX, map.at, "a symptom has no key|add key: loud hum");
    if (also) read_also(yaml, also, symptom);
    symptom->names = read_word(yaml, &map, "names", names, sizeof names / sizeof *names);
    symptom->sign = read_word(yaml, &map, "sign", symptom_signs, SIGNS);
    symptom->limit = read_number(yaml, &map, "limit", NAN);
    if (symptom->sign) {
        symptom->missed = read_chance(yaml, &map, "missed", 0.1);
        symptom->false_told = read_chance(yaml, &map, "false", 0.05);
    }
    if (when) read_chances(yaml, when, symptom);
    if (when) symptom->otherwise = read_chance(yaml, &map, "otherwise", 0.05);
    if (ground) symptom->ground = base_yaml_text(yaml, ground, map.who);
    check(yaml, &map, symptom);
}

/* ---- the file ------------------------------------------------------------------------------- */

static void read_top(base_yaml *yaml, diagnose_symptoms *symptoms, const base_yaml_item *root) {
    base_yaml_items top = {.who = root->key}, list = {.who = "symptoms"};
    if (!base_yaml_map(yaml, root, &top)) return;
    const base_yaml_item *item = base_yaml_find(&top, "symptoms");
    base_yaml_check_keys(yaml, &top, top_keys);
    if (!item)
        base_yaml_complain(yaml, BASE_SYNTAX, root->at, "the file has no symptoms|write symptoms:");
    if (!item || !base_yaml_list(yaml, item, &list)) return;
    symptoms->symptom = base_yaml_take(yaml, list.items + 1, sizeof *symptoms->symptom);
    for (size_t i = 0; symptoms->symptom && i < list.items; i++)
        read_entry(yaml, &list.item[i], &symptoms->symptom[symptoms->count++]);
}

diagnose_symptoms *diagnose_symptoms_read(const char *file, const char *text, size_t length,
                                          base_errors *errors) {
    base_arena *arena = base_arena_new();
    diagnose_symptoms *symptoms = arena ? base_arena_take(arena, 1, sizeof *symptoms) : NULL;
    base_yaml yaml = {.kind = &symptom_files, .file = file, .arena = arena, .errors = errors};
    base_yaml_item root;
    if (!text) {
        text = diagnose_symptoms_text;
        length = strlen(text);
        yaml.file = "symptoms.yaml";
    }
    if (symptoms) {
        symptoms->arena = arena;
        if (base_yaml_open(&yaml, text, length, &root)) read_top(&yaml, symptoms, &root);
        base_yaml_close(&yaml);
    } else {
        base_yaml_no_memory(&yaml);
    }
    if (yaml.worst == BASE_OK) return symptoms;
    base_arena_free(arena);
    return NULL;
}

void diagnose_symptoms_free(diagnose_symptoms *symptoms) {
    if (symptoms) base_arena_free(symptoms->arena);
}

size_t diagnose_symptoms_count(const diagnose_symptoms *symptoms) {
    return symptoms->count;
}

const diagnose_symptom *diagnose_symptoms_at(const diagnose_symptoms *symptoms, size_t index) {
    return index < symptoms->count ? &symptoms->symptom[index] : NULL;
}
