/* A file's values as its readers want them: mappings of unlike keys, lists, single values. */
#include "base.h"

#include <math.h>
#include <string.h>
#include <strings.h>

#define ITEMS_MOST 1000 /* in one mapping or list */

/* ---- complaints and memory ----------------------------------------------------------------- */

base_code base_yaml_note(base_yaml *yaml, base_code code) {
    if (yaml->worst == BASE_OK && code != BASE_SUSPICIOUS) yaml->worst = code;
    return code;
}

base_code base_yaml_complain(base_yaml *yaml, base_code code, base_place place, const char *format,
                             ...) {
    va_list arguments;
    va_start(arguments, format);
    base_errors_add_list(yaml->errors, code, place, format, arguments);
    va_end(arguments);
    return base_yaml_note(yaml, code);
}

void base_yaml_no_memory(base_yaml *yaml) {
    if (!yaml->no_memory)
        base_yaml_complain(yaml, BASE_MEMORY, (base_place){yaml->file, 0, 0},
                           "no memory is left to read it|close other programs");
    yaml->no_memory = true;
}

void *base_yaml_take(base_yaml *yaml, size_t count, size_t size) {
    void *block = base_arena_take(yaml->arena, count, size);
    if (!block) base_yaml_no_memory(yaml);
    return block;
}

const char *base_yaml_print(base_yaml *yaml, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    const char *text = base_arena_print_list(yaml->arena, format, arguments);
    va_end(arguments);
    if (!text) base_yaml_no_memory(yaml);
    return text ? text : "?";
}

const char *base_yaml_show(base_yaml *yaml, const char *text) {
    enum { MOST = 60 };
    size_t length = strlen(text), keep = length < MOST ? length : MOST;
    while (keep < length && keep > 0 && ((unsigned char)text[keep] & 0xC0) == 0x80)
        keep--; /* do not cut a character in two */
    char *shown = base_yaml_take(yaml, keep + 4, 1);
    if (!shown) return "?";
    for (size_t i = 0; i < keep; i++) {
        unsigned char c = (unsigned char)text[i];
        shown[i] = c < ' ' || c == 0x7F ? ' ' : c == '|' ? '/' : (char)c;
    }
    if (keep < length) strcpy(shown + keep, "...");
    return shown;
}

/* ---- items --------------------------------------------------------------------------------- */

/* Where complaints of a value point: at it when it is a text, else at its key. */
static base_place place_of(const base_yaml_node *node, base_place otherwise) {
    bool own = node->type == BASE_YAML_TEXT || node->type == BASE_YAML_ALIAS;
    return own && node->at.line ? node->at : otherwise;
}

static bool is_alias(base_yaml *yaml, const base_yaml_node *node, base_place at) {
    if (node->type != BASE_YAML_ALIAS) return false;
    base_yaml_complain(yaml, BASE_SYNTAX, place_of(node, at),
                       "an alias (`*name`) is not used in %s|write the value itself",
                       yaml->kind->files);
    return true;
}

const char *base_yaml_text_of(base_yaml *yaml, const base_yaml_node *node) {
    static const char blanks[] = " \t\r\n";
    if (node->type != BASE_YAML_TEXT) return NULL;
    const char *text = node->text + strspn(node->text, blanks);
    size_t length = strlen(text), keep = length;
    while (keep > 0 && strchr(blanks, text[keep - 1]))
        keep--;
    if (keep == 0) return NULL;
    if (keep == length) return text;
    char *copy = base_yaml_take(yaml, keep + 1, 1);
    if (copy) memcpy(copy, text, keep);
    return copy;
}

const base_yaml_item *base_yaml_find(const base_yaml_items *map, const char *key) {
    for (size_t i = 0; i < map->items; i++)
        if (strcasecmp(map->item[i].key, key) == 0) return &map->item[i];
    return NULL;
}

static void add_pair(base_yaml *yaml, const base_yaml_node *key, base_yaml_items *map) {
    const base_yaml_node *value = key->next;
    base_place at = key->at.line ? key->at : map->at;
    if (is_alias(yaml, key, map->at) || is_alias(yaml, value, at)) return;
    const char *text = base_yaml_text_of(yaml, key);
    const base_yaml_item *first = text && !map->repeats ? base_yaml_find(map, text) : NULL;
    if (!text && !yaml->no_memory)
        base_yaml_complain(yaml, BASE_SYNTAX, at, "a key of %s is no word|write `key: value`",
                           map->who);
    if (first)
        base_yaml_complain(yaml, BASE_SYNTAX, at,
                           "`%s` is given twice in %s, first at line %d|keep one of them, or give "
                           "it another name",
                           base_yaml_show(yaml, text), map->who, first->key_at.line);
    if (text && !first)
        map->item[map->items++] = (base_yaml_item){text, at, value, place_of(value, at)};
}

