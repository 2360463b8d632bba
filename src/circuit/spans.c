/* Looking for keys and parts in an amp file as it is written, and the outline of a file. */
#include "spans_impl.h"

#include <string.h>
#include <strings.h>

base_code circuit_spans_open(spans *spans, const char *text, size_t length, base_errors *errors) {
    static const base_yaml_kind amp_files = {"amp files", "amp", "`amp:` and the amp's name"};
    base_yaml_item root = {0};
    *spans = (struct spans){.text = text, .length = length};
    spans->yaml = (base_yaml){.kind = &amp_files, .arena = base_arena_new()};
    bool read = spans->yaml.arena && base_yaml_open(&spans->yaml, text, length, &root);
    bool no_memory = !spans->yaml.arena || spans->yaml.no_memory;
    spans->root = root.value;
    if (read && !no_memory && root.value->type == BASE_YAML_MAP) return BASE_OK;
    circuit_spans_close(spans);
    if (no_memory)
        return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                               "no memory left|close other programs and try again");
    return base_errors_add(errors, BASE_SYNTAX, (base_place){0},
                           "the amp's file cannot be read|check it first");
}

void circuit_spans_close(spans *spans) {
    base_yaml_close(&spans->yaml);
    base_arena_free(spans->yaml.arena);
    *spans = (struct spans){0};
}

size_t circuit_span_size(const base_yaml_node *top) {
    size_t count = 1;
    for (const base_yaml_node *child = top->child; child; child = child->next)
        count += circuit_span_size(child);
    return count;
}

/* ---- looking ------------------------------------------------------------------------------- */

const base_yaml_node *circuit_span_key(const base_yaml_node *in, const char *key) {
    if (!in || in->type != BASE_YAML_MAP) return NULL;
    for (const base_yaml_node *at = in->child; at && at->next; at = at->next->next)
        if (at->text && strcasecmp(at->text, key) == 0) return at;
    return NULL;
}

/* "T1 high voltage": the winding `rest` of the transformer at `key`. */
static const base_yaml_node *winding_find(const base_yaml_node *key, const char *rest) {
    if (strcasecmp(rest, "primary") == 0) return circuit_span_key(key->next, rest);
    const base_yaml_node *windings = circuit_span_key(key->next, "windings");
    return windings ? circuit_span_key(windings->next, rest) : NULL;
}

static const base_yaml_node *part_in(const base_yaml_node *section, const char *part) {
    const base_yaml_node *key = circuit_span_key(section->next, part);
    if (key || strcasecmp(section->text, "power transformer") != 0) return key;
    for (key = section->next->child; key && key->next; key = key->next->next) {
        size_t length = strlen(key->text ? key->text : "");
        if (length && strncasecmp(part, key->text, length) == 0 && part[length] == ' ')
            return winding_find(key, part + length + 1);
    }
    return NULL;
}

/* The sections that hold parts; `mains` and `printed` are mappings too, and hold none. */
static bool holds_parts(const base_yaml_node *section) {
    return section->text && section->next->type == BASE_YAML_MAP &&
           strcasecmp(section->text, "mains") != 0 && strcasecmp(section->text, "printed") != 0;
}

bool circuit_span_part(const spans *spans, const char *part, span_part *found) {
    for (const base_yaml_node *at = spans->root->child; at && at->next; at = at->next->next) {
        if (!holds_parts(at)) continue;
        found->section = at;
        found->key = part_in(at, part);
        if (found->key) return true;
    }
    return false;
}

/* ---- the outline --------------------------------------------------------------------------- */

static const char *head(const spans *spans, const char *key) {
    const base_yaml_node *found = circuit_span_key(spans->root, key);
    return found && found->next->type == BASE_YAML_TEXT ? found->next->text : NULL;
}

static size_t count_parts(const spans *spans) {
    size_t count = 0;
    for (const base_yaml_node *at = spans->root->child; at && at->next; at = at->next->next)
        for (const base_yaml_node *part = holds_parts(at) ? at->next->child : NULL;
             part && part->next; part = part->next->next)
            count++;
    return count;
}

circuit_outline *circuit_outline_new(const char *text, size_t length, base_errors *errors) {
    spans spans;
    if (circuit_spans_open(&spans, text, length, errors) != BASE_OK) return NULL;
    base_arena *arena = spans.yaml.arena;
    circuit_outline *made = base_arena_take(arena, 1, sizeof *made);
    struct circuit_outline_part *part =
        base_arena_take(arena, count_parts(&spans) + 1, sizeof *part);
    if (!made || !part) {
        circuit_spans_close(&spans);
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs and try again");
        return NULL;
    }
    *made = (circuit_outline){.name = head(&spans, "amp"),
                              .family = head(&spans, "family"),
                              .story = head(&spans, "story"),
                              .part = part,
                              .arena = arena};
    for (const base_yaml_node *at = spans.root->child; at && at->next; at = at->next->next)
        for (const base_yaml_node *key = holds_parts(at) ? at->next->child : NULL; key && key->next;
             key = key->next->next)
            if (key->text) part[made->parts++] = (struct circuit_outline_part){key->text, at->text};
    base_yaml_close(&spans.yaml);
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
