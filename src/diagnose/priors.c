/* The priors file (data/priors/faults.yaml): how often a part of each sort and kind fails in each
 * way, what makes that likelier, and how far good parts depart from their values. */
#include "diagnose_impl.h"
#include "yaml_impl.h"

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

static const char *const number_names[NUMBER_COUNT] = {
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

static const char *const top_keys[] = {"about", "numbers", "weights", "factors"};
static const char *const number_keys[] = {"value", "ground"};
static const char *const rule_keys[] = {"part", "kind",  "mode",  "weight",
                                        "when", "limit", "times", "ground"};
#define COUNT(array) (sizeof(array) / sizeof *(array))

static int find_word(const char *const *names, size_t count, const char *text) {
    for (size_t i = 0; i < count; i++)
        if (names[i] && strcasecmp(names[i], text) == 0) return (int)i;
    return -1;
}

/* A finite number, not negative; NAN with a complaint otherwise. */
static double read_number(diagnose_yaml *file, struct fy_node *node, base_place place) {
    const char *text = diagnose_yaml_text(file, node);
    double number = NAN;
    if (!text) {
        COMPLAIN(file, BASE_SYNTAX, place, "a number is due here|write one number, such as 0.05");
        return NAN;
    }
    if (base_value_read(text, BASE_NUMBER, place, &number, file->errors) != BASE_OK) {
        file->refused = true;
        return NAN;
    }
    if (isfinite(number) && number >= 0) return number;
    COMPLAIN(file, BASE_VALUE, place,
             "%s cannot be a weight or a spread|write a number that is not negative", text);
    return NAN;
}

static void need_ground(diagnose_yaml *file, const char *ground, base_place place) {
    if (ground && *ground) return;
    COMPLAIN(file, BASE_SYNTAX, place,
             "a figure without its ground|add ground: where it comes from");
}

static void read_named_number(diagnose_yaml *file, diagnose_priors *priors,
                              const diagnose_yaml_pair *entry) {
    int index = find_word(number_names, NUMBER_COUNT, entry->key);
    if (index < 0) {
        diagnose_yaml_unknown_key(file, entry, number_names, NUMBER_COUNT);
        return;
    }
    const char *ground = NULL;
    diagnose_yaml_pair pair = {0};
    while (diagnose_yaml_next(file, entry->value, &pair)) {
        if (strcasecmp(pair.key, "value") == 0)
            priors->number[index] = read_number(file, pair.value, pair.place);
        else if (strcasecmp(pair.key, "ground") == 0)
            ground = diagnose_yaml_text(file, pair.value);
        else
            diagnose_yaml_unknown_key(file, &pair, number_keys, COUNT(number_keys));
    }
    need_ground(file, ground, entry->place);
}

static void read_numbers(diagnose_yaml *file, diagnose_priors *priors, struct fy_node *numbers) {
    diagnose_yaml_pair pair = {0};
    while (diagnose_yaml_next(file, numbers, &pair)) {
        if (fy_node_is_mapping(pair.value))
            read_named_number(file, priors, &pair);
        else
            COMPLAIN(file, BASE_SYNTAX, pair.place,
                     "%.60s has no value|write {value: 0.05, ground: why}", pair.key);
    }
}

/* Looks a word up and complains of one that is not known. */
static int read_word(diagnose_yaml *file, const diagnose_yaml_pair *pair, const char *const *names,
                     size_t count) {
    const char *text = diagnose_yaml_text(file, pair->value);
    int index = text ? find_word(names, count, text) : -1;
    if (index >= 0) return index;
    const char *near = text ? base_nearest_name(text, names, count) : NULL;
    COMPLAIN(file, BASE_UNKNOWN, pair->place, "%.60s is no %s that is known|did you mean %s?",
             text ? text : "this", pair->key, near ? near : names[0]);
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

static void read_rule_key(diagnose_yaml *file, const word_lists *words,
                          const diagnose_yaml_pair *pair, rule *rule) {
    switch (find_word(rule_keys, COUNT(rule_keys), pair->key)) {
    case 0:
        rule->sort = read_word(file, pair, words->sort, SORT_COUNT);
        break;
    case 1:
        rule->kind = read_word(file, pair, words->kind, CIRCUIT_MATERIALS);
        break;
    case 2:
        rule->mode = read_word(file, pair, words->mode, DIAGNOSE_MODES);
        break;
    case 3:
    case 6:
        rule->number = read_number(file, pair->value, pair->place);
        break;
    case 4:
        rule->when = (condition)read_word(file, pair, condition_names, CONDITIONS);
        break;
    case 5: {
        const char *text = diagnose_yaml_text(file, pair->value);
        base_quantity quantity = rule->when == OHMS_ABOVE ? BASE_OHMS : BASE_VOLTS;
        if (!text ||
            base_value_read(text, quantity, pair->place, &rule->limit, file->errors) != BASE_OK)
            file->refused = true;
        break;
    }
    case 7:
        break;
    default:
        diagnose_yaml_unknown_key(file, pair, rule_keys, COUNT(rule_keys));
    }
}

static void check_rule(diagnose_yaml *file, const rule *rule, base_place place) {
    if (rule->sort < 0 || isnan(rule->number))
        COMPLAIN(file, BASE_SYNTAX, place,
                 "a rule needs part and %s|write {part: resistor, mode: open, ...}",
                 rule->factor ? "times" : "weight");
    else if (!rule->factor && rule->mode < 0)
        COMPLAIN(file, BASE_SYNTAX, place,
                 "a weight needs a mode|add mode: open, or which one is meant");
    else if (rule->mode >= 0 && !diagnose_can((diagnose_sort)rule->sort, (diagnose_mode)rule->mode))
        COMPLAIN(file, BASE_VALUE, place, "a %s cannot be %s in this catalogue|take the rule out",
                 diagnose_sort_name((diagnose_sort)rule->sort),
                 diagnose_mode_key((diagnose_mode)rule->mode));
}

static void read_rule(diagnose_yaml *file, const word_lists *words, struct fy_node *node,
                      rule *rule) {
    base_place place = diagnose_yaml_place(file, node);
    bool factor = rule->factor;
    *rule = (struct rule){.sort = -1, .kind = -1, .mode = -1, .number = NAN, .factor = factor};
    if (!fy_node_is_mapping(node)) {
        COMPLAIN(file, BASE_SYNTAX, place,
                 "a rule is due here|write {part: resistor, mode: open, weight: 1, "
                 "ground: why}");
        return;
    }
    const char *ground = NULL;
    diagnose_yaml_pair pair = {0};
    while (diagnose_yaml_next(file, node, &pair)) {
        read_rule_key(file, words, &pair, rule);
        if (strcasecmp(pair.key, "ground") == 0) ground = diagnose_yaml_text(file, pair.value);
    }
    need_ground(file, ground, place);
    check_rule(file, rule, place);
}

static void read_rules(diagnose_yaml *file, diagnose_priors *priors, struct fy_node *list,
                       bool factor) {
    int count = fy_node_is_sequence(list) ? fy_node_sequence_item_count(list) : 0;
    size_t total = priors->rules + (size_t)(count > 0 ? count : 0);
    rule *rules = base_arena_take(priors->arena, total, sizeof *rules);
    if (!rules) {
        diagnose_yaml_no_memory(file);
        return;
    }
    if (priors->rules) memcpy(rules, priors->rule, priors->rules * sizeof *rules);
    priors->rule = rules;
    word_lists words;
    fill_words(&words);
    void *iterator = NULL;
    struct fy_node *node;
    while (count > 0 && (node = fy_node_sequence_iterate(list, &iterator))) {
        rules[priors->rules].factor = factor;
        read_rule(file, &words, node, &rules[priors->rules++]);
    }
}

static void read_top(diagnose_yaml *file, diagnose_priors *priors) {
    diagnose_yaml_pair pair = {0};
    while (diagnose_yaml_next(file, file->root, &pair)) {
        switch (find_word(top_keys, COUNT(top_keys), pair.key)) {
        case 0:
            break;
        case 1:
            if (fy_node_is_mapping(pair.value)) read_numbers(file, priors, pair.value);
            break;
        case 2:
            read_rules(file, priors, pair.value, false);
            break;
        case 3:
            read_rules(file, priors, pair.value, true);
            break;
        default:
            diagnose_yaml_unknown_key(file, &pair, top_keys, COUNT(top_keys));
        }
    }
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
static void check_complete(diagnose_yaml *file, const diagnose_priors *priors) {
    base_place place = {.file = file->name};
    for (int i = 0; i < NUMBER_COUNT; i++)
        if (isnan(priors->number[i]))
            COMPLAIN(file, BASE_VALUE, place,
                     "no number for %s|add it under numbers, with its ground", number_names[i]);
    for (int sort = 0; sort < SORT_COUNT; sort++)
        for (int mode = 0; mode < DIAGNOSE_MODES; mode++)
            if (diagnose_can((diagnose_sort)sort, (diagnose_mode)mode) &&
                !has_weight(priors, sort, mode))
                COMPLAIN(file, BASE_VALUE, place,
                         "no weight for a %s that is %s|add one without kind under weights",
                         diagnose_sort_name((diagnose_sort)sort),
                         diagnose_mode_key((diagnose_mode)mode));
}

static void read_all(diagnose_yaml *file, diagnose_priors *priors, const char *text,
                     size_t length) {
    if (!diagnose_yaml_open(file, text, length)) return;
    if (!fy_node_is_mapping(file->root)) {
        COMPLAIN(file, BASE_SYNTAX, diagnose_yaml_place(file, file->root),
                 "a priors file is a mapping|begin with numbers: and weights:");
    } else {
        read_top(file, priors);
        if (!file->refused) check_complete(file, priors);
    }
    diagnose_yaml_close(file);
}

diagnose_priors *diagnose_priors_read(const char *file, const char *text, size_t length,
                                      base_errors *errors) {
    base_arena *arena = base_arena_new();
    diagnose_priors *priors = arena ? base_arena_take(arena, 1, sizeof *priors) : NULL;
    diagnose_yaml yaml = {.name = file, .errors = errors, .arena = arena};
    if (!priors) {
        diagnose_yaml_no_memory(&yaml);
    } else {
        priors->arena = arena;
        for (int i = 0; i < NUMBER_COUNT; i++)
            priors->number[i] = NAN;
        read_all(&yaml, priors, text, length);
    }
    if (!yaml.refused) return priors;
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
