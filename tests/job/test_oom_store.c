/* Every allocation made to fail in turn while a store is opened and used: a complaint or a result,
 * no crash, no leak, and what was acknowledged stays. */
#include "oom_bench.h"

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

/* ---- all of them --------------------------------------------------------------------------- */

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

int main(void) {
    allocate_here();
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_facts), cmocka_unit_test(test_search),
                                       cmocka_unit_test(test_amp), cmocka_unit_test(test_open)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
