/* Checked copies of the store, and one of them put back. */
#include "job_impl.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define PREFIX "gridleak-"
#define SUFFIX ".store"
#define NAME_LENGTH (sizeof PREFIX - 1 + 19) /* gridleak-2025-03-01T10-42-07 */

/* ---- a checked copy ------------------------------------------------------------------------ */

/* Writes the whole database to `path`, which must not be there yet. */
static base_code copy_to(sqlite3 *db, const char *path, base_errors *errors) {
    sqlite3_stmt *vacuum = NULL;
    bool well = sqlite3_prepare_v2(db, "VACUUM INTO ?", -1, &vacuum, NULL) == SQLITE_OK &&
                sqlite3_bind_text(vacuum, 1, path, -1, SQLITE_STATIC) == SQLITE_OK &&
                sqlite3_step(vacuum) == SQLITE_DONE;
    base_code code = well ? BASE_OK : job_sql_complain(db, "the copy was not made", errors);
    sqlite3_finalize(vacuum);
    return code;
}

/* Whether a check finds nothing amiss: its first row is "ok", or it has none. */
static base_code check_says(sqlite3 *db, const char *sql, bool *sound, base_errors *errors) {
    sqlite3_stmt *row = NULL;
    int step =
        sqlite3_prepare_v2(db, sql, -1, &row, NULL) == SQLITE_OK ? sqlite3_step(row) : SQLITE_ERROR;
    const char *word = step == SQLITE_ROW ? job_column(row, 0) : NULL;
    *sound = step == SQLITE_DONE || (word && strcmp(word, "ok") == 0);
    base_code code = BASE_OK;
    if (step == SQLITE_ROW ? !word : step != SQLITE_DONE)
        code = job_sql_complain(db, "the copy was not checked", errors);
    else if (word && strstr(word, "error code=7")) /* SQLITE_NOMEM in the words of the check */
        code = job_no_memory(errors);
    sqlite3_finalize(row);
    return code;
}

static base_code open_to_read(const char *path, sqlite3 **db, base_errors *errors) {
    int flags = SQLITE_OPEN_READONLY | SQLITE_OPEN_NOMUTEX;
    if (sqlite3_open_v2(path, db, flags, NULL) == SQLITE_OK) return BASE_OK;
    base_code code = *db ? job_sql_complain(*db, path, errors) : job_no_memory(errors);
    sqlite3_close(*db);
    *db = NULL;
    return code;
}

/* It is a store of a version that is known, each page and each reference of it is sound. */
static base_code check_open(sqlite3 *db, const char *path, base_errors *errors) {
    bool pages = false, references = false;
    base_code code = job_is_store(db, path, errors);
    if (code == BASE_OK) code = check_says(db, "PRAGMA integrity_check(1)", &pages, errors);
    if (code == BASE_OK) code = check_says(db, "PRAGMA foreign_key_check", &references, errors);
    if (code != BASE_OK || (pages && references)) return code;
    return base_errors_add(errors, BASE_FILE, (base_place){path, 0, 0},
                           "the copy is damaged|use another one; this one was not touched");
}

static base_code check_copy(const char *path, base_errors *errors) {
    sqlite3 *db;
    base_code code = open_to_read(path, &db, errors);
    if (code != BASE_OK) return code;
    code = check_open(db, path, errors);
    sqlite3_close(db);
    return code;
}

/* A copy at `path`, whole and on the disk, or nothing there. */
static base_code copy_checked(sqlite3 *db, const char *path, base_errors *errors) {
    char *part;
    if (asprintf(&part, "%s.part", path) < 0) return job_no_memory(errors);
    unlink(part);
    base_code code = copy_to(db, part, errors);
    if (code == BASE_OK) code = check_copy(part, errors);
    if (code == BASE_OK) code = job_file_sync(part, errors);
    if (code == BASE_OK && rename(part, path) != 0)
        code = job_file_complain(path, "the copy was not put in its place", errors);
    if (code != BASE_OK) unlink(part);
    if (code == BASE_OK) code = job_folder_sync(path, errors);
    free(part);
    return code;
}

