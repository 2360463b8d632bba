/* Opening: a new store, an older one, a newer one, what is no store, what cannot be written. */
#include "bench.h"

#include <errno.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <sys/mount.h>
#include <sys/stat.h>

/* Runs SQL on a file, with nothing of ours in between. */
static void raw(const char *path, const char *sql) {
    sqlite3 *db;
    char *words = NULL;
    assert_int_equal(sqlite3_open(path, &db), SQLITE_OK);
    if (sqlite3_exec(db, sql, NULL, NULL, &words) != SQLITE_OK) fail_msg("%s", words);
    sqlite3_close(db);
}

static int64_t raw_number(const char *path, const char *sql) {
    sqlite3 *db;
    sqlite3_stmt *row;
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &row, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(row), SQLITE_ROW);
    int64_t value = sqlite3_column_int64(row, 0);
    sqlite3_finalize(row);
    sqlite3_close(db);
    return value;
}

static void put_file(const char *path, const char *bytes, size_t length) {
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    fwrite(bytes, 1, length, file);
    fclose(file);
}

static char *get_file(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    *length = (size_t)ftell(file);
    rewind(file);
    char *bytes = malloc(*length + 1);
    assert_int_equal(fread(bytes, 1, *length, file), *length);
    fclose(file);
    return bytes;
}

static void refused(bench *bench, const char *words) {
    assert_null(job_store_open(bench->path, bench->errors));
    bench_complained(bench, words);
}

static void test_new(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    bench_reopen(&bench);
    assert_int_equal(raw_number(bench.path, "PRAGMA user_version"), 2);
    json_t *none = job_search(bench.store, NULL, false, 10, bench.errors);
    assert_int_equal(json_array_size(none), 0);
    json_decref(none);
    bench_close(&bench);
}

/* All that the page asks of the store of version 1 once it is migrated; and the older file is still
 * there beside it. */
static void test_version_1(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_library(&bench);
    char *sql = support_file("tests/job/store-1.sql", NULL), copy[128];
    raw(bench.path, sql);
    free(sql);
    bench_reopen(&bench);
    assert_int_equal(raw_number(bench.path, "PRAGMA user_version"), 2);
    snprintf(copy, sizeof copy, "%s.version-1", bench.path);
    assert_int_equal(raw_number(copy, "PRAGMA user_version"), 1);
    assert_int_equal(raw_number(copy, "SELECT count(*) FROM fact"), 7);
    bench_is(&bench, 1, "owner", "'Ada Example'");
    bench_is(&bench, 1, "readings.before.0.volts", "78.5");
    bench_is(&bench, 1, "readings.before.1", "nothing");
    bench_is(&bench, 1, "notes", "[]");
    bench_is(&bench, 2, "closed", "1740830800000");
    json_t *found = job_search(bench.store, "lea", false, 10, bench.errors);
    assert_string_equal(bench_get(found, "0.job"), "2");
    json_decref(found);
    json_t *history = job_history(bench.store, "saltpan", true, bench.errors);
    assert_string_equal(bench_get(history, "causes.0"), "{'part':'C11','what':'leaky','count':1}");
    json_decref(history);
    /* The next fact gives the job its drawing. */
    bench_is(&bench, 1, "amp.drawn", "false");
    bench_add(&bench, 1, "drain", "{'at':'C15','volts':0.2}");
    bench_is(&bench, 1, "amp.drawn", "true");
    bench_is(&bench, bench_job(&bench, "tidemark"), "number", "9");
    bench_close(&bench);
}

/* What a migrated store has is what a new one has. */
static void test_same_schema(void **state) {
    (void)state;
    static const char list[] = "SELECT count(*) FROM sqlite_schema WHERE name NOT LIKE 'words%'";
    static const char tables[] = "SELECT sum(length(sql)) FROM sqlite_schema WHERE type = 'index' "
                                 "OR name IN ('summary', 'reading', 'words')";
    bench old, new;
    bench_folder(&old);
    bench_folder(&new);
    char *sql = support_file("tests/job/store-1.sql", NULL);
    raw(old.path, sql);
    free(sql);
    bench_reopen(&old);
    bench_reopen(&new);
    assert_int_equal(raw_number(old.path, list), raw_number(new.path, list));
    assert_int_equal(raw_number(old.path, tables), raw_number(new.path, tables));
    assert_int_equal(raw_number(old.path, "SELECT count(*) FROM pragma_table_info('fact')"),
                     raw_number(new.path, "SELECT count(*) FROM pragma_table_info('fact')"));
    bench_close(&old);
    bench_close(&new);
}

