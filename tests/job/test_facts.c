/* Facts are added, corrected, taken back, asked again; never changed. */
#include "bench.h"

#include <pthread.h>
#include <sqlite3.h>

static base_code undo(bench *bench, int64_t job, int64_t id, int64_t *undone) {
    return job_undo(bench->store, job, id, bench->now += 1000, undone, bench->errors);
}

/* Adds a fact in the place of `old`. */
static base_code correct(bench *bench, int64_t job, const job_fact *like, const char *written,
                         int64_t *id) {
    json_t *body = bench_json(written);
    job_fact fact = *like;
    fact.body = body;
    base_code code = job_add(bench->store, job, &fact, bench->now += 1000, id, bench->errors);
    json_decref(body);
    return code;
}

static void test_correct(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan"), other = bench_job(&bench, "saltpan"), second;
    int64_t first = bench_add(&bench, job, "note", "{'text':'one'}");
    assert_int_equal(correct(&bench, job, &(job_fact){.kind = "note", .replaces = first},
                             "{'text':'two'}", &second),
                     BASE_OK);
    bench_is(&bench, job, "notes.0.text", "'two'");
    bench_is(&bench, job, "notes.1", "nothing");
    assert_int_not_equal(correct(&bench, job, &(job_fact){.kind = "note", .replaces = first},
                                 "{'text':'three'}", NULL),
                         BASE_OK);
    bench_complained(&bench, "was corrected already");
    assert_int_not_equal(
        correct(&bench, job, &(job_fact){.kind = "power", .replaces = second}, "{'on':true}", NULL),
        BASE_OK);
    bench_complained(&bench, "a `power` cannot correct it");
    assert_int_not_equal(correct(&bench, other, &(job_fact){.kind = "note", .replaces = second},
                                 "{'text':'four'}", NULL),
                         BASE_OK);
    bench_complained(&bench, "has no fact");
    assert_int_not_equal(
        correct(&bench, job, &(job_fact){.kind = "note", .replaces = 999}, "{'text':'four'}", NULL),
        BASE_OK);
    bench_complained(&bench, "has no fact 999");
    assert_int_not_equal(
        correct(&bench, 77, &(job_fact){.kind = "note", .replaces = 1}, "{'text':'four'}", NULL),
        BASE_OK);
    bench_complained(&bench, "there is no job 77");
    bench_close(&bench);
}

static void test_undo(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan"), second, undone = 0;
    int64_t first = bench_add(&bench, job, "note", "{'text':'one'}");
    assert_int_equal(correct(&bench, job, &(job_fact){.kind = "note", .replaces = first},
                             "{'text':'two'}", &second),
                     BASE_OK);
    assert_int_not_equal(undo(&bench, job, first, NULL), BASE_OK);
    bench_complained(&bench, "was corrected by fact");
    assert_int_equal(undo(&bench, job, 0, &undone), BASE_OK);
    assert_int_equal(undone, second);
    bench_is(&bench, job, "notes.0.text", "'one'");
    assert_int_equal(undo(&bench, job, 0, &undone), BASE_OK);
    assert_int_equal(undone, first);
    bench_is(&bench, job, "notes", "[]");
    assert_int_not_equal(undo(&bench, job, 0, NULL), BASE_OK);
    bench_complained(&bench, "nothing left to take back");
    assert_int_not_equal(undo(&bench, job, 1, NULL), BASE_OK);
    bench_complained(&bench, "begins with its take in");
    assert_int_not_equal(undo(&bench, job, first, NULL), BASE_OK);
    bench_complained(&bench, "was taken back already");
    /* An undo that is taken back brings the fact back. */
    json_t *facts = job_facts(bench.store, job, bench.errors);
    assert_int_equal(json_array_size(facts), 5);
    assert_string_equal(bench_get(facts, "1.undone"), "true");
    int64_t last = json_integer_value(json_object_get(json_array_get(facts, 4), "id"));
    json_decref(facts);
    assert_int_equal(undo(&bench, job, last, &undone), BASE_OK);
    bench_is(&bench, job, "notes.0.text", "'one'");
    bench_close(&bench);
}

static void test_tokens(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan"), other = bench_job(&bench, "saltpan"), id[4];
    json_t *body = bench_json("{'text':'one'}");
    job_fact fact = {.kind = "note", .body = body, .token = "tab1-7"};
    assert_int_equal(job_add(bench.store, job, &fact, NOON, &id[0], bench.errors), BASE_OK);
    assert_int_equal(job_add(bench.store, job, &fact, NOON, &id[1], bench.errors), BASE_OK);
    bench_reopen(&bench);
    assert_int_equal(job_add(bench.store, job, &fact, NOON, &id[2], bench.errors), BASE_OK);
    assert_int_equal(id[1], id[0]);
    assert_int_equal(id[2], id[0]);
    assert_int_equal(job_add(bench.store, other, &fact, NOON, &id[3], bench.errors), BASE_OK);
    assert_int_not_equal(id[3], id[0]);
    bench_is(&bench, job, "facts", "2");
    fact.token = "";
    assert_int_equal(job_add(bench.store, job, &fact, NOON, NULL, bench.errors), BASE_VALUE);
    bench_complained(&bench, "token");
    json_decref(body);
    bench_close(&bench);
}

