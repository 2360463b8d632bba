/* Adding facts: a new job, a fact, an undo. Each is checked whole before a byte is written, and is
 * on the disk before it is answered. */
#include "job_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TOKEN_MOST 200

/* A fact about to be written, with the record that it joins. */
typedef struct adding {
    job_store *store;
    job_record record;
    job_stored fact;
    base_errors *errors;
} adding;

/* ---- writing ------------------------------------------------------------------------------- */

static base_code insert(adding *adding) {
    const job_stored *fact = &adding->fact;
    char *body = job_json_text(fact->body);
    if (!body) return job_no_memory(adding->errors);
    bool well = job_sql_run(adding->store,
                            "INSERT INTO fact (job, at, kind, body, replaces, token, drawing) "
                            "VALUES (?, ?, ?, ?, nullif(?, 0), ?, nullif(?, ''))",
                            "iississ", adding->record.job, fact->at, fact->kind->name, body,
                            fact->replaces, fact->token, fact->drawing);
    free(body);
    if (!well) return job_sql_complain(adding->store->db, "the fact was not saved", adding->errors);
    adding->fact.id = sqlite3_last_insert_rowid(adding->store->db);
    return BASE_OK;
}

/* The record as it will be with the fact in it. Its body and token stay the caller's until the
 * record owns them, here. */
static base_code join(adding *adding) {
    job_record *record = &adding->record;
    job_stored *more = realloc(record->fact, (record->count + 1) * sizeof *more);
    if (!more) return job_no_memory(adding->errors);
    record->fact = more;
    more[record->count] = adding->fact;
    more[record->count].token = NULL;
    json_incref(more[record->count].body);
    record->count++;
    job_record_resolve(record);
    return BASE_OK;
}

/* ---- drawings ------------------------------------------------------------------------------ */

/* A `take in` of another amp, and a `drawing`, take the amp's text as it now stands; the same amp
 * again keeps the text it came with. A job whose amp was not known takes it as soon as it is. */
static base_code freeze(adding *adding) {
    const job_record *record = &adding->record;
    const job_stored *last = job_last(record, "take in");
    bool take_in = job_is(&adding->fact, "take in"), anew = job_is(&adding->fact, "drawing");
    const json_t *names = take_in || anew ? adding->fact.body : last ? last->body : NULL;
    const char *name = job_text_of(names, "amp"), *now = job_drawing(record);
    bool same = last && strcmp(job_text_of(last->body, "amp"), name) == 0;
    if (*now && !anew && (!take_in || same)) {
        if (take_in) snprintf(adding->fact.drawing, JOB_HASH, "%s", now);
        return BASE_OK;
    }
    base_code code = job_drawing_find(adding->store, name, adding->fact.drawing, adding->errors);
    if (code != BASE_OK || adding->fact.drawing[0] || !anew) return code;
    return base_errors_add(adding->errors, BASE_UNKNOWN, JOB_NOWHERE,
                           "no amp is called `%.60s`|save it as an amp of the shop first", name);
}

/* ---- checks that need the job -------------------------------------------------------------- */

static base_code check_replaces(const adding *adding) {
    int64_t id = adding->fact.replaces;
    if (id == 0) return BASE_OK;
    const job_stored *old = job_fact_find(&adding->record, id);
    const char *kind = adding->fact.kind->name;
    if (!old)
        return base_errors_add(adding->errors, BASE_UNKNOWN, JOB_NOWHERE,
                               "job %lld has no fact %lld to correct|name one of its own facts",
                               (long long)adding->record.job, (long long)id);
    if (strcmp(old->kind->name, kind) != 0)
        return base_errors_add(adding->errors, BASE_VALUE, JOB_NOWHERE,
                               "fact %lld is a `%s`, and a `%s` cannot correct it|send the same "
                               "kind",
                               (long long)id, old->kind->name, kind);
    if (old->undone)
        return base_errors_add(adding->errors, BASE_VALUE, JOB_NOWHERE,
                               "fact %lld was taken back|add a new fact instead", (long long)id);
    if (old->replaced_by)
        return base_errors_add(adding->errors, BASE_VALUE, JOB_NOWHERE,
                               "fact %lld was corrected already, by fact %lld|look at that one, "
                               "and correct it if it is wrong",
                               (long long)id, (long long)old->replaced_by);
    return BASE_OK;
}

static base_code check_photo(const adding *adding) {
    if (!job_is(&adding->fact, "photo")) return BASE_OK;
    const char *hash = job_text_of(adding->fact.body, "hash");
    sqlite3_stmt *row = job_sql(adding->store, "SELECT 1 FROM photo WHERE hash = ?", "s", hash);
    bool found = job_sql_row(row);
    if (!job_sql_done(adding->store, row))
        return job_sql_complain(adding->store->db, "the photo was not found", adding->errors);
    if (found) return BASE_OK;
    return base_errors_add(adding->errors, BASE_UNKNOWN, JOB_NOWHERE,
                           "the store has no photo %.64s|send the photo first", hash);
}

