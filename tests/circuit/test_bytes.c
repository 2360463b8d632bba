/* Bytes that are no amp file: each is refused with a place and a remedy, quickly. */
#include "circuit.h"
#include "support.h"
#include "tubes.h"

#include <time.h>

typedef struct made {
    char *text;
    size_t length;
} made;

/* Reads `length` bytes; the first complaint is `cause` at line:column, and it took under 5 s. */
static void assert_refused(const char *text, size_t length, int line, int column,
                           const char *cause) {
    base_errors *errors = base_errors_new();
    tube_library *tubes = test_tubes_new(errors);
    clock_t start = clock();
    circuit *amp = circuit_read("noise", text, length, tubes, errors);
    assert_true((double)(clock() - start) / CLOCKS_PER_SEC < 5);
    assert_null(amp);
    assert_true(base_errors_count(errors) > 0);
    const base_error *error = base_errors_at(errors, 0);
    if (!strstr(error->cause, cause)) printf("wanted %s, got %s\n", cause, error->cause);
    assert_non_null(strstr(error->cause, cause));
    assert_true(strlen(error->remedy) > 5);
    assert_string_equal(error->file, "noise");
    assert_int_equal(error->line, line);
    assert_int_equal(error->column, column);
    tube_library_free(tubes);
    base_errors_free(errors);
}

/* `count` times `piece`, where %zu in it counts. */
static made repeat(const char *piece, size_t count, size_t room) {
    made made = {malloc(count * room + 1), 0};
    assert_non_null(made.text);
    for (size_t i = 0; i < count; i++)
        made.length += (size_t)sprintf(made.text + made.length, "%.*s%zu%s",
                                       (int)strcspn(piece, "#"), piece, i, strchr(piece, '#') + 1);
    return made;
}

static void test_noise(void **state) {
    (void)state;
    size_t length = 10u << 20;
    char *noise = malloc(length);
    base_random random;
    assert_non_null(noise);
    base_random_seed(&random, 7);
    for (size_t i = 0; i < length; i++)
        noise[i] = (char)base_random_bits(&random);
    assert_refused(noise, length, 1, 1, "the file is 10240 kB long");
    noise[0] = 'a', noise[1] = (char)0xC0;
    assert_refused(noise, 200000, 1, 2, "a byte that is no UTF-8 text");
    free(noise);
}

static void test_bad_text(void **state) {
    (void)state;
    static const struct {
        const char *text;
        size_t length;
        int line, column;
        const char *cause;
    } cases[] = {
        {"amp: a\nmains: \0", 15, 2, 8, "a zero byte"},
        {"amp: a\n b: \xFF\xFE", 13, 2, 5, "no UTF-8"},
        {"amp: \xED\xA0\x80", 8, 1, 6, "no UTF-8"},     /* half of a surrogate pair */
        {"amp: \xF4\x90\x80\x80", 9, 1, 6, "no UTF-8"}, /* past the last character */
        {"amp: \xE2\x82", 7, 1, 6, "no UTF-8"},         /* cut short */
        {"amp: \xC0\xAF", 7, 1, 6, "no UTF-8"},         /* longer than it need be */
        {"\xFF\xFE"
         "a",
         3, 1, 1, "no UTF-8"},
        {"amp: caf\xC3\xA9\n", 11, 1, 1, "has no `mains`"}, /* good text, no amp */
        {"", 0, 1, 1, "the file is empty"},
        {" \n\t\n# words", 11, 1, 1, "the file is empty"},
        {"amp: a\nmains: {volts: 120", 25, 3, 1, "this is not YAML"},
        {"amp: \"a\nb", 9, 1, 6, "this is not YAML"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_refused(cases[i].text, cases[i].length, cases[i].line, cases[i].column,
                       cases[i].cause);
    assert_refused(NULL, 0, 1, 1, "the file is empty");
}

static void test_deep(void **state) {
    (void)state;
    size_t length = 200000;
    char *text = malloc(length);
    assert_non_null(text);
    memset(text, '[', length);
    assert_refused(text, length, 1, 64, "this is not YAML: Max depth (64) exceeded");
    for (size_t i = 0; i < length; i++)
        text[i] = "{a: "[i % 4];
    assert_refused(text, length, 1, 253, "this is not YAML: Max depth (64) exceeded");
    memset(text, '-', length);
    assert_refused(text, length, 1, 1, "the file must hold keys with values");
    free(text);
}

static void test_many(void **state) {
    (void)state;
    made keys = repeat("key#: 1\n", 15000, 16);
    assert_refused(keys.text, keys.length, 1, 1, "the file has 15000 keys");
    free(keys.text);
    made same = repeat("a: #\n", 900, 16);
    assert_refused(same.text, same.length, 2, 1, "`a` is given twice in the file");
    free(same.text);
}

/* A complaint shows the file's bytes without what could upset a terminal, and not at length. */
static void test_shown(void **state) {
    (void)state;
    static const char text[] = "\"\\e[31mred | bar\\x07\": 1\n";
    assert_refused(text, sizeof text - 1, 1, 2, "the key ` [31mred / bar `");
    made name = {malloc(1000), 0};
    memset(name.text, 'x', 1000);
    memcpy(name.text + 997, ": 1", 3);
    assert_refused(name.text, 1000, 1, 1, "xxxx...`, which is not known");
    free(name.text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noise), cmocka_unit_test(test_bad_text), cmocka_unit_test(test_deep),
        cmocka_unit_test(test_many),  cmocka_unit_test(test_shown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
