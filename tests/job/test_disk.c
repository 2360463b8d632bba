/* A disk that fails: each write, sync, truncation and opening of the store made to fail in turn,
 * once or from then on. A sentence each time; what was acknowledged is there once the disk is well.
 */
#include "bench.h"

#include <sqlite3.h>

static long calls, fails_at = -1; /* calls so far; the one that fails */
static bool for_good;             /* and all after it */

static bool fails(void) {
    long call = calls++;
    return fails_at >= 0 && (call == fails_at || (for_good && call > fails_at));
}

/* ---- the disk: SQLite's own, with faults --------------------------------------------------- */

typedef struct file {
    sqlite3_file base;
    sqlite3_io_methods methods;
    sqlite3_file real[]; /* as large as the disk's own */
} file;

static sqlite3_vfs disk, *real_disk;

#define REAL(at) (((file *)(at))->real)

static int file_write(sqlite3_file *at, const void *bytes, int count, sqlite3_int64 offset) {
    if (fails()) return SQLITE_IOERR_WRITE;
    return REAL(at)->pMethods->xWrite(REAL(at), bytes, count, offset);
}

static int file_sync(sqlite3_file *at, int flags) {
    if (fails()) return SQLITE_IOERR_FSYNC;
    return REAL(at)->pMethods->xSync(REAL(at), flags);
}

static int file_truncate(sqlite3_file *at, sqlite3_int64 size) {
    if (fails()) return SQLITE_IOERR_TRUNCATE;
    return REAL(at)->pMethods->xTruncate(REAL(at), size);
}

static int file_close(sqlite3_file *at) {
    return REAL(at)->pMethods->xClose(REAL(at));
}

static int file_read(sqlite3_file *at, void *bytes, int count, sqlite3_int64 offset) {
    return REAL(at)->pMethods->xRead(REAL(at), bytes, count, offset);
}

static int file_size(sqlite3_file *at, sqlite3_int64 *size) {
    return REAL(at)->pMethods->xFileSize(REAL(at), size);
}

static int file_lock(sqlite3_file *at, int how) {
    return REAL(at)->pMethods->xLock(REAL(at), how);
}

static int file_unlock(sqlite3_file *at, int how) {
    return REAL(at)->pMethods->xUnlock(REAL(at), how);
}

static int file_reserved(sqlite3_file *at, int *how) {
    return REAL(at)->pMethods->xCheckReservedLock(REAL(at), how);
}

static int file_control(sqlite3_file *at, int what, void *data) {
    return REAL(at)->pMethods->xFileControl(REAL(at), what, data);
}

static int file_sector(sqlite3_file *at) {
    return REAL(at)->pMethods->xSectorSize(REAL(at));
}

static int file_traits(sqlite3_file *at) {
    return REAL(at)->pMethods->xDeviceCharacteristics(REAL(at));
}

static int file_shm_map(sqlite3_file *at, int page, int size, int extend, void volatile **into) {
    if (extend && fails()) return SQLITE_IOERR_SHMMAP;
    return REAL(at)->pMethods->xShmMap(REAL(at), page, size, extend, into);
}

static int file_shm_lock(sqlite3_file *at, int offset, int count, int flags) {
    return REAL(at)->pMethods->xShmLock(REAL(at), offset, count, flags);
}

static void file_shm_barrier(sqlite3_file *at) {
    REAL(at)->pMethods->xShmBarrier(REAL(at));
}

static int file_shm_unmap(sqlite3_file *at, int drop) {
    return REAL(at)->pMethods->xShmUnmap(REAL(at), drop);
}

