/* Every allocation made to fail in turn, ours, SQLite's and the JSON library's: a complaint or a
 * result, no crash, no leak, and what was acknowledged stays. */
#include "bench.h"

#include "../oom.h"
#include "pictures.h"

#include <malloc.h>
#include <sqlite3.h>

static bench on;

/* ---- the two libraries allocate here ----------------------------------------------------------
 */

static void *sql_take(int size) {
    return malloc((size_t)size);
}

static void *sql_more(void *old, int size) {
    return realloc(old, (size_t)size);
}

static int sql_size(void *block) {
    return block ? (int)malloc_usable_size(block) : 0;
}

static int sql_round(int size) {
    return (size + 7) & ~7;
}

static int sql_begin(void *data) {
    (void)data;
    return SQLITE_OK;
}

static void sql_end(void *data) {
    (void)data;
}

static void *json_take(size_t size) {
    return malloc(size);
}

static void allocate_here(void) {
    static const sqlite3_mem_methods methods = {sql_take,  free,      sql_more, sql_size,
                                                sql_round, sql_begin, sql_end,  NULL};
    assert_int_equal(sqlite3_config(SQLITE_CONFIG_MALLOC, &methods), SQLITE_OK);
    assert_int_equal(sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0), SQLITE_OK);
    json_set_alloc_funcs(json_take, free);
    assert_int_equal(sqlite3_initialize(), SQLITE_OK);
}

/* ---- one case ---------------------------------------------------------------------------------
 */

/* What went wrong, if anything did, is said to be for want of memory. The JSON library may take it
 * for a fault of the text. */
static void ends(base_errors *errors, bool well) {
    long fails_at = oom_fails_at;
    oom_fails_at = -1;
    for (size_t i = 0; i < base_errors_count(errors) && !well; i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code != BASE_MEMORY && !strstr(error->cause, "the export cannot be read"))
            fail_msg("%s", error->cause);
    }
    if (!well && errors) assert_true(base_errors_count(errors) > 0);
    base_errors_free(errors);
    oom_fails_at = fails_at;
}

static json_t *note(void) {
    return json_pack("{s:s}", "text", "one");
}

static void facts_case(bool failing) {
    base_errors *errors = base_errors_new();
    json_t *taken = json_pack("{s:s, s:s, s:s}", "owner", "Ada", "complaint", "hum", "amp", "x");
    json_t *body = note(), *view = NULL;
    job_fact fact = {.kind = "note", .body = body};
    int64_t job = 0, id = 0;
    bool made = taken && job_create(on.store, taken, NOON, &job, errors) == BASE_OK;
    bool added = made && body && job_add(on.store, job, &fact, NOON, &id, errors) == BASE_OK;
    bool back = added && job_undo(on.store, job, id, NOON, NULL, errors) == BASE_OK;
    if (back) view = job_view(on.store, job, errors);
    assert_true(view || failing);
    ends(errors, view || !taken || !body);
    long fails_at = oom_fails_at;
    oom_fails_at = -1;
    json_t *facts = made ? job_facts(on.store, job, NULL) : json_array();
    assert_int_equal(json_array_size(facts), made + added + back);
    json_decref(facts);
    json_decref(view);
    json_decref(body);
    json_decref(taken);
    oom_fails_at = fails_at;
}

static void search_case(bool failing) {
    base_errors *errors = base_errors_new();
    json_t *found = job_search(on.store, "ada hu", true, 5, errors);
    json_t *past = found ? job_history(on.store, "x", true, errors) : NULL;
    json_t *shop = past ? job_shop(on.store, errors) : NULL;
    json_t *amps = shop ? job_amps(on.store, errors) : NULL;
    assert_true(amps || failing);
    ends(errors, amps != NULL);
    json_decref(found);
    json_decref(past);
    json_decref(shop);
    json_decref(amps);
}

/* With a library: the amp is read, solved and edited. */
static void amp_case(bool failing) {
    base_errors *errors = base_errors_new();
    json_t *body = json_pack("{s:s, s:s, s:s, s:s, s:s}", "phase", "found", "part", "R8", "key",
                             "value", "to", "1k8", "does", "change");
    job_fact fact = {.kind = "edit", .body = body};
    int64_t id = 0;
    bool added = body && job_add(on.store, 1, &fact, NOON, &id, errors) == BASE_OK;
    char *text = added ? job_amp_text(on.store, 1, JOB_FOUND, errors) : NULL;
    assert_true(text || failing);
    ends(errors, text || !body);
    long fails_at = oom_fails_at;
    oom_fails_at = -1;
    if (added) assert_int_equal(job_undo(on.store, 1, id, NOON, NULL, NULL), BASE_OK);
    json_decref(body);
    free(text);
    oom_fails_at = fails_at;
}

