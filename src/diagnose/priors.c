/* The priors file (data/priors/faults.yaml): how often a part of each sort and kind fails in each
 * way, what makes that likelier, and how far good parts depart from their values. */
#include "diagnose_impl.h"

#include <string.h>
#include <strings.h>

typedef enum condition {
    ALWAYS,
    ORIGINAL, /* `original: yes` */
    REPLACED, /* `original: no` */
    OHMS_ABOVE,
    VOLTS_ABOVE, /* DC volts across the part in the healthy amp */
    CONDITIONS
} condition;

static const char *const condition_names[CONDITIONS] = {
    [ALWAYS] = "always",         [ORIGINAL] = "original",       [REPLACED] = "replaced",
    [OHMS_ABOVE] = "ohms above", [VOLTS_ABOVE] = "volts above",
};

static const char *const number_names[NUMBER_COUNT + 1] = {
    [NUMBER_CARBON_DRIFT] = "carbon composition drift",
    [NUMBER_POT_TURN] = "pot turn",
    [NUMBER_WINDING_VOLTS] = "winding volts",
    [NUMBER_WINDING_HALVES] = "winding halves",
    [NUMBER_WINDING_OHMS] = "winding ohms",
    [NUMBER_HEATER_OHMS] = "heater ohms",
    [NUMBER_RECTIFIER] = "rectifier perveance",
    [NUMBER_ELECTROLYTIC_LEAK] = "electrolytic leak",
    [NUMBER_FIRST_CAPACITOR] = "first capacitor",
    [NUMBER_GOOD_GAS] = "good tube gas",
    [NUMBER_LAW_EMISSION] = "tube law emission",
    [NUMBER_LAW_SCREEN] = "tube law screen",
    [NUMBER_STRAY_AMPS] = "stray amperes",
    [NUMBER_MAINS_WANDER] = "mains wander",
    [NUMBER_TWO_FAULTS] = "two faults",
    [NUMBER_WIRING_MISTAKE] = "wiring mistake",
    [NUMBER_HALVES_EXCHANGED] = "halves exchanged",
};

/* One row of `weights` (times 1, ALWAYS) or of `factors`. */
typedef struct rule {
    int sort;
    int kind; /* circuit_material, or -1: any */
    int mode; /* -1: any */
    condition when;
    double limit, number;
    bool factor;
} rule;

struct diagnose_priors {
    base_arena *arena;
    rule *rule;
    size_t rules;
    double number[NUMBER_COUNT];
};

static const base_yaml_kind priors_files = {"priors files", "set of priors",
                                            "`numbers:` and `weights:`"};
static const char *const top_keys[] = {"about", "numbers", "weights", "factors", NULL};
static const char *const number_keys[] = {"value", "ground", NULL};
static const char *const rule_keys[] = {"part",  "kind",  "mode",   "weight", "when",
                                        "limit", "times", "ground", NULL};

static int find_word(const char *const *names, size_t count, const char *text) {
    for (size_t i = 0; i < count; i++)
        if (names[i] && strcasecmp(names[i], text) == 0) return (int)i;
    return -1;
}

/* A finite number, not negative; NAN with a complaint otherwise, NAN alone where there is none. */
static double read_number(base_yaml *file, const base_yaml_items *map, const char *key) {
    const base_yaml_item *item = base_yaml_find(map, key);
    double number;
    if (!item || !base_yaml_value(file, item, map->who, BASE_NUMBER, &number)) return NAN;
    if (isfinite(number) && number >= 0) return number;
    base_yaml_complain(file, BASE_VALUE, item->at,
                       "%g cannot be a weight or a spread|write a number that is not negative",
                       number);
    return NAN;
}

static void need_ground(base_yaml *file, const base_yaml_items *map) {
    const base_yaml_item *ground = base_yaml_find(map, "ground");
    if (ground)
        base_yaml_text(file, ground, map->who);
    else
        base_yaml_complain(file, BASE_SYNTAX, map->at,
                           "a figure without its ground|add ground: where it comes from");
}

static double read_named_number(base_yaml *file, const base_yaml_item *entry) {
    base_yaml_items map = {.who = entry->key};
    if (!base_yaml_map(file, entry, &map)) return NAN;
    base_yaml_check_keys(file, &map, number_keys);
    need_ground(file, &map);
    return read_number(file, &map, "value");
}