static int disk_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *at, int flags, int *out) {
    static const sqlite3_io_methods methods = {
        .iVersion = 2,
        .xClose = file_close,
        .xRead = file_read,
        .xWrite = file_write,
        .xTruncate = file_truncate,
        .xSync = file_sync,
        .xFileSize = file_size,
        .xLock = file_lock,
        .xUnlock = file_unlock,
        .xCheckReservedLock = file_reserved,
        .xFileControl = file_control,
        .xSectorSize = file_sector,
        .xDeviceCharacteristics = file_traits,
        .xShmMap = file_shm_map,
        .xShmLock = file_shm_lock,
        .xShmBarrier = file_shm_barrier,
        .xShmUnmap = file_shm_unmap,
    };
    (void)vfs;
    at->pMethods = NULL;
    if (fails()) return SQLITE_CANTOPEN;
    int code = real_disk->xOpen(real_disk, name, REAL(at), flags, out);
    if (code == SQLITE_OK) at->pMethods = &methods;
    return code;
}

static void disk_begin(void) {
    real_disk = sqlite3_vfs_find(NULL);
    disk = *real_disk;
    disk.zName = "failing";
    disk.szOsFile = (int)sizeof(file) + real_disk->szOsFile;
    disk.xOpen = disk_open;
    assert_int_equal(sqlite3_vfs_register(&disk, 1), SQLITE_OK);
}

/* ---- what is done on it -------------------------------------------------------------------- */

static bench on;

typedef struct done {
    int64_t job;
    int facts;    /* acknowledged */
    bool refused; /* something was, with a sentence */
} done;

/* Opens the store, makes a job, adds facts, takes one back. */
static done work(void) {
    done done = {0};
    base_errors *errors = base_errors_new();
    job_store *store = job_store_open(on.path, errors);
    json_t *taken = json_pack("{s:s, s:s, s:s}", "owner", "Ada", "complaint", "hum", "amp", "x");
    json_t *body = json_pack("{s:s}", "text", "one");
    job_fact fact = {.kind = "note", .body = body};
    if (store && job_create(store, taken, NOON, &done.job, errors) == BASE_OK) done.facts = 1;
    for (int i = 0; i < 3 && done.facts; i++)
        done.facts += job_add(store, done.job, &fact, NOON, NULL, errors) == BASE_OK;
    if (done.facts) done.facts += job_undo(store, done.job, 0, NOON, NULL, errors) == BASE_OK;
    done.refused = base_errors_count(errors) > 0;
    for (size_t i = 0; i < base_errors_count(errors); i++)
        assert_true(base_errors_at(errors, i)->remedy[0]);
    job_store_close(store);
    json_decref(body);
    json_decref(taken);
    base_errors_free(errors);
    return done;
}

/* The disk is well again: all that was acknowledged is there. */
static void check(const done *done) {
    fails_at = -1;
    bench_reopen(&on);
    if (done->job) {
        json_t *facts = job_facts(on.store, done->job, NULL);
        int there = (int)json_array_size(facts);
        /* A commit whose last step failed may yet be there whole; it was not acknowledged. */
        if (there < done->facts) fail_msg("%d facts of %d", there, done->facts);
        json_decref(facts);
    }
    assert_int_equal(job_rebuild(on.store, on.errors), BASE_OK);
    job_store_close(on.store);
    on.store = NULL;
}

static void each_call(bool good) {
    bench_folder(&on);
    calls = 0;
    fails_at = -1;
    for_good = good;
    done whole = work();
    assert_int_equal(whole.facts, 5);
    assert_false(whole.refused);
    long all = calls, refused = 0;
    bench_close(&on);
    for (long call = 0; call < all; call++) {
        bench_folder(&on);
        calls = 0;
        fails_at = call;
        done done = work();
        refused += done.refused;
        check(&done);
        bench_close(&on);
    }
    assert_true(all > 50);
    if (refused < all / 2) fail_msg("%ld of %ld faults were seen", refused, all);
}

static void test_once(void **state) {
    (void)state;
    each_call(false);
}

static void test_for_good(void **state) {
    (void)state;
    each_call(true);
}

int main(void) {
    disk_begin();
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_once),
                                       cmocka_unit_test(test_for_good)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
