/* Everything that the store holds as one JSON list, an element a line (docs/store.md). */
#include "job_impl.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

typedef struct exporting {
    job_store *store;
    FILE *file;
    base_errors *errors;
    size_t elements;
} exporting;

/* Takes the reference. */
static base_code put(exporting *exporting, json_t *element) {
    char *text = element ? job_json_text(element) : NULL;
    json_decref(element);
    if (!text) return job_no_memory(exporting->errors);
    fprintf(exporting->file, "%s%s", exporting->elements++ ? ",\n" : "", text);
    free(text);
    return BASE_OK;
}

/* ---- rows as elements ---------------------------------------------------------------------- */

static json_t *number(sqlite3_stmt *row, int column) {
    return json_integer(sqlite3_column_int64(row, column));
}

static json_t *body(sqlite3_stmt *row, int column) {
    return json_loads(job_column(row, column), 0, NULL);
}

static json_t *shop_json(sqlite3_stmt *row) {
    return json_pack("{s:o, s:o, s:o}", "shop", number(row, 0), "at", number(row, 1), "body",
                     body(row, 2));
}

static json_t *text_json(sqlite3_stmt *row) {
    return json_pack("{s:s, s:s}", "text", job_column(row, 0), "yaml", job_column(row, 1));
}

static json_t *amp_json(sqlite3_stmt *row) {
    return json_pack("{s:o, s:o, s:s, s:s}", "amp", number(row, 0), "at", number(row, 1), "name",
                     job_column(row, 2), "text", job_column(row, 3));
}

static json_t *base64(sqlite3_stmt *row, int column) {
    size_t length = (size_t)sqlite3_column_bytes(row, column);
    size_t size = sodium_base64_encoded_len(length, sodium_base64_VARIANT_ORIGINAL);
    char *text = malloc(size);
    if (!text) return NULL;
    sodium_bin2base64(text, size, sqlite3_column_blob(row, column), length,
                      sodium_base64_VARIANT_ORIGINAL);
    json_t *value = json_string(text);
    free(text);
    return value;
}

static json_t *photo_json(sqlite3_stmt *row) {
    return json_pack("{s:s, s:o, s:o}", "photo", job_column(row, 0), "jpeg", base64(row, 1),
                     "small", base64(row, 2));
}

static json_t *job_json(sqlite3_stmt *row) {
    return json_pack("{s:o, s:o, s:o}", "job", number(row, 0), "number", number(row, 1), "opened",
                     number(row, 2));
}

/* What a fact does not have is left out. */
static json_t *fact_json(sqlite3_stmt *row) {
    json_t *replaces = sqlite3_column_type(row, 5) == SQLITE_NULL ? NULL : number(row, 5);
    return json_pack("{s:o, s:o, s:o, s:s, s:o, s:o*, s:s*, s:s*}", "fact", number(row, 0), "job",
                     number(row, 1), "at", number(row, 2), "kind", job_column(row, 3), "body",
                     body(row, 4), "replaces", replaces, "token", job_column(row, 6), "drawing",
                     job_column(row, 7));
}

/* ---- the whole ----------------------------------------------------------------------------- */

/* What is named comes before what names it. */
static const struct {
    const char *sql;
    json_t *(*element)(sqlite3_stmt *row);
} tables[] = {
    {"SELECT id, at, body FROM shop_fact ORDER BY id", shop_json},
    {"SELECT hash, text FROM amp_text ORDER BY hash", text_json},
    {"SELECT id, at, name, hash FROM amp_fact ORDER BY id", amp_json},
    {"SELECT hash, jpeg, small FROM photo ORDER BY hash", photo_json},
    {"SELECT job, number, opened FROM job ORDER BY job", job_json},
    {"SELECT id, job, at, kind, body, replaces, token, drawing FROM fact ORDER BY id", fact_json},
};

static base_code put_table(exporting *exporting, size_t table) {
    sqlite3_stmt *rows = job_sql(exporting->store, tables[table].sql, "");
    base_code code = BASE_OK;
    while (code == BASE_OK && !ferror(exporting->file) && job_sql_row(rows))
        code = put(exporting, tables[table].element(rows));
    if (!job_sql_done(exporting->store, rows) && code == BASE_OK)
        code = job_sql_complain(exporting->store->db, "the store was not read", exporting->errors);
    return code;
}

static base_code put_store(exporting *exporting) {
    fputs("[\n", exporting->file);
    base_code code =
        put(exporting, json_pack("{s:s, s:i}", "gridleak", "store", "version", JOB_VERSION));
    for (size_t i = 0; i < sizeof tables / sizeof *tables && code == BASE_OK; i++)
        code = put_table(exporting, i);
    fputs("\n]\n", exporting->file);
    return code;
}

/* In one transaction: what others write meanwhile is not half in it. */
static base_code write_store(job_store *reader, FILE *file, base_errors *errors) {
    exporting exporting = {reader, file, errors, 0};
    job_lock(reader);
    base_code code = BASE_OK;
    if (!job_sql_run(reader, "BEGIN", ""))
        code = job_sql_complain(reader->db, "the store was not read", errors);
    if (code == BASE_OK) code = put_store(&exporting);
    return job_end(reader, code, errors);
}

base_code job_export(job_store *store, const char *path, base_errors *errors) {
    job_store *reader = job_reader_open(store, errors);
    if (!reader) return BASE_FILE;
    job_file file;
    base_code code = job_file_begin(&file, path, errors);
    if (code == BASE_OK) {
        code = write_store(reader, file.file, errors);
        code = job_file_end(&file, code, errors);
    }
    job_store_close(reader);
    return code;
}
