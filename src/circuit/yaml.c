#include "yaml_impl.h"

#include <string.h>
#include <strings.h>

base_code circuit_refuse(yaml_reader *yaml, base_code code) {
    if (code != BASE_SUSPICIOUS && code != BASE_OK) yaml->refused = true;
    return code;
}

void *circuit_take(yaml_reader *yaml, size_t count, size_t size) {
    void *block = base_arena_take(yaml->arena, count, size);
    if (!block) yaml->no_memory = yaml->refused = true;
    return block;
}

const char *circuit_show(yaml_reader *yaml, const char *text) {
    enum { MOST = 60 };
    size_t length = strlen(text), keep = length < MOST ? length : MOST;
    while (keep < length && keep > 0 && ((unsigned char)text[keep] & 0xC0) == 0x80)
        keep--; /* do not cut a character in two */
    char *shown = circuit_take(yaml, keep + 4, 1);
    if (!shown) return "?";
    for (size_t i = 0; i < keep; i++) {
        unsigned char c = (unsigned char)text[i];
        shown[i] = c < ' ' || c == 0x7F ? ' ' : c == '|' ? '/' : (char)c;
    }
    if (keep < length) strcpy(shown + keep, "...");
    return shown;
}

/* ---- the bytes ------------------------------------------------------------------------------- */

/* Length of the UTF-8 character at p (RFC 3629, section 4), or 0 if it is none. */
static size_t character(const unsigned char *p, size_t left) {
    if (p[0] < 0x80) return 1;
    size_t length = p[0] >= 0xC2 && p[0] < 0xE0   ? 2
                    : p[0] >= 0xE0 && p[0] < 0xF0 ? 3
                    : p[0] >= 0xF0 && p[0] < 0xF5 ? 4
                                                  : 0;
    if (length == 0 || length > left) return 0;
    for (size_t i = 1; i < length; i++)
        if ((p[i] & 0xC0) != 0x80) return 0;
    if (p[0] == 0xE0 && p[1] < 0xA0) return 0;
    if (p[0] == 0xED && p[1] > 0x9F) return 0;
    if (p[0] == 0xF0 && p[1] < 0x90) return 0;
    if (p[0] == 0xF4 && p[1] > 0x8F) return 0;
    return length;
}

static bool bytes_are_text(yaml_reader *yaml, const char *text, size_t length) {
    base_place at = {yaml->file, 1, 1};
    for (size_t i = 0; i < length; at.column++) {
        const unsigned char *p = (const unsigned char *)text + i;
        size_t step = character(p, length - i);
        if (step == 0 || *p == 0) {
            COMPLAIN(yaml, BASE_SYNTAX, at,
                     step == 0 ? "a byte that is no UTF-8 text|save the file as UTF-8 text"
                               : "a zero byte: this is no text|save the file as plain text");
            return false;
        }
        if (*p == '\n') at = (base_place){yaml->file, at.line + 1, 0};
        i += step;
    }
    return true;
}

static bool bytes_are_blank(const char *text, size_t length) {
    bool comment = false;
    for (size_t i = 0; i < length; i++) {
        if (text[i] == '\n') comment = false;
        if (text[i] == '#') comment = true;
        if (!comment && !strchr(" \t\r\n", text[i])) return false;
    }
    return true;
}

/* ---- the document ---------------------------------------------------------------------------- */

/* The library's own errors are collected; what it would print beside them is dropped. */
static void print_nothing(struct fy_diag *diag, void *user, const char *text, size_t length) {
    (void)diag, (void)user, (void)text, (void)length;
}

struct fy_diag *circuit_diag_new(void) {
    struct fy_diag_cfg cfg;
    fy_diag_cfg_default(&cfg);
    cfg.fp = NULL;
    cfg.output_fn = print_nothing;
    cfg.level = FYET_ERROR;
    struct fy_diag *diag = fy_diag_create(&cfg);
    if (diag) fy_diag_set_collect_errors(diag, true);
    return diag;
}

static void complain_syntax(yaml_reader *yaml, struct fy_diag *diag) {
    static const char remedy[] = "check the indentation, the colons, the brackets and the quotes "
                                 "here and on the line above";
    void *iterator = NULL;
    struct fy_diag_error *error;
    bool said = false;
    while ((error = fy_diag_errors_iterate(diag, &iterator))) {
        base_place at = {yaml->file, error->line > 0 ? error->line : 1,
                         error->column > 0 ? error->column : 1};
        COMPLAIN(yaml, BASE_SYNTAX, at, "this is not YAML: %s|%s",
                 error->msg ? circuit_show(yaml, error->msg) : "the text cannot be read", remedy);
        said = true;
    }
    if (!said)
        COMPLAIN(yaml, BASE_SYNTAX, ((base_place){yaml->file, 1, 1}),
                 "this text cannot be read as YAML|%s", remedy);
}