/* Room for `count` items, each a `what`. */
static bool make_room(base_yaml *yaml, base_yaml_items *of, size_t count, const char *what) {
    if (count > ITEMS_MOST) {
        base_yaml_complain(yaml, BASE_SYNTAX, of->at,
                           "%s has %zu %s, and at most %d are read|is it the right file?", of->who,
                           count, what, ITEMS_MOST);
        return false;
    }
    of->item = base_yaml_take(yaml, count + 1, sizeof *of->item);
    return of->item != NULL;
}

bool base_yaml_map(base_yaml *yaml, const base_yaml_item *item, base_yaml_items *map) {
    map->at = item->at;
    if (is_alias(yaml, item->value, item->key_at)) return false;
    if (item->value->type != BASE_YAML_MAP) {
        base_yaml_complain(yaml, BASE_SYNTAX, map->at,
                           "%s must hold keys with values|write it as `{key: value, ...}`",
                           map->who);
        return false;
    }
    if (!make_room(yaml, map, item->value->count / 2, "keys")) return false;
    for (const base_yaml_node *key = item->value->child; key; key = key->next->next)
        add_pair(yaml, key, map);
    return true;
}

bool base_yaml_list(base_yaml *yaml, const base_yaml_item *item, base_yaml_items *list) {
    bool many = item->value->type == BASE_YAML_LIST;
    list->at = item->at;
    if (item->value->type == BASE_YAML_MAP) {
        base_yaml_complain(yaml, BASE_SYNTAX, item->at,
                           "`%s` of %s must be a list|write it as `[a, b]`",
                           base_yaml_show(yaml, item->key), list->who);
        return false;
    }
    if (!make_room(yaml, list, many ? item->value->count : 1, "entries")) return false;
    if (!many) list->item[list->items++] = *item;
    const base_yaml_node *entry = many ? item->value->child : NULL;
    for (; entry; entry = entry->next) {
        base_place at = entry->at.line ? entry->at : item->at;
        if (is_alias(yaml, entry, at)) return false;
        list->item[list->items++] = (base_yaml_item){item->key, item->key_at, entry, at};
    }
    return true;
}

void base_yaml_unknown(base_yaml *yaml, const base_yaml_items *map, const base_yaml_item *item,
                       const char *const *known, const char *otherwise) {
    size_t count = 0;
    while (known[count])
        count++;
    const char *nearest = base_nearest_name(item->key, known, count);
    const char *shown = base_yaml_show(yaml, item->key);
    if (nearest)
        base_yaml_complain(yaml, BASE_UNKNOWN, item->key_at,
                           "%s has the key `%s`, which is not known|did you mean `%s`?", map->who,
                           shown, nearest);
    else
        base_yaml_complain(yaml, BASE_UNKNOWN, item->key_at,
                           "%s has the key `%s`, which is not known|%s", map->who, shown,
                           otherwise);
}

void base_yaml_check_keys(base_yaml *yaml, const base_yaml_items *map, const char *const *known) {
    for (size_t i = 0; i < map->items; i++) {
        size_t k = 0;
        while (known[k] && strcasecmp(known[k], map->item[i].key) != 0)
            k++;
        if (!known[k]) base_yaml_unknown(yaml, map, &map->item[i], known, "remove it");
    }
}

/* ---- single values ------------------------------------------------------------------------- */

const char *base_yaml_text(base_yaml *yaml, const base_yaml_item *item, const char *who) {
    const char *text = base_yaml_text_of(yaml, item->value);
    if (text || yaml->no_memory) return text;
    base_yaml_complain(yaml, BASE_SYNTAX, item->at,
                       item->value->type == BASE_YAML_TEXT
                           ? "`%s` of %s has no value|write one, or remove the key"
                           : "`%s` of %s must be one value, not a list or a mapping|write one "
                             "value",
                       base_yaml_show(yaml, item->key), who);
    return NULL;
}

bool base_yaml_value(base_yaml *yaml, const base_yaml_item *item, const char *who,
                     base_quantity quantity, double *value) {
    const char *text = base_yaml_text(yaml, item, who);
    *value = NAN;
    if (!text) return false;
    base_code code = base_value_read(text, quantity, item->at, value, yaml->errors);
    return base_yaml_note(yaml, code) == BASE_OK;
}
