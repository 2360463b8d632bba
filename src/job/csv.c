/* Readings as CSV (RFC 4180). A cell of text that begins as a formula would is guarded by an
 * apostrophe, since spreadsheets run what begins with = + - or @. */
#include "job_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void put_text(FILE *file, const char *text) {
    bool guard = *text && strchr("=+-@\t\r", *text);
    bool quote = guard || strpbrk(text, ",\"\r\n") || *text == ' ';
    if (quote) fputc('"', file);
    if (guard) fputc('\'', file);
    for (; *text; text++) {
        if (*text == '"') fputc('"', file);
        fputc(*text, file);
    }
    if (quote) fputc('"', file);
}

static void put_number(FILE *file, sqlite3_stmt *row, int column) {
    if (sqlite3_column_type(row, column) != SQLITE_NULL)
        fprintf(file, "%.10g", sqlite3_column_double(row, column));
}

static void put_time(FILE *file, int64_t at) {
    time_t seconds = (time_t)(at / 1000);
    struct tm when;
    char text[32] = "";
    if (gmtime_r(&seconds, &when)) strftime(text, sizeof text, "%Y-%m-%dT%H:%M:%SZ", &when);
    fputs(text, file);
}

/* number, owner, amp, phase, place, meter, then volts, mains, when, job, fact. */
static void put_row(FILE *file, sqlite3_stmt *row) {
    fprintf(file, "%lld,", (long long)sqlite3_column_int64(row, 0));
    for (int i = 1; i <= 4; i++) {
        put_text(file, job_column(row, i) ? job_column(row, i) : "");
        fputc(',', file);
    }
    put_number(file, row, 5);
    fputc(',', file);
    put_text(file, job_column(row, 6) ? job_column(row, 6) : "");
    fputc(',', file);
    put_number(file, row, 7);
    fputc(',', file);
    put_time(file, sqlite3_column_int64(row, 8));
    fprintf(file, ",%lld\r\n", (long long)sqlite3_column_int64(row, 9));
}

static base_code job_exists(job_store *store, int64_t job, base_errors *errors) {
    sqlite3_stmt *row = job_sql(store, "SELECT 1 FROM job WHERE job = ?", "i", job);
    bool found = job_sql_row(row);
    if (!job_sql_done(store, row))
        return job_sql_complain(store->db, "the readings were not read", errors);
    if (found || !job) return BASE_OK;
    return base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                           "there is no job %lld|look for it on the front page", (long long)job);
}

static base_code rows_write(job_store *store, int64_t job, FILE *file, base_errors *errors) {
    base_code code = job_exists(store, job, errors);
    if (code != BASE_OK) return code;
    fputs("number,owner,amp,phase,place,volts,meter,mains,taken,fact\r\n", file);
    sqlite3_stmt *rows =
        job_sql(store,
                "SELECT number, owner, amp, phase, place, volts, meter, mains, taken, fact "
                "FROM reading JOIN summary USING (job) JOIN job USING (job) "
                "WHERE job = ?1 OR ?1 = 0 ORDER BY reading.job, fact",
                "i", job);
    while (job_sql_row(rows) && !ferror(file))
        put_row(file, rows);
    if (job_sql_done(store, rows)) return BASE_OK;
    return job_sql_complain(store->db, "the readings were not read", errors);
}

base_code job_csv(job_store *store, int64_t job, const char *path, base_errors *errors) {
    job_store *reader = job_reader_open(store, errors);
    if (!reader) return BASE_FILE;
    job_file file;
    base_code code = job_file_begin(&file, path, errors);
    if (code == BASE_OK) {
        code = rows_write(reader, job, file.file, errors);
        code = job_file_end(&file, code, errors);
    }
    job_store_close(reader);
    return code;
}