static void open_case(bool failing) {
    char path[128];
    base_errors *errors = base_errors_new();
    snprintf(path, sizeof path, "%s/other.store", on.folder);
    job_store *store = job_store_open(path, errors);
    assert_true(store || failing);
    ends(errors, store != NULL);
    long fails_at = oom_fails_at;
    oom_fails_at = -1;
    job_store_close(store);
    unlink(path);
    oom_fails_at = fails_at;
}

static void keep_case(bool failing) {
    char out[128];
    base_errors *errors = base_errors_new();
    snprintf(out, sizeof out, "%s/out.json", on.folder);
    bool well = job_export(on.store, out, errors) == BASE_OK &&
                job_csv(on.store, 0, out, errors) == BASE_OK &&
                job_backup(on.store, on.folder, 1, NOON, NULL, errors) == BASE_OK;
    assert_true(well || failing);
    ends(errors, well);
}

/* A store that was filled by half is thrown away, so each time a new one is opened. */
static void import_case(bool failing) {
    char in[128], path[128];
    long fails_at = oom_fails_at;
    oom_fails_at = -1;
    base_errors *errors = base_errors_new();
    snprintf(in, sizeof in, "%s/in.json", on.folder);
    snprintf(path, sizeof path, "%s/in.store", on.folder);
    job_store *store = job_store_open(path, errors);
    oom_fails_at = fails_at;
    oom_seen = 0;
    bool well = job_import(store, in, errors) == BASE_OK;
    assert_true(well || failing);
    long seen = oom_seen;
    ends(errors, well);
    oom_fails_at = -1;
    json_t *jobs = job_search(store, "", false, 9, NULL);
    assert_int_equal(json_array_size(jobs), well ? 1 : 0);
    json_decref(jobs);
    job_store_close(store);
    unlink(path);
    oom_fails_at = fails_at;
    oom_seen = seen;
}

static picture shown;

static void photo_case(bool failing) {
    base_errors *errors = base_errors_new();
    char hash[65];
    bool well = job_photo_add(on.store, shown.bytes, shown.length, hash, errors) == BASE_OK;
    assert_true(well || failing);
    ends(errors, well);
}

/* ---- all of them ------------------------------------------------------------------------------
 */

static void begin(bool library) {
    bench_folder(&on);
    if (library) bench_library(&on);
    bench_reopen(&on);
}

static void test_facts(void **state) {
    (void)state;
    begin(false);
    assert_true(oom_each(facts_case) > 50);
    bench_close(&on);
}

static void test_search(void **state) {
    (void)state;
    begin(false);
    bench_job(&on, "x");
    assert_true(oom_each(search_case) > 20);
    bench_close(&on);
}

static void test_amp(void **state) {
    (void)state;
    begin(true);
    bench_job(&on, "saltpan");
    assert_true(oom_each(amp_case) > 100);
    bench_close(&on);
}

static void test_open(void **state) {
    (void)state;
    begin(false);
    assert_true(oom_each(open_case) > 50);
    bench_close(&on);
}

static void test_keep(void **state) {
    (void)state;
    char path[128];
    begin(false);
    bench_add(&on, bench_job(&on, "x"), "reading", "{'phase':'before','at':'B1','volts':3}");
    assert_true(oom_each(keep_case) > 100);
    snprintf(path, sizeof path, "%s/in.json", on.folder);
    assert_int_equal(job_export(on.store, path, on.errors), BASE_OK);
    assert_true(oom_each(import_case) > 100);
    bench_close(&on);
}

static void test_photo(void **state) {
    (void)state;
    begin(false);
    for (int png = 0; png < 2; png++) {
        picture_wish wish = {.width = 40, .height = 30, .turn = 6};
        shown = png ? picture_png(wish) : picture_jpeg(wish);
        assert_true(oom_each(photo_case) > 10);
        free(shown.bytes);
    }
    bench_close(&on);
}

int main(void) {
    allocate_here();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_facts), cmocka_unit_test(test_search), cmocka_unit_test(test_amp),
        cmocka_unit_test(test_open),  cmocka_unit_test(test_keep),   cmocka_unit_test(test_photo),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
