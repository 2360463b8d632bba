/* Opening, making and migrating the store. */
#include "job_impl.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* How long to wait for another program that writes, ms. */
#define BUSY_WAIT 5000

void job_store_use_library(job_store *store, const tube_library *tubes,
                           const char *(*amp)(void *library, const char *name, size_t *length),
                           void *library) {
    job_lock(store);
    store->tubes = tubes;
    store->amp = amp;
    store->library = library;
    job_unlock(store);
}

/* ---- what it is
 * ----------------------------------------------------------------------------------
 */

bool job_pragma(sqlite3 *db, const char *name, int *value) {
    char sql[64];
    sqlite3_stmt *row = NULL;
    snprintf(sql, sizeof sql, "PRAGMA %s", name);
    bool well =
        sqlite3_prepare_v2(db, sql, -1, &row, NULL) == SQLITE_OK && sqlite3_step(row) == SQLITE_ROW;
    if (well) *value = sqlite3_column_int(row, 0);
    return sqlite3_finalize(row) == SQLITE_OK && well;
}

base_code job_is_store(sqlite3 *db, const char *path, base_errors *errors) {
    int application, version;
    if (!job_pragma(db, "application_id", &application) ||
        !job_pragma(db, "user_version", &version))
        return job_sql_complain(db, path, errors);
    if (application != JOB_APPLICATION)
        return base_errors_add(errors, BASE_FILE, (base_place){path, 0, 0},
                               "the file is no store of this program|name the store's file, or one "
                               "that is not there yet");
    if (version > JOB_VERSION)
        return base_errors_add(
            errors, BASE_FILE, (base_place){path, 0, 0},
            "the store is of version %d, and this program knows up to %d|use the "
            "newer program that wrote it; nothing was changed",
            version, JOB_VERSION);
    return BASE_OK;
}

/* Nothing was ever written to it. */
static base_code is_blank(job_store *store, bool *blank, base_errors *errors) {
    static const char *const pragmas[] = {"schema_version", "application_id", "user_version"};
    *blank = true;
    for (size_t i = 0; i < sizeof pragmas / sizeof *pragmas; i++) {
        int value;
        if (!job_pragma(store->db, pragmas[i], &value))
            return job_sql_complain(store->db, store->path, errors);
        if (value != 0) *blank = false;
    }
    return BASE_OK;
}

static base_code run(job_store *store, const char *sql, const char *doing, base_errors *errors) {
    if (sqlite3_exec(store->db, sql, NULL, NULL, NULL) == SQLITE_OK) return BASE_OK;
    return job_sql_complain(store->db, doing, errors);
}

/* ---- making -------------------------------------------------------------------------------- */

static base_code stamp(job_store *store, base_errors *errors) {
    char sql[96];
    snprintf(sql, sizeof sql, "PRAGMA application_id = %d; PRAGMA user_version = %d;",
             JOB_APPLICATION, JOB_VERSION);
    return run(store, sql, "the store was not made", errors);
}

static base_code make(job_store *store, base_errors *errors) {
    base_code code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    /* Another program may have made it while this one waited. */
    bool blank;
    code = is_blank(store, &blank, errors);
    if (code == BASE_OK && blank) code = run(store, job_schema, "the store was not made", errors);
    if (code == BASE_OK && blank) code = stamp(store, errors);
    return job_end(store, code, errors);
}

/* ---- migrating ----------------------------------------------------------------------------- */

/* What turns the facts of version N into those of N + 1. What is derived is then made anew. */
static const char *const migrations[JOB_VERSION] = {
    [1] = "ALTER TABLE fact ADD COLUMN drawing TEXT REFERENCES amp_text (hash);"};

static base_code migrate_from(job_store *store, int version, base_errors *errors) {
    base_code code = BASE_OK;
    for (; version < JOB_VERSION && code == BASE_OK; version++)
        code = run(store, migrations[version], "the older store was not migrated", errors);
    const char *derived = strstr(job_schema, "-- DERIVED");
    if (code == BASE_OK) code = run(store, derived, "the older store was not migrated", errors);
    if (code == BASE_OK) code = stamp(store, errors);
    return code == BASE_OK ? job_derive_all(store, errors) : code;
}