static base_code check_edit(const adding *adding) {
    static const char *const needs[][3] = {
        {"change", "key", "to"}, {"add", "key", "yaml"}, {"remove", NULL, NULL}};
    if (!job_is(&adding->fact, "edit")) return BASE_OK;
    const json_t *body = adding->fact.body;
    const char *does = job_text_of(body, "does");
    for (size_t i = 0; i < sizeof needs / sizeof *needs; i++)
        for (size_t k = 1; k < 3 && strcmp(needs[i][0], does) == 0; k++)
            if (needs[i][k] && !*job_text_of(body, needs[i][k]))
                return base_errors_add(adding->errors, BASE_SYNTAX, JOB_NOWHERE,
                                       "an `edit` that does `%s` has no `%s`|%s", does, needs[i][k],
                                       strcmp(does, "add") == 0
                                           ? "write the section in `key` (resistors) and what "
                                             "stands behind the name in `yaml`"
                                           : "write what is changed in `key` (value) and the new "
                                             "value in `to`");
    return BASE_OK;
}

/* The amp must still read with all edits that now stand. */
static base_code check_amp(const adding *adding) {
    base_errors *errors = base_errors_new();
    if (!errors) return job_no_memory(adding->errors);
    base_code code = BASE_OK;
    for (int which = JOB_FOUND; which <= JOB_REPAIRED && code == BASE_OK; which++) {
        job_amp_of(adding->store, &adding->record, (job_amp)which, errors);
        code = base_errors_worst(errors);
    }
    for (size_t i = 0; i < base_errors_count(errors) && code != BASE_OK; i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code == BASE_SUSPICIOUS) continue;
        base_errors_add(adding->errors, error->code,
                        (base_place){error->file, error->line, error->column}, "%s|%s",
                        error->cause, error->remedy);
    }
    base_errors_free(errors);
    return code;
}

/* ---- places -------------------------------------------------------------------------------- */

/* A part, a node, an end of a part, or a difference of two places. */
static bool place_is(const circuit *amp, const char *written, base_errors *errors) {
    char from[64];
    const char *dash = strchr(written, '-');
    circuit_place place;
    if (circuit_part_find(amp, written) >= 0) return true;
    if (!dash) return circuit_place_find(amp, written, JOB_NOWHERE, &place, errors) == BASE_OK;
    snprintf(from, sizeof from, "%.*s", (int)(dash - written), written);
    return circuit_place_find(amp, from, JOB_NOWHERE, &place, errors) == BASE_OK &&
           circuit_place_find(amp, dash + 1, JOB_NOWHERE, &place, errors) == BASE_OK;
}

/* A place is known when the amp has it now, or had it in any of its states: a part that was taken
 * out may still be written about. */
static base_code check_place(const adding *adding, const char *written) {
    bool any = false;
    for (int which = JOB_DRAWN; which <= JOB_REPAIRED; which++) {
        const job_amp_kept *kept = job_amp_of(adding->store, &adding->record, (job_amp)which, NULL);
        if (!kept || !kept->amp) continue;
        any = true;
        if (place_is(kept->amp, written, NULL)) return BASE_OK;
    }
    const job_amp_kept *found =
        any ? job_amp_of(adding->store, &adding->record, JOB_FOUND, NULL) : NULL;
    if (!found || !found->amp) return BASE_OK;
    return place_is(found->amp, written, adding->errors) ? BASE_OK : BASE_UNKNOWN;
}

static base_code check_places(const adding *adding) {
    for (const job_key *key = adding->fact.kind->keys; key->name; key++) {
        const char *written = job_text_of(adding->fact.body, key->name);
        if (key->type != 'p' || !*written) continue;
        base_code code = check_place(adding, written);
        if (code != BASE_OK) return code;
    }
    return BASE_OK;
}

/* Is it evidence of this amp? Complains to `errors`, if any. */
static bool tells(const circuit *amp, const job_stored *fact, base_errors *errors) {
    base_errors *own = errors ? errors : base_errors_new();
    solve_system *system = own ? solve_system_new(amp, own) : NULL;
    diagnose_readings *readings = system ? diagnose_readings_new() : NULL;
    bool good = readings && job_tell(fact, system, readings, own) == BASE_OK;
    diagnose_readings_free(readings);
    solve_system_free(system);
    if (!errors) base_errors_free(own);
    return good;
}