/* Even a program that goes past this one cannot change a fact by accident. */
static void test_never_changed(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    bench_add(&bench, bench_job(&bench, "saltpan"), "note", "{'text':'one'}");
    job_store_close(bench.store);
    bench.store = NULL;
    static const char *const attempts[] = {
        "UPDATE fact SET body = '{}'",
        "DELETE FROM fact",
        "DELETE FROM job",
        "UPDATE job SET opened = 0",
        "DELETE FROM amp_text",
        "UPDATE amp_text SET text = ''",
        "INSERT OR REPLACE INTO fact (id, job, at, kind, body) VALUES (1, 1, 0, 'note', '{}')"};
    sqlite3 *db;
    assert_int_equal(sqlite3_open(bench.path, &db), SQLITE_OK);
    sqlite3_exec(db, "PRAGMA recursive_triggers = ON", NULL, NULL, NULL);
    for (size_t i = 0; i < sizeof attempts / sizeof *attempts; i++)
        if (sqlite3_exec(db, attempts[i], NULL, NULL, NULL) != SQLITE_CONSTRAINT)
            fail_msg("done: %s", attempts[i]);
    sqlite3_close(db);
    bench_close(&bench);
}

/* ---- two browsers at once ------------------------------------------------------------------ */

typedef struct browser {
    bench *bench;
    int64_t job;
    int number, added;
} browser;

static void *add_many(void *data) {
    browser *browser = data;
    for (int i = 0; i < 40; i++) {
        char token[32];
        json_t *body = json_pack("{s:s, s:s, s:i}", "phase", "before", "at", "B2", "volts", i);
        snprintf(token, sizeof token, "%d-%d", browser->number, i);
        job_fact fact = {.kind = "reading", .body = body, .token = token};
        if (job_add(browser->bench->store, browser->job, &fact, NOON, NULL, NULL) == BASE_OK)
            browser->added++;
        json_t *view = job_view(browser->bench->store, browser->job, NULL);
        json_t *found = job_search(browser->bench->store, "ada", true, 10, NULL);
        if (!view || json_array_size(found) != 1) browser->added = -1000;
        json_decref(view);
        json_decref(found);
        json_decref(body);
    }
    return NULL;
}

static void test_two_at_once(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    pthread_t thread[4];
    browser browser[4];
    for (int i = 0; i < 4; i++) {
        browser[i] = (struct browser){&bench, job, i, 0};
        assert_int_equal(pthread_create(&thread[i], NULL, add_many, &browser[i]), 0);
    }
    for (int i = 0; i < 4; i++) {
        pthread_join(thread[i], NULL);
        assert_int_equal(browser[i].added, 40);
    }
    bench_is(&bench, job, "facts", "161");
    bench_close(&bench);
}

/* ---- long work beside short ---------------------------------------------------------------- */

static void *keep_on(void *data) {
    bench *bench = data;
    char path[128];
    snprintf(path, sizeof path, "%s/out.json", bench->folder);
    for (int i = 0; i < 10; i++)
        if (job_export(bench->store, path, NULL) != BASE_OK ||
            job_backup(bench->store, bench->folder, 2, NOON + i * 1000, NULL, NULL) != BASE_OK)
            return "failed";
    return NULL;
}

/* Backups and exports are made while facts are added; each is of one moment. */
static void test_kept_meanwhile(void **state) {
    (void)state;
    bench bench;
    pthread_t thread;
    void *outcome = NULL;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "a cabinet");
    assert_int_equal(pthread_create(&thread, NULL, keep_on, &bench), 0);
    for (int i = 0; i < 200; i++)
        bench_add(&bench, job, "note", "{'text':'one'}");
    pthread_join(thread, &outcome);
    assert_null(outcome);
    char path[128];
    snprintf(path, sizeof path, "%s/out.json", bench.folder);
    struct bench other;
    bench_open(&other);
    assert_int_equal(job_import(other.store, path, other.errors), BASE_OK);
    bench_close(&other);
    bench_close(&bench);
}

/* Two programs on one store: each sees what the other added. */
static void test_two_programs(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    job_store *other = job_store_open(bench.path, bench.errors);
    assert_non_null(other);
    json_t *body = bench_json("{'text':'from the other'}");
    job_fact fact = {.kind = "note", .body = body};
    assert_int_equal(job_add(other, job, &fact, NOON, NULL, bench.errors), BASE_OK);
    bench_is(&bench, job, "notes.0.text", "'from the other'");
    json_decref(body);
    job_store_close(other);
    bench_close(&bench);
}

static void test_numbers(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    json_t *shop = bench_json("{'name':'Bench under the stairs','next_number':2041,'paper':'A4',"
                              "'currency':'EUR','tax_percent':19,'hourly':5400}");
    assert_int_equal(job_shop_set(bench.store, shop, NOON, bench.errors), BASE_OK);
    json_decref(shop);
    bench_is(&bench, bench_job(&bench, "saltpan"), "number", "2041");
    bench_is(&bench, bench_job(&bench, "saltpan"), "number", "2042");
    shop = job_shop(bench.store, bench.errors);
    assert_string_equal(bench_get(shop, "hourly"), "5400");
    assert_string_equal(bench_get(shop, "address"), "''");
    json_decref(shop);
    shop = bench_json("{'nmae':'x','hourly':-1}");
    assert_int_not_equal(job_shop_set(bench.store, shop, NOON, bench.errors), BASE_OK);
    bench_complained(&bench, "`shop` has no key `nmae`");
    json_decref(shop);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_correct),      cmocka_unit_test(test_undo),
        cmocka_unit_test(test_tokens),       cmocka_unit_test(test_never_changed),
        cmocka_unit_test(test_two_at_once),  cmocka_unit_test(test_kept_meanwhile),
        cmocka_unit_test(test_two_programs), cmocka_unit_test(test_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