static base_code migrate(job_store *store, int version, base_errors *errors) {
    base_code code = job_copy_beside(store, version, errors);
    if (code == BASE_OK) code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    /* Another program may have done it while this one waited. */
    if (!job_pragma(store->db, "user_version", &version))
        code = job_sql_complain(store->db, "the older store was not migrated", errors);
    else if (version < JOB_VERSION)
        code = migrate_from(store, version, errors);
    return job_end(store, code, errors);
}

/* ---- opening ------------------------------------------------------------------------------- */

/* FULL: a commit is on the disk when it returns. A trigger must also see rows that REPLACE takes
 * away, or a fact could go that way. */
static base_code settle(job_store *store, base_errors *errors) {
    sqlite3_busy_timeout(store->db, BUSY_WAIT);
    sqlite3_db_config(store->db, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    sqlite3_db_config(store->db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    return run(store,
               "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;"
               "PRAGMA recursive_triggers = ON; PRAGMA cell_size_check = ON;",
               store->path, errors);
}

/* SQLite itself would open the file to read, or say that it cannot be opened at all. */
static base_code may_write(const char *path, base_errors *errors) {
    if (access(path, F_OK) != 0 || access(path, W_OK) == 0) return BASE_OK;
    return base_errors_add(errors, BASE_FILE, (base_place){path, 0, 0},
                           "the store cannot be written: the disk or the file is read-only|allow "
                           "writing there, or copy the store to a disk that can be written");
}

static base_code open_db(job_store *store, base_errors *errors) {
    int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE | SQLITE_OPEN_NOMUTEX;
    if (sqlite3_open_v2(store->path, &store->db, flags, NULL) == SQLITE_OK) return BASE_OK;
    return store->db ? job_sql_complain(store->db, store->path, errors) : job_no_memory(errors);
}

static base_code open_file(job_store *store, base_errors *errors) {
    bool blank = false;
    int version = 0;
    base_code code = may_write(store->path, errors);
    if (code == BASE_OK) code = open_db(store, errors);
    if (code == BASE_OK) code = is_blank(store, &blank, errors);
    if (code == BASE_OK && !blank) code = job_is_store(store->db, store->path, errors);
    if (code == BASE_OK) code = settle(store, errors);
    if (code != BASE_OK) return code;
    if (blank) return make(store, errors);
    if (!job_pragma(store->db, "user_version", &version))
        return job_sql_complain(store->db, store->path, errors);
    return version < JOB_VERSION ? migrate(store, version, errors) : BASE_OK;
}

static job_store *store_new(const char *path, base_errors *errors) {
    job_store *store = calloc(1, sizeof *store);
    if (store && pthread_mutex_init(&store->lock, NULL) != 0) {
        free(store);
        store = NULL;
    }
    if (store) store->path = strdup(path);
    if (store && store->path) return store;
    job_no_memory(errors);
    job_store_close(store);
    return NULL;
}

job_store *job_store_open(const char *path, base_errors *errors) {
    job_store *store = store_new(path, errors);
    if (store && open_file(store, errors) == BASE_OK) return store;
    job_store_close(store);
    return NULL;
}

job_store *job_reader_open(const job_store *store, base_errors *errors) {
    job_store *reader = store_new(store->path, errors);
    if (!reader) return NULL;
    int flags = SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX;
    if (sqlite3_open_v2(reader->path, &reader->db, flags, NULL) == SQLITE_OK &&
        sqlite3_busy_timeout(reader->db, BUSY_WAIT) == SQLITE_OK)
        return reader;
    if (reader->db)
        job_sql_complain(reader->db, reader->path, errors);
    else
        job_no_memory(errors);
    job_store_close(reader);
    return NULL;
}

void job_store_close(job_store *store) {
    if (!store) return;
    for (size_t i = 0; i < store->statements; i++)
        sqlite3_finalize(store->kept[i].statement);
    sqlite3_close(store->db);
    job_amps_free(store);
    pthread_mutex_destroy(&store->lock);
    free(store->path);
    free(store);
}