/* A test, a symptom or a finding must be of the job's amp, as a place must. */
static base_code check_evidence(const adding *adding) {
    const job_stored *fact = &adding->fact;
    if (!job_is(fact, "test") && !job_is(fact, "symptom") && !job_is(fact, "finding"))
        return BASE_OK;
    for (int which = JOB_DRAWN; which <= JOB_REPAIRED; which++) {
        const job_amp_kept *kept = job_amp_of(adding->store, &adding->record, (job_amp)which, NULL);
        if (kept && kept->amp && tells(kept->amp, fact, NULL)) return BASE_OK;
    }
    const job_amp_kept *found = job_amp_of(adding->store, &adding->record, JOB_FOUND, NULL);
    if (!found || !found->amp || tells(found->amp, fact, adding->errors)) return BASE_OK;
    return base_errors_worst(adding->errors);
}

/* The meter must read as one, and the figure as typed must be the number beside it. */
static base_code check_reading(const adding *adding) {
    const json_t *body = adding->fact.body;
    const char *meter = job_text_of(body, "meter"), *written = job_text_of(body, "written");
    diagnose_meter read;
    double volts, said = job_number_of(body, "volts");
    if (!job_is(&adding->fact, "reading")) return BASE_OK;
    if (*meter) {
        base_code code = diagnose_meter_read(meter, JOB_NOWHERE, &read, adding->errors);
        if (code != BASE_OK) return code;
    }
    if (!*written) return BASE_OK;
    base_code code = base_value_read(written, BASE_VOLTS, JOB_NOWHERE, &volts, adding->errors);
    if (code != BASE_OK || fabs(volts - said) <= 1e-6 * fabs(said) + 1e-9) return code;
    return base_errors_add(adding->errors, BASE_VALUE, JOB_NOWHERE,
                           "the reading is %.6g V, but `written` says %.40s|send the same figure "
                           "twice, or leave `written` out",
                           said, written);
}

/* ---- one fact ------------------------------------------------------------------------------ */

static bool moves_amp(const job_stored *fact) {
    return job_is(fact, "edit") || job_is(fact, "drawing") || job_is(fact, "take in");
}

/* Everything between the lock and the commit. */
static base_code add(adding *adding) {
    base_code (*const checks[])(const struct adding *) = {
        check_replaces, check_photo, check_edit, check_places, check_reading, check_evidence};
    base_code code = BASE_OK;
    for (size_t i = 0; i < sizeof checks / sizeof *checks && code == BASE_OK; i++)
        code = checks[i](adding);
    if (code == BASE_OK) code = freeze(adding);
    if (code == BASE_OK) code = insert(adding);
    if (code == BASE_OK) code = join(adding);
    if (code == BASE_OK && moves_amp(&adding->fact)) code = check_amp(adding);
    if (code == BASE_OK) code = job_derive(adding->store, &adding->record, adding->errors);
    return code;
}

/* The fact that bears this token, or 0. */
static int64_t token_find(const job_record *record, const char *token) {
    for (size_t i = 0; token && i < record->count; i++)
        if (record->fact[i].token && strcmp(record->fact[i].token, token) == 0)
            return record->fact[i].id;
    return 0;
}

static base_code fact_check(const job_fact *fact, const job_kind **kind, base_errors *errors) {
    *kind = job_kind_find(fact->kind);
    if (!*kind) {
        size_t count;
        const job_kind *kinds = job_kinds(&count);
        const char *names[32];
        for (size_t i = 0; i < count; i++)
            names[i] = kinds[i].name;
        const char *nearest = base_nearest_name(fact->kind ? fact->kind : "", names, count);
        return base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                               "no kind of fact is called `%.60s`|%s%s%s", fact->kind,
                               nearest ? "did you mean `" : "see docs/facts.md",
                               nearest ? nearest : "", nearest ? "`?" : "");
    }
    if (fact->token && (!*fact->token || strlen(fact->token) > TOKEN_MOST))
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "the token is empty or too long|send 1 to %d bytes", TOKEN_MOST);
    if (strcmp(fact->kind, "undo") == 0)
        return base_errors_add(errors, BASE_USAGE, JOB_NOWHERE,
                               "an undo is no fact to be added|use undo");
    return job_body_check(*kind, fact->body, errors);
}

static bool too_long(const json_t *body) {
    return json_dumpb(body, NULL, 0, JSON_COMPACT) > JOB_BODY_MAXIMUM;
}

