/* The YAML library's events as a tree of spans, and the outline of a file made from it. */
#include "spans_impl.h"

#include "yaml_impl.h"

#include <string.h>
#include <strings.h>

#define SPANS_MOST 60000 /* an amp of 150 parts has some 3000 */

/* ---- events to spans --------------------------------------------------------------------------
 */

typedef struct builder {
    spans *spans;
    span *open; /* the innermost collection that is not closed */
} builder;

static span *add(builder *builder, span_type type) {
    if (builder->spans->count++ >= SPANS_MOST) return NULL;
    span *made = base_arena_take(builder->spans->arena, 1, sizeof *made);
    span *parent = builder->open;
    if (!made) return NULL;
    made->type = type;
    made->parent = parent;
    if (!parent)
        builder->spans->root = made;
    else if (parent->last)
        parent->last = parent->last->next = made;
    else
        parent->child = parent->last = made;
    return made;
}

static bool mark(span *made, struct fy_event *event) {
    const struct fy_mark *start = fy_event_start_mark(event), *end = fy_event_end_mark(event);
    if (!start || !end) return false;
    made->start = start->input_pos;
    made->end = end->input_pos;
    return true;
}

/* The marks of a quoted scalar are inside its quotes. */
static bool add_scalar(builder *builder, struct fy_event *event) {
    span *made = add(builder, SPAN_SCALAR);
    if (!made) return false;
    enum fy_node_style style = fy_event_get_node_style(event);
    bool quoted = style == FYNS_SINGLE_QUOTED || style == FYNS_DOUBLE_QUOTED;
    made->exact =
        mark(made, event) && (quoted || style == FYNS_PLAIN) && (quoted || made->end > made->start);
    if (made->exact && quoted) made->start--, made->end++;
    struct fy_token *token = fy_event_get_token(event);
    size_t length = 0;
    const char *text = token ? fy_token_get_text(token, &length) : NULL;
    char *copy = base_arena_take(builder->spans->arena, length + 1, 1);
    if (copy && text) memcpy(copy, text, length);
    made->text = copy;
    return copy != NULL;
}

static bool add_collection(builder *builder, struct fy_event *event, span_type type) {
    span *made = add(builder, type);
    if (!made) return false;
    mark(made, event);
    made->flow = fy_event_get_node_style(event) == FYNS_FLOW;
    builder->open = made;
    return true;
}

/* The mark of a block's end stands at whatever comes next, so its last child's end counts. */
static void close_collection(builder *builder, struct fy_event *event) {
    span *open = builder->open, ending = {0};
    if (!open) return;
    if (open->flow && mark(&ending, event))
        open->end = ending.end;
    else if (open->last)
        open->end = open->last->end;
    builder->open = open->parent;
}

static bool take(builder *builder, struct fy_event *event) {
    switch (event->type) {
    case FYET_SCALAR:
    case FYET_ALIAS:
        return add_scalar(builder, event);
    case FYET_MAPPING_START:
        return add_collection(builder, event, SPAN_MAPPING);
    case FYET_SEQUENCE_START:
        return add_collection(builder, event, SPAN_SEQUENCE);
    case FYET_MAPPING_END:
    case FYET_SEQUENCE_END:
        close_collection(builder, event);
        return true;
    default:
        return true;
    }
}

static bool build(builder *builder, struct fy_parser *parser) {
    struct fy_event *event;
    bool well = true;
    while (well && (event = fy_parser_parse(parser))) {
        bool stop = event->type == FYET_DOCUMENT_END;
        well = take(builder, event);
        fy_parser_event_free(parser, event);
        if (stop) break;
    }
    return well && !fy_parser_get_stream_error(parser) && builder->spans->root && !builder->open;
}

bool circuit_spans_open(spans *spans, const char *text, size_t length) {
    struct builder builder = {.spans = spans};
    *spans = (struct spans){.text = text, .length = length, .arena = base_arena_new()};
    struct fy_parse_cfg cfg = {.flags = FYPCF_QUIET | FYPCF_DISABLE_MMAP_OPT,
                               .diag = circuit_diag_new()};
    bool may = spans->arena && cfg.diag && length <= YAML_FILE_MOST;
    struct fy_parser *parser = may ? fy_parser_create(&cfg) : NULL;
    bool well = parser && fy_parser_set_string(parser, text, length) == 0 &&
                build(&builder, parser) && spans->root->type == SPAN_MAPPING;
    if (parser) fy_parser_destroy(parser);
    if (cfg.diag) fy_diag_destroy(cfg.diag);
    if (!well) circuit_spans_close(spans);
    return well;
}

