/* job: one amp's visit from intake to hand-over, and the shop's store of all visits.
 *
 * A job is a growing list of facts: what was taken in, measured, seen, decided, done. A fact is
 * never changed or deleted. A correction is a new fact that replaces an older one; an undo is a
 * fact too. What the page and the report show (`job_view`) is worked out from the facts. The store
 * is one SQLite file per shop. Texts are UTF-8; times are milliseconds since 1970, UTC; money is in
 * the shop's smallest coin. Bodies and views are JSON (docs/facts.md gives every kind and key). */
#ifndef GRIDLEAK_JOB_H
#define GRIDLEAK_JOB_H

#include <jansson.h>

#include "base.h"
#include "circuit.h"
#include "diagnose.h"

typedef struct job_store job_store; /* may be used from several threads: one lock inside */

/* Opens or makes the store, and migrates an older one (a copy of the old file is kept beside it).
 * NULL with a complaint: a newer version's store, a read-only disk, a file that is no store. */
job_store *job_store_open(const char *path, base_errors *errors);
void job_store_close(job_store *store);
/* Where the amps of the library are found by name, and the tube types that read them. Both are
 * borrowed until the store is closed. Without it a job's record works, and nothing that needs the
 * drawing does: places are checked by their writing alone, and no expected volts are given. Set it
 * once, before the store is used. `amp` returns the text of a library amp or NULL; it must not call
 * the store. */
void job_store_use_library(job_store *store, const tube_library *tubes,
                           const char *(*amp)(void *library, const char *name, size_t *length),
                           void *library);
/* Works out anew, from the facts, all that is kept for searching (as a migration does). */
base_code job_rebuild(job_store *store, base_errors *errors);

/* ---- jobs and facts ------------------------------------------------------------------------ */

#define JOB_BODY_MAXIMUM (256u << 10) /* bytes of one fact's body */

/* A new job with its `take in` fact. `body`: {owner, contact, complaint, keep, accessories, amp}.
 * *job receives its number. `now`: the clock, given. */
base_code job_create(job_store *store, const json_t *body, int64_t now, int64_t *job,
                     base_errors *errors);

typedef struct job_fact {
    const char *kind;   /* one of job_kinds() */
    const json_t *body; /* checked against the kind's table: unknown or missing keys, wrong types
                           and impossible values are complaints that name the key and the remedy */
    int64_t replaces;   /* the fact that this one corrects, or 0 */
    const char *token;  /* the page's own name of this fact, or NULL: the same token twice adds one
                           fact only, so that a lost answer can be asked again */
} job_fact;
/* Adds one fact; it is on the disk when this returns BASE_OK (*id receives its number). */
base_code job_add(job_store *store, int64_t job, const job_fact *fact, int64_t now, int64_t *id,
                  base_errors *errors);
/* Takes back fact `id` (0: the last one that is neither taken back nor an undo). An undo can be
 * taken back by its own id. Refused: the only take in, and a fact that a later one corrects. */
base_code job_undo(job_store *store, int64_t job, int64_t id, int64_t now, int64_t *undone,
                   base_errors *errors);

/* Every kind of fact and the keys of its body: for the page, the docs and the checks. */
typedef struct job_key {
    const char *name;
    char type; /* s text, n number, i whole number, b yes or no, l list of texts, o list of
                  {text, amount}, p place of the amp */
    bool must;
    double least, most; /* of numbers; equal: no limit */
    const char *words;  /* allowed words (of a list: each of its texts), bar-separated, or NULL */
} job_key;
typedef struct job_kind {
    const char *name;
    const job_key *keys; /* ended by a NULL name */
    const char *meaning;
} job_kind;
const job_kind *job_kinds(size_t *count);

/* ---- views (new references; NULL with a complaint)
 * ------------------------------------------------ */

/* The whole job as it stands (docs/facts.md, "The view"). `stage` is what comes next of: take in,
 * make safe, look over, measure, find, decide, repair, prove, hand back, done. `drained` says for
 * each filter capacitor the last measured volts and when, and `powered` whether the amp has been on
 * since: `safe_to_touch` is never said; `measured_below_60` is. */
