/* The few things that the files of this room need of libfyaml: every complaint with its place. */
#include "yaml_impl.h"

#include <string.h>

static void quiet(struct fy_diag *diag, void *user, const char *text, size_t length) {
    (void)diag, (void)user, (void)text, (void)length;
}

static void complain(diagnose_yaml *file, struct fy_diag *diag) {
    void *iterator = NULL;
    bool said = false;
    for (struct fy_diag_error *e; (e = fy_diag_errors_iterate(diag, &iterator));) {
        base_place place = {file->name, e->line > 0 ? e->line : 0, e->column > 0 ? e->column : 0};
        COMPLAIN(file, BASE_SYNTAX, place, "this is not YAML: %s|%s",
                 e->msg ? e->msg : "it cannot be read",
                 "look for a missing colon, quote or bracket, or a tab, on this line");
        said = true;
    }
    if (said) return;
    COMPLAIN(file, BASE_SYNTAX, (base_place){.file = file->name},
             "the file cannot be read as YAML|look at the example in the handbook");
}

static struct fy_document *build(diagnose_yaml *file, const char *text, size_t length) {
    struct fy_diag_cfg how = {.output_fn = quiet, .level = FYET_ERROR, .module_mask = ~0U};
    struct fy_diag *diag = fy_diag_create(&how);
    if (!diag) {
        diagnose_yaml_no_memory(file);
        return NULL;
    }
    fy_diag_set_collect_errors(diag, true);
    struct fy_parse_cfg parse = {.flags = FYPCF_QUIET | FYPCF_COLLECT_DIAG |
                                          FYPCF_ALLOW_DUPLICATE_KEYS | FYPCF_DEFAULT_VERSION_1_2,
                                 .diag = diag};
    struct fy_document *document = fy_document_build_from_string(&parse, text, length);
    if (!document) complain(file, diag);
    fy_diag_destroy(diag);
    return document;
}

bool diagnose_yaml_open(diagnose_yaml *file, const char *text, size_t length) {
    base_place start = {.file = file->name};
    if (length > YAML_LONGEST) {
        COMPLAIN(file, BASE_SYNTAX, start,
                 "the file has %zu bytes, more than any such file needs|is it this file "
                 "that you meant?",
                 length);
        return false;
    }
    if (memchr(text, 0, length)) {
        COMPLAIN(file, BASE_SYNTAX, start,
                 "the file holds bytes that are no text|is it this file that you meant?");
        return false;
    }
    file->document = build(file, text, length);
    file->root = file->document ? fy_document_root(file->document) : NULL;
    if (file->document && !file->root)
        COMPLAIN(file, BASE_SYNTAX, start, "the file is empty|look at the example in the handbook");
    return file->root != NULL;
}

void diagnose_yaml_close(diagnose_yaml *file) {
    if (file->document) fy_document_destroy(file->document);
    file->document = NULL;
    file->root = NULL;
}

static struct fy_token *first_token(struct fy_node *node) {
    for (int depth = 0; node && depth < 64; depth++) {
        if (fy_node_is_scalar(node)) return fy_node_get_scalar_token(node);
        void *iterator = NULL;
        if (fy_node_is_mapping(node)) {
            struct fy_node_pair *pair = fy_node_mapping_iterate(node, &iterator);
            node = pair ? fy_node_pair_key(pair) : NULL;
        } else {
            node = fy_node_sequence_iterate(node, &iterator);
        }
    }
    return NULL;
}

base_place diagnose_yaml_place(const diagnose_yaml *file, struct fy_node *node) {
    base_place place = {.file = file->name};
    struct fy_token *token = node ? first_token(node) : NULL;
    const struct fy_mark *mark = token ? fy_token_start_mark(token) : NULL;
    if (!mark) return place;
    place.line = mark->line + 1;
    place.column = mark->column + 1;
    return place;
}

const char *diagnose_yaml_text(diagnose_yaml *file, struct fy_node *node) {
    if (!node || !fy_node_is_scalar(node) || fy_node_is_alias(node)) return NULL;
    size_t length = 0;
    const char *scalar = fy_node_get_scalar(node, &length);
    if (!scalar) return "";
    char *text = base_arena_take(file->arena, length + 1, 1);
    if (text)
        memcpy(text, scalar, length);
    else
        diagnose_yaml_no_memory(file);
    return text;
}

bool diagnose_yaml_next(diagnose_yaml *file, struct fy_node *mapping, diagnose_yaml_pair *pair) {
    struct fy_node_pair *next = fy_node_mapping_iterate(mapping, &pair->iterator);
    if (!next) return false;
    pair->key_node = fy_node_pair_key(next);
    pair->value = fy_node_pair_value(next);
    pair->key = diagnose_yaml_text(file, pair->key_node);
    pair->place = diagnose_yaml_place(file, pair->key_node ? pair->key_node : pair->value);
    pair->key = pair->key ? pair->key : "";
    return true;
}

void diagnose_yaml_no_memory(diagnose_yaml *file) {
    COMPLAIN(file, BASE_MEMORY, (base_place){.file = file->name},
             "no memory is left|close other programs and try again");
}

void diagnose_yaml_unknown_key(diagnose_yaml *file, const diagnose_yaml_pair *pair,
                               const char *const *known, size_t count) {
    const char *near = base_nearest_name(pair->key, known, count);
    if (near)
        COMPLAIN(file, BASE_UNKNOWN, pair->place,
                 "the key %.60s is not known here|did you mean %s?", pair->key, near);
    else
        COMPLAIN(file, BASE_UNKNOWN, pair->place,
                 "the key %.60s is not known here|the first known one is %s", pair->key, known[0]);
}
