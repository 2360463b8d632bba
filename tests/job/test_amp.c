/* The amp of a job: its drawing stays, its edits apply in order, the shop keeps its own amps. */
#include "bench.h"

static char *text_of(bench *bench, int64_t job, job_amp which) {
    char *text = job_amp_text(bench->store, job, which, bench->errors);
    if (!text) bench_say(bench->errors);
    assert_non_null(text);
    return text;
}

static void has(bench *bench, int64_t job, job_amp which, const char *words, bool wanted) {
    char *text = text_of(bench, job, which);
    if ((strstr(text, words) != NULL) != wanted) fail_msg("%s: %d", words, wanted);
    free(text);
}

static void test_edits(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    size_t length;
    char *drawn = text_of(&bench, job, JOB_REPAIRED);
    assert_string_equal(drawn, bench_amp(&bench, "saltpan", &length));
    free(drawn);
    /* A repair is written down before what was found: found comes first all the same. */
    int64_t made = bench_add(&bench, job, "edit",
                             "{'phase':'repaired','part':'R8','key':'value','to':'1k8','does':"
                             "'change'}");
    int64_t found = bench_add(&bench, job, "edit",
                              "{'phase':'found','part':'R8','key':'value','to':'2k2','does':"
                              "'change'}");
    has(&bench, job, JOB_DRAWN, "R8: {value: 1k5", true);
    has(&bench, job, JOB_FOUND, "R8: {value: 2k2", true);
    has(&bench, job, JOB_REPAIRED, "R8: {value: 1k8", true);
    assert_int_equal(job_undo(bench.store, job, made, NOON, NULL, bench.errors), BASE_OK);
    has(&bench, job, JOB_REPAIRED, "R8: {value: 2k2", true);
    assert_int_equal(job_undo(bench.store, job, found, NOON, NULL, bench.errors), BASE_OK);
    has(&bench, job, JOB_FOUND, "R8: {value: 1k5", true);
    bench_close(&bench);
}

/* An undo that leaves later edits without their part is refused, and nothing is changed by it. */
static void test_edits_that_lean(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    int64_t added = bench_add(&bench, job, "edit",
                              "{'phase':'found','part':'R99','does':'add','key':'resistors',"
                              "'yaml':'{value: 1k, at: [B2, B3]}'}");
    int64_t changed = bench_add(&bench, job, "edit",
                                "{'phase':'found','part':'R99','does':'change','key':'value',"
                                "'to':'2k'}");
    assert_int_not_equal(job_undo(bench.store, job, added, NOON, NULL, bench.errors), BASE_OK);
    bench_complained(&bench, "has no part R99");
    has(&bench, job, JOB_FOUND, "R99: {value: 2k", true);
    bench_is(&bench, job, "facts", "3");
    assert_int_equal(job_undo(bench.store, job, changed, NOON, NULL, bench.errors), BASE_OK);
    assert_int_equal(job_undo(bench.store, job, added, NOON, NULL, bench.errors), BASE_OK);
    has(&bench, job, JOB_FOUND, "R99", false);
    bench_close(&bench);
}

/* A refused edit leaves nothing behind, and is refused again. */
static void test_refused_twice(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    for (int i = 0; i < 2; i++)
        bench_refused(&bench, job, "edit",
                      "{'phase':'found','part':'R8','key':'value','to':'red','does':'change'}",
                      "red");
    bench_is(&bench, job, "facts", "1");
    bench_close(&bench);
}

/* The library moves on; the job keeps what it came with until it is told otherwise. */
static void test_drawing_stays(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    for (size_t i = 0; i < bench.amps; i++)
        if (strcmp(bench.amp[i].name, "saltpan") == 0) {
            char *at = strstr(bench.amp[i].text, "R8: {value: 1k5");
            memcpy(at, "R8: {value: 1k6", 15);
        }
    has(&bench, job, JOB_DRAWN, "R8: {value: 1k5", true);
    bench_add(&bench, job, "take in", "{'owner':'Bea','complaint':'hum','amp':'saltpan'}");
    has(&bench, job, JOB_DRAWN, "R8: {value: 1k5", true);
    int64_t anew = bench_add(&bench, job, "drawing", "{'amp':'saltpan'}");
    has(&bench, job, JOB_DRAWN, "R8: {value: 1k6", true);
    assert_int_equal(job_undo(bench.store, job, anew, NOON, NULL, bench.errors), BASE_OK);
    has(&bench, job, JOB_DRAWN, "R8: {value: 1k5", true);
    bench_add(&bench, job, "take in", "{'owner':'Bea','complaint':'hum','amp':'tidemark'}");
    has(&bench, job, JOB_DRAWN, "amp: Tidemark", true);
    bench_close(&bench);
}

