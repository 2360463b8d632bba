/* The job as it stands: drained or not, what comes next, which readings hold. */
#include "bench.h"

#include <time.h>

/* ---- drained ------------------------------------------------------------------------------- */

static void drained(bench *bench, int64_t job, const char *state, bool below) {
    char quoted[32];
    snprintf(quoted, sizeof quoted, "'%s'", state);
    bench_is(bench, job, "drained.state", quoted);
    bench_is(bench, job, "drained.measured_below_60", below ? "true" : "false");
}

static void measure_all(bench *bench, int64_t job, double volts) {
    static const char *const filters[] = {"C15", "C16", "C17", "C18"};
    char body[64];
    for (size_t i = 0; i < 4; i++) {
        snprintf(body, sizeof body, "{'at':'%s','volts':%g}", filters[i], volts);
        bench_add(bench, job, "drain", body);
    }
}

/* A new job counts as charged; each filter capacitor must be measured; being on, or having been on,
 * makes every reading stale. 60 V is not under 60 V. */
static void test_drained(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    drained(&bench, job, "not measured", false);
    bench_add(&bench, job, "drain", "{'at':'C15','volts':0.6}");
    bench_add(&bench, job, "drain", "{'at':'C16','volts':0.4}");
    bench_add(&bench, job, "drain", "{'at':'C17','volts':0.2}");
    drained(&bench, job, "not measured", false);
    int64_t last = bench_add(&bench, job, "drain", "{'at':'C18','volts':60}");
    drained(&bench, job, "above 60 V", false);
    assert_int_equal(job_undo(bench.store, job, last, NOON, NULL, bench.errors), BASE_OK);
    drained(&bench, job, "not measured", false);
    bench_add(&bench, job, "drain", "{'at':'C18','volts':-59.9}");
    drained(&bench, job, "below 60 V", true);
    int64_t on = bench_add(&bench, job, "power", "{'on':true}");
    drained(&bench, job, "on", false);
    int64_t off = bench_add(&bench, job, "power", "{'on':false}");
    drained(&bench, job, "powered since", false);
    bench_add(&bench, job, "drain", "{'at':'C15','volts':290}");
    drained(&bench, job, "above 60 V", false);
    measure_all(&bench, job, 1.5);
    drained(&bench, job, "below 60 V", true);
    bench_is(&bench, job, "drained.capacitors.0.part", "'C15'");
    bench_is(&bench, job, "drained.capacitors.0.volts", "1.5");
    bench_is(&bench, job, "drained.capacitors.0.rating", "450.0");
    bench_is(&bench, job, "drained.capacitors.4", "nothing");
    /* Switched on by mistake in the record, and taken back: the readings stand again. */
    assert_int_equal(job_undo(bench.store, job, off, NOON, NULL, bench.errors), BASE_OK);
    assert_int_equal(job_undo(bench.store, job, on, NOON, NULL, bench.errors), BASE_OK);
    drained(&bench, job, "below 60 V", true);
    bench_close(&bench);
}

/* At a node the reading is of what is joined there; at a capacitor of that one alone. */
static void test_drained_at_nodes(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    bench_add(&bench, job, "drain", "{'at':'V6.3','volts':0.6}"); /* C15 */
    bench_add(&bench, job, "drain", "{'at':'b2-ground','volts':0.4}");
    bench_add(&bench, job, "drain", "{'at':'C17.+','volts':0.4}");
    drained(&bench, job, "not measured", false);
    bench_add(&bench, job, "drain", "{'at':'ground-B4','volts':-0.4}");
    drained(&bench, job, "below 60 V", true);
    /* A second capacitor beside C15 must be measured too. */
    bench_add(&bench, job, "edit",
              "{'phase':'found','part':'C30','does':'add','key':'capacitors','yaml':"
              "'{value: 8u, volts: 450, kind: electrolytic, at: [V6.3, ground]}'}");
    drained(&bench, job, "below 60 V", true);
    bench_add(&bench, job, "power", "{'on':false}");
    measure_all(&bench, job, 0.5);
    drained(&bench, job, "powered since", false);
    bench_add(&bench, job, "drain", "{'at':'C30','volts':0.1}");
    drained(&bench, job, "below 60 V", true);
    bench_close(&bench);
}

static void test_drained_words(void **state) {
    (void)state;
    setenv("TZ", "UTC", 1);
    tzset();
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    bench_add(&bench, job, "drain", "{'at':'C15','volts':0.6}");
    bench_add(&bench, job, "drain", "{'at':'C16','volts':11.25}");
    bench_is(&bench, job, "drained.words", "'C15 0.6 V at 12:00, C16 11.25 V at 12:00'");
    bench_is(&bench, job, "drained.oldest_at", "1740830402000");
    bench_close(&bench);
}

/* Every amp of the library: its filter capacitors are found, each with the most volts that the
 * healthy amp puts on it, near its rating at worst; in none of them a small coupling capacitor. */