static void read_numbers(base_yaml *file, diagnose_priors *priors, const base_yaml_item *item) {
    base_yaml_items numbers = {.who = "numbers"};
    if (!base_yaml_map(file, item, &numbers)) return;
    base_yaml_check_keys(file, &numbers, number_names);
    for (int i = 0; i < NUMBER_COUNT; i++) {
        const base_yaml_item *entry = base_yaml_find(&numbers, number_names[i]);
        if (entry) priors->number[i] = read_named_number(file, entry);
    }
}

/* Looks a key's word up; -1 where it is not given, or with a complaint when it is not known. */
static int read_word(base_yaml *file, const base_yaml_items *map, const char *key,
                     const char *const *names, size_t count) {
    const base_yaml_item *item = base_yaml_find(map, key);
    const char *text = item ? base_yaml_text(file, item, map->who) : NULL;
    int index = text ? find_word(names, count, text) : -1;
    if (index >= 0 || !text) return index;
    const char *near = base_nearest_name(text, names, count);
    base_yaml_complain(file, BASE_UNKNOWN, item->at, "%s is no %s that is known|did you mean %s?",
                       base_yaml_show(file, text), key, near ? near : names[0]);
    return -1;
}

typedef struct word_lists {
    const char *sort[SORT_COUNT], *mode[DIAGNOSE_MODES], *kind[CIRCUIT_MATERIALS];
} word_lists;

static void fill_words(word_lists *words) {
    for (int i = 0; i < SORT_COUNT; i++)
        words->sort[i] = diagnose_sort_name((diagnose_sort)i);
    for (int i = 0; i < DIAGNOSE_MODES; i++)
        words->mode[i] = diagnose_mode_key((diagnose_mode)i);
    for (int i = 0; i < CIRCUIT_MATERIALS; i++)
        words->kind[i] = circuit_material_name((circuit_material)i);
}

static void read_limit(base_yaml *file, const base_yaml_items *map, rule *rule) {
    const base_yaml_item *item = base_yaml_find(map, "limit");
    base_quantity quantity = rule->when == OHMS_ABOVE ? BASE_OHMS : BASE_VOLTS;
    if (item) base_yaml_value(file, item, map->who, quantity, &rule->limit);
}

static void check_rule(base_yaml *file, const rule *rule, base_place place) {
    if (rule->sort < 0 || isnan(rule->number))
        base_yaml_complain(file, BASE_SYNTAX, place,
                           "a rule needs part and %s|write {part: resistor, mode: open, ...}",
                           rule->factor ? "times" : "weight");
    else if (!rule->factor && rule->mode < 0)
        base_yaml_complain(file, BASE_SYNTAX, place,
                           "a weight needs a mode|add mode: open, or which one is meant");
    else if (rule->mode >= 0 && !diagnose_can((diagnose_sort)rule->sort, (diagnose_mode)rule->mode))
        base_yaml_complain(file, BASE_VALUE, place,
                           "a %s cannot be %s in this catalogue|take the rule out",
                           diagnose_sort_name((diagnose_sort)rule->sort),
                           diagnose_mode_key((diagnose_mode)rule->mode));
}

static void read_rule(base_yaml *file, const word_lists *words, const base_yaml_item *item,
                      rule *rule) {
    base_yaml_items map = {.who = "a rule"};
    if (!base_yaml_map(file, item, &map)) return;
    base_yaml_check_keys(file, &map, rule_keys);
    rule->sort = read_word(file, &map, "part", words->sort, SORT_COUNT);
    rule->kind = read_word(file, &map, "kind", words->kind, CIRCUIT_MATERIALS);
    rule->mode = read_word(file, &map, "mode", words->mode, DIAGNOSE_MODES);
    int when = read_word(file, &map, "when", condition_names, CONDITIONS);
    rule->when = when < 0 ? ALWAYS : (condition)when;
    rule->number = read_number(file, &map, rule->factor ? "times" : "weight");
    read_limit(file, &map, rule);
    need_ground(file, &map);
    check_rule(file, rule, map.at);
}

static void read_rules(base_yaml *file, diagnose_priors *priors, const base_yaml_item *item,
                       bool factor) {
    base_yaml_items list = {.who = "the file"};
    if (!base_yaml_list(file, item, &list)) return;
    size_t total = priors->rules + list.items;
    rule *rules = base_yaml_take(file, total + 1, sizeof *rules);
    if (!rules) return;
    if (priors->rules) memcpy(rules, priors->rule, priors->rules * sizeof *rules);
    priors->rule = rules;
    word_lists words;
    fill_words(&words);
    for (size_t i = 0; i < list.items; i++) {
        rule *rule = &rules[priors->rules++];
        *rule = (struct rule){.sort = -1, .kind = -1, .mode = -1, .number = NAN, .factor = factor};
        read_rule(file, &words, &list.item[i], rule);
    }
}

