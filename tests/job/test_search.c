/* Finding jobs by any beginnings of words, and what the past repairs were. */
#include "bench.h"

static void finds(bench *bench, const char *words, bool open, const char *jobs) {
    json_t *found = job_search(bench->store, words, open, 50, bench->errors), *one;
    char text[256] = "";
    size_t i;
    assert_non_null(found);
    json_array_foreach(found, i, one) {
        size_t length = strlen(text);
        snprintf(text + length, sizeof text - length, "%s%d", i ? " " : "",
                 (int)json_integer_value(json_object_get(one, "job")));
    }
    if (strcmp(text, jobs) != 0) fail_msg("`%s` finds %s, not %s", words ? words : "", text, jobs);
    json_decref(found);
}

static int64_t job_of(bench *bench, const char *owner, const char *complaint, const char *amp) {
    int64_t job = 0;
    json_t *body = json_pack("{s:s, s:s, s:s}", "owner", owner, "complaint", complaint, "amp", amp);
    assert_int_equal(job_create(bench->store, body, bench->now += 1000, &job, bench->errors), 0);
    json_decref(body);
    return job;
}

static void hand_back(bench *bench, int64_t job, const char *part, const char *what) {
    json_t *body = json_pack("{s:s, s:s, s:s, s:s}", "found", "it was worn", "done", "a new one",
                             "cause_part", part, "cause_what", what);
    job_fact fact = {.kind = "hand back", .body = body};
    assert_int_equal(job_add(bench->store, job, &fact, bench->now += 1000, NULL, bench->errors), 0);
    json_decref(body);
}

static void test_search(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    job_of(&bench, "Ada Björnsdottir", "hums like a \"fridge\"", "saltpan");
    job_of(&bench, "Bram O'Elm", "crackles; DROP TABLE words", "tidemark");
    job_of(&bench, "Ada Elm", "no sound", "wren-hollow");
    bench_add(&bench, 2, "decision",
              "{'part':'C11','action':'replace','reason':'failing','what':'leaky'}");
    bench_add(&bench, 3, "look", "{'part':'C8','condition':['bulged','fine']}");
    hand_back(&bench, 3, "C8", "dried out");
    finds(&bench, NULL, false, "3 2 1");
    finds(&bench, "", true, "2 1");
    finds(&bench, "ada", false, "3 1");
    finds(&bench, "ADA", true, "1");
    finds(&bench, "bjorn", false, "1");
    finds(&bench, "elm crack", false, "2");
    finds(&bench, "o'elm", false, "2");
    finds(&bench, "c11 leak", false, "2");
    finds(&bench, "bulged", false, "3");
    finds(&bench, "fine", false, "");
    finds(&bench, "dried wren", false, "3");
    finds(&bench, "\"fridge\"", false, "1");
    finds(&bench, "nothing", false, "");
    bench_close(&bench);
}

/* No word is an operator of the index, and none breaks it. */
static void test_odd_words(void **state) {
    (void)state;
    static const char *const odd[] = {
        "AND", "NOT ada", "owner:ada",       "a*b", "(ada",      "\"",   "\"\"\"",   "ada\"",
        "*",   "-ada",    "ada OR elm",      "{",   "NEAR(a b)", "^ada", "\xff\xfe", "';--",
        "%",   "\xc3",    "\xf0\x9f\x94\xa5"};
    bench bench;
    bench_open(&bench);
    job_of(&bench, "Ada Elm", "no sound", "wren-hollow");
    for (size_t i = 0; i < sizeof odd / sizeof *odd; i++) {
        json_t *found = job_search(bench.store, odd[i], false, 50, bench.errors);
        if (!found) {
            bench_say(bench.errors);
            fail_msg("%s", odd[i]);
        }
        json_decref(found);
    }
    finds(&bench, "* -- ada", false, "1");
    char *longest = calloc(1, 20001);
    memset(longest, 'a', 20000);
    assert_null(job_search(bench.store, longest, false, 50, bench.errors));
    bench_complained(&bench, "the search is too long");
    free(longest);
    bench_close(&bench);
}

/* "Of 5 like this, 3 were the same coupling capacitor." */
static void test_history(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    static const char *const causes[][2] = {
        {"C11", "leaky"}, {"c11", "Leaky"}, {"C11", "leaky"}, {"V4", "weak"}, {"", ""}};
    for (size_t i = 0; i < 5; i++)
        hand_back(&bench, job_of(&bench, "Ada", "hum", "saltpan"), causes[i][0], causes[i][1]);
    job_of(&bench, "Ada", "hum", "saltpan"); /* still on the bench: not counted */
    hand_back(&bench, job_of(&bench, "Ada", "hum", "tidemark"), "C3", "leaky");
    json_t *history = job_history(bench.store, "saltpan", true, bench.errors);
    assert_string_equal(bench_get(history, "alike"), "5");
    assert_string_equal(bench_get(history, "causes.0.count"), "3");
    assert_string_equal(bench_get(history, "causes.1"), "{'part':'V4','what':'weak','count':1}");
    assert_string_equal(bench_get(history, "causes.2"), "nothing");
    json_decref(history);
    bench_close(&bench);
}

/* Amps of one family number their parts each in its own way: the kind of part is counted. */
static void test_family(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    size_t length = 0;
    char *text = strdup(bench_amp(&bench, "saltpan", &length));
    memcpy(strstr(text, "Saltpan 15"), "Brinepan 9", 10);
    assert_int_equal(job_amp_save(bench.store, "Brinepan", text, NOON, bench.errors), BASE_OK);
    free(text);
    hand_back(&bench, job_of(&bench, "Ada", "hum", "saltpan"), "C11", "leaky");
    hand_back(&bench, job_of(&bench, "Ada", "hum", "Brinepan"), "C12", "leaky");
    hand_back(&bench, job_of(&bench, "Ada", "hum", "Brinepan"), "V4", "weak");
    hand_back(&bench, job_of(&bench, "Ada", "hum", "tidemark"), "C3", "leaky");
    json_t *history = job_history(bench.store, "saltpan", false, bench.errors);
    assert_string_equal(bench_get(history, "alike"), "3");
    assert_string_equal(bench_get(history, "causes.0"),
                        "{'part':'capacitor','what':'leaky','count':2}");
    assert_string_equal(bench_get(history, "causes.1"), "{'part':'tube','what':'weak','count':1}");
    json_decref(history);
    history = job_history(bench.store, "nobody's amp", false, bench.errors);
    assert_string_equal(bench_get(history, "alike"), "0");
    json_decref(history);
    bench_close(&bench);
}

/* What is kept beside the facts can be worked out anew and is then the same. */
static void test_rebuild(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    for (int i = 0; i < 5; i++)
        hand_back(&bench, job_of(&bench, "Ada", "hum", "saltpan"), "C11", "leaky");
    bench_add(&bench, 2, "reading", "{'phase':'before','at':'V1.1','volts':78}");
    json_t *before = job_search(bench.store, "leak ada", false, 9, bench.errors);
    assert_int_equal(job_rebuild(bench.store, bench.errors), BASE_OK);
    json_t *after = job_search(bench.store, "leak ada", false, 9, bench.errors);
    assert_int_equal(json_array_size(after), 5);
    assert_true(json_equal(before, after));
    json_decref(before);
    json_decref(after);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_search),  cmocka_unit_test(test_odd_words),
        cmocka_unit_test(test_history), cmocka_unit_test(test_family),
        cmocka_unit_test(test_rebuild),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