static void test_library(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    for (size_t i = 0; i < bench.amps; i++) {
        json_t *view = bench_view(&bench, bench_job(&bench, bench.amp[i].name)), *one;
        size_t k;
        json_t *list = json_object_get(json_object_get(view, "drained"), "capacitors");
        if (json_array_size(list) < 2) fail_msg("%s has no filters", bench.amp[i].name);
        json_array_foreach(list, k, one) {
            double expected = json_number_value(json_object_get(one, "expected_volts"));
            double rating = json_number_value(json_object_get(one, "rating"));
            if (!(fabs(expected) > 5 && fabs(expected) < 1.25 * rating))
                fail_msg("%s: %s %g V of %g", bench.amp[i].name, bench_get(one, "part"), expected,
                         rating);
        }
        json_decref(view);
    }
    bench_close(&bench);
}

/* Without a drawing nobody knows the capacitors: nothing is concluded from what was measured. */
static void test_no_drawing(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "a radio cabinet");
    bench_add(&bench, job, "drain", "{'at':'C1','volts':0.3}");
    drained(&bench, job, "not measured", false);
    bench_is(&bench, job, "drained.capacitors", "[]");
    bench_is(&bench, job, "amp.drawn", "false");
    bench_is(&bench, job, "amp.library", "false");
    bench_add(&bench, job, "drain", "{'at':'C2','volts':300}");
    drained(&bench, job, "above 60 V", false);
    bench_close(&bench);
}

/* ---- stages -------------------------------------------------------------------------------- */

static void next_says(bench *bench, int64_t job, const char *stage, const char *words) {
    json_t *view = bench_view(bench, job);
    const char *next = json_string_value(json_object_get(view, "next"));
    assert_string_equal(json_string_value(json_object_get(view, "stage")), stage);
    if (!strstr(next, words)) fail_msg("%s: %s", stage, next);
    assert_null(strstr(next, "safe"));
    json_decref(view);
}

static void test_stages(void **state) {
    (void)state;
    bench bench;
    char closed[32];
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    next_says(&bench, job, "make safe", "measure C15, C16, C17, C18");
    bench_add(&bench, job, "power", "{'on':true}");
    next_says(&bench, job, "make safe", "The amp is on");
    bench_add(&bench, job, "power", "{'on':false}");
    measure_all(&bench, job, 0.4);
    next_says(&bench, job, "make safe", "All capacitors were measured under 60 V");
    bench_add(&bench, job, "look", "{'part':'C15','condition':['bulged']}");
    next_says(&bench, job, "look over", "Look at each part");
    bench_add(&bench, job, "power", "{'on':true}");
    bench_add(&bench, job, "reading", "{'phase':'before','at':'V1.1','volts':78}");
    next_says(&bench, job, "measure", "next reading");
    bench_add(&bench, job, "stage", "{'stage':'find'}");
    next_says(&bench, job, "find", "suspects");
    bench_add(&bench, job, "stage", "{'stage':'repair'}");
    bench_add(&bench, job, "power", "{'on':false}");
    next_says(&bench, job, "repair", "again: the amp was on since");
    bench_add(&bench, job, "hand back", "{'found':'C11 leaked','done':'a new one'}");
    next_says(&bench, job, "done", "went home");
    snprintf(closed, sizeof closed, "%lld", (long long)bench.now);
    bench_is(&bench, job, "closed", closed);
    bench_add(&bench, job, "stage", "{'stage':'measure'}");
    next_says(&bench, job, "measure", "next reading");
    bench_is(&bench, job, "closed", "null");
    bench_close(&bench);
}

static void test_stage_by_work(void **state) {
    (void)state;
    static const struct {
        const char *kind, *body, *stage;
    } steps[] = {{"decision", "{'part':'C11','action':'replace','reason':'failing'}", "decide"},
                 {"acceptance", "{'accepted':false,'by':'Ada'}", "decide"},
                 {"acceptance", "{'accepted':true,'by':'Ada'}", "repair"},
                 {"work", "{'text':'new C11','done':false,'minutes':10}", "repair"},
                 {"check", "{'what':'treble','result':'good'}", "prove"},
                 {"soak", "{'minutes':60,'result':'poor'}", "prove"},
                 {"soak", "{'minutes':60,'result':'good'}", "hand back"}};
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        char quoted[32];
        bench_add(&bench, job, steps[i].kind, steps[i].body);
        snprintf(quoted, sizeof quoted, "'%s'", steps[i].stage);
        bench_is(&bench, job, "stage", quoted);
    }
    bench_is(&bench, job, "minutes", "10");
    json_t *found = job_search(bench.store, "", true, 5, bench.errors);
    assert_string_equal(bench_get(found, "0.stage"), "'hand back'");
    json_decref(found);
    bench_close(&bench);
}

/* ---- rows ---------------------------------------------------------------------------------- */

