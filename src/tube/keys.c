#include "keys_impl.h"

#include <string.h>
#include <strings.h>

size_t tube_read_items(base_yaml *reader, const base_yaml_item *item, bool mapping,
                       base_yaml_item **items) {
    base_yaml_items all = {.who = item->key};
    *items = NULL;
    if (item->value->type != (mapping ? BASE_YAML_MAP : BASE_YAML_LIST))
        base_yaml_complain(reader, BASE_SYNTAX, item->at, "%s must be a %s|write it as %s",
                           item->key, mapping ? "mapping" : "list",
                           mapping ? "{key: value, ...}" : "[one, two, ...]");
    else if (mapping ? base_yaml_map(reader, item, &all) : base_yaml_list(reader, item, &all))
        *items = all.item;
    return *items ? all.items : 0;
}

static void complain_key(base_yaml *reader, const base_yaml_item *item, const tube_key *keys,
                         size_t count) {
    const char *names[count + 1];
    for (size_t i = 0; i < count; i++)
        names[i] = keys[i].name;
    const char *nearest = base_nearest_name(item->key, names, count);
    if (nearest)
        base_yaml_complain(reader, BASE_UNKNOWN, item->at, "unknown key `%s`|did you mean `%s`?",
                           item->key, nearest);
    else
        base_yaml_complain(reader, BASE_UNKNOWN, item->at, "unknown key `%s`|remove it", item->key);
}

void tube_read_map(base_yaml *reader, const base_yaml_item *item, const tube_key *keys,
                   size_t count, void *into) {
    base_yaml_item *pairs;
    size_t items = tube_read_items(reader, item, true, &pairs);
    bool seen[count + 1];
    memset(seen, 0, sizeof seen);
    for (size_t i = 0; i < items; i++) {
        size_t k = 0;
        while (k < count && strcmp(keys[k].name, pairs[i].key))
            k++;
        if (k == count) {
            complain_key(reader, &pairs[i], keys, count);
            continue;
        }
        seen[k] = true;
        keys[k].read(reader, &pairs[i], &keys[k], (char *)into + keys[k].offset);
    }
    for (size_t k = 0; k < count && pairs; k++)
        if (keys[k].needed && !seen[k])
            base_yaml_complain(reader, BASE_SYNTAX, item->at, "%s lacks `%s`|add it", item->key,
                               keys[k].name);
}

void tube_read_text(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                    void *field) {
    (void)key;
    const char *text = base_yaml_text_of(reader, item->value);
    if (text)
        *(const char **)field = text;
    else
        base_yaml_complain(reader, BASE_SYNTAX, item->at,
                           "`%s` has no text|write one value after it", item->key);
}

void tube_read_texts(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                     void *field) {
    base_yaml_item *items;
    size_t count = tube_read_items(reader, item, false, &items);
    const char **texts = base_yaml_take(reader, count + 1, sizeof *texts);
    if (!texts) return;
    for (size_t i = 0; i < count; i++)
        tube_read_text(reader, &items[i], key, &texts[i]);
    *(const char *const **)field = texts;
}

void tube_read_number(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                      void *field) {
    const char *text = NULL;
    double value;
    tube_read_text(reader, item, key, &text);
    if (!text) return;
    base_code code = base_value_read(text, BASE_NUMBER, item->at, &value, reader->errors);
    if (base_yaml_note(reader, code) != BASE_OK) return;
    if (value < key->low || value > key->high)
        base_yaml_complain(reader, BASE_VALUE, item->at, "`%s` is %g|it must lie between %g and %g",
                           item->key, value, key->low, key->high);
    else
        *(double *)field = value;
}

void tube_read_range(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                     void *field) {
    base_yaml_item *items;
    double *range = field;
    size_t count = tube_read_items(reader, item, false, &items);
    for (size_t i = 0; i < count && i < 2; i++)
        tube_read_number(reader, &items[i], key, &range[i]);
    if (items && (count != 2 || !(range[0] <= range[1])))
        base_yaml_complain(reader, BASE_VALUE, item->at,
                           "`%s` is no range|write its two ends, the lower first: [0, 300]",
                           item->key);
}

void tube_read_word(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                    void *field) {
    const char *text = NULL;
    size_t count = 0;
    tube_read_text(reader, item, key, &text);
    if (!text) return;
    for (; key->words[count]; count++)
        if (strcmp(key->words[count], text) == 0) {
            *(int *)field = (int)count;
            return;
        }
    const char *nearest = base_nearest_name(text, key->words, count);
    base_yaml_complain(reader, BASE_UNKNOWN, item->at, "`%s` is no %s|did you mean `%s`?", text,
                       item->key, nearest ? nearest : key->words[0]);
}

void tube_read_yes(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                   void *field) {
    const char *text = NULL;
    tube_read_text(reader, item, key, &text);
    if (!text) return;
    if (strcasecmp(text, "yes") && strcasecmp(text, "no"))
        base_yaml_complain(reader, BASE_VALUE, item->at, "`%s` is `%s`|write yes or no", item->key,
                           text);
    else
        *(bool *)field = strcasecmp(text, "yes") == 0;
}

void tube_read_later(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
                     void *field) {
    (void)reader, (void)key;
    *(base_yaml_item *)field = *item;
}
