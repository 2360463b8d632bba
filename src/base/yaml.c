/* The YAML library's events as a plain tree. All that the program knows of the library is here. */
#include "base.h"

#include <libfyaml.h>
#include <string.h>

enum { DEEPEST = 64 }; /* the level that is refused */

static const char REMEDY[] = "check the indentation, the colons, the brackets and the quotes here "
                             "and on the line above";

static base_place top(const base_yaml *yaml) {
    return (base_place){yaml->file, 1, 1};
}

/* ---- the bytes ----------------------------------------------------------------------------- */

static bool bytes_are_text(base_yaml *yaml, const char *text, size_t length) {
    base_place at = top(yaml);
    for (size_t i = 0; i < length; at.column++) {
        size_t step = base_utf8_length(text + i, length - i);
        if (step == 0 || text[i] == 0) {
            base_yaml_complain(yaml, BASE_SYNTAX, at,
                               step == 0 ? "a byte that is no UTF-8 text|save the file as UTF-8 "
                                           "text"
                                         : "a zero byte: this is no text|save the file as plain "
                                           "text");
            return false;
        }
        if (text[i] == '\n') at = (base_place){yaml->file, at.line + 1, 0};
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

static bool bytes_can_be_read(base_yaml *yaml, const char *text, size_t length) {
    if (length > BASE_YAML_MOST)
        base_yaml_complain(yaml, BASE_SYNTAX, top(yaml),
                           "the file is %zu kB long, and %s have at most %d kB|is it the right "
                           "file?",
                           length / 1024, yaml->kind->files, BASE_YAML_MOST / 1024);
    else if (!text || bytes_are_blank(text, length))
        base_yaml_complain(yaml, BASE_SYNTAX, top(yaml), "the file is empty|begin it with %s",
                           yaml->kind->begin);
    else
        return bytes_are_text(yaml, text, length);
    return false;
}

/* ---- events to nodes ----------------------------------------------------------------------- */

typedef struct builder {
    base_yaml *yaml;
    const char *text; /* the file's */
    base_yaml_node *root;
    base_yaml_node *open; /* the innermost collection that is not closed */
    int depth;            /* how many are open */
} builder;

static base_place place_of(const base_yaml *yaml, struct fy_event *event) {
    const struct fy_mark *mark = fy_event_start_mark(event);
    return mark ? (base_place){yaml->file, mark->line + 1, mark->column + 1}
                : (base_place){yaml->file, 0, 0};
}

/* The event's bytes; false: it has none. */
static bool mark(base_yaml_node *node, struct fy_event *event) {
    const struct fy_mark *start = fy_event_start_mark(event), *end = fy_event_end_mark(event);
    if (!start || !end) return false;
    node->start = start->input_pos;
    node->end = end->input_pos;
    return true;
}

static base_yaml_node *add(builder *b, struct fy_event *event, base_yaml_type type) {
    base_yaml_node *node = base_arena_take(b->yaml->tree, 1, sizeof *node), *parent = b->open;
    if (!node) {
        base_yaml_no_memory(b->yaml);
        return NULL;
    }
    node->type = type;
    node->parent = parent;
    node->at = place_of(b->yaml, event);
    if (!parent)
        b->root = node;
    else if (parent->last)
        parent->last = parent->last->next = node;
    else
        parent->child = parent->last = node;
    if (parent) parent->count++;
    return node;
}

/* Two quotes in a row, as single quotes write them: libfyaml 0.7.12 loses memory over such. */
static bool quotes_in_a_row(const builder *b, const base_yaml_node *node) {
    return memmem(b->text + node->start, node->end - node->start, "''''", 4) != NULL;
}

/* The marks of a quoted text are inside its quotes. */
static bool add_text(builder *b, struct fy_event *event, base_yaml_type type) {
    base_yaml_node *node = add(b, event, type);
    if (!node) return false;
    enum fy_node_style style = fy_event_get_node_style(event);
    bool quoted = style == FYNS_SINGLE_QUOTED || style == FYNS_DOUBLE_QUOTED;
    node->exact = mark(node, event) && (quoted || (style == FYNS_PLAIN && node->end > node->start));
    if (style == FYNS_SINGLE_QUOTED && quotes_in_a_row(b, node)) {
        base_yaml_complain(b->yaml, BASE_SYNTAX, node->at,
                           "two quotes in a row between single quotes|put the text between double "
                           "quotes");
        return false;
    }
    if (node->exact && quoted) node->start--, node->end++;
    struct fy_token *token = fy_event_get_token(event);
    size_t length = 0;
    const char *text = token ? fy_token_get_text(token, &length) : NULL;
    char *copy = base_yaml_take(b->yaml, length + 1, 1);
    if (copy && text) memcpy(copy, text, length);
    node->text = copy;
    return copy != NULL;
}

static bool open_collection(builder *b, struct fy_event *event, base_yaml_type type) {
    base_yaml_node *node = add(b, event, type);
    if (!node) return false;
    mark(node, event);
    node->flow = fy_event_get_node_style(event) == FYNS_FLOW;
    b->open = node;
    if (++b->depth < DEEPEST) return true;
    base_yaml_complain(b->yaml, BASE_SYNTAX, node->at,
                       "this is not YAML: Max depth (%d) exceeded|%s", DEEPEST, REMEDY);
    return false;
}

/* The mark of a block's end stands at whatever comes next, so its last child's end counts. */
static bool close_collection(builder *b, struct fy_event *event) {
    base_yaml_node *open = b->open, ending = {0};
    if (open->flow && mark(&ending, event))
        open->end = ending.end;
    else if (open->last)
        open->end = open->last->end;
    b->open = open->parent;
    b->depth--;
    return true;
}

/* A second document would be lost without a word. */
static bool open_document(builder *b, struct fy_event *event) {
    if (!b->root) return true;
    base_place at = place_of(b->yaml, event);
    base_yaml_complain(b->yaml, BASE_SYNTAX, at.line ? at : top(b->yaml),
                       "the file holds more than one document|one %s, one file: remove the line "
                       "`---` or split the file",
                       b->yaml->kind->one);
    return false;
}

/* False: stop, with a complaint. */
static bool take(builder *b, struct fy_event *event) {
    switch (event->type) {
    case FYET_DOCUMENT_START:
        return open_document(b, event);
    case FYET_SCALAR:
        return add_text(b, event, BASE_YAML_TEXT);
    case FYET_ALIAS:
        return add_text(b, event, BASE_YAML_ALIAS);
    case FYET_MAPPING_START:
        return open_collection(b, event, BASE_YAML_MAP);
    case FYET_SEQUENCE_START:
        return open_collection(b, event, BASE_YAML_LIST);
    case FYET_MAPPING_END:
    case FYET_SEQUENCE_END:
        return close_collection(b, event);
    default:
        return true;
    }
}

/* ---- the document -------------------------------------------------------------------------- */

/* The library's own errors are collected; what it would print beside them is dropped. */
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

static void complain_syntax(base_yaml *yaml, struct fy_diag *diag) {
    void *iterator = NULL;
    struct fy_diag_error *error;
    bool said = false;
    while ((error = fy_diag_errors_iterate(diag, &iterator))) {
        base_place at = {yaml->file, error->line > 0 ? error->line : 1,
                         error->column > 0 ? error->column : 1};
        base_yaml_complain(
            yaml, BASE_SYNTAX, at, "this is not YAML: %s|%s",
            error->msg ? base_yaml_show(yaml, error->msg) : "the text cannot be read", REMEDY);
        said = true;
    }
    if (!said)
        base_yaml_complain(yaml, BASE_SYNTAX, top(yaml), "this text cannot be read as YAML|%s",
                           REMEDY);
}

/* The root of the parser's one document; NULL with complaints. */
static base_yaml_node *build(builder *b, struct fy_parser *parser, struct fy_diag *diag) {
    struct fy_event *event;
    bool well = true;
    while (well && (event = fy_parser_parse(parser))) {
        well = take(b, event);
        fy_parser_event_free(parser, event);
    }
    if (!well) return NULL;
    if (b->root && !b->open && !fy_diag_got_error(diag)) return b->root;
    complain_syntax(b->yaml, diag);
    return NULL;
}

static base_yaml_node *parse(base_yaml *yaml, const char *text, size_t length) {
    struct fy_diag *diag = diag_new();
    struct fy_parse_cfg cfg = {.flags = FYPCF_QUIET | FYPCF_DISABLE_MMAP_OPT, .diag = diag};
    struct fy_parser *parser = diag ? fy_parser_create(&cfg) : NULL;
    builder builder = {.yaml = yaml, .text = text};
    base_yaml_node *root = NULL;
    yaml->tree = base_arena_new();
    if (!yaml->tree || !parser || fy_parser_set_string(parser, text, length))
        base_yaml_no_memory(yaml);
    else
        root = build(&builder, parser, diag);
    if (parser) fy_parser_destroy(parser);
    if (diag) fy_diag_destroy(diag);
    return root;
}

bool base_yaml_open(base_yaml *yaml, const char *text, size_t length, base_yaml_item *root) {
    if (!bytes_can_be_read(yaml, text, length)) return false;
    const base_yaml_node *node = parse(yaml, text, length);
    *root = (base_yaml_item){"the file", top(yaml), node, top(yaml)};
    return node != NULL;
}

void base_yaml_close(base_yaml *yaml) {
    base_arena_free(yaml->tree);
    yaml->tree = NULL;
}
