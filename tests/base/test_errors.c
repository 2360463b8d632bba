/* The list of complaints, and the table of codes. */
#include "base.h"
#include "support.h"

static int setup(void **state) {
    *state = base_errors_new();
    return *state ? 0 : -1;
}

static int teardown(void **state) {
    base_errors_free(*state);
    return 0;
}

static const base_error *add_text(base_errors *errors, const char *text) {
    base_errors_add(errors, BASE_VALUE, (base_place){text, 0, 0}, "<%s>|do <%s>", text, text);
    return base_errors_at(errors, base_errors_count(errors) - 1);
}

static void test_place_cause_remedy(void **state) {
    base_errors *errors = *state;
    char file[] = "amps/x.yaml";
    base_code code = base_errors_add(errors, BASE_UNKNOWN, (base_place){file, 14, 3},
                                     "R7 joins V%d.6|declare V%d under tubes", 2, 2);
    file[0] = '?'; /* the list has its own copy */
    assert_int_equal(code, BASE_UNKNOWN);
    const base_error *error = base_errors_at(errors, 0);
    assert_string_equal(error->file, "amps/x.yaml");
    assert_true(error->line == 14 && error->column == 3);
    assert_string_equal(error->cause, "R7 joins V2.6");
    assert_string_equal(error->remedy, "declare V2 under tubes");
    assert_null(base_errors_at(errors, 1));
}

static void test_no_remedy_no_file(void **state) {
    base_errors *errors = *state;
    base_errors_add(errors, BASE_UNSOLVED, (base_place){0}, "no remedy is known");
    assert_null(base_errors_at(errors, 0)->file);
    assert_string_equal(base_errors_at(errors, 0)->cause, "no remedy is known");
    assert_string_equal(base_errors_at(errors, 0)->remedy, "");
}

/* A bar in a user's own text does not part cause from remedy. */
static void test_bar_in_text(void **state) {
    const base_error *error = add_text(*state, "a|b");
    assert_string_equal(error->cause, "<a|b>");
    assert_string_equal(error->remedy, "do <a|b>");
    assert_string_equal(error->file, "a|b");
    error = add_text(*state, "a\x1e\x1f\x1e"
                             "b");
    assert_string_equal(error->cause, "<a???b>");
    assert_string_equal(error->remedy, "do <a???b>");
}

/* Nothing that a file holds can drive a terminal or break the encoding of an answer. */
static void test_unprintable(void **state) {
    static const struct {
        const char *text, *shown;
    } cases[] = {
        {"\x1b[31mred", "<?[31mred>"},
        {"two\nlines\tand", "<two lines and>"},
        {"\xc2\x9b csi", "<?? csi>"},
        {"caf\xe9", "<caf?>"},
        {"cut \xe2\x84", "<cut ?\?>"},
        {"\xed\xa0\x80 half", "<??? half>"},
        {"\xc0\xaf long", "<?? long>"},
        {"\xf4\x90\x80\x80 far", "<???\? far>"},
        {"4.7 k\xe2\x84\xa6 \xc2\xb5 \xf0\x9f\x8e\xb8",
         "<4.7 k\xe2\x84\xa6 \xc2\xb5 \xf0\x9f\x8e\xb8>"},
        {"\x7f", "<?>"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_string_equal(add_text(*state, cases[i].text)->cause, cases[i].shown);
}

static void test_overlong(void **state) {
    char *noise = calloc(1, 100001);
    memset(noise, 'x', 100000);
    const base_error *error = add_text(*state, noise);
    assert_true(strlen(error->cause) < 2000);
    assert_string_equal(error->remedy, "");
    free(noise);
}

static void test_keeps_200(void **state) {
    base_errors *errors = *state;
    for (int i = 0; i < 250; i++)
        base_errors_add(errors, BASE_SUSPICIOUS, (base_place){0}, "odd %d|look", i);
    assert_int_equal(base_errors_worst(errors), BASE_OK);
    base_errors_add(errors, BASE_CIRCUIT, (base_place){0}, "wrong|mend it");
    assert_int_equal(base_errors_count(errors), 200);
    assert_int_equal(base_errors_dropped(errors), 51);
    assert_string_equal(base_errors_at(errors, 199)->cause, "odd 199");
    assert_int_equal(base_errors_worst(errors), BASE_CIRCUIT); /* though it was not kept */
}

static void test_worst_is_first(void **state) {
    base_errors *errors = *state;
    base_errors_add(errors, BASE_SUSPICIOUS, (base_place){0}, "a");
    base_errors_add(errors, BASE_VALUE, (base_place){0}, "b");
    base_errors_add(errors, BASE_SYNTAX, (base_place){0}, "c");
    assert_int_equal(base_errors_worst(errors), BASE_VALUE);
}

static void test_no_list(void **state) {
    (void)state;
    assert_int_equal(base_errors_add(NULL, BASE_FILE, (base_place){0}, "lost"), BASE_FILE);
    assert_int_equal(base_errors_count(NULL), 0);
    assert_null(base_errors_at(NULL, 0));
    base_errors_free(NULL);
}

static void test_codes(void **state) {
    (void)state;
    for (int code = 0; code < BASE_CODES; code++) {
        const base_code_row *row = base_code_of((base_code)code);
        assert_true(row->name && row->meaning);
        bool fine = code == BASE_OK || code == BASE_SUSPICIOUS;
        assert_int_equal(row->exit_status == 0, fine);
        assert_int_equal(row->http_status == 200, fine);
        for (int other = 0; other < code; other++)
            assert_string_not_equal(row->name, base_code_of((base_code)other)->name);
    }
    assert_true(base_code_of((base_code)999)->exit_status != 0);
    assert_true(base_code_of((base_code)-1)->exit_status != 0);
}

#define WITH_LIST(test) cmocka_unit_test_setup_teardown(test, setup, teardown)

static void test_append(void **state) {
    (void)state;
    base_errors *all = base_errors_new(), *own = base_errors_new();
    base_place place = {"x.yaml", 3, 14};
    base_errors_add(own, BASE_SUSPICIOUS, place, "odd|look");
    base_errors_add(own, BASE_VALUE, place, "100 %% wrong: a|b");
    base_errors_append(all, own);
    base_errors_append(all, NULL);
    assert_int_equal(base_errors_count(all), 1);
    assert_int_equal(base_errors_worst(all), BASE_VALUE);
    assert_string_equal(base_errors_at(all, 0)->cause, "100 % wrong: a");
    assert_string_equal(base_errors_at(all, 0)->remedy, "b");
    assert_int_equal(base_errors_at(all, 0)->column, 14);
    base_errors_free(own);
    base_errors_free(all);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_append),     WITH_LIST(test_place_cause_remedy),
        WITH_LIST(test_no_remedy_no_file), WITH_LIST(test_bar_in_text),
        WITH_LIST(test_unprintable),       WITH_LIST(test_overlong),
        WITH_LIST(test_keeps_200),         WITH_LIST(test_worst_is_first),
        cmocka_unit_test(test_no_list),    cmocka_unit_test(test_codes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