/* A migration that cannot go on leaves the older store as it was. */
static void test_migration_fails(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    char *sql = support_file("tests/job/store-1.sql", NULL);
    raw(bench.path, sql);
    free(sql);
    raw(bench.path, "INSERT INTO fact (id, job, at, kind, body) VALUES (8, 1, 0, 'later', '{}')");
    refused(&bench, "is of a kind that this program does not know");
    assert_int_equal(raw_number(bench.path, "PRAGMA user_version"), 1);
    assert_int_equal(raw_number(bench.path, "SELECT count(*) FROM pragma_table_info('fact')"), 7);
    assert_int_equal(raw_number(bench.path, "SELECT count(*) FROM summary"), 2);
    bench_close(&bench);
}

static void test_newer(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    bench_job(&bench, "saltpan");
    job_store_close(bench.store);
    bench.store = NULL;
    raw(bench.path, "PRAGMA user_version = 3; PRAGMA journal_mode = DELETE;");
    size_t before, after;
    char *was = get_file(bench.path, &before);
    refused(&bench, "the store is of version 3, and this program knows up to 2");
    char *is = get_file(bench.path, &after);
    assert_int_equal(before, after);
    assert_memory_equal(was, is, before);
    free(was);
    free(is);
    bench_close(&bench);
}

static void test_no_store(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    static const char words[] = "These are words, and more than a hundred bytes of them, so that "
                                "nobody can take them for the beginning of a database file.";
    put_file(bench.path, words, sizeof words);
    refused(&bench, "the file is no store");
    unlink(bench.path);
    raw(bench.path, "CREATE TABLE recipes (name TEXT);");
    refused(&bench, "the file is no store of this program");
    assert_int_equal(raw_number(bench.path, "SELECT count(*) FROM sqlite_schema"), 1);
    unlink(bench.path);
    assert_int_equal(mkdir(bench.path, 0700), 0);
    refused(&bench, "cannot be opened");
    strcat(bench.path, "/no/such/folder");
    refused(&bench, "cannot be opened");
    bench_close(&bench);
}

/* Cut short at every 64th part: a complaint, or (the file being all there) a store. */
static void test_cut_short(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    bench_job(&bench, "saltpan");
    job_store_close(bench.store);
    bench.store = NULL;
    size_t length;
    char *whole = get_file(bench.path, &length);
    for (size_t cut = length / 64; cut < length; cut += length / 64) {
        put_file(bench.path, whole, cut);
        job_store *store = job_store_open(bench.path, bench.errors);
        if (store) {
            json_t *view = job_view(store, 1, bench.errors);
            json_decref(view);
        }
        job_store_close(store);
        bench_forget(&bench);
    }
    free(whole);
    bench_close(&bench);
}

/* A disk that is mounted for reading only; where that cannot be made, a file that is. */
static void test_read_only(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    bench_job(&bench, "saltpan");
    job_store_close(bench.store);
    bench.store = NULL;
    bool mounted = mount(bench.folder, bench.folder, NULL, MS_BIND, NULL) == 0 &&
                   mount(NULL, bench.folder, NULL, MS_BIND | MS_REMOUNT | MS_RDONLY, NULL) == 0;
    if (!mounted) {
        umount(bench.folder);
        chmod(bench.path, 0400);
        chmod(bench.folder, 0500);
    }
    if (mounted || geteuid() != 0) refused(&bench, "read-only");
    strcat(bench.path, ".other");
    if (mounted || geteuid() != 0) refused(&bench, "cannot be opened or made");
    if (mounted) umount(bench.folder);
    chmod(bench.folder, 0700);
    bench_close(&bench);
}

/* Another program that holds the store for writing: a sentence, after a while. */
static void test_busy(void **state) {
    (void)state;
    bench bench;
    bench_open(&bench);
    int64_t job = bench_job(&bench, "saltpan");
    sqlite3 *db;
    assert_int_equal(sqlite3_open(bench.path, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, "BEGIN IMMEDIATE", NULL, NULL, NULL), SQLITE_OK);
    bench_refused(&bench, job, "note", "{'text':'one'}", "another program holds the store");
    bench_is(&bench, job, "facts", "1");
    sqlite3_exec(db, "ROLLBACK", NULL, NULL, NULL);
    bench_add(&bench, job, "note", "{'text':'one'}");
    sqlite3_close(db);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_new),         cmocka_unit_test(test_version_1),
        cmocka_unit_test(test_same_schema), cmocka_unit_test(test_migration_fails),
        cmocka_unit_test(test_newer),       cmocka_unit_test(test_no_store),
        cmocka_unit_test(test_cut_short),   cmocka_unit_test(test_read_only),
        cmocka_unit_test(test_busy),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
