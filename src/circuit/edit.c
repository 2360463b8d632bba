/* Edits of an amp file's text. The characters of one value are replaced, or those of one pair are
 * taken out or put in; the rest, with its comments, stays. What was written is read again. */
#include "spans_impl.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define VALUE_MOST 2000 /* bytes of what an edit may write */

/* ---- what is written ----------------------------------------------------------------------- */

/* Needs no quotes wherever it stands. */
static bool is_plain(const char *value) {
    size_t length = strlen(value);
    if (length == 0 || value[length - 1] == ' ') return false;
    if (!isalnum((unsigned char)value[0]) && !strchr(".+-", value[0])) return false;
    if (value[0] == '-' && !isalnum((unsigned char)value[1]) && value[1] != '.') return false;
    for (size_t i = 0; i < length; i++)
        if (!isalnum((unsigned char)value[i]) && !strchr(" _.+-/%()=*", value[i])) return false;
    return true;
}

static bool is_one_line(const char *value) {
    for (; *value; value++)
        if ((unsigned char)*value < ' ' || *value == 0x7F) return false;
    return true;
}

static void write_value(base_text *out, const char *value) {
    if (is_plain(value) || value[0] == '[' || value[0] == '{') {
        base_text_add(out, "%s", value);
        return;
    }
    base_text_add(out, "\"");
    for (; *value; value++)
        base_text_add(out, *value == '"' || *value == '\\' ? "\\%c" : "%c", *value);
    base_text_add(out, "\"");
}

/* ---- splicing ------------------------------------------------------------------------------ */

typedef struct splice {
    size_t start, end; /* what goes */
    base_text in;      /* what comes */
} splice;

static char *spliced(const spans *spans, const splice *splice, base_errors *errors) {
    base_text text;
    base_text_init(&text, BASE_YAML_MOST);
    base_text_add(&text, "%.*s%s", (int)splice->start, spans->text, splice->in.data);
    base_text_add(&text, "%.*s", (int)(spans->length - splice->end), spans->text + splice->end);
    if (!text.failed && !splice->in.failed && text.room) return text.data;
    base_text_free(&text);
    base_errors_add(errors, BASE_MEMORY, (base_place){0},
                    "the amp's file would be too long, or no memory is left|remove what is not "
                    "needed, or close other programs");
    return NULL;
}

static size_t line_start(const spans *spans, size_t at) {
    while (at > 0 && spans->text[at - 1] != '\n')
        at--;
    return at;
}

/* Behind the last character of the line, before its end. */
static size_t line_end(const spans *spans, size_t at) {
    while (at < spans->length && spans->text[at] != '\n')
        at++;
    return at;
}

static base_code no_memory(base_errors *errors) {
    return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                           "no memory left|close other programs and try again");
}

/* ---- change -------------------------------------------------------------------------------- */

static base_code cannot(const circuit_edit *edit, base_errors *errors) {
    return base_errors_add(errors, BASE_CIRCUIT, (base_place){0},
                           "`%.40s` of %.40s is written in a way that an edit cannot change"
                           "|change it in the amp's file itself",
                           edit->key ? edit->key : "", edit->part);
}

/* A key that the part does not have yet goes behind its first pair, or before it in a block. */
static base_code add_key(const spans *spans, const base_yaml_node *map, const circuit_edit *edit,
                         splice *splice) {
    const base_yaml_node *first = map->child;
    if (map->flow && first) {
        splice->start = splice->end = first->next->end;
        base_text_add(&splice->in, ", %s: ", edit->key);
        write_value(&splice->in, edit->value);
    } else if (map->flow) {
        splice->start = splice->end = map->start + 1;
        base_text_add(&splice->in, "%s: ", edit->key);
        write_value(&splice->in, edit->value);
    } else {
        splice->start = splice->end = first->start;
        base_text_add(&splice->in, "%s: ", edit->key);
        write_value(&splice->in, edit->value);
        int indent = (int)(first->start - line_start(spans, first->start));
        base_text_add(&splice->in, "\n%*s", indent, "");
    }
    return BASE_OK;
}

