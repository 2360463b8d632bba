/* Inside the room: the store, its SQL, a job's facts as loaded, and the amp of a job.
 *
 * Public functions take the store's one lock; those here are called with it held. All SQL of the
 * program is in this folder; every value is bound, never written into the text. */
#ifndef GRIDLEAK_JOB_IMPL_H
#define GRIDLEAK_JOB_IMPL_H

#include "job.h"

#include <pthread.h>
#include <sqlite3.h>
#include <stdio.h>

#define JOB_VERSION 2              /* of the schema: PRAGMA user_version */
#define JOB_APPLICATION 0x67726c6b /* "grlk": PRAGMA application_id */
#define JOB_STATEMENTS 64          /* different statements kept prepared */
#define JOB_AMPS 32                /* amps kept read and solved */
#define JOB_HASH 65                /* bytes of a hash in hex, with the closing 0 */
#define JOB_NOWHERE ((base_place){0})

struct job_amp_kept;

struct job_store {
    sqlite3 *db;
    char *path;
    pthread_mutex_t lock;
    struct {
        const char *sql; /* a static text: known by its address */
        sqlite3_stmt *statement;
    } kept[JOB_STATEMENTS];
    size_t statements;
    const tube_library *tubes;
    const char *(*amp)(void *library, const char *name, size_t *length);
    void *library;
    struct job_amp_kept *amps[JOB_AMPS];
    uint64_t uses; /* counts up: the least used amp goes first */
    struct {
        char hash[JOB_HASH];
        circuit_outline *outline;
    } outline[JOB_AMPS]; /* of drawings, for searching */
    size_t outlines;     /* how many were ever kept: the oldest goes first */
};

/* ---- SQL ----------------------------------------------------------------------------------- */

/* A statement ready to step, its parameters bound by `types`: i int64_t, d double (NAN: null),
 * s text (NULL: null), b const void * and size_t. The values must live until job_sql_done. NULL on
 * failure; the steps below take NULL, and job_sql_complain then knows why. `sql` is a static text.
 */
sqlite3_stmt *job_sql(job_store *store, const char *sql, const char *types, ...);
bool job_sql_row(sqlite3_stmt *statement);                    /* true: there is a row */
bool job_sql_done(job_store *store, sqlite3_stmt *statement); /* false: it had failed */
/* Runs a statement that gives no rows. */
bool job_sql_run(job_store *store, const char *sql, const char *types, ...);
/* The first column of the first row; false: there is none, or it failed. */
bool job_sql_number(job_store *store, const char *sql, int64_t *value);
/* Says why the last call failed. `doing`: "the fact was not saved". */
base_code job_sql_complain(sqlite3 *db, const char *doing, base_errors *errors);
const char *job_column(sqlite3_stmt *statement, int column); /* text or NULL, until the next step */
base_code job_no_memory(base_errors *errors);

/* Takes the lock and begins to write; complains and lets go of the lock when it cannot. */
base_code job_begin(job_store *store, base_errors *errors);
/* Commits when `code` is BASE_OK, else takes all back. Lets go of the lock. */
base_code job_end(job_store *store, base_code code, base_errors *errors);
void job_lock(job_store *store);
void job_unlock(job_store *store);

/* The same file once more, to read only, for what takes long: others go on meanwhile. It sees the
 * store as it was when its first statement ran in a transaction. Closed as a store is. */
job_store *job_reader_open(const job_store *store, base_errors *errors);

/* The number of a pragma; false with the db's error set. */
bool job_pragma(sqlite3 *db, const char *name, int *value);
/* Whether it is a store, of a version that is known. */
base_code job_is_store(sqlite3 *db, const char *path, base_errors *errors);
/* A copy of the store as it is, beside it, before it is migrated. */
base_code job_copy_beside(job_store *store, int version, base_errors *errors);

/* ---- facts --------------------------------------------------------------------------------- */

const job_kind *job_kind_find(const char *name);
/* Checks a body by its kind's table. Adds every complaint; the first one's code is returned. */
base_code job_body_check(const job_kind *kind, const json_t *body, base_errors *errors);
const char *job_text_of(const json_t *body, const char *key); /* "" where it is not given */
double job_number_of(const json_t *body, const char *key);    /* NAN where it is not given */
/* The shortest JSON that reads back the same; to be freed. NULL: no memory. */
char *job_json_text(const json_t *value);
void job_hash(const void *bytes, size_t length, char hash[JOB_HASH]);

typedef struct job_stored {
    int64_t id, at, replaces, takes_back; /* 0: none */
    const job_kind *kind;
    json_t *body;
    char *token;
    char drawing[JOB_HASH]; /* "" where none */
    bool undone;            /* taken back */
    int64_t replaced_by;    /* by a fact that is not taken back; 0: not */
} job_stored;

