/* Arenas and growing texts. */
#include "base.h"
#include "support.h"

static void test_arena_zeroed_aligned_apart(void **state) {
    (void)state;
    base_arena *arena = base_arena_new();
    base_random random;
    base_random_seed(&random, 3);
    unsigned char *before = NULL;
    size_t before_size = 0;
    for (int i = 0; i < 2000; i++) {
        size_t size = (size_t)(base_random_bits(&random) % (i % 100 ? 300 : 50000));
        unsigned char *taken = base_arena_take(arena, size, 1);
        assert_non_null(taken);
        assert_int_equal((uintptr_t)taken % _Alignof(max_align_t), 0);
        for (size_t b = 0; b < size; b++)
            assert_int_equal(taken[b], 0);
        memset(taken, 0xaa, size);
        if (before_size) assert_int_equal(before[before_size - 1], 0xaa);
        before = taken;
        before_size = size;
    }
    base_arena_free(arena);
}

static void test_arena_impossible(void **state) {
    (void)state;
    base_arena *arena = base_arena_new();
    assert_null(base_arena_take(arena, SIZE_MAX / 2, 4));
    assert_null(base_arena_take(arena, SIZE_MAX, 1));
    assert_null(base_arena_take(arena, SIZE_MAX / 16, 16));
    assert_null(base_arena_take(NULL, 1, 1));
    assert_non_null(base_arena_take(arena, 0, 8));
    assert_string_equal(base_arena_text(arena, "still works"), "still works");
    base_arena_free(arena);
    base_arena_free(NULL);
}

static void test_text_grows(void **state) {
    (void)state;
    base_text text;
    base_text_init(&text, 100000);
    assert_string_equal(text.data, "");
    for (int i = 0; i < 1000; i++)
        base_text_add(&text, "%03d,", i);
    assert_false(text.failed);
    assert_int_equal(text.length, 4000);
    assert_memory_equal(text.data + 3996, "999,", 5);
    base_text_free(&text);
    assert_string_equal(text.data, "");
}

static void test_text_stops(void **state) {
    (void)state;
    base_text text;
    base_text_init(&text, 10);
    base_text_add(&text, "%s", "0123456789"); /* just fits */
    assert_false(text.failed);
    base_text_add(&text, "!");
    assert_true(text.failed);
    base_text_add(&text, "%s", "");
    assert_string_equal(text.data, "0123456789");
    base_text_free(&text);
    base_text_init(&text, 0);
    base_text_add(&text, "x");
    assert_true(text.failed && text.data[0] == 0);
    base_text_free(&text);
}

static void test_print(void **state) {
    (void)state;
    base_arena *arena = base_arena_new();
    char longer[3000];
    memset(longer, 'x', sizeof longer);
    longer[sizeof longer - 1] = 0;
    assert_string_equal(base_arena_print(arena, "%s.%d", "V2", 3), "V2.3");
    assert_string_equal(base_arena_print(arena, "%s", ""), "");
    assert_int_equal(strlen(base_arena_print(arena, "%s-%s", longer, longer)), 5999);
    base_arena_free(arena);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_print),
        cmocka_unit_test(test_arena_zeroed_aligned_apart),
        cmocka_unit_test(test_arena_impossible),
        cmocka_unit_test(test_text_grows),
        cmocka_unit_test(test_text_stops),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