base_code job_add(job_store *store, int64_t job, const job_fact *fact, int64_t now, int64_t *id,
                  base_errors *errors) {
    adding adding = {.store = store, .errors = errors};
    const job_kind *kind;
    base_code code = fact_check(fact, &kind, errors);
    if (code == BASE_OK && too_long(fact->body))
        code = base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "the fact is longer than %u kB|split it into several",
                               JOB_BODY_MAXIMUM >> 10);
    if (code == BASE_OK) code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    code = job_record_load(store, job, &adding.record, errors);
    int64_t before = code == BASE_OK ? token_find(&adding.record, fact->token) : 0;
    adding.fact = (job_stored){.at = now, .kind = kind, .replaces = fact->replaces};
    adding.fact.body = (json_t *)fact->body;
    adding.fact.token = (char *)fact->token;
    if (code == BASE_OK && !before) code = add(&adding);
    job_record_free(&adding.record);
    code = job_end(store, code, errors);
    if (code == BASE_OK && id) *id = before ? before : adding.fact.id;
    return code;
}

/* ---- a new job ----------------------------------------------------------------------------- */

static base_code job_insert(adding *adding) {
    json_t *shop = NULL;
    job_store *store = adding->store;
    base_code code = job_shop_load(store, &shop, adding->errors);
    int64_t first = json_integer_value(json_object_get(shop, "next_number"));
    json_decref(shop);
    if (code != BASE_OK) return code;
    int64_t number = 0;
    if (!job_sql_number(store, "SELECT coalesce(max(number), 0) + 1 FROM job", &number) ||
        !job_sql_run(store, "INSERT INTO job (number, opened) VALUES (?, ?)", "ii",
                     number > first ? number : first, adding->fact.at))
        return job_sql_complain(store->db, "the job was not made", adding->errors);
    return job_record_load(store, sqlite3_last_insert_rowid(store->db), &adding->record,
                           adding->errors);
}

base_code job_create(job_store *store, const json_t *body, int64_t now, int64_t *job,
                     base_errors *errors) {
    adding adding = {.store = store, .errors = errors};
    adding.fact = (job_stored){.at = now, .kind = job_kind_find("take in"), .body = (json_t *)body};
    base_code code = job_body_check(adding.fact.kind, body, errors);
    if (code == BASE_OK) code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    code = job_insert(&adding);
    if (code == BASE_OK) code = add(&adding);
    int64_t made = adding.record.job;
    job_record_free(&adding.record);
    code = job_end(store, code, errors);
    if (code == BASE_OK && job) *job = made;
    return code;
}

/* ---- undo ---------------------------------------------------------------------------------- */

/* The fact to take back: the one named, or the last that stands; the take in is never last. */
static const job_stored *undo_which(const job_record *record, int64_t id) {
    if (id) return job_fact_find(record, id);
    for (size_t i = record->count; i-- > 1;)
        if (job_stands(&record->fact[i])) return &record->fact[i];
    return NULL;
}

static base_code undo_check(const adding *adding, const job_stored *fact, int64_t id) {
    base_errors *errors = adding->errors;
    long long job = (long long)adding->record.job;
    if (!fact && id)
        return base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                               "job %lld has no fact %lld|name one of its own facts", job,
                               (long long)id);
    if (!fact)
        return base_errors_add(errors, BASE_UNKNOWN, JOB_NOWHERE,
                               "job %lld has nothing left to take back|correct the take in instead",
                               job);
    if (fact->undone)
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "fact %lld was taken back already|nothing needs to be done",
                               (long long)fact->id);
    if (fact->replaced_by)
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "fact %lld was corrected by fact %lld|take that one back first",
                               (long long)fact->id, (long long)fact->replaced_by);
    if (fact == adding->record.fact)
        return base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                               "a job begins with its take in|correct it instead of taking it "
                               "back");
    return BASE_OK;
}

static base_code undo(adding *adding, int64_t id) {
    const job_stored *fact = undo_which(&adding->record, id);
    base_code code = undo_check(adding, fact, id);
    if (code != BASE_OK) return code;
    bool amp = moves_amp(fact) || job_is(fact, "undo");
    adding->fact.takes_back = fact->id;
    adding->fact.body = json_pack("{s:I}", "fact", (json_int_t)fact->id);
    if (!adding->fact.body) return job_no_memory(adding->errors);
    code = insert(adding);
    if (code == BASE_OK) code = join(adding);
    if (code == BASE_OK && amp) code = check_amp(adding);
    if (code == BASE_OK) code = job_derive(adding->store, &adding->record, adding->errors);
    json_decref(adding->fact.body);
    return code;
}

base_code job_undo(job_store *store, int64_t job, int64_t id, int64_t now, int64_t *undone,
                   base_errors *errors) {
    adding adding = {.store = store, .errors = errors};
    adding.fact = (job_stored){.at = now, .kind = job_kind_find("undo")};
    base_code code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    code = job_record_load(store, job, &adding.record, errors);
    if (code == BASE_OK) code = undo(&adding, id);
    job_record_free(&adding.record);
    code = job_end(store, code, errors);
    if (code == BASE_OK && undone) *undone = adding.fact.takes_back;
    return code;
}