static base_code change(const spans *spans, const circuit_edit *edit, splice *splice,
                        base_errors *errors) {
    span_part part;
    if (!circuit_span_part(spans, edit->part, &part))
        return base_errors_add(errors, BASE_UNKNOWN, (base_place){0},
                               "the amp has no part %.60s to change|add it first, or name another",
                               edit->part);
    const base_yaml_node *map = part.key->next, *key = circuit_span_key(map, edit->key);
    if (map->type != BASE_YAML_MAP || (!map->flow && !map->child)) return cannot(edit, errors);
    if (!key && map->child && !map->child->next->exact && map->child->next->type == BASE_YAML_TEXT)
        return cannot(edit, errors);
    if (!key) return add_key(spans, map, edit, splice);
    const base_yaml_node *value = key->next;
    if (value->type == BASE_YAML_TEXT ? !value->exact : !value->flow) return cannot(edit, errors);
    splice->start = value->start;
    splice->end = value->end;
    write_value(&splice->in, edit->value);
    return BASE_OK;
}

/* ---- remove -------------------------------------------------------------------------------- */

static const base_yaml_node *key_before(const base_yaml_node *map, const base_yaml_node *key) {
    for (const base_yaml_node *at = map->child; at && at->next; at = at->next->next)
        if (at->next->next == key) return at;
    return NULL;
}

/* A pair of a block goes with its lines and the comment behind it; one of a list in brackets with
 * the comma on one side. */
static void cut(const spans *spans, const base_yaml_node *map, const base_yaml_node *key,
                splice *splice) {
    const base_yaml_node *next = key->next->next, *before = key_before(map, key);
    if (!map->flow) {
        splice->start = line_start(spans, key->start);
        splice->end = line_end(spans, key->next->end);
        if (splice->end < spans->length) splice->end++;
    } else {
        splice->start = next || !before ? key->start : before->next->end;
        splice->end = next ? next->start : key->next->end;
    }
}

static base_code take_out(const spans *spans, const circuit_edit *edit, splice *splice,
                          base_errors *errors) {
    span_part part;
    if (!circuit_span_part(spans, edit->part, &part))
        return base_errors_add(errors, BASE_UNKNOWN, (base_place){0},
                               "the amp has no part %.60s to take out|look at its name",
                               edit->part);
    const base_yaml_node *key = part.key;
    /* A section, or list of windings, that would be empty goes too. */
    while (key->parent->child == key && !key->next->next && key->parent->parent) {
        const base_yaml_node *map = key->parent->parent, *of = map->child;
        while (of && of->next != key->parent)
            of = of->next->next;
        if (!of) return cannot(edit, errors);
        key = of;
    }
    cut(spans, key->parent, key, splice);
    return BASE_OK;
}

/* ---- add ----------------------------------------------------------------------------------- */

static void add_section(const spans *spans, const circuit_edit *edit, splice *splice) {
    bool ended = spans->length == 0 || spans->text[spans->length - 1] == '\n';
    if (spans->root->flow) {
        splice->start = splice->end = spans->root->end - 1;
        base_text_add(&splice->in, "%s%s: {%s: %s}", spans->root->child ? ", " : "", edit->key,
                      edit->part, edit->value);
    } else {
        splice->start = splice->end = spans->length;
        base_text_add(&splice->in, "%s%s:\n  %s: %s\n", ended ? "" : "\n", edit->key, edit->part,
                      edit->value);
    }
}

static base_code put_in(const spans *spans, const circuit_edit *edit, splice *splice,
                        base_errors *errors) {
    span_part part;
    if (circuit_span_part(spans, edit->part, &part))
        return base_errors_add(errors, BASE_CIRCUIT, (base_place){0},
                               "the amp has a part %.60s already|give the new one another name",
                               edit->part);
    const base_yaml_node *section = circuit_span_key(spans->root, edit->key);
    const base_yaml_node *map = section ? section->next : NULL;
    if (!section) {
        add_section(spans, edit, splice);
    } else if (map->type != BASE_YAML_MAP) {
        return cannot(edit, errors);
    } else if (map->flow) {
        splice->start = splice->end = map->end - 1;
        base_text_add(&splice->in, "%s%s: %s", map->child ? ", " : "", edit->part, edit->value);
    } else {
        size_t first = map->child->start;
        splice->start = splice->end = line_end(spans, map->end);
        base_text_add(&splice->in, "\n%*s%s: %s", (int)(first - line_start(spans, first)), "",
                      edit->part, edit->value);
    }
    return BASE_OK;
}