void circuit_spans_close(spans *spans) {
    base_arena_free(spans->arena);
    *spans = (struct spans){0};
}

/* In the order of the text, without recursion: a file may nest as deep as it is long. */
size_t circuit_span_size(const span *top) {
    size_t count = 1;
    for (const span *at = top; at;) {
        if (at->child) {
            at = at->child;
        } else {
            while (at != top && !at->next)
                at = at->parent;
            if (at == top) break;
            at = at->next;
        }
        count++;
    }
    return count;
}

/* ---- looking ----------------------------------------------------------------------------------
 */

span *circuit_span_key(const span *in, const char *key) {
    if (!in || in->type != SPAN_MAPPING) return NULL;
    for (span *at = in->child; at && at->next; at = at->next->next)
        if (at->text && strcasecmp(at->text, key) == 0) return at;
    return NULL;
}

/* "T1 high voltage": the winding `rest` of the transformer at `key`. */
static span *winding_find(const span *key, const char *rest) {
    if (strcasecmp(rest, "primary") == 0) return circuit_span_key(key->next, rest);
    span *windings = circuit_span_key(key->next, "windings");
    return windings ? circuit_span_key(windings->next, rest) : NULL;
}

static span *part_in(const span *section, const char *part) {
    span *key = circuit_span_key(section->next, part);
    if (key || strcasecmp(section->text, "power transformer") != 0) return key;
    for (key = section->next->child; key && key->next; key = key->next->next) {
        size_t length = strlen(key->text ? key->text : "");
        if (length && strncasecmp(part, key->text, length) == 0 && part[length] == ' ')
            return winding_find(key, part + length + 1);
    }
    return NULL;
}

/* The sections that hold parts; `mains` and `printed` are mappings too, and hold none. */
static bool holds_parts(const span *section) {
    return section->text && section->next->type == SPAN_MAPPING &&
           strcasecmp(section->text, "mains") != 0 && strcasecmp(section->text, "printed") != 0;
}

bool circuit_span_part(const spans *spans, const char *part, span_part *found) {
    for (span *at = spans->root->child; at && at->next; at = at->next->next) {
        if (!holds_parts(at)) continue;
        found->section = at;
        found->key = part_in(at, part);
        if (found->key) return true;
    }
    return false;
}

/* ---- the outline ------------------------------------------------------------------------------
 */

static const char *head(const spans *spans, const char *key) {
    const span *found = circuit_span_key(spans->root, key);
    return found && found->next->type == SPAN_SCALAR ? found->next->text : NULL;
}

static size_t count_parts(const spans *spans) {
    size_t count = 0;
    for (span *at = spans->root->child; at && at->next; at = at->next->next)
        for (span *part = holds_parts(at) ? at->next->child : NULL; part && part->next;
             part = part->next->next)
            count++;
    return count;
}

circuit_outline *circuit_outline_new(const char *text, size_t length) {
    spans spans;
    if (!circuit_spans_open(&spans, text, length)) return NULL;
    circuit_outline *made = base_arena_take(spans.arena, 1, sizeof *made);
    struct circuit_outline_part *part =
        base_arena_take(spans.arena, count_parts(&spans) + 1, sizeof *part);
    if (!made || !part) {
        circuit_spans_close(&spans);
        return NULL;
    }
    *made = (circuit_outline){.name = head(&spans, "amp"),
                              .family = head(&spans, "family"),
                              .story = head(&spans, "story"),
                              .part = part,
                              .arena = spans.arena};
    for (span *at = spans.root->child; at && at->next; at = at->next->next)
        for (span *key = holds_parts(at) ? at->next->child : NULL; key && key->next;
             key = key->next->next)
            if (key->text) part[made->parts++] = (struct circuit_outline_part){key->text, at->text};
    return made;
}

void circuit_outline_free(circuit_outline *outline) {
    if (outline) base_arena_free(outline->arena);
}

const char *circuit_outline_section(const circuit_outline *outline, const char *part) {
    for (size_t i = 0; i < outline->parts; i++)
        if (strcasecmp(outline->part[i].part, part) == 0) return outline->part[i].section;
    return NULL;
}
