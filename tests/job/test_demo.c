/* The invented shop of data/demo: it imports, says that it is invented, and holds a job at each of
 * five stages, with readings that the amps of the library can have. */
#include "bench.h"

static void demo_open(bench *bench) {
    bench_open(bench);
    if (job_import(bench->store, SOURCE_DIR "/data/demo/shop.json", bench->errors) != BASE_OK) {
        bench_say(bench->errors);
        fail_msg("the demo shop was not taken");
    }
}

static void test_stages(void **state) {
    (void)state;
    static const char *const wanted[] = {"make safe", "measure", "decide", "prove", "done"};
    bench bench;
    demo_open(&bench);
    json_t *all = job_search(bench.store, "", false, 100, bench.errors);
    assert_int_equal(json_array_size(all), 45);
    for (size_t i = 0; i < 5; i++)
        assert_string_equal(json_string_value(json_object_get(json_array_get(all, i), "stage")),
                            wanted[i]);
    json_t *open = job_search(bench.store, "", true, 100, bench.errors);
    assert_int_equal(json_array_size(open), 4);
    json_decref(all);
    json_decref(open);
    json_t *shop = job_shop(bench.store, bench.errors);
    assert_non_null(strstr(json_string_value(json_object_get(shop, "name")), "invented"));
    json_decref(shop);
    bench_close(&bench);
}

/* Every job's amp reads, and every reading is at a place of it. */
static void check_readings(bench *bench, int64_t job, const char *phase, job_amp which) {
    char *text = job_amp_text(bench->store, job, which, bench->errors);
    assert_non_null(text);
    circuit *amp = circuit_read("demo", text, strlen(text), bench->tubes, bench->errors);
    assert_non_null(amp);
    solve_system *system = solve_system_new(amp, bench->errors);
    diagnose_readings *readings = job_readings(bench->store, job, phase, system, bench->errors);
    json_t *view = bench_view(bench, job);
    const json_t *list = json_object_get(json_object_get(view, "readings"), phase);
    assert_non_null(readings);
    assert_int_equal(readings->count, json_array_size(list));
    json_decref(view);
    diagnose_readings_free(readings);
    solve_system_free(system);
    circuit_free(amp);
    free(text);
}

static void test_readings(void **state) {
    (void)state;
    bench bench;
    demo_open(&bench);
    for (int64_t job = 1; job <= 45; job++) {
        check_readings(&bench, job, "before", JOB_FOUND);
        check_readings(&bench, job, "after", JOB_REPAIRED);
    }
    assert_int_equal(base_errors_worst(bench.errors), BASE_OK);
    bench_close(&bench);
}

static void test_drained(void **state) {
    (void)state;
    bench bench;
    demo_open(&bench);
    bench_is(&bench, 45, "drained.state", "'not measured'");
    bench_is(&bench, 44, "drained.state", "'on'");
    bench_is(&bench, 43, "drained.state", "'below 60 V'");
    bench_is(&bench, 42, "drained.state", "'on'");
    bench_is(&bench, 41, "drained.state", "'below 60 V'");
    bench_is(&bench, 43, "edits.0.part", "'C9'");
    bench_close(&bench);
}

static void test_history(void **state) {
    (void)state;
    bench bench;
    demo_open(&bench);
    json_t *history = job_history(bench.store, "wren-hollow", true, bench.errors);
    assert_string_equal(bench_get(history, "alike"), "11");
    assert_string_equal(bench_get(history, "causes.0"), "{'part':'C6','what':'leaky','count':7}");
    json_decref(history);
    bench_close(&bench);
}

/* Once in, with its drawings, it is an export like any other. */
static void test_round_trip(void **state) {
    (void)state;
    bench one, two;
    char first[128], second[128], command[300];
    demo_open(&one);
    bench_open(&two);
    snprintf(first, sizeof first, "%s/1.json", one.folder);
    snprintf(second, sizeof second, "%s/2.json", one.folder);
    assert_int_equal(job_export(one.store, first, one.errors), BASE_OK);
    assert_int_equal(job_import(two.store, first, two.errors), BASE_OK);
    assert_int_equal(job_export(two.store, second, two.errors), BASE_OK);
    snprintf(command, sizeof command, "cmp %s %s", first, second);
    assert_int_equal(system(command), 0);
    bench_close(&one);
    bench_close(&two);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stages),     cmocka_unit_test(test_readings),
        cmocka_unit_test(test_drained),    cmocka_unit_test(test_history),
        cmocka_unit_test(test_round_trip),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