base_code job_copy_beside(job_store *store, int version, base_errors *errors) {
    char *path;
    if (asprintf(&path, "%s.version-%d", store->path, version) < 0) return job_no_memory(errors);
    job_lock(store);
    base_code code = copy_checked(store->db, path, errors);
    job_unlock(store);
    free(path);
    return code;
}

/* ---- the folder of backups ----------------------------------------------------------------- */

/* A name that no file has: by the time, then by a count. *path is to be freed. */
static base_code free_name(const char *folder, int64_t now, char **path, base_errors *errors) {
    char stamp[32];
    time_t seconds = (time_t)(now / 1000);
    struct tm when;
    if (!gmtime_r(&seconds, &when)) when = (struct tm){.tm_year = 70, .tm_mday = 1};
    strftime(stamp, sizeof stamp, "%Y-%m-%dT%H-%M-%S", &when);
    for (int i = 0; i < 1000; i++) {
        char count[16] = "";
        if (i) snprintf(count, sizeof count, "-%03d", i);
        if (asprintf(path, "%s/" PREFIX "%s%s" SUFFIX, folder, stamp, count) < 0)
            return job_no_memory(errors);
        if (access(*path, F_OK) != 0) return BASE_OK;
        free(*path);
    }
    return base_errors_add(errors, BASE_FILE, (base_place){folder, 0, 0},
                           "a thousand backups of this second are there already|wait a moment");
}

static int is_backup(const struct dirent *entry) {
    size_t length = strlen(entry->d_name), tail = strlen(SUFFIX);
    return length >= NAME_LENGTH + tail && strncmp(entry->d_name, PREFIX, strlen(PREFIX)) == 0 &&
           strcmp(entry->d_name + length - tail, SUFFIX) == 0;
}

/* By name without its ending: ...-07, ...-07-001, ...-08. */
static int older_first(const struct dirent **a, const struct dirent **b) {
    const char *one = (*a)->d_name, *two = (*b)->d_name;
    size_t m = strlen(one) - strlen(SUFFIX), n = strlen(two) - strlen(SUFFIX);
    int order = strncmp(one, two, m < n ? m : n);
    return order ? order : (m > n) - (m < n);
}

/* Takes away all but the newest `keep`, and never the one just made, whatever the clock says. What
 * is not named as a backup is not touched. */
static void prune(const char *folder, int keep, const char *made) {
    struct dirent **found;
    int count = scandir(folder, &found, is_backup, older_first);
    for (int i = 0; i < count; i++) {
        char *path;
        if (i < count - keep && asprintf(&path, "%s/%s", folder, found[i]->d_name) >= 0) {
            if (strcmp(path, made) != 0) unlink(path);
            free(path);
        }
        free(found[i]);
    }
    if (count >= 0) free(found);
}

base_code job_backup(job_store *store, const char *folder, int keep, int64_t now, char **made,
                     base_errors *errors) {
    if (made) *made = NULL;
    if (keep < 1)
        return base_errors_add(errors, BASE_USAGE, JOB_NOWHERE,
                               "a backup that keeps %d copies keeps none|keep at least 1", keep);
    struct stat about;
    if (stat(folder, &about) != 0)
        return job_file_complain(folder, "the folder for backups is not there", errors);
    char *path;
    base_code code = free_name(folder, now, &path, errors);
    if (code != BASE_OK) return code;
    job_store *reader = job_reader_open(store, errors);
    code = reader ? copy_checked(reader->db, path, errors) : BASE_FILE;
    job_store_close(reader);
    if (code == BASE_OK) prune(folder, keep, path);
    if (code == BASE_OK && made)
        *made = path;
    else
        free(path);
    return code;
}

/* ---- restoring ----------------------------------------------------------------------------- */

/* Nobody else may have the store open: with WAL the one sure sign is the exclusive lock. What its
 * log still holds goes into the file. A store that cannot be opened is kept with its log. */