static void read_top(base_yaml *file, diagnose_priors *priors, const base_yaml_item *root) {
    base_yaml_items top = {.who = root->key};
    if (!base_yaml_map(file, root, &top)) return;
    const base_yaml_item *numbers = base_yaml_find(&top, "numbers"),
                         *weights = base_yaml_find(&top, "weights"),
                         *factors = base_yaml_find(&top, "factors");
    base_yaml_check_keys(file, &top, top_keys);
    if (numbers) read_numbers(file, priors, numbers);
    if (weights) read_rules(file, priors, weights, false);
    if (factors) read_rules(file, priors, factors, true);
}

static bool has_weight(const diagnose_priors *priors, int sort, int mode) {
    for (size_t i = 0; i < priors->rules; i++) {
        const rule *rule = &priors->rule[i];
        if (!rule->factor && rule->sort == sort && rule->mode == mode && rule->kind < 0)
            return true;
    }
    return false;
}

/* Every number and every mode of every sort must have its figure: none is guessed. */
static void check_complete(base_yaml *file, const diagnose_priors *priors) {
    base_place place = {.file = file->file};
    for (int i = 0; i < NUMBER_COUNT; i++)
        if (isnan(priors->number[i]))
            base_yaml_complain(file, BASE_VALUE, place,
                               "no number for %s|add it under numbers, with its ground",
                               number_names[i]);
    for (int sort = 0; sort < SORT_COUNT; sort++)
        for (int mode = 0; mode < DIAGNOSE_MODES; mode++)
            if (diagnose_can((diagnose_sort)sort, (diagnose_mode)mode) &&
                !has_weight(priors, sort, mode))
                base_yaml_complain(
                    file, BASE_VALUE, place,
                    "no weight for a %s that is %s|add one without kind under weights",
                    diagnose_sort_name((diagnose_sort)sort),
                    diagnose_mode_key((diagnose_mode)mode));
}

static void read_all(base_yaml *file, diagnose_priors *priors, const char *text, size_t length) {
    base_yaml_item root;
    for (int i = 0; i < NUMBER_COUNT; i++)
        priors->number[i] = NAN;
    if (base_yaml_open(file, text, length, &root)) read_top(file, priors, &root);
    if (file->worst == BASE_OK) check_complete(file, priors);
    base_yaml_close(file);
}

diagnose_priors *diagnose_priors_read(const char *file, const char *text, size_t length,
                                      base_errors *errors) {
    base_arena *arena = base_arena_new();
    diagnose_priors *priors = arena ? base_arena_take(arena, 1, sizeof *priors) : NULL;
    base_yaml yaml = {.kind = &priors_files, .file = file, .arena = arena, .errors = errors};
    if (priors) {
        priors->arena = arena;
        read_all(&yaml, priors, text, length);
    } else {
        base_yaml_no_memory(&yaml);
    }
    if (yaml.worst == BASE_OK) return priors;
    base_arena_free(arena);
    return NULL;
}

void diagnose_priors_free(diagnose_priors *priors) {
    if (priors) base_arena_free(priors->arena);
}

double diagnose_number_of(const diagnose_priors *priors, diagnose_number number) {
    return priors->number[number];
}

static bool holds(const rule *rule, const diagnose_stress *stress) {
    const circuit_part *part = stress->part;
    switch (rule->when) {
    case ALWAYS:
        return true;
    case ORIGINAL:
        return part && part->original == 1;
    case REPLACED:
        return part && part->original == 0;
    case OHMS_ABOVE:
        return part && part->value > rule->limit;
    case VOLTS_ABOVE:
        return fabs(stress->volts) > rule->limit;
    default:
        return false;
    }
}

/* The first weight that matches, times every factor that matches. */
double diagnose_weight(const diagnose_priors *priors, const diagnose_stress *stress,
                       diagnose_mode mode) {
    double weight = 0, times = 1;
    bool found = false;
    for (size_t i = 0; i < priors->rules; i++) {
        const rule *rule = &priors->rule[i];
        bool kind = rule->kind < 0 ||
                    (stress->part && stress->part->material == (circuit_material)rule->kind);
        if (rule->sort != (int)stress->sort || !kind) continue;
        if (rule->mode >= 0 && rule->mode != (int)mode) continue;
        if (!holds(rule, stress)) continue;
        if (rule->factor) {
            times *= rule->number;
        } else if (!found) {
            weight = rule->number;
            found = true;
        }
    }
    return weight * times;
}
