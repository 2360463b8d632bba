/* docs/openapi.json, and answers held against its schemas: the words of JSON Schema that it uses.
 */
#ifndef GRIDLEAK_TESTS_HTTP_SCHEMA_H
#define GRIDLEAK_TESTS_HTTP_SCHEMA_H

#include "client.h"

static inline json_t *schema_load(void) {
    json_error_t error;
    json_t *document =
        json_load_file(SOURCE_DIR "/docs/openapi.json", JSON_REJECT_DUPLICATES, &error);
    if (!document) fail_msg("docs/openapi.json:%d: %s", error.line, error.text);
    return document;
}

/* "#/components/schemas/View" */
static inline json_t *schema_follow(json_t *document, const char *reference) {
    char path[128];
    snprintf(path, sizeof path, "%s", reference + 2);
    json_t *at = document;
    for (char *part = strtok(path, "/"); part && at; part = strtok(NULL, "/"))
        at = json_object_get(at, part);
    if (!at) fail_msg("docs/openapi.json has no %s", reference);
    return at;
}

static inline bool schema_type_is(const char *type, const json_t *value) {
    if (strcmp(type, "object") == 0) return json_is_object(value);
    if (strcmp(type, "array") == 0) return json_is_array(value);
    if (strcmp(type, "string") == 0) return json_is_string(value);
    if (strcmp(type, "number") == 0) return json_is_number(value);
    if (strcmp(type, "integer") == 0) return json_is_integer(value);
    if (strcmp(type, "boolean") == 0) return json_is_boolean(value);
    return json_is_null(value);
}

static inline bool schema_typed(const json_t *type, const json_t *value) {
    if (!type) return true;
    if (json_is_string(type)) return schema_type_is(json_string_value(type), value);
    for (size_t i = 0; i < json_array_size(type); i++)
        if (schema_type_is(json_string_value(json_array_get(type, i)), value)) return true;
    return false;
}

static inline bool schema_any_equal(const json_t *list, const json_t *value) {
    for (size_t i = 0; i < json_array_size(list); i++)
        if (json_equal(json_array_get(list, i), value)) return true;
    return list == NULL;
}

static inline bool schema_holds(json_t *document, json_t *schema, const json_t *value,
                                const char *where);

static inline bool schema_object_holds(json_t *document, json_t *schema, const json_t *value,
                                       const char *where) {
    json_t *required = json_object_get(schema, "required"), *each;
    const char *key;
    size_t i;
    json_array_foreach(required, i, each) {
        if (json_object_get(value, json_string_value(each))) continue;
        print_message("%s has no `%s`\n", where, json_string_value(each));
        return false;
    }
    json_object_foreach(json_object_get(schema, "properties"), key, each) {
        char inner[512];
        const json_t *part = json_object_get(value, key);
        snprintf(inner, sizeof inner, "%.400s.%.100s", where, key);
        if (part && !schema_holds(document, each, part, inner)) return false;
    }
    return true;
}

static inline bool schema_combined_holds(json_t *document, json_t *schema, const json_t *value,
                                         const char *where) {
    json_t *all = json_object_get(schema, "allOf"), *any = json_object_get(schema, "anyOf"), *each;
    bool one = any == NULL;
    size_t i;
    json_array_foreach(all, i, each) {
        if (!schema_holds(document, each, value, where)) return false;
    }
    json_array_foreach(any, i, each) {
        one = one || schema_holds(document, each, value, where);
    }
    return one;
}

static inline bool schema_holds(json_t *document, json_t *schema, const json_t *value,
                                const char *where) {
    const char *reference = json_string_value(json_object_get(schema, "$ref"));
    if (reference) return schema_holds(document, schema_follow(document, reference), value, where);
    json_t *items = json_object_get(schema, "items"), *each;
    size_t i;
    if (!schema_typed(json_object_get(schema, "type"), value) ||
        !schema_any_equal(json_object_get(schema, "enum"), value)) {
        print_message("%s has another type or value than is stated\n", where);
        return false;
    }
    if (json_is_object(value) && !schema_object_holds(document, schema, value, where)) return false;
    if (!schema_combined_holds(document, schema, value, where)) return false;
    json_array_foreach(items ? value : NULL, i, each) {
        if (!schema_holds(document, items, each, where)) return false;
    }
    return true;
}

static inline void schema_check(json_t *document, const char *name, const json_t *value) {
    char reference[128];
    snprintf(reference, sizeof reference, "#/components/schemas/%s", name);
    if (!schema_holds(document, schema_follow(document, reference), value, name)) {
        char *text = json_dumps(value, JSON_INDENT(1) | JSON_ENCODE_ANY);
        print_message("%.2000s\n", text ? text : "nothing");
        free(text);
        fail_msg("an answer is no %s", name);
    }
}

#endif
