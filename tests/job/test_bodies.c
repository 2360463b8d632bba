/* What a fact may hold: the cases of bodies.txt, and texts too long to write there. */
#include "bench.h"

/* One line of bodies.txt; the text is cut up. */
static void one_case(bench *bench, int64_t job, char *line) {
    char *first = strstr(line, " | "), *last = strrchr(line, '|');
    if (!first || last <= first + 3) fail_msg("no case: %s", line);
    *first = 0;
    char *body = first + 3;
    last[-1] = 0;
    const char *words = last[1] ? last + 2 : "";
    if (*words)
        bench_refused(bench, job, line, body, words);
    else
        bench_add(bench, job, line, body);
}

static void test_cases(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    char *text = support_file("tests/job/bodies.txt", NULL), *save;
    int cases = 0;
    for (char *line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save))
        if (*line != '#') one_case(&bench, job, line), cases++;
    assert_true(cases > 60);
    free(text);
    bench_close(&bench);
}

/* A body whose `text` is `length` times the letter. */
static base_code note_of(bench *bench, int64_t job, const char *letter, size_t length) {
    size_t step = strlen(letter);
    char *text = calloc(1, length * step + 1);
    for (size_t i = 0; i < length; i++)
        memcpy(text + i * step, letter, step);
    json_t *body = json_pack("{s:s}", "text", text);
    job_fact fact = {.kind = "note", .body = body};
    base_code code = job_add(bench->store, job, &fact, bench->now, NULL, bench->errors);
    json_decref(body);
    free(text);
    return code;
}

static void test_long(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    assert_int_equal(note_of(&bench, job, "a", 64 << 10), BASE_OK);
    assert_int_equal(note_of(&bench, job, "a", (64 << 10) + 1), BASE_VALUE);
    bench_complained(&bench, "is 64 kB long");
    json_t *list = json_array();
    for (int i = 0; i < 201; i++)
        json_array_append_new(list, json_string("cover"));
    json_t *body = json_pack("{s:s, s:s, s:s, s:o}", "owner", "Bea", "complaint", "hum", "amp",
                             "saltpan", "accessories", list);
    job_fact fact = {.kind = "take in", .body = body};
    assert_int_equal(job_add(bench.store, job, &fact, NOON, NULL, bench.errors), BASE_VALUE);
    bench_complained(&bench, "has 201 entries");
    json_decref(body);
    bench_close(&bench);
}

/* Texts that no JSON reader would let through, but another caller might make. */
static void test_not_utf8(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    static const char *const texts[] = {"\xff", "a\xc3", "\xed\xa0\x80", "\xf5\x80\x80\x80"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        json_t *body = json_object();
        json_object_set_new(body, "text", json_string_nocheck(texts[i]));
        job_fact fact = {.kind = "note", .body = body};
        assert_int_not_equal(job_add(bench.store, job, &fact, NOON, NULL, bench.errors), BASE_OK);
        bench_complained(&bench, "");
        json_decref(body);
    }
    json_t *body = json_pack("{s:o}", "text", json_stringn("a\0b", 3));
    job_fact fact = {.kind = "note", .body = body};
    assert_int_equal(job_add(bench.store, job, &fact, NOON, NULL, bench.errors), BASE_SYNTAX);
    bench_complained(&bench, "control character");
    json_decref(body);
    bench_close(&bench);
}

/* Every complaint of a body at once. */
static void test_all_at_once(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    assert_int_not_equal(
        bench_try(&bench, job, "reading", "{'phse':'before','at':7,'volts':'x','mains':1}", NULL),
        BASE_OK);
    assert_int_equal(base_errors_count(bench.errors), 5);
    assert_non_null(strstr(base_errors_at(bench.errors, 0)->remedy, "did you mean `phase`"));
    bench_close(&bench);
}

/* docs/facts.md names every kind and every key that the checks know. */
static void test_documented(void **state) {
    (void)state;
    char *text = support_file("docs/facts.md", NULL), wanted[80];
    size_t count;
    const job_kind *kinds = job_kinds(&count);
    for (size_t i = 0; i < count; i++) {
        snprintf(wanted, sizeof wanted, "\n| `%s` |", kinds[i].name);
        const char *row = strstr(text, wanted);
        if (!row) fail_msg("docs/facts.md has no %s", kinds[i].name);
        const char *end = strchr(row + 1, '\n');
        for (const job_key *key = kinds[i].keys; key->name; key++) {
            snprintf(wanted, sizeof wanted, "`%s`%s", key->name, key->must ? "*" : " ");
            const char *at = strstr(row, wanted);
            if (!at || at > end) fail_msg("docs/facts.md: %s has no %s", kinds[i].name, wanted);
        }
    }
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cases),      cmocka_unit_test(test_long),
        cmocka_unit_test(test_not_utf8),   cmocka_unit_test(test_all_at_once),
        cmocka_unit_test(test_documented),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
