/* The front page: jobs on the bench, past jobs by any beginning of a word, and what the repairs of
 * amps like this one were. */
#include "job_impl.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#define WORDS_MOST 20     /* words of one search */
#define WORDS_LENGTH 1000 /* bytes of one search */
#define QUERY_MOST 4096   /* bytes of the query made of them */
#define LINES_MOST 10000  /* rows of one answer */

/* ---- searching ----------------------------------------------------------------------------- */

/* A letter or digit of ASCII, or part of any other character: something that the index may hold. */
static bool is_letter(char c) {
    return isalnum((unsigned char)c) || (unsigned char)c > 0x7F;
}

static bool has_letter(const char *word, size_t length) {
    for (size_t i = 0; i < length; i++)
        if (is_letter(word[i])) return true;
    return false;
}

/* `fa"t cat` becomes `"fa""t"* "cat"*`: each word quoted, so that none is an operator of the index,
 * each a beginning. Returns how many words there are. */
static size_t query_make(const char *words, base_text *query) {
    size_t count = 0;
    while (*words && count < WORDS_MOST) {
        words += strspn(words, " \t\r\n");
        size_t length = strcspn(words, " \t\r\n");
        if (has_letter(words, length)) {
            base_text_add(query, "%s\"", count++ ? " " : "");
            for (size_t i = 0; i < length; i++)
                base_text_add(query, words[i] == '"' ? "\"\"" : "%c", words[i]);
            base_text_add(query, "\"*");
        }
        words += length;
    }
    return count;
}

static json_t *line_json(sqlite3_stmt *row) {
    bool closed = sqlite3_column_type(row, 7) != SQLITE_NULL;
    return json_pack("{s:I, s:I, s:s, s:s, s:s, s:s, s:I, s:o, s:s?}", "job",
                     (json_int_t)sqlite3_column_int64(row, 0), "number",
                     (json_int_t)sqlite3_column_int64(row, 1), "owner", job_column(row, 2), "amp",
                     job_column(row, 3), "complaint", job_column(row, 4), "stage",
                     job_column(row, 5), "opened", (json_int_t)sqlite3_column_int64(row, 6),
                     "closed", closed ? json_integer(sqlite3_column_int64(row, 7)) : json_null(),
                     "found", job_column(row, 8));
}

static base_code lines_read(job_store *store, sqlite3_stmt *rows, json_t **lines,
                            base_errors *errors) {
    base_code code = BASE_OK;
    *lines = json_array();
    while (*lines && code == BASE_OK && job_sql_row(rows))
        if (json_array_append_new(*lines, line_json(rows))) code = job_no_memory(errors);
    if (!*lines) code = job_no_memory(errors);
    if (!job_sql_done(store, rows) && code == BASE_OK)
        code = job_sql_complain(store->db, "the jobs were not searched", errors);
    if (code == BASE_OK) return code;
    json_decref(*lines);
    *lines = NULL;
    return code;
}

#define LINE                                                                                       \
    "SELECT job, number, owner, amp, complaint, stage, opened, closed, found "                     \
    "FROM summary JOIN job USING (job) "

static sqlite3_stmt *search_sql(job_store *store, const char *query, bool open, int64_t most) {
    if (query)
        return job_sql(store,
                       LINE "WHERE job IN (SELECT rowid FROM words WHERE words MATCH ?) "
                            "AND (closed IS NULL OR NOT ?) ORDER BY job DESC LIMIT ?",
                       "sii", query, (int64_t)open, most);
    if (open)
        return job_sql(store, LINE "WHERE closed IS NULL ORDER BY job DESC LIMIT ?", "i", most);
    return job_sql(store, LINE "ORDER BY job DESC LIMIT ?", "i", most);
}

json_t *job_search(job_store *store, const char *words, bool open, int most, base_errors *errors) {
    base_text query;
    json_t *lines = NULL;
    base_text_init(&query, QUERY_MOST);
    bool too_long = words && strlen(words) > WORDS_LENGTH;
    size_t count = words && !too_long ? query_make(words, &query) : 0;
    if (too_long) {
        base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                        "the search is too long|give a few words, or their beginnings");
    } else if (query.failed) {
        job_no_memory(errors);
    } else {
        int64_t rows = most < 1 ? 1 : most > LINES_MOST ? LINES_MOST : most;
        job_lock(store);
        lines_read(store, search_sql(store, count ? query.data : NULL, open, rows), &lines, errors);
        job_unlock(store);
    }
    base_text_free(&query);
    return lines;
}

/* ---- history ------------------------------------------------------------------------------- */

static sqlite3_stmt *causes_sql(job_store *store, const char *amp, bool same) {
    if (same)
        return job_sql(store,
                       "SELECT cause_part, cause_what, count(*) FROM summary WHERE amp = ? AND "
                       "handed_back GROUP BY cause_part, cause_what ORDER BY 3 DESC, 1, 2",
                       "s", amp);
    return job_sql(store,
                   "SELECT cause_kind, cause_what, count(*) FROM summary WHERE family = ? AND "
                   "handed_back GROUP BY cause_kind, cause_what ORDER BY 3 DESC, 1, 2",
                   "s", amp);
}

static json_t *causes_read(job_store *store, sqlite3_stmt *rows, base_errors *errors) {
    json_t *causes = json_array();
    json_int_t alike = 0;
    bool well = causes != NULL;
    while (well && job_sql_row(rows)) {
        json_int_t count = sqlite3_column_int64(rows, 2);
        alike += count;
        if (!job_column(rows, 0) && !job_column(rows, 1)) continue; /* nobody wrote the cause */
        json_t *cause = json_pack("{s:s?, s:s?, s:I}", "part", job_column(rows, 0), "what",
                                  job_column(rows, 1), "count", count);
        well = json_array_append_new(causes, cause) == 0;
    }
    if (!job_sql_done(store, rows)) {
        job_sql_complain(store->db, "the history was not read", errors);
        json_decref(causes);
        return NULL;
    }
    json_t *history = well ? json_pack("{s:I, s:O}", "alike", alike, "causes", causes) : NULL;
    json_decref(causes);
    if (!history) job_no_memory(errors);
    return history;
}

/* The family of an amp by its name: of the shop or the library. "" where there is none. */
static base_code family_of(job_store *store, const char *amp, const char **family,
                           base_errors *errors) {
    char *text;
    const circuit_outline *outline = NULL;
    *family = "";
    base_code code = job_amp_named(store, amp, &text, errors);
    if (code != BASE_OK || !text) return code;
    code = job_outline_of_text(store, text, &outline, errors);
    if (outline && outline->family) *family = outline->family;
    free(text);
    return code;
}

json_t *job_history(job_store *store, const char *amp, bool same, base_errors *errors) {
    const char *family = "";
    json_t *history = NULL;
    job_lock(store);
    base_code code = same ? BASE_OK : family_of(store, amp, &family, errors);
    if (code == BASE_OK)
        history = causes_read(store, causes_sql(store, same ? amp : family, same), errors);
    job_unlock(store);
    return history;
}
