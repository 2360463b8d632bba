/* What is kept beside the facts for searching and counting: one line, the readings and the words of
 * each job. All of it comes from the facts alone. */
#include "job_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define WORDS_MOST (1 << 20)

static const char *or_null(const char *text) {
    return *text ? text : NULL;
}

/* ---- readings ------------------------------------------------------------------------------ */

static bool readings_write(job_store *store, const job_record *record) {
    if (!job_sql_run(store, "DELETE FROM reading WHERE job = ?", "i", record->job)) return false;
    for (size_t i = 0; i < record->count; i++) {
        const job_stored *fact = &record->fact[i];
        if (!job_is(fact, "reading") || !job_stands(fact)) continue;
        if (!job_sql_run(store,
                         "INSERT INTO reading (fact, job, phase, place, volts, meter, mains, taken)"
                         " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                         "iissdsdi", fact->id, record->job, job_text_of(fact->body, "phase"),
                         job_text_of(fact->body, "at"), job_number_of(fact->body, "volts"),
                         or_null(job_text_of(fact->body, "meter")),
                         job_number_of(fact->body, "mains"), fact->at))
            return false;
    }
    return true;
}

/* ---- words --------------------------------------------------------------------------------- */

static bool is_fine(const json_t *condition) {
    return strcmp(json_string_value(condition), "fine") == 0;
}

/* Parts that were touched or found bad, and what was wrong with them. */
static void words_of(const job_stored *fact, base_text *part, base_text *fault) {
    const json_t *body = fact->body;
    size_t i;
    json_t *condition;
    if (job_is(fact, "decision") || job_is(fact, "edit") || job_is(fact, "look"))
        base_text_add(part, "%s %s ", job_text_of(body, "part"), job_text_of(body, "substitute"));
    if (job_is(fact, "decision")) base_text_add(fault, "%s ", job_text_of(body, "what"));
    json_array_foreach(json_object_get(body, "condition"), i, condition) if (!is_fine(condition))
        base_text_add(fault, "%s ", json_string_value(condition));
    if (!job_is(fact, "hand back")) return;
    base_text_add(part, "%s ", job_text_of(body, "cause_part"));
    base_text_add(fault, "%s %s ", job_text_of(body, "cause_what"), job_text_of(body, "found"));
}

static bool words_write(job_store *store, const job_record *record, const json_t *taken) {
    base_text part, fault;
    base_text_init(&part, WORDS_MOST);
    base_text_init(&fault, WORDS_MOST);
    for (size_t i = 0; i < record->count; i++)
        if (job_stands(&record->fact[i])) words_of(&record->fact[i], &part, &fault);
    bool well =
        job_sql_run(store, "DELETE FROM words WHERE rowid = ?", "i", record->job) &&
        job_sql_run(store,
                    "INSERT INTO words (rowid, owner, amp, part, fault, complaint) "
                    "VALUES (?, ?, ?, ?, ?, ?)",
                    "isssss", record->job, job_text_of(taken, "owner"), job_text_of(taken, "amp"),
                    part.data, fault.data, job_text_of(taken, "complaint"));
    base_text_free(&part);
    base_text_free(&fault);
    return well;
}

/* ---- the line ------------------------------------------------------------------------------ */

/* "capacitors" is "capacitor"; a section without a plural is itself. */
static void kind_of_section(const char *section, char *kind, size_t size) {
    size_t length = strlen(section);
    if (strcmp(section, "switches") == 0)
        length -= 2;
    else if (length && section[length - 1] == 's')
        length--;
    snprintf(kind, size, "%.*s", (int)length, section);
}

typedef struct line {
    const char *cause, *family;
    char kind[32];
} line;

/* What the drawing says of the cause: the family of the amp and the kind of the part. */
static base_code line_drawing(job_store *store, const job_record *record, line *line,
                              base_errors *errors) {
    const char *hash = job_drawing(record);
    if (!*hash) return BASE_OK;
    const circuit_outline *outline;
    base_code code = job_outline_of(store, hash, &outline, errors);
    if (code != BASE_OK || !outline) return code;
    line->family = outline->family;
    const char *section = *line->cause ? circuit_outline_section(outline, line->cause) : NULL;
    if (section) kind_of_section(section, line->kind, sizeof line->kind);
    return BASE_OK;
}

static bool line_write(job_store *store, const job_record *record, const json_t *taken,
                       const line *line) {
    const job_stored *back = job_last(record, "hand back");
    const json_t *end = back ? back->body : NULL;
    int64_t closed = job_closed(record);
    return job_sql_run(store,
                       "INSERT OR REPLACE INTO summary (job, owner, amp, family, complaint, stage, "
                       "closed, found, handed_back, cause_part, cause_kind, cause_what) "
                       "VALUES (?, ?, ?, ?, ?, ?, nullif(?, 0), ?, ?, ?, ?, ?)",
                       "isssssisisss", record->job, job_text_of(taken, "owner"),
                       job_text_of(taken, "amp"), line->family, job_text_of(taken, "complaint"),
                       job_stage(record), closed, or_null(job_text_of(end, "found")),
                       (int64_t)(back != NULL), or_null(line->cause), or_null(line->kind),
                       or_null(job_text_of(end, "cause_what")));
}

base_code job_derive(job_store *store, const job_record *record, base_errors *errors) {
    const job_stored *taken = job_last(record, "take in"), *back = job_last(record, "hand back");
    line line = {.cause = job_text_of(back ? back->body : NULL, "cause_part")};
    if (!taken)
        return base_errors_add(errors, BASE_FILE, JOB_NOWHERE,
                               "job %lld has no take in|the store is damaged: put the last backup "
                               "in its place",
                               (long long)record->job);
    base_code code = line_drawing(store, record, &line, errors);
    if (code == BASE_OK &&
        !(line_write(store, record, taken->body, &line) && readings_write(store, record) &&
          words_write(store, record, taken->body)))
        code = job_sql_complain(store->db, "the fact was not saved", errors);
    return code;
}

/* ---- all of it ----------------------------------------------------------------------------- */

static base_code derive_next(job_store *store, int64_t *job, base_errors *errors) {
    sqlite3_stmt *row = job_sql(store, "SELECT min(job) FROM job WHERE job > ?", "i", *job);
    int64_t next = job_sql_row(row) ? sqlite3_column_int64(row, 0) : 0;
    if (!job_sql_done(store, row))
        return job_sql_complain(store->db, "the jobs were not read", errors);
    *job = next;
    if (!next) return BASE_OK;
    job_record record;
    base_code code = job_record_load(store, next, &record, errors);
    if (code == BASE_OK) code = job_derive(store, &record, errors);
    job_record_free(&record);
    return code;
}

base_code job_derive_all(job_store *store, base_errors *errors) {
    int64_t job = 0;
    base_code code;
    do {
        code = derive_next(store, &job, errors);
    } while (code == BASE_OK && job > 0);
    return code;
}

base_code job_rebuild(job_store *store, base_errors *errors) {
    base_code code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    if (job_sql_run(store, "DELETE FROM summary", "") &&
        job_sql_run(store, "DELETE FROM reading", "") &&
        job_sql_run(store, "DELETE FROM words", ""))
        code = job_derive_all(store, errors);
    else
        code = job_sql_complain(store->db, "nothing was worked out anew", errors);
    return job_end(store, code, errors);
}
