/* Every allocation of base made to fail in turn: nothing crashes, nothing leaks, all of it shows.
 */
#include "base.h"
#include "oom.h"
#include "support.h"

static void complain(bool failing) {
    base_errors *errors = base_errors_new();
    base_errors_add(errors, BASE_VALUE, (base_place){"a.yaml", 1, 2}, "cause %d|remedy", 1);
    base_errors_add(errors, BASE_SYNTAX, (base_place){0}, "another|remedy");
    assert_int_equal(base_errors_count(errors), errors ? 2 : 0);
    bool lost = !errors;
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        assert_true(error->cause[0] && error->remedy[0]);
        if (error->code == BASE_MEMORY) lost = true;
    }
    assert_int_equal(lost, failing);
    if (errors) assert_int_equal(base_errors_worst(errors), BASE_VALUE);
    base_errors_free(errors);
}

static void take_blocks(bool failing) {
    base_arena *arena = base_arena_new();
    bool lost = !arena;
    for (int i = 0; arena && i < 20; i++) {
        void *taken = base_arena_take(arena, 1000, 8);
        if (!taken || !base_arena_text(arena, "a copy")) lost = true;
    }
    assert_int_equal(lost, failing);
    base_arena_free(arena);
}

static void grow_text(bool failing) {
    base_text text;
    base_text_init(&text, 1 << 20);
    for (int i = 0; i < 1000; i++)
        base_text_add(&text, "line %d\n", i);
    assert_int_equal(text.failed, failing);
    assert_int_equal(strlen(text.data), text.length);
    base_text_free(&text);
}

static void refuse_value(bool failing) {
    base_errors *errors = base_errors_new();
    double value;
    assert_int_equal(base_value_read("20", BASE_FARADS, (base_place){0}, &value, errors),
                     BASE_VALUE);
    assert_true(failing || base_errors_count(errors) == 1);
    base_errors_free(errors);
}

/* A file is read whole, or the reader and the list of complaints say that memory was out. */
static void read_yaml(bool failing) {
    static const base_yaml_kind kind = {"test files", "test", "`a:` and a number"};
    static const char text[] = "a: 1\nb: [one, two ]\nc: ' x '\n";
    base_yaml yaml = {.kind = &kind, .file = "t", .errors = base_errors_new()};
    base_yaml_item root;
    base_yaml_items map = {.who = "the file"}, list = {.who = "b"};
    yaml.arena = base_arena_new();
    if (yaml.arena) {
        bool read = base_yaml_open(&yaml, text, strlen(text), &root) &&
                    base_yaml_map(&yaml, &root, &map) && map.items == 3 &&
                    base_yaml_list(&yaml, &map.item[1], &list) && list.items == 2 &&
                    base_yaml_text(&yaml, &map.item[2], "the file");
        assert_true(read ? yaml.worst == BASE_OK : yaml.no_memory && yaml.worst == BASE_MEMORY);
        assert_true(failing || read);
        if (!read && yaml.errors) assert_int_equal(base_errors_worst(yaml.errors), BASE_MEMORY);
    }
    base_yaml_close(&yaml);
    base_errors_free(yaml.errors);
    base_arena_free(yaml.arena);
}

static void test_yaml(void **state) {
    (void)state;
    assert_true(oom_each(read_yaml) > 4);
}

static void test_complaints(void **state) {
    (void)state;
    assert_int_equal(oom_each(complain), 3);
}

static void test_arena(void **state) {
    (void)state;
    assert_true(oom_each(take_blocks) > 2);
}

static void test_text(void **state) {
    (void)state;
    assert_true(oom_each(grow_text) > 2);
}

static void test_values(void **state) {
    (void)state;
    assert_int_equal(oom_each(refuse_value), 2);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_complaints), cmocka_unit_test(test_arena),
        cmocka_unit_test(test_text),       cmocka_unit_test(test_values),
        cmocka_unit_test(test_yaml),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
