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
        cmocka_unit_test(test_complaints),
        cmocka_unit_test(test_arena),
        cmocka_unit_test(test_text),
        cmocka_unit_test(test_values),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
