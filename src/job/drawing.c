/* The amp's text of a job: the drawing that it began with, and the edits that stand. */
#include "job_impl.h"

#include <stdlib.h>
#include <string.h>

/* ---- texts under their hash ---------------------------------------------------------------- */

static base_code keep_text(job_store *store, const char *text, char hash[JOB_HASH],
                           base_errors *errors) {
    job_hash(text, strlen(text), hash);
    if (job_sql_run(store, "INSERT OR IGNORE INTO amp_text (hash, text) VALUES (?, ?)", "ss", hash,
                    text))
        return BASE_OK;
    return job_sql_complain(store->db, "the amp was not saved", errors);
}

base_code job_drawing_text(job_store *store, const char *hash, char **text, base_errors *errors) {
    sqlite3_stmt *row = job_sql(store, "SELECT text FROM amp_text WHERE hash = ?", "s", hash);
    const char *found = job_sql_row(row) ? job_column(row, 0) : NULL;
    bool there = found != NULL;
    *text = found ? strdup(found) : NULL;
    if (!job_sql_done(store, row))
        return job_sql_complain(store->db, "the drawing was not read", errors);
    if (there) return *text ? BASE_OK : job_no_memory(errors);
    return base_errors_add(errors, BASE_FILE, JOB_NOWHERE,
                           "the drawing of this job is missing|the store is damaged: put the last "
                           "backup in its place");
}

/* The outline kept under this hash; false: none is. */
static bool outline_kept(const job_store *store, const char *hash,
                         const circuit_outline **outline) {
    for (size_t i = 0; i < JOB_AMPS && i < store->outlines; i++)
        if (strcmp(store->outline[i].hash, hash) == 0) {
            *outline = store->outline[i].outline;
            return true;
        }
    return false;
}

base_code job_outline_of_text(job_store *store, const char *text, const circuit_outline **outline,
                              base_errors *errors) {
    char hash[JOB_HASH];
    job_hash(text, strlen(text), hash);
    if (outline_kept(store, hash, outline)) return BASE_OK;
    base_errors *own = base_errors_new();
    circuit_outline *made = own ? circuit_outline_new(text, strlen(text), own) : NULL;
    bool no_memory = !own || base_errors_worst(own) == BASE_MEMORY;
    base_errors_free(own);
    if (no_memory) return job_no_memory(errors);
    size_t at = store->outlines++ % JOB_AMPS;
    circuit_outline_free(store->outline[at].outline);
    *outline = store->outline[at].outline = made;
    memcpy(store->outline[at].hash, hash, sizeof hash);
    return BASE_OK;
}

base_code job_outline_of(job_store *store, const char *hash, const circuit_outline **outline,
                         base_errors *errors) {
    *outline = NULL;
    if (outline_kept(store, hash, outline)) return BASE_OK;
    char *text;
    base_code code = job_drawing_text(store, hash, &text, errors);
    if (code == BASE_OK) code = job_outline_of_text(store, text, outline, errors);
    free(text);
    return code;
}

/* ---- the shop's amps ----------------------------------------------------------------------- */

/* *text: a copy of the shop's own amp, to be freed; NULL when none is called so. */
static base_code own_text(job_store *store, const char *name, char **text, base_errors *errors) {
    sqlite3_stmt *row = job_sql(store,
                                "SELECT text FROM amp_fact JOIN amp_text USING (hash) "
                                "WHERE name = ? ORDER BY id DESC LIMIT 1",
                                "s", name);
    const char *found = job_sql_row(row) ? job_column(row, 0) : NULL;
    bool there = found != NULL;
    *text = found ? strdup(found) : NULL;
    if (!job_sql_done(store, row))
        return job_sql_complain(store->db, "the amp was not read", errors);
    return there && !*text ? job_no_memory(errors) : BASE_OK;
}

static const char *library_text(job_store *store, const char *name, size_t *length) {
    return store->amp ? store->amp(store->library, name, length) : NULL;
}

base_code job_amp_named(job_store *store, const char *name, char **text, base_errors *errors) {
    size_t length;
    base_code code = own_text(store, name, text, errors);
    const char *found = code == BASE_OK && !*text ? library_text(store, name, &length) : NULL;
    if (!found) return code;
    *text = malloc(length + 1);
    if (!*text) return job_no_memory(errors);
    memcpy(*text, found, length);
    (*text)[length] = 0;
    return BASE_OK;
}

base_code job_drawing_find(job_store *store, const char *name, char hash[JOB_HASH],
                           base_errors *errors) {
    char *text;
    hash[0] = 0;
    base_code code = job_amp_named(store, name, &text, errors);
    if (code == BASE_OK && text) code = keep_text(store, text, hash, errors);
    free(text);
    return code;
}

json_t *job_amps(job_store *store, base_errors *errors) {
    json_t *list = json_array();
    job_lock(store);
    sqlite3_stmt *rows = job_sql(store,
                                 "SELECT name, hash, at FROM amp_fact AS amp WHERE id = (SELECT "
                                 "max(id) FROM amp_fact WHERE name = amp.name) ORDER BY name",
                                 "");
    base_code code = list ? BASE_OK : job_no_memory(errors);
    while (code == BASE_OK && job_sql_row(rows)) {
        const circuit_outline *outline;
        code = job_outline_of(store, job_column(rows, 1), &outline, errors);
        if (code == BASE_OK &&
            json_array_append_new(list,
                                  json_pack("{s:s, s:s?, s:I}", "name", job_column(rows, 0),
                                            "family", outline ? outline->family : NULL, "changed",
                                            (json_int_t)sqlite3_column_int64(rows, 2))))
            code = job_no_memory(errors);
    }
    if (!job_sql_done(store, rows) && code == BASE_OK)
        code = job_sql_complain(store->db, "the amps were not read", errors);
    job_unlock(store);
    if (code == BASE_OK) return list;
    json_decref(list);
    return NULL;
}