/* ---- the edit ------------------------------------------------------------------------------ */

static base_code check(const circuit_edit *edit, base_errors *errors) {
    const char *key = edit->key ? edit->key : "", *value = edit->value ? edit->value : "";
    bool named = edit->part && is_plain(edit->part) && is_one_line(edit->part);
    bool keyed = edit->does == CIRCUIT_REMOVE || is_plain(key);
    bool valued = edit->does == CIRCUIT_REMOVE || (*value && is_one_line(value));
    if (edit->does == CIRCUIT_ADD && value[0] != '{') valued = false;
    if (named && keyed && valued && strlen(value) <= VALUE_MOST) return BASE_OK;
    if (!named || !keyed)
        return base_errors_add(errors, BASE_SYNTAX, (base_place){0},
                               "`%.60s` cannot be the name of a part or key|use letters and digits",
                               named        ? key
                               : edit->part ? edit->part
                                            : "");
    return base_errors_add(errors, BASE_SYNTAX, (base_place){0},
                           "`%.60s` cannot stand behind %.40s|%s", value, edit->part,
                           edit->does == CIRCUIT_ADD
                               ? "write its keys on one line: {value: 1k5, at: [V1.3, ground]}"
                               : "write one value on one line: 4k7");
}

/* The value that the edit is about: of the key, or of the whole part. */
static const base_yaml_node *value_of(const spans *spans, const circuit_edit *edit) {
    span_part part;
    if (!circuit_span_part(spans, edit->part, &part)) return NULL;
    if (edit->does != CIRCUIT_CHANGE) return part.key->next;
    const base_yaml_node *key = circuit_span_key(part.key->next, edit->key);
    return key ? key->next : NULL;
}

/* How many spans the file has beside that value, its key, and the section made for it. */
static size_t rest(const spans *spans, const base_yaml_node *value, bool keyed, bool section) {
    size_t own = value ? circuit_span_size(value) + keyed + (section ? 2 : 0) : 0;
    return circuit_span_size(spans->root) - own;
}

/* What stands there now is what was meant, and nothing else of the file was swallowed by it. */
static base_code reads_back(const char *text, const spans *before, const circuit_edit *edit,
                            base_errors *errors) {
    spans after;
    const base_yaml_node *was = value_of(before, edit);
    base_code code = circuit_spans_open(&after, text, strlen(text), NULL);
    if (code == BASE_MEMORY) return no_memory(errors);
    if (code != BASE_OK) return cannot(edit, errors);
    const base_yaml_node *is = value_of(&after, edit);
    bool well = (is != NULL) == (edit->does != CIRCUIT_REMOVE);
    if (well && is) {
        bool made = edit->does == CIRCUIT_ADD && !circuit_span_key(before->root, edit->key);
        bool brackets = edit->value[0] == '[' || edit->value[0] == '{';
        well = rest(&after, is, !was, made) == rest(before, was, false, false);
        if (well && edit->does == CIRCUIT_CHANGE && !brackets)
            well = is->text && strcmp(is->text, edit->value) == 0;
    }
    circuit_spans_close(&after);
    return well ? BASE_OK : cannot(edit, errors);
}

static char *edited(const spans *spans, const circuit_edit *edit, base_errors *errors) {
    splice splice = {0};
    base_text_init(&splice.in, 4 * VALUE_MOST);
    base_code code = edit->does == CIRCUIT_ADD      ? put_in(spans, edit, &splice, errors)
                     : edit->does == CIRCUIT_REMOVE ? take_out(spans, edit, &splice, errors)
                                                    : change(spans, edit, &splice, errors);
    char *text = code == BASE_OK ? spliced(spans, &splice, errors) : NULL;
    base_text_free(&splice.in);
    if (!text || reads_back(text, spans, edit, errors) == BASE_OK) return text;
    free(text);
    return NULL;
}

char *circuit_edit_text(const char *text, size_t length, const circuit_edit *edit,
                        base_errors *errors) {
    spans spans;
    if (check(edit, errors) != BASE_OK) return NULL;
    if (circuit_spans_open(&spans, text, length, errors) != BASE_OK) return NULL;
    char *made = edited(&spans, edit, errors);
    circuit_spans_close(&spans);
    return made;
}
