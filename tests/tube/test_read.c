/* The reader of tube types: each case of cases.txt changes one thing in type.yaml and names the
 * complaint. Then whatever is no tube type at all. */
#include "support.h"

#include "tube.h"

/* The first complaint as `file:line:column: cause; remedy`, or "" when the text is read. */
static void read_text(const char *text, size_t length, char *said, size_t size) {
    tube_library *library = tube_library_new();
    base_errors *errors = base_errors_new();
    base_code code = tube_library_add(library, "type.yaml", text, length, errors);
    said[0] = 0;
    if (code != BASE_OK) {
        const base_error *e = base_errors_at(errors, 0);
        snprintf(said, size, "%s:%d:%d: %s; %s", e->file, e->line, e->column, e->cause, e->remedy);
        assert_int_equal(code, base_errors_worst(errors));
    }
    assert_int_equal(tube_library_count(library), code == BASE_OK);
    base_errors_free(errors);
    tube_library_free(library);
}

/* `text` with its `\n` turned into line ends, in place. */
static char *unescape(char *text) {
    for (char *at = text; (at = strstr(at, "\\n"));) {
        *at = '\n';
        memmove(at + 1, at + 2, strlen(at + 2) + 1);
    }
    return text;
}

static char *replaced(const char *text, const char *from, const char *to) {
    const char *at = strstr(text, from);
    if (!at) fail_msg("type.yaml does not hold: %s", from);
    char *out = malloc(strlen(text) + strlen(to) + 1);
    sprintf(out, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    return out;
}

static void run_case(const char *type, char *line[3]) {
    char said[1000];
    char *text = replaced(type, unescape(line[0]), unescape(line[1]));
    read_text(text, strlen(text), said, sizeof said);
    size_t length = strlen(line[2]);
    if (length > 3 && !strcmp(line[2] + length - 3, "..."))
        said[length - 3] = line[2][length - 3] = 0;
    if (strcmp(said, line[2])) fail_msg("%s\nsaid:     %s\nexpected: %s", line[1], said, line[2]);
    free(text);
}

static void complaints(void **state) {
    (void)state;
    char *type = support_file("tests/tube/type.yaml", NULL);
    char *cases = support_file("tests/tube/cases.txt", NULL), *rest = cases, *line[3], *next;
    int count = 0, have = 0;
    while ((next = strsep(&rest, "\n"))) {
        if (have == 0 && (!*next || *next == '#')) continue;
        line[have++] = next;
        if (have < 3) continue;
        run_case(type, line);
        have = 0;
        count++;
    }
    assert_true(count >= 20 && have == 0);
    free(cases);
    free(type);
}

static void a_type_is_read(void **state) {
    (void)state;
    size_t length;
    char *text = support_file("tests/tube/type.yaml", &length);
    tube_library *library = tube_library_new();
    base_errors *errors = base_errors_new();
    assert_int_equal(tube_library_add(library, "type.yaml", text, length, errors), BASE_OK);
    const tube_type *type = tube_find(library, "6testgt");
    assert_string_equal(type->name, "6TEST");
    assert_int_equal(type->pins, 8);
    assert_int_equal(type->pin[4].electrode, TUBE_SCREEN);
    assert_int_equal(type->pin[7].electrode, TUBE_HEATER);
    assert_int_equal(type->unit[0].pin[TUBE_CATHODE], 8);
    assert_true(type->rating[0].limit[TUBE_PLATE_V] == 360 && type->rating[0].unit == -1);
    assert_true(type->rating[0].limit[TUBE_SCREEN_V] != type->rating[0].limit[TUBE_SCREEN_V]);
    assert_true(type->fit[0].unit == -1 && type->fit[0].published[4] == 0.006);
    assert_string_equal(type->notes[0], "made up for tests");
    assert_null(type->notes[1]);
    assert_int_equal(tube_library_add(library, "again.yaml", text, length, errors), BASE_VALUE);
    assert_int_equal(tube_library_count(library), 1);
    base_errors_free(errors);
    tube_library_free(library);
    free(text);
}

static void cut_anywhere(void **state) {
    (void)state;
    size_t length;
    char said[1000], *text = support_file("tests/tube/type.yaml", &length);
    for (size_t cut = 0; cut < length - 200; cut++) {
        char *part = malloc(cut ? cut : 1); /* its exact size: a sanitizer sees its end */
        memcpy(part, text, cut);
        read_text(part, cut, said, sizeof said);
        assert_true(said[0] != 0);
        free(part);
    }
    free(text);
}

static void noise(void **state) {
    (void)state;
    char said[1000];
    size_t length = 10 * 1000 * 1000;
    char *text = malloc(length);
    base_random random;
    base_random_seed(&random, 1);
    for (size_t i = 0; i < length; i++)
        text[i] = (char)base_random_bits(&random);
    read_text(text, length, said, sizeof said);
    assert_non_null(strstr(said, "is it the right file?"));
    for (size_t n = 1; n < 2000; n += 7) {
        read_text(text + 5 * n, n, said, sizeof said);
        assert_true(said[0] != 0);
    }
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_type_is_read),
        cmocka_unit_test(complaints),
        cmocka_unit_test(cut_anywhere),
        cmocka_unit_test(noise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
