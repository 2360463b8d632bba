/* One job's facts as loaded: what stands, what was replaced or taken back. */
#include "job_impl.h"

#include <math.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

void job_hash(const void *bytes, size_t length, char hash[JOB_HASH]) {
    unsigned char digest[crypto_generichash_BYTES];
    crypto_generichash(digest, sizeof digest, bytes, length, NULL, 0);
    sodium_bin2hex(hash, JOB_HASH, digest, sizeof digest);
}

bool job_is(const job_stored *fact, const char *kind) {
    return strcmp(fact->kind->name, kind) == 0;
}

bool job_stands(const job_stored *fact) {
    return !fact->undone && !fact->replaced_by && !job_is(fact, "undo");
}

const job_stored *job_last(const job_record *record, const char *kind) {
    for (size_t i = record->count; i-- > 0;)
        if (job_is(&record->fact[i], kind) && job_stands(&record->fact[i])) return &record->fact[i];
    return NULL;
}

const job_stored *job_fact_find(const job_record *record, int64_t id) {
    for (size_t i = 0; i < record->count; i++)
        if (record->fact[i].id == id) return &record->fact[i];
    return NULL;
}

/* A fact acts only on older ones, so from the newest back each one's own fate is known when its
 * turn comes: what an undone fact did is not done, an undone undo included. */
void job_record_resolve(job_record *record) {
    for (size_t i = 0; i < record->count; i++) {
        record->fact[i].undone = false;
        record->fact[i].replaced_by = 0;
    }
    for (size_t i = record->count; i-- > 0;) {
        const job_stored *fact = &record->fact[i];
        if (fact->undone) continue;
        job_stored *back = (job_stored *)job_fact_find(record, fact->takes_back);
        job_stored *older = (job_stored *)job_fact_find(record, fact->replaces);
        if (back) back->undone = true;
        if (older) older->replaced_by = fact->id;
    }
}

/* ---- loading ------------------------------------------------------------------------------- */

static bool fact_read(sqlite3_stmt *row, job_stored *fact) {
    const char *body = job_column(row, 3), *token = job_column(row, 5), *hash = job_column(row, 6);
    *fact = (job_stored){.id = sqlite3_column_int64(row, 0),
                         .at = sqlite3_column_int64(row, 1),
                         .kind = job_kind_find(job_column(row, 2)),
                         .replaces = sqlite3_column_int64(row, 4)};
    fact->body = body ? json_loads(body, 0, NULL) : NULL;
    fact->token = token ? strdup(token) : NULL;
    if (hash) snprintf(fact->drawing, sizeof fact->drawing, "%s", hash);
    if (fact->kind && job_is(fact, "undo"))
        fact->takes_back = json_integer_value(json_object_get(fact->body, "fact"));
    return fact->body && (fact->token || !token);
}

static base_code grow(job_record *record, size_t *room, base_errors *errors) {
    if (record->count < *room) return BASE_OK;
    size_t more = *room ? 2 * *room : 64;
    job_stored *fact = realloc(record->fact, more * sizeof *fact);
    if (!fact) return job_no_memory(errors);
    record->fact = fact;
    *room = more;
    return BASE_OK;
}

static base_code facts_read(job_record *record, sqlite3_stmt *rows, base_errors *errors) {
    size_t room = 0;
    while (job_sql_row(rows)) {
        base_code code = grow(record, &room, errors);
        if (code != BASE_OK) return code;
        job_stored *fact = &record->fact[record->count++];
        if (!fact_read(rows, fact)) return job_no_memory(errors);
        if (fact->kind) continue;
        return base_errors_add(errors, BASE_FILE, JOB_NOWHERE,
                               "fact %lld is of a kind that this program does not know|use the "
                               "newer program that wrote it",
                               (long long)fact->id);
    }
    return BASE_OK;
}

static base_code head_read(job_store *store, job_record *record, base_errors *errors) {
    sqlite3_stmt *row =
        job_sql(store, "SELECT number, opened FROM job WHERE job = ?", "i", record->job);
    bool found = job_sql_row(row);
    if (found) {
        record->number = sqlite3_column_int64(row, 0);
        record->opened = sqlite3_column_int64(row, 1);
    }
    if (!job_sql_done(store, row))
        return job_sql_complain(store->db, "the job was not read", errors);
    if (found) return BASE_OK;
    return base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                           "there is no job %lld|look for it on the front page",
                           (long long)record->job);
}

base_code job_record_load(job_store *store, int64_t job, job_record *record, base_errors *errors) {
    *record = (job_record){.job = job};
    base_code code = head_read(store, record, errors);
    if (code != BASE_OK) return code;
    sqlite3_stmt *rows = job_sql(store,
                                 "SELECT id, at, kind, body, coalesce(replaces, 0), token, drawing "
                                 "FROM fact WHERE job = ? ORDER BY id",
                                 "i", job);
    code = facts_read(record, rows, errors);
    if (!job_sql_done(store, rows) && code == BASE_OK)
        code = job_sql_complain(store->db, "the job was not read", errors);
    if (code == BASE_OK)
        job_record_resolve(record);
    else
        job_record_free(record);
    return code;
}

void job_record_free(job_record *record) {
    for (size_t i = 0; i < record->count; i++) {
        json_decref(record->fact[i].body);
        free(record->fact[i].token);
    }
    free(record->fact);
    *record = (job_record){0};
}