typedef struct job_record { /* one job, its facts oldest first */
    int64_t job, number, opened;
    job_stored *fact;
    size_t count;
} job_record;
base_code job_record_load(job_store *store, int64_t job, job_record *record, base_errors *errors);
void job_record_free(job_record *record);
/* Neither replaced, nor taken back, nor an undo. */
bool job_stands(const job_stored *fact);
bool job_is(const job_stored *fact, const char *kind);
const job_stored *job_last(const job_record *record, const char *kind); /* standing; or NULL */
const job_stored *job_fact_find(const job_record *record, int64_t id);
/* Whether fact `index` is the reading of its place that holds in `phase`. */
bool job_reads(const job_record *record, size_t index, const char *phase);
/* Adds a reading, a test, a symptom or a finding to readings of this amp. */
base_code job_tell(const job_stored *fact, const solve_system *system, diagnose_readings *readings,
                   base_errors *errors);
/* The same of any evidence: a reading, a test, a symptom or a finding. */
bool job_tells(const job_record *record, size_t index, const char *phase);
/* Marks what is replaced and taken back: after each change of the list. */
void job_record_resolve(job_record *record);

base_code job_shop_check(const json_t *shop, base_errors *errors);
base_code job_shop_load(job_store *store, json_t **shop, base_errors *errors);

/* ---- what is worked out -------------------------------------------------------------------- */

const char *job_stage(const job_record *record);
int64_t job_closed(const job_record *record); /* when it was handed back, or 0 */
/* Writes the job's line, readings and words anew. */
base_code job_derive(job_store *store, const job_record *record, base_errors *errors);
base_code job_derive_all(job_store *store, base_errors *errors);

/* ---- the amp ------------------------------------------------------------------------------- */

typedef struct job_capacitor { /* one that must be drained */
    const char *part, *node;   /* where the probe goes: its end that is not on the chassis */
    const char *written;       /* "20u" */
    double rating, expected;   /* V; NAN where not known */
    int end[2];
} job_capacitor;

/* An amp's text read and, for its capacitors, solved. Kept by the store under the hash of what made
 * it; borrowed until the lock is let go. */
typedef struct job_amp_kept {
    char key[JOB_HASH];
    uint64_t used;
    char *text;
    circuit *amp;         /* NULL: it does not read */
    solve_system *system; /* NULL: no equations */
    bool transformerless;
    job_capacitor *capacitor;
    size_t capacitors;
    base_arena *arena;
} job_amp_kept;

/* The amp of a record at `which`; NULL with a complaint, or without one when the job has no drawing
 * (its name is of no amp that is known) or the store has no library. */
const job_amp_kept *job_amp_of(job_store *store, const job_record *record, job_amp which,
                               base_errors *errors);
/* The text alone; works without tube types. NULL as above. */
char *job_text_at(job_store *store, const job_record *record, job_amp which, base_errors *errors);
void job_amps_free(job_store *store);
/* *text: a copy of the shop's or the library's amp, to be freed; NULL: none is called so. */
base_code job_amp_named(job_store *store, const char *name, char **text, base_errors *errors);
/* Keeps the text of the amp of that name; `hash` is "" when there is none. */
base_code job_drawing_find(job_store *store, const char *name, char hash[JOB_HASH],
                           base_errors *errors);
const char *job_drawing(const job_record *record); /* the hash in force, or "" */
base_code job_drawing_text(job_store *store, const char *hash, char **text, base_errors *errors);
/* The outline of a drawing, borrowed until the next call; NULL where its text cannot be read. */
base_code job_outline_of(job_store *store, const char *hash, const circuit_outline **outline,
                         base_errors *errors);
base_code job_outline_of_text(job_store *store, const char *text, const circuit_outline **outline,
                              base_errors *errors);
bool job_capacitors_find(job_amp_kept *kept); /* false: no memory */

/* {state, measured_below_60, words, oldest_at, capacitors}; amp may be NULL. NULL: no memory. */
json_t *job_drained(const job_record *record, const job_amp_kept *amp);
/* One sentence: what comes next. To be freed; NULL: no memory. */
char *job_next(const char *stage, const json_t *drained);

/* ---- photos -------------------------------------------------------------------------------- */

bool job_photo_is_jpeg(const void *bytes, size_t length);

/* ---- files --------------------------------------------------------------------------------- */

/* A file that is there whole or not at all: written beside its place, then moved into it. */
typedef struct job_file {
    FILE *file;
    char *path, *part;
} job_file;
base_code job_file_begin(job_file *file, const char *path, base_errors *errors);
/* Onto the disk and into its place when `code` is BASE_OK, else away. */
base_code job_file_end(job_file *file, base_code code, base_errors *errors);
base_code job_file_sync(const char *path, base_errors *errors);
base_code job_folder_sync(const char *path_in_it, base_errors *errors);
base_code job_file_complain(const char *path, const char *doing, base_errors *errors); /* errno */

extern const char job_schema[];

#endif