static base_place document_place(const yaml_reader *yaml, struct fy_document *document) {
    struct fy_document_state *state = fy_document_get_document_state(document);
    const struct fy_mark *mark = state ? fy_document_state_start_mark(state) : NULL;
    return (base_place){yaml->file, mark ? mark->line + 1 : 1, mark ? mark->column + 1 : 1};
}

/* The first document of the parser's text; a second would be lost without a word, so complain. */
static struct fy_document *load(yaml_reader *yaml, struct fy_parser *parser, struct fy_diag *diag) {
    struct fy_document *document = fy_parse_load_document(parser);
    if (!document) {
        complain_syntax(yaml, diag);
        return NULL;
    }
    struct fy_document *second = fy_parse_load_document(parser);
    if (second)
        COMPLAIN(yaml, BASE_SYNTAX, document_place(yaml, second),
                 "the file holds more than one document|one amp, one file: remove the line `---` "
                 "or split the file");
    else if (fy_diag_got_error(diag))
        complain_syntax(yaml, diag);
    fy_parse_document_destroy(parser, second);
    if (!yaml->refused) return document;
    fy_parse_document_destroy(parser, document);
    return NULL;
}

static bool bytes_can_be_read(yaml_reader *yaml, const char *text, size_t length) {
    base_place at = {yaml->file, 1, 1};
    if (length > YAML_FILE_MOST)
        COMPLAIN(yaml, BASE_SYNTAX, at,
                 "the file is %zu kB long, and an amp file has at most %d kB|is it the right "
                 "file?",
                 length / 1024, YAML_FILE_MOST / 1024);
    else if (!text || bytes_are_blank(text, length))
        COMPLAIN(yaml, BASE_SYNTAX, at,
                 "the file is empty|begin it with `amp:` and the amp's name");
    else
        return bytes_are_text(yaml, text, length);
    return false;
}

struct fy_document *circuit_yaml_open(yaml_reader *yaml, const char *text, size_t length) {
    if (!bytes_can_be_read(yaml, text, length)) return NULL;
    struct fy_diag *diag = circuit_diag_new();
    struct fy_parse_cfg cfg = {.flags = FYPCF_QUIET | FYPCF_DISABLE_MMAP_OPT |
                                        FYPCF_ALLOW_DUPLICATE_KEYS, /* ours are quicker */
                               .diag = diag};
    struct fy_parser *parser = diag ? fy_parser_create(&cfg) : NULL;
    struct fy_document *document = NULL;
    if (!parser || fy_parser_set_string(parser, text, length))
        yaml->no_memory = yaml->refused = true;
    else
        document = load(yaml, parser, diag);
    if (parser) fy_parser_destroy(parser);
    if (diag) fy_diag_destroy(diag);
    return document;
}

/* ---- values ---------------------------------------------------------------------------------- */

static base_place place_of(const yaml_reader *yaml, struct fy_node *node, base_place otherwise) {
    struct fy_token *token = node ? fy_node_get_scalar_token(node) : NULL;
    const struct fy_mark *mark = token ? fy_token_start_mark(token) : NULL;
    return mark ? (base_place){yaml->file, mark->line + 1, mark->column + 1} : otherwise;
}

static bool is_alias(yaml_reader *yaml, struct fy_node *node, base_place at) {
    if (!node || !fy_node_is_alias(node)) return false;
    COMPLAIN(yaml, BASE_SYNTAX, place_of(yaml, node, at),
             "an alias (`*name`) is not used in amp files|write the value itself");
    return true;
}

/* A copy of a scalar without outer blanks; NULL where it is none, or empty. */
static const char *scalar(yaml_reader *yaml, struct fy_node *node) {
    size_t length = 0;
    const char *text = node && fy_node_is_scalar(node) && !fy_node_is_alias(node)
                           ? fy_node_get_scalar(node, &length)
                           : NULL;
    while (length > 0 && strchr(" \t\r\n", text[length - 1]))
        length--;
    while (length > 0 && strchr(" \t\r\n", *text))
        text++, length--;
    char *copy = text && length > 0 ? circuit_take(yaml, length + 1, 1) : NULL;
    if (copy) memcpy(copy, text, length);
    return copy;
}

