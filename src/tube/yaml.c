#include "yaml_impl.h"

#include <string.h>
#include <strings.h>

void tube_complained(tube_reader *reader, base_code code) {
    if (reader->worst == BASE_OK && code != BASE_SUSPICIOUS) reader->worst = code;
}

void *tube_take(tube_reader *reader, size_t count, size_t size) {
    void *block = base_arena_take(reader->arena, count, size);
    if (!block)
        TUBE_COMPLAIN(reader, BASE_MEMORY, ((base_place){reader->file, 0, 0}),
                      "no memory is left to read the tube's file|close other programs");
    return block;
}

/* ---- the document ---------------------------------------------------------------------------- */

/* The library's errors are collected; what it would print beside them is dropped. */
static void print_nothing(struct fy_diag *diag, void *user, const char *text, size_t length) {
    (void)diag, (void)user, (void)text, (void)length;
}

static struct fy_diag *diag_new(void) {
    struct fy_diag_cfg cfg;
    fy_diag_cfg_default(&cfg);
    cfg.fp = NULL;
    cfg.output_fn = print_nothing;
    cfg.level = FYET_ERROR;
    struct fy_diag *diag = fy_diag_create(&cfg);
    if (diag) fy_diag_set_collect_errors(diag, true);
    return diag;
}

static void complain_syntax(tube_reader *reader, struct fy_diag *diag) {
    void *iterator = NULL;
    struct fy_diag_error *error = fy_diag_errors_iterate(diag, &iterator);
    base_place place = {reader->file, 1, 1};
    if (error && error->line > 0) place.line = error->line;
    if (error && error->column > 0) place.column = error->column;
    TUBE_COMPLAIN(
        reader, BASE_SYNTAX, place,
        "this is not YAML: %s|check the indentation, colons, brackets and quotes here and "
        "on the line above, or write the file again with tools/tubefit",
        error && error->msg ? error->msg : "the text cannot be read");
}

/* The parser's one document; a second would be lost without a word, so it is refused. */
static struct fy_document *load(tube_reader *reader, struct fy_parser *parser,
                                struct fy_diag *diag) {
    struct fy_document *document = fy_parse_load_document(parser);
    struct fy_document *second = document ? fy_parse_load_document(parser) : NULL;
    if (second)
        TUBE_COMPLAIN(reader, BASE_SYNTAX, ((base_place){reader->file, 1, 1}),
                      "the file holds more than one document|one tube type, one file: split it");
    else if (!document || fy_diag_got_error(diag))
        complain_syntax(reader, diag);
    fy_parse_document_destroy(parser, second);
    if (reader->worst == BASE_OK) return document;
    fy_parse_document_destroy(parser, document);
    return NULL;
}

static bool readable(tube_reader *reader, const char *text, size_t length) {
    base_place top = {reader->file, 1, 1};
    if (length > TUBE_FILE_MOST)
        TUBE_COMPLAIN(
            reader, BASE_SYNTAX, top,
            "the file is %zu kB long, and a tube type takes at most %d kB|is it the right "
            "file?",
            length / 1024, TUBE_FILE_MOST / 1024);
    else if (memchr(text, 0, length))
        TUBE_COMPLAIN(reader, BASE_SYNTAX, top,
                      "the file holds a zero byte: it is no text|is it the right file?");
    return reader->worst == BASE_OK;
}

static struct fy_document *parse(tube_reader *reader, const char *text, size_t length) {
    struct fy_diag *diag = diag_new();
    struct fy_parse_cfg cfg = {.flags = FYPCF_QUIET | FYPCF_DISABLE_MMAP_OPT, .diag = diag};
    struct fy_parser *parser = diag ? fy_parser_create(&cfg) : NULL;
    struct fy_document *document = NULL;
    if (!parser || fy_parser_set_string(parser, text, length))
        TUBE_COMPLAIN(reader, BASE_MEMORY, ((base_place){reader->file, 0, 0}),
                      "no memory is left to read the tube's file|close other programs");
    else
        document = load(reader, parser, diag);
    if (parser) fy_parser_destroy(parser);
    if (diag) fy_diag_destroy(diag);
    return document;
}

struct fy_document *tube_yaml_open(tube_reader *reader, const char *text, size_t length,
                                   tube_item *root) {
    if (!readable(reader, text, length)) return NULL;
    struct fy_document *document = parse(reader, text, length);
    *root =
        (tube_item){document ? fy_document_root(document) : NULL, {reader->file, 1, 1}, "the file"};
    return document;
}

/* ---- values ---------------------------------------------------------------------------------- */

static base_place place_of(const tube_reader *reader, struct fy_node *node, base_place otherwise) {
    struct fy_token *token = node ? fy_node_get_scalar_token(node) : NULL;
    const struct fy_mark *mark = token ? fy_token_start_mark(token) : NULL;
    return mark ? (base_place){reader->file, mark->line + 1, mark->column + 1} : otherwise;
}

/* A copy of a scalar; NULL where the node is none (an alias is none), or empty. */
static const char *scalar(tube_reader *reader, struct fy_node *node) {
    size_t length = 0;
    const char *text = node && fy_node_is_scalar(node) && !fy_node_is_alias(node)
                           ? fy_node_get_scalar(node, &length)
                           : NULL;
    char *copy = text && length ? tube_take(reader, length + 1, 1) : NULL;
    if (copy) memcpy(copy, text, length);
    return copy;
}

