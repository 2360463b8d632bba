#include "circuit_impl.h"

#include <math.h>
#include <string.h>
#include <strings.h>

static const field_word yes_no[] = {{"yes", 1}, {"no", 0},  {"true", 1}, {"false", 0},
                                    {"on", 1},  {"off", 0}, {NULL, 0}};

const char *circuit_word_of(const field_word *words, int meaning) {
    for (; words->word; words++)
        if (words->meaning == meaning) return words->word;
    return NULL;
}

static size_t words_count(const field_word *words) {
    size_t count = 0;
    while (words[count].word)
        count++;
    return count;
}

/* The list as a sentence: "linear, audio, log". */
static const char *words_listed(base_yaml *yaml, const field_word *words) {
    size_t length = 1;
    for (const field_word *word = words; word->word; word++)
        length += strlen(word->word) + 2;
    char *text = base_yaml_take(yaml, length, 1);
    if (!text) return "?";
    for (const field_word *word = words; word->word; word++) {
        if (word != words) strcat(text, ", ");
        strcat(text, word->word);
    }
    return text;
}

/* The entry of `words` that `text` is; NULL with a complaint. */
static const field_word *word_read(base_yaml *yaml, const base_yaml_items *map,
                                   const base_yaml_item *item, const field_word *words) {
    const char *text = base_yaml_text(yaml, item, map->who);
    if (!text) return NULL;
    for (const field_word *word = words; word->word; word++)
        if (strcasecmp(word->word, text) == 0) return word;
    size_t count = words_count(words);
    const char **names = base_yaml_take(yaml, count + 1, sizeof *names);
    for (size_t i = 0; names && i < count; i++)
        names[i] = words[i].word;
    const char *nearest = names ? base_nearest_name(text, names, count) : NULL;
    if (nearest)
        base_yaml_complain(yaml, BASE_UNKNOWN, item->at,
                           "%s: `%s` cannot be `%s`|did you mean `%s`?", map->who, item->key,
                           base_yaml_show(yaml, text), nearest);
    else
        base_yaml_complain(yaml, BASE_UNKNOWN, item->at, "%s: `%s` cannot be `%s`|write one of: %s",
                           map->who, item->key, base_yaml_show(yaml, text),
                           words_listed(yaml, words));
    return NULL;
}

static void value_read(base_yaml *yaml, const base_yaml_items *map, const base_yaml_item *item,
                       const field *field, double *out) {
    double value;
    if (!base_yaml_value(yaml, item, map->who, field->quantity, &value)) return;
    if (isfinite(value) && value >= field->least && value <= field->most) {
        *out = value;
        return;
    }
    char least[32], most[32];
    base_value_write(field->least, field->quantity, least, sizeof least);
    base_value_write(field->most, field->quantity, most, sizeof most);
    base_yaml_complain(yaml, BASE_VALUE, item->at,
                       "%s: `%s` of %s makes no sense|write a value from %s to %s", map->who,
                       item->key, base_yaml_show(yaml, base_yaml_text(yaml, item, map->who)), least,
                       most);
}

static void field_read(base_yaml *yaml, const base_yaml_items *map, const base_yaml_item *item,
                       const field *field, void *into) {
    if (field->type == FIELD_LATER) return;
    void *out = (char *)into + field->offset;
    const field_word *word = NULL;
    if (field->type == FIELD_YES || field->type == FIELD_FLAG)
        word = word_read(yaml, map, item, yes_no);
    else if (field->words)
        word = word_read(yaml, map, item, field->words);
    switch (field->type) {
    case FIELD_VALUE:
        value_read(yaml, map, item, field, out);
        break;
    case FIELD_WORDS:
        *(const char **)out = base_yaml_text(yaml, item, map->who);
        break;
    case FIELD_YES:
    case FIELD_WORD:
        if (word) *(int *)out = word->meaning;
        break;
    case FIELD_FLAG:
        if (word) *(bool *)out = word->meaning == 1;
        break;
    case FIELD_REAL:
        if (word) *(double *)out = word->meaning / 100.0;
        break;
    case FIELD_LATER:
        break;
    }
}

static const field *field_find(const field *table, const char *key) {
    for (; table && table->key; table++)
        if (strcasecmp(table->key, key) == 0) return table;
    return NULL;
}

static size_t table_count(const field *table) {
    size_t count = 0;
    while (table && table[count].key)
        count++;
    return count;
}

static void complain_unknown(base_yaml *yaml, const base_yaml_items *map,
                             const base_yaml_item *item, const field *own, const field *common) {
    size_t owns = table_count(own), commons = table_count(common);
    const char **names = base_yaml_take(yaml, owns + commons + 1, sizeof *names);
    if (!names) return;
    for (size_t i = 0; i < owns; i++)
        names[i] = own[i].key;
    for (size_t i = 0; i < commons; i++)
        names[owns + i] = common[i].key;
    base_yaml_unknown(yaml, map, item, names,
                      "remove it; words about it go under `does`, notes behind a `#`");
}

void circuit_fields_read(base_yaml *yaml, const base_yaml_items *map, const field *own,
                         const field *common, void *into) {
    for (size_t i = 0; i < map->items; i++) {
        const base_yaml_item *item = &map->item[i];
        const field *field = field_find(own, item->key);
        if (!field) field = field_find(common, item->key);
        if (field)
            field_read(yaml, map, item, field, into);
        else
            complain_unknown(yaml, map, item, own, common);
    }
    for (const field *field = own; field->key; field++)
        if (field->needed && !base_yaml_find(map, field->key))
            base_yaml_complain(yaml, BASE_SYNTAX, map->at, "%s has no `%s`|write %s", map->who,
                               field->key, field->needed);
}

int circuit_words_of(base_yaml *yaml, const base_yaml_item *item, const char *who,
                     written_word *word, int most) {
    base_yaml_items list = {.who = who};
    if (!base_yaml_list(yaml, item, &list)) return -1;
    for (size_t i = 0; i < list.items; i++) {
        if ((int)i == most) {
            base_yaml_complain(yaml, BASE_SYNTAX, list.item[i].at,
                               "`%s` of %s has more than %d entries|remove what is too many",
                               base_yaml_show(yaml, item->key), who, most);
            return -1;
        }
        word[i] = (written_word){base_yaml_text(yaml, &list.item[i], who), list.item[i].at};
        if (!word[i].text) return -1;
    }
    return (int)list.items;
}
