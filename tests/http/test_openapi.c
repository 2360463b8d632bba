/* docs/openapi.json against the table of routes: each in the other, in the same words. */
#include "schema.h"

#include "http.h"

#include <ctype.h>

static json_t *operation(const json_t *document, const char *method, const char *path) {
    char lower[16] = "";
    for (size_t i = 0; method[i] && i < sizeof lower - 1; i++)
        lower[i] = (char)tolower((unsigned char)method[i]);
    return json_object_get(json_object_get(json_object_get(document, "paths"), path), lower);
}

static bool has_path_parameter(const json_t *operation, const char *name, size_t length) {
    json_t *each;
    size_t i;
    json_array_foreach(json_object_get(operation, "parameters"), i, each) {
        const char *known = json_string_value(json_object_get(each, "name"));
        const char *in = json_string_value(json_object_get(each, "in"));
        if (strcmp(in, "path") == 0 && strlen(known) == length && memcmp(known, name, length) == 0)
            return true;
    }
    return false;
}

static void every_route_is_described(void **state) {
    json_t *document = schema_load();
    const http_route *route;
    (void)state;
    for (size_t i = 0; (route = http_route_at(i)); i++) {
        json_t *found = operation(document, route->method, route->path);
        if (!found) fail_msg("%s %s is not described", route->method, route->path);
        assert_string_equal(json_string_value(json_object_get(found, "summary")), route->summary);
        for (const char *brace = route->path; (brace = strchr(brace, '{')); brace++)
            assert_true(has_path_parameter(found, brace + 1, strcspn(brace + 1, "}")));
        bool writes = strcmp(route->method, "GET") != 0;
        assert_int_equal(json_object_get(found, "requestBody") != NULL, writes);
    }
    json_decref(document);
}

static void every_description_has_a_route(void **state) {
    json_t *document = schema_load(), *methods, *each;
    const char *path, *method;
    (void)state;
    json_object_foreach(json_object_get(document, "paths"), path, methods) {
        json_object_foreach(methods, method, each) {
            const http_route *route;
            bool found = false;
            for (size_t i = 0; (route = http_route_at(i)); i++)
                found = found ||
                        (strcasecmp(route->method, method) == 0 && strcmp(route->path, path) == 0);
            if (!found) fail_msg("%s %s is described and does not exist", method, path);
        }
    }
    json_decref(document);
}

static void follow_all(json_t *document, json_t *at) {
    json_t *each;
    const char *key;
    size_t i;
    if (json_is_object(at)) {
        json_object_foreach(at, key, each) {
            if (strcmp(key, "$ref") == 0) schema_follow(document, json_string_value(each));
            follow_all(document, each);
        }
    }
    json_array_foreach(at, i, each) {
        follow_all(document, each);
    }
}

static void every_reference_leads_somewhere(void **state) {
    json_t *document = schema_load();
    (void)state;
    follow_all(document, document);
    json_decref(document);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_route_is_described),
                                       cmocka_unit_test(every_description_has_a_route),
                                       cmocka_unit_test(every_reference_leads_somewhere)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