/* Adds a pair's or a list entry's item; false with a complaint where the key is no word. */
static bool add_item(tube_reader *reader, const tube_item *parent, struct fy_node *key,
                     struct fy_node *node, tube_item *item) {
    base_place key_place = place_of(reader, key, parent->place);
    item->key = key ? scalar(reader, key) : parent->key;
    item->node = node;
    item->place = place_of(reader, node, key_place);
    if (!item->key)
        TUBE_COMPLAIN(reader, BASE_SYNTAX, key_place, "a key in %s is no word|write `key: value`",
                      parent->key);
    return item->key != NULL;
}

size_t tube_read_items(tube_reader *reader, const tube_item *item, bool mapping,
                       tube_item **items) {
    struct fy_node *node = item->node;
    size_t count = 0;
    *items = NULL;
    if (!node || fy_node_is_alias(node) ||
        !(mapping ? fy_node_is_mapping(node) : fy_node_is_sequence(node))) {
        TUBE_COMPLAIN(reader, BASE_SYNTAX, item->place, "%s must be a %s|write it as %s", item->key,
                      mapping ? "mapping" : "list",
                      mapping ? "{key: value, ...}" : "[one, two, ...]");
        return 0;
    }
    *items = tube_take(reader, TUBE_ITEMS_MOST, sizeof **items);
    void *at = NULL;
    while (*items && count < TUBE_ITEMS_MOST) {
        struct fy_node_pair *pair = mapping ? fy_node_mapping_iterate(node, &at) : NULL;
        struct fy_node *key = pair ? fy_node_pair_key(pair) : NULL;
        struct fy_node *value = pair      ? fy_node_pair_value(pair)
                                : mapping ? NULL
                                          : fy_node_sequence_iterate(node, &at);
        if (!pair && !value) return count;
        if (add_item(reader, item, key, value, &(*items)[count])) count++;
    }
    TUBE_COMPLAIN(reader, BASE_SYNTAX, item->place,
                  "%s holds over %d entries|is it the right file?", item->key, TUBE_ITEMS_MOST - 1);
    return 0;
}

static void complain_key(tube_reader *reader, const tube_item *item, const tube_key *keys,
                         size_t count) {
    const char *names[count + 1];
    for (size_t i = 0; i < count; i++)
        names[i] = keys[i].name;
    const char *nearest = base_nearest_name(item->key, names, count);
    if (nearest)
        TUBE_COMPLAIN(reader, BASE_UNKNOWN, item->place, "unknown key `%s`|did you mean `%s`?",
                      item->key, nearest);
    else
        TUBE_COMPLAIN(reader, BASE_UNKNOWN, item->place, "unknown key `%s`|remove it", item->key);
}

void tube_read_map(tube_reader *reader, const tube_item *item, const tube_key *keys, size_t count,
                   void *into) {
    tube_item *pairs;
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
            TUBE_COMPLAIN(reader, BASE_SYNTAX, item->place, "%s lacks `%s`|add it", item->key,
                          keys[k].name);
}

void tube_read_text(tube_reader *reader, const tube_item *item, const tube_key *key, void *field) {
    (void)key;
    const char *text = scalar(reader, item->node);
    if (text)
        *(const char **)field = text;
    else
        TUBE_COMPLAIN(reader, BASE_SYNTAX, item->place, "`%s` has no text|write one value after it",
                      item->key);
}

void tube_read_texts(tube_reader *reader, const tube_item *item, const tube_key *key, void *field) {
    tube_item *items;
    size_t count = tube_read_items(reader, item, false, &items);
    const char **texts = tube_take(reader, count + 1, sizeof *texts);
    if (!texts) return;
    for (size_t i = 0; i < count; i++)
        tube_read_text(reader, &items[i], key, &texts[i]);
    *(const char *const **)field = texts;
}

void tube_read_number(tube_reader *reader, const tube_item *item, const tube_key *key,
                      void *field) {
    const char *text = NULL;
    double value;
    tube_read_text(reader, item, key, &text);
    if (!text) return;
    base_code code = base_value_read(text, BASE_NUMBER, item->place, &value, reader->errors);
    if (code != BASE_OK)
        tube_complained(reader, code);
    else if (value < key->low || value > key->high)
        TUBE_COMPLAIN(reader, BASE_VALUE, item->place, "`%s` is %g|it must lie between %g and %g",
                      item->key, value, key->low, key->high);
    else
        *(double *)field = value;
}

void tube_read_range(tube_reader *reader, const tube_item *item, const tube_key *key, void *field) {
    tube_item *items;
    double *range = field;
    size_t count = tube_read_items(reader, item, false, &items);
    for (size_t i = 0; i < count && i < 2; i++)
        tube_read_number(reader, &items[i], key, &range[i]);
    if (items && (count != 2 || !(range[0] <= range[1])))
        TUBE_COMPLAIN(reader, BASE_VALUE, item->place,
                      "`%s` is no range|write its two ends, the lower first: [0, 300]", item->key);
}

void tube_read_word(tube_reader *reader, const tube_item *item, const tube_key *key, void *field) {
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
    TUBE_COMPLAIN(reader, BASE_UNKNOWN, item->place, "`%s` is no %s|did you mean `%s`?", text,
                  item->key, nearest ? nearest : key->words[0]);
}

void tube_read_yes(tube_reader *reader, const tube_item *item, const tube_key *key, void *field) {
    const char *text = NULL;
    tube_read_text(reader, item, key, &text);
    if (!text) return;
    if (strcasecmp(text, "yes") && strcasecmp(text, "no"))
        TUBE_COMPLAIN(reader, BASE_VALUE, item->place, "`%s` is `%s`|write yes or no", item->key,
                      text);
    else
        *(bool *)field = strcasecmp(text, "yes") == 0;
}

void tube_read_later(tube_reader *reader, const tube_item *item, const tube_key *key, void *field) {
    (void)reader, (void)key;
    *(tube_item *)field = *item;
}