static base_code close_old(const char *path, base_errors *errors) {
    sqlite3 *db = NULL;
    base_code code = BASE_OK;
    if (access(path, F_OK) != 0) return BASE_OK;
    if (sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL) ==
        SQLITE_OK) {
        int step = sqlite3_exec(db,
                                "PRAGMA locking_mode = EXCLUSIVE; BEGIN IMMEDIATE; COMMIT;"
                                "PRAGMA wal_checkpoint(TRUNCATE);",
                                NULL, NULL, NULL);
        if (step == SQLITE_BUSY || step == SQLITE_LOCKED)
            code = base_errors_add(errors, BASE_FILE, (base_place){path, 0, 0},
                                   "the store is in use|end the program that uses it (gridleak "
                                   "bench), then restore");
    }
    sqlite3_close(db);
    return code;
}

/* `path` + `tail` gets a second name, `aside` + `tail`; one that is not there is no fault. */
static base_code keep_aside(const char *path, const char *aside, const char *tail,
                            base_errors *errors) {
    char *from = NULL, *to = NULL;
    base_code code = BASE_OK;
    if (asprintf(&from, "%s%s", path, tail) < 0 || asprintf(&to, "%s%s", aside, tail) < 0)
        code = job_no_memory(errors);
    else if (access(from, F_OK) == 0 && link(from, to) != 0)
        code = job_file_complain(to, "the old store was not kept beside", errors);
    free(from);
    free(to);
    return code;
}

/* A log left beside the new file would be taken for its own. */
static base_code drop_log(const char *path, const char *tail, base_errors *errors) {
    char *log;
    if (asprintf(&log, "%s%s", path, tail) < 0) return job_no_memory(errors);
    base_code code = BASE_OK;
    if (unlink(log) != 0 && errno != ENOENT)
        code = job_file_complain(log, "the old store was not put aside", errors);
    free(log);
    return code;
}

static base_code keep_old(const char *path, const char *aside, base_errors *errors) {
    base_code code = keep_aside(path, aside, "-wal", errors);
    if (code == BASE_OK) code = keep_aside(path, aside, "", errors);
    return code == BASE_OK ? job_folder_sync(path, errors) : code;
}

static base_code swap(const char *path, const char *fresh, base_errors *errors) {
    base_code code = drop_log(path, "-wal", errors);
    if (code == BASE_OK) code = drop_log(path, "-shm", errors);
    if (code == BASE_OK && rename(fresh, path) != 0)
        code = job_file_complain(path, "the backup was not put in its place", errors);
    return code == BASE_OK ? job_folder_sync(path, errors) : code;
}

/* The old store is kept under a second name before anything touches it: SQLite throws a log away
 * that it cannot read. */
static base_code put_in_place(const char *path, const char *fresh, const char *aside,
                              base_errors *errors) {
    base_code code = keep_old(path, aside, errors);
    if (code == BASE_OK) code = close_old(path, errors);
    if (code == BASE_OK) return swap(path, fresh, errors);
    drop_log(aside, "", NULL);
    drop_log(aside, "-wal", NULL);
    return code;
}

static base_code restore(const char *path, sqlite3 *backup, int64_t now, base_errors *errors) {
    char *fresh = NULL, *aside = NULL;
    base_code code = BASE_OK;
    if (asprintf(&fresh, "%s.restoring", path) < 0 ||
        asprintf(&aside, "%s.before-%lld", path, (long long)now) < 0)
        code = job_no_memory(errors);
    if (code == BASE_OK) {
        unlink(fresh);
        code = copy_checked(backup, fresh, errors);
    }
    if (code == BASE_OK) code = put_in_place(path, fresh, aside, errors);
    if (code != BASE_OK && fresh) unlink(fresh);
    free(fresh);
    free(aside);
    return code;
}

base_code job_restore(const char *path, const char *backup, int64_t now, base_errors *errors) {
    sqlite3 *db;
    base_code code = open_to_read(backup, &db, errors);
    if (code != BASE_OK) return code;
    code = check_open(db, backup, errors);
    if (code == BASE_OK) code = restore(path, db, now, errors);
    sqlite3_close(db);
    return code;
}
