/* Every allocation made to fail in turn while a store is exported, imported, backed up, and while a
 * photo is taken in. */
#include "oom_bench.h"

#include "pictures.h"

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
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_keep), cmocka_unit_test(test_photo)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