json_t *job_view(job_store *store, int64_t job, base_errors *errors);
/* All facts, those replaced or taken back too, oldest first. */
json_t *job_facts(job_store *store, int64_t job, base_errors *errors);
/* [{job, owner, amp, complaint, stage, opened, closed, found}], newest first. `words`: every word
 * must occur in owner, amp, part, fault or complaint (a prefix will do); NULL or "": all. `open`:
 * those on the bench only. At most `most` rows. */
json_t *job_search(job_store *store, const char *words, bool open, int most, base_errors *errors);
/* What past repairs of amps like this one were: {alike, causes: [{part, what, count}]}: jobs that
 * were handed back, of the same amp (same: 1) or family (same: 0). */
json_t *job_history(job_store *store, const char *amp, bool same, base_errors *errors);
/* {name, address, currency, tax_percent, hourly, paper, next_number}; set: a fact of the shop. */
json_t *job_shop(job_store *store, base_errors *errors);
base_code job_shop_set(job_store *store, const json_t *shop, int64_t now, base_errors *errors);

/* ---- the amp of a job
 * ------------------------------------------------------------------------------ */

typedef enum job_amp { JOB_DRAWN, JOB_FOUND, JOB_REPAIRED } job_amp;
/* The amp file's text as drawn, as found (drawn + edits found) or as repaired (found + edits made).
 * A new text, to be freed; NULL with a complaint. */
char *job_amp_text(job_store *store, int64_t job, job_amp which, base_errors *errors);
/* The job's readings of `phase` ("before" or "after"), current ones only, as diagnose wants them.
 */
diagnose_readings *job_readings(job_store *store, int64_t job, const char *phase,
                                const solve_system *system, base_errors *errors);

/* The shop's own amps, beside the library: name, text. */
json_t *job_amps(job_store *store, base_errors *errors); /* [{name, family, changed}] */
char *job_amp_load(job_store *store, const char *name, base_errors *errors);
base_code job_amp_save(job_store *store, const char *name, const char *text, int64_t now,
                       base_errors *errors);

/* ---- photos
 * ------------------------------------------------------------------------------------------ */

/* Decodes a JPEG or PNG (at most 40 MB and 100 megapixels), turns it as its orientation says,
 * scales the longer side to 2400, encodes it again (which drops all metadata), and stores it with a
 * thumbnail under the hash of its content. `hash` (65 bytes) receives it. The `photo` fact is added
 * by the caller. A truncated or foreign file is a complaint. */
base_code job_photo_add(job_store *store, const void *bytes, size_t length, char *hash,
                        base_errors *errors);
/* JPEG bytes, to be freed; NULL with a complaint. */
void *job_photo(job_store *store, const char *hash, bool thumbnail, size_t *length,
                base_errors *errors);

/* ---- keeping it
 * ---------------------------------------------------------------------------------------- */

/* A checked copy (VACUUM INTO, integrity checked, renamed into place) in `folder`; the newest
 * `keep` stay. *made (may be NULL; freed by the caller) receives its path. */
base_code job_backup(job_store *store, const char *folder, int keep, int64_t now, char **made,
                     base_errors *errors);
/* Puts a checked backup in the place of the store at `path` (which is kept beside it). */
base_code job_restore(const char *path, const char *backup, int64_t now, base_errors *errors);
/* Everything, lossless, as one JSON list (docs/store.md); import into an empty store gives the same
 * export, byte for byte. Streamed to and from files; import adds all or nothing. */
base_code job_export(job_store *store, const char *path, base_errors *errors);
base_code job_import(job_store *store, const char *path, base_errors *errors);
/* All readings of a job (0: all jobs) as CSV; cells that begin with = + - @ are guarded. */
base_code job_csv(job_store *store, int64_t job, const char *path, base_errors *errors);

#endif
