/* Statements: prepared once, bound, stepped; and the words for what can go wrong. */
#include "job_impl.h"

#include <errno.h>
#include <string.h>

base_code job_no_memory(base_errors *errors) {
    return base_errors_add(errors, BASE_MEMORY, JOB_NOWHERE,
                           "no memory left|close other programs and try again");
}

/* ---- statements ---------------------------------------------------------------------------- */

static sqlite3_stmt *prepared(job_store *store, const char *sql) {
    for (size_t i = 0; i < store->statements; i++)
        if (store->kept[i].sql == sql) return store->kept[i].statement;
    if (store->statements == JOB_STATEMENTS) return NULL;
    sqlite3_stmt *statement = NULL;
    if (sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, NULL) !=
        SQLITE_OK)
        return NULL;
    store->kept[store->statements].sql = sql;
    store->kept[store->statements++].statement = statement;
    return statement;
}

static int bind_one(sqlite3_stmt *statement, int at, char type, va_list *values) {
    const void *bytes;
    switch (type) {
    case 'i':
        return sqlite3_bind_int64(statement, at, va_arg(*values, int64_t));
    case 'd':
        return sqlite3_bind_double(statement, at, va_arg(*values, double));
    case 's':
        return sqlite3_bind_text(statement, at, va_arg(*values, const char *), -1, SQLITE_STATIC);
    default:
        bytes = va_arg(*values, const void *);
        return sqlite3_bind_blob64(statement, at, bytes, va_arg(*values, size_t), SQLITE_STATIC);
    }
}

static sqlite3_stmt *bound(job_store *store, const char *sql, const char *types, va_list *values) {
    sqlite3_stmt *statement = prepared(store, sql);
    if (!statement) return NULL;
    for (int i = 0; types[i]; i++)
        if (bind_one(statement, i + 1, types[i], values) != SQLITE_OK) {
            sqlite3_clear_bindings(statement);
            return NULL;
        }
    return statement;
}

sqlite3_stmt *job_sql(job_store *store, const char *sql, const char *types, ...) {
    va_list values;
    va_start(values, types);
    sqlite3_stmt *statement = bound(store, sql, types, &values);
    va_end(values);
    return statement;
}

bool job_sql_row(sqlite3_stmt *statement) {
    return statement && sqlite3_step(statement) == SQLITE_ROW;
}

/* The reset repeats the code of a step that failed. */
bool job_sql_done(job_store *store, sqlite3_stmt *statement) {
    (void)store;
    if (!statement) return false;
    bool well = sqlite3_reset(statement) == SQLITE_OK;
    sqlite3_clear_bindings(statement);
    return well;
}

bool job_sql_run(job_store *store, const char *sql, const char *types, ...) {
    va_list values;
    va_start(values, types);
    sqlite3_stmt *statement = bound(store, sql, types, &values);
    va_end(values);
    while (job_sql_row(statement)) {
    }
    return job_sql_done(store, statement);
}

bool job_sql_number(job_store *store, const char *sql, int64_t *value) {
    sqlite3_stmt *statement = job_sql(store, sql, "");
    bool row = job_sql_row(statement);
    if (row) *value = sqlite3_column_int64(statement, 0);
    return job_sql_done(store, statement) && row;
}

const char *job_column(sqlite3_stmt *statement, int column) {
    return (const char *)sqlite3_column_text(statement, column);
}

/* ---- complaints ---------------------------------------------------------------------------- */

base_code job_sql_complain(sqlite3 *db, const char *doing, base_errors *errors) {
    static const struct {
        int sql;
        const char *cause, *remedy;
    } rows[] = {
        {SQLITE_FULL, "the disk is full", "make room on it; all that was saved before is there"},
        {SQLITE_READONLY, "the disk, the folder or the file is read-only",
         "allow writing there, or copy the store to a disk that can be written"},
        {SQLITE_IOERR, "the disk does not take or give the data",
         "look whether the disk is full, there and sound; all that was saved before is there"},
        {SQLITE_BUSY, "another program holds the store", "close the other program, then try again"},
        {SQLITE_LOCKED, "another program holds the store",
         "close the other program, then try again"},
        {SQLITE_CORRUPT, "the store is damaged",
         "keep the file, and put the last backup in its place: gridleak restore"},
        {SQLITE_NOTADB, "the file is no store", "name the store's file, or one that is not there"},
        {SQLITE_CANTOPEN, "the file cannot be opened or made",
         "make sure that its folder is there and can be written"},
        {SQLITE_PERM, "the file may not be opened", "make it yours, or name another"},
        {SQLITE_TOOBIG, "the text or photo is too long", "send a shorter one"},
    };
    int code = sqlite3_errcode(db) & 0xff;
    if (code == SQLITE_NOMEM) return job_no_memory(errors);
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        if (rows[i].sql == code)
            return base_errors_add(errors, BASE_FILE, JOB_NOWHERE, "%s: %s|%s", doing,
                                   rows[i].cause, rows[i].remedy);
    return base_errors_add(errors, BASE_FILE, JOB_NOWHERE,
                           "%s: %.200s|try again; if it stays so, make a backup and restore it",
                           doing, sqlite3_errmsg(db));
}

/* ---- transactions -------------------------------------------------------------------------- */

void job_lock(job_store *store) {
    pthread_mutex_lock(&store->lock);
}

void job_unlock(job_store *store) {
    pthread_mutex_unlock(&store->lock);
}

base_code job_begin(job_store *store, base_errors *errors) {
    job_lock(store);
    if (job_sql_run(store, "BEGIN IMMEDIATE", "")) return BASE_OK;
    base_code code = job_sql_complain(store->db, "nothing was saved", errors);
    job_unlock(store);
    return code;
}

base_code job_end(job_store *store, base_code code, base_errors *errors) {
    if (code == BASE_OK && !job_sql_run(store, "COMMIT", ""))
        code = job_sql_complain(store->db, "nothing was saved", errors);
    /* Some failures end the transaction by themselves. */
    if (!sqlite3_get_autocommit(store->db)) sqlite3_exec(store->db, "ROLLBACK", 0, 0, 0);
    job_unlock(store);
    return code;
}