char *job_amp_load(job_store *store, const char *name, base_errors *errors) {
    char *text;
    job_lock(store);
    base_code code = own_text(store, name, &text, errors);
    job_unlock(store);
    if (!text && code == BASE_OK)
        base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                        "the shop has no amp called `%.60s`|look at the list of amps", name);
    return text;
}

static base_code check_name(job_store *store, const char *name, base_errors *errors) {
    enum { NAME_MOST = 60 };
    size_t length = strlen(name), unused;
    bool fits = length > 0 && length <= NAME_MOST && name[0] != ' ' && name[length - 1] != ' ';
    for (size_t i = 0; i < length && fits; i++)
        fits =
            (unsigned char)name[i] > 0x7F || (name[i] >= ' ' && !strchr("/\\|\"<>\x7f", name[i]));
    if (!fits)
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "`%.60s` cannot be the name of an amp|write 1 to %d letters, digits "
                               "and blanks",
                               name, NAME_MOST);
    if (library_text(store, name, &unused))
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "`%.60s` is an amp of the library, which stays as it is|save it "
                               "under another name",
                               name);
    return BASE_OK;
}

static base_code check_text(job_store *store, const char *name, const char *text,
                            base_errors *errors) {
    if (store->tubes) {
        circuit *amp = circuit_read(name, text, strlen(text), store->tubes, errors);
        bool reads = amp != NULL;
        circuit_free(amp);
        return reads ? BASE_OK : BASE_CIRCUIT;
    }
    circuit_outline *outline = circuit_outline_new(text, strlen(text), errors);
    bool reads = outline != NULL;
    circuit_outline_free(outline);
    return reads ? BASE_OK : BASE_SYNTAX;
}

base_code job_amp_save(job_store *store, const char *name, const char *text, int64_t now,
                       base_errors *errors) {
    char hash[JOB_HASH];
    base_code code = check_name(store, name, errors);
    if (code == BASE_OK) code = check_text(store, name, text, errors);
    if (code == BASE_OK) code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    code = keep_text(store, text, hash, errors);
    if (code == BASE_OK &&
        !job_sql_run(store, "INSERT INTO amp_fact (at, name, hash) VALUES (?, ?, ?)", "iss", now,
                     name, hash))
        code = job_sql_complain(store->db, "the amp was not saved", errors);
    return job_end(store, code, errors);
}

/* ---- edits --------------------------------------------------------------------------------- */

const char *job_drawing(const job_record *record) {
    for (size_t i = record->count; i-- > 0;) {
        const job_stored *fact = &record->fact[i];
        if (!fact->undone && fact->drawing[0]) return fact->drawing;
    }
    return "";
}

/* Whether this fact is an edit that makes the amp what it is at `which`. */
static bool edits(const job_stored *fact, job_amp which) {
    if (!job_is(fact, "edit") || !job_stands(fact) || which == JOB_DRAWN) return false;
    return which == JOB_REPAIRED || strcmp(job_text_of(fact->body, "phase"), "found") == 0;
}

static circuit_edit edit_of(const json_t *body) {
    const char *does = job_text_of(body, "does");
    bool adds = strcmp(does, "add") == 0;
    return (circuit_edit){.does = adds                          ? CIRCUIT_ADD
                                  : strcmp(does, "remove") == 0 ? CIRCUIT_REMOVE
                                                                : CIRCUIT_CHANGE,
                          .part = job_text_of(body, "part"),
                          .key = job_text_of(body, "key"),
                          .value = job_text_of(body, adds ? "yaml" : "to")};
}

/* Edits found come before edits made, whenever they were written down. */
static char *edited(const job_record *record, job_amp which, bool found, char *text,
                    base_errors *errors) {
    for (size_t i = 0; i < record->count && text; i++) {
        const job_stored *fact = &record->fact[i];
        if (!edits(fact, which)) continue;
        if ((strcmp(job_text_of(fact->body, "phase"), "found") == 0) != found) continue;
        circuit_edit edit = edit_of(fact->body);
        char *next = circuit_edit_text(text, strlen(text), &edit, errors);
        free(text);
        text = next;
    }
    return text;
}

char *job_text_at(job_store *store, const job_record *record, job_amp which, base_errors *errors) {
    const char *hash = job_drawing(record);
    if (!*hash) return NULL;
    char *text;
    job_drawing_text(store, hash, &text, errors);
    text = edited(record, which, true, text, errors);
    return edited(record, which, false, text, errors);
}

char *job_amp_text(job_store *store, int64_t job, job_amp which, base_errors *errors) {
    job_record record;
    char *text = NULL;
    job_lock(store);
    if (job_record_load(store, job, &record, errors) == BASE_OK) {
        if (*job_drawing(&record))
            text = job_text_at(store, &record, which, errors);
        else
            base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                            "job %lld has no drawing: no amp is called `%.60s`|choose an amp of "
                            "the library, or save one under this name",
                            (long long)job, job_text_of(job_last(&record, "take in")->body, "amp"));
        job_record_free(&record);
    }
    job_unlock(store);
    return text;
}