const yaml_item *circuit_item_find(const yaml_map *map, const char *key) {
    for (size_t i = 0; i < map->items; i++)
        if (strcasecmp(map->item[i].key, key) == 0) return &map->item[i];
    return NULL;
}

static void map_add(yaml_reader *yaml, struct fy_node_pair *pair, yaml_map *map) {
    struct fy_node *key = fy_node_pair_key(pair), *value = fy_node_pair_value(pair);
    base_place at = place_of(yaml, key, map->at);
    if (is_alias(yaml, key, map->at) || is_alias(yaml, value, at)) return;
    const char *text = scalar(yaml, key);
    if (!text) {
        if (!yaml->no_memory)
            COMPLAIN(yaml, BASE_SYNTAX, at, "a key of %s is no word|write `key: value`", map->who);
        return;
    }
    const yaml_item *first = circuit_item_find(map, text);
    if (first)
        COMPLAIN(yaml, BASE_SYNTAX, at,
                 "`%s` is given twice in %s, first at line %d|keep one of them, or give it "
                 "another name",
                 circuit_show(yaml, text), map->who, first->key_at.line);
    else
        map->item[map->items++] = (yaml_item){text, at, value, place_of(yaml, value, at)};
}

bool circuit_map_read(yaml_reader *yaml, struct fy_node *node, base_place at, yaml_map *map) {
    map->at = place_of(yaml, node, at);
    if (is_alias(yaml, node, at)) return false;
    if (!node || !fy_node_is_mapping(node)) {
        COMPLAIN(yaml, BASE_SYNTAX, map->at,
                 "%s must hold keys with values|write it as `{key: value, ...}`", map->who);
        return false;
    }
    int count = fy_node_mapping_item_count(node);
    if (count > YAML_KEYS_MOST) {
        COMPLAIN(yaml, BASE_SYNTAX, map->at,
                 "%s has %d keys, and at most %d are read|is it an amp?", map->who, count,
                 YAML_KEYS_MOST);
        return false;
    }
    map->item = circuit_take(yaml, (size_t)(count > 0 ? count : 1), sizeof *map->item);
    void *iterator = NULL;
    struct fy_node_pair *pair;
    while (map->item && (pair = fy_node_mapping_iterate(node, &iterator)))
        map_add(yaml, pair, map);
    return map->item != NULL;
}

const char *circuit_text_of(yaml_reader *yaml, const yaml_item *item, const char *who) {
    const char *text = scalar(yaml, item->value);
    if (text || yaml->no_memory) return text;
    bool empty = !item->value || fy_node_is_scalar(item->value);
    COMPLAIN(yaml, BASE_SYNTAX, item->at,
             empty ? "`%s` of %s has no value|write one, or remove the key"
                   : "`%s` of %s must be one value, not a list or a mapping|write one value",
             circuit_show(yaml, item->key), who);
    return NULL;
}

int circuit_list_of(yaml_reader *yaml, const yaml_item *item, const char *who, yaml_word *word,
                    int most) {
    bool many = item->value && fy_node_is_sequence(item->value);
    if (item->value && fy_node_is_mapping(item->value)) {
        COMPLAIN(yaml, BASE_SYNTAX, item->at, "`%s` of %s must be a list|write it as `[a, b]`",
                 circuit_show(yaml, item->key), who);
        return -1;
    }
    if (!many) {
        word[0] = (yaml_word){circuit_text_of(yaml, item, who), item->at};
        return word[0].text ? 1 : -1;
    }
    int count = 0;
    void *iterator = NULL;
    struct fy_node *node;
    while ((node = fy_node_sequence_iterate(item->value, &iterator)) && count < most) {
        yaml_item one = {item->key, item->at, node, place_of(yaml, node, item->at)};
        if (is_alias(yaml, node, item->at)) return -1;
        word[count] = (yaml_word){circuit_text_of(yaml, &one, who), one.at};
        if (!word[count++].text) return -1;
    }
    if (!node) return count;
    COMPLAIN(yaml, BASE_SYNTAX, place_of(yaml, node, item->at),
             "`%s` of %s has more than %d entries|remove what is too many",
             circuit_show(yaml, item->key), who, most);
    return -1;
}