/* ---- the shop's own amps ------------------------------------------------------------------- */

/* The wren hollow under another name. */
static char *own_text(bench *bench) {
    size_t length;
    const char *library = bench_amp(bench, "wren-hollow", &length);
    char *text = strdup(library), *at = strstr(text, "Wren Hollow 5");
    memcpy(at, "Wicket Lane 5", 13);
    return text;
}

static void test_own(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    char *text = own_text(&bench);
    int64_t job = bench_job(&bench, "Wicket Lane");
    bench_is(&bench, job, "amp.drawn", "false");
    assert_null(job_amp_text(bench.store, job, JOB_DRAWN, bench.errors));
    bench_complained(&bench, "has no drawing");
    assert_int_equal(job_amp_save(bench.store, "Wicket Lane", text, NOON, bench.errors), BASE_OK);
    /* The job takes it with its next fact. */
    bench_add(&bench, job, "note", "{'text':'drawn now'}");
    bench_is(&bench, job, "amp.title", "'Wicket Lane 5'");
    bench_is(&bench, job, "amp.library", "false");
    char *read = job_amp_load(bench.store, "wicket lane", bench.errors);
    assert_string_equal(read, text);
    json_t *list = job_amps(bench.store, bench.errors);
    assert_int_equal(json_array_size(list), 1);
    assert_string_equal(bench_get(list, "0.family"), "'single-ended, cathode bias'");
    json_decref(list);
    free(read);
    free(text);
    bench_close(&bench);
}

static void test_own_refused(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    char *text = own_text(&bench);
    static const char *const names[] = {"", " x", "a/b", "..\\x", "<b>", "a|b", "\x01"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        assert_int_not_equal(job_amp_save(bench.store, names[i], text, NOON, bench.errors),
                             BASE_OK);
        bench_complained(&bench, "cannot be the name");
    }
    assert_int_not_equal(job_amp_save(bench.store, "saltpan", text, NOON, bench.errors), BASE_OK);
    bench_complained(&bench, "is an amp of the library");
    char *at = strstr(text, "value: ");
    memcpy(at, "valeu: ", 7);
    assert_int_not_equal(job_amp_save(bench.store, "Wicket", text, NOON, bench.errors), BASE_OK);
    const base_error *error = base_errors_at(bench.errors, 0);
    assert_true(error->line > 10 && error->column > 1);
    bench_complained(&bench, "valeu");
    assert_null(job_amp_load(bench.store, "Wicket", bench.errors));
    bench_complained(&bench, "no amp called `Wicket`");
    free(text);
    bench_close(&bench);
}

/* Forty amps, more than are kept solved: each is seen with its own capacitors. */
static void test_many(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job[40];
    char body[128], volts[16];
    for (int i = 0; i < 40; i++) {
        job[i] = bench_job(&bench, "wren-hollow");
        snprintf(body, sizeof body,
                 "{'phase':'found','part':'C5','key':'volts','to':'%d','does':'change'}", 400 + i);
        bench_add(&bench, job[i], "edit", body);
    }
    for (int i = 39; i >= 0; i--) {
        json_t *view = bench_view(&bench, job[i]), *one;
        size_t k;
        bool found = false;
        snprintf(volts, sizeof volts, "%d.0", 400 + i);
        json_array_foreach(json_object_get(json_object_get(view, "drained"), "capacitors"), k,
                           one) if (strcmp(bench_get(one, "rating"), volts) == 0) found = true;
        if (!found) fail_msg("job %d", i);
        json_decref(view);
    }
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_edits),         cmocka_unit_test(test_edits_that_lean),
        cmocka_unit_test(test_refused_twice), cmocka_unit_test(test_drawing_stays),
        cmocka_unit_test(test_own),           cmocka_unit_test(test_own_refused),
        cmocka_unit_test(test_many),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