static void test_rows(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    bench_add(&bench, job, "reading", "{'phase':'before','at':'V1.1','volts':70}");
    bench_add(&bench, job, "reading", "{'phase':'before','at':'B2','volts':300,'meter':'10M'}");
    int64_t again = bench_add(&bench, job, "reading", "{'phase':'before','at':'v1.1','volts':78}");
    bench_add(&bench, job, "reading", "{'phase':'after','at':'V1.1','volts':80}");
    bench_is(&bench, job, "readings.before.0.at", "'B2'");
    bench_is(&bench, job, "readings.before.0.meter", "'10M'");
    bench_is(&bench, job, "readings.before.1.volts", "78");
    bench_is(&bench, job, "readings.before.2", "nothing");
    bench_is(&bench, job, "readings.after.0.volts", "80");
    assert_int_equal(job_undo(bench.store, job, again, NOON, NULL, bench.errors), BASE_OK);
    bench_is(&bench, job, "readings.before.0.volts", "70");
    bench_add(&bench, job, "take in",
              "{'owner':'Bea Example','complaint':'hum','amp':'saltpan','accessories':['cover']}");
    bench_is(&bench, job, "owner", "'Bea Example'");
    bench_is(&bench, job, "accessories", "['cover']");
    bench_is(&bench, job, "serial", "null");
    bench_is(&bench, job, "invoice", "null");
    bench_add(&bench, job, "cord", "{'wires':2}");
    bench_is(&bench, job, "cord.wires", "2");
    bench_is(&bench, job, "cord.chassis_capacitor", "null");
    assert_null(job_view(bench.store, 4711, bench.errors));
    bench_complained(&bench, "there is no job 4711");
    bench_close(&bench);
}

/* ---- as inference wants them --------------------------------------------------------------- */

static void test_readings(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    size_t length = 0;
    const char *text = bench_amp(&bench, "saltpan", &length);
    circuit *amp = circuit_read("saltpan", text, length, bench.tubes, bench.errors);
    solve_system *system = solve_system_new(amp, bench.errors);
    assert_non_null(system);
    bench_add(&bench, job, "power", "{'on':true,'mains':236}");
    bench_add(&bench, job, "reading", "{'phase':'before','at':'V1.1','volts':70}");
    bench_add(&bench, job, "reading",
              "{'phase':'before','at':'V1.1','volts':78,'written':'78.0','meter':'20k per volt'}");
    bench_add(&bench, job, "reading", "{'phase':'before','at':'B2','volts':301.5,'mains':239}");
    bench_add(&bench, job, "edit",
              "{'phase':'repaired','part':'R99','does':'add','key':'resistors','yaml':"
              "'{value: 1k, at: [B2, B3]}'}");
    bench_add(&bench, job, "reading", "{'phase':'before','at':'R99','volts':0.1}");
    bench_add(&bench, job, "test", "{'phase':'before','at':'B2 hum','value':'9 V'}");
    bench_add(&bench, job, "test", "{'phase':'before','at':'B2 hum','value':'4.8 V','meter':'1M'}");
    bench_add(&bench, job, "symptom", "{'said':'loud hum'}");
    bench_add(&bench, job, "finding", "{'said':'wiggle: V1.1','phase':'before'}");
    bench_add(&bench, job, "symptom", "{'said':'weak','phase':'after'}");
    bench_refused(&bench, job, "symptom", "{'said':'lod hum'}", "not in the list of symptoms");
    bench_refused(&bench, job, "test", "{'phase':'before','at':'B77 hum','value':'1'}", "B77");
    bench_refused(&bench, job, "test", "{'phase':'before','at':'B2 hum','value':'12k'}", "12k");
    bench_is(&bench, job, "tests.1.value", "'4.8 V'");
    bench_is(&bench, job, "symptoms.0.said", "'loud hum'");
    bench_is(&bench, job, "findings.0.said", "'wiggle: V1.1'");
    diagnose_readings *readings = job_readings(bench.store, job, "before", system, bench.errors);
    assert_non_null(readings);
    assert_int_equal(readings->count, 3);
    assert_int_equal(readings->clues, 2);
    assert_int_equal(readings->reading[2].test.quantity, DIAGNOSE_HUM);
    assert_true(readings->reading[2].volts == 4.8 && readings->reading[2].meter.ohms == 1e6);
    assert_string_equal(readings->reading[0].at, "V1.1");
    assert_true(readings->reading[0].volts == 78 && readings->reading[0].resolution == 0.1);
    assert_true(readings->reading[0].meter.ohms_per_volt == 20e3);
    assert_true(readings->mains == 239);
    assert_int_equal(base_errors_worst(bench.errors), BASE_OK);
    bench_complained(&bench, "a reading is left out");
    diagnose_readings_free(readings);
    readings = job_readings(bench.store, job, "after", system, bench.errors);
    assert_int_equal(readings->count, 0);
    assert_true(readings->mains == 236);
    diagnose_readings_free(readings);
    assert_null(job_readings(bench.store, job, "between", system, bench.errors));
    bench_complained(&bench, "is no phase");
    solve_system_free(system);
    circuit_free(amp);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_drained),       cmocka_unit_test(test_drained_at_nodes),
        cmocka_unit_test(test_drained_words), cmocka_unit_test(test_library),
        cmocka_unit_test(test_no_drawing),    cmocka_unit_test(test_stages),
        cmocka_unit_test(test_stage_by_work), cmocka_unit_test(test_rows),
        cmocka_unit_test(test_readings),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
