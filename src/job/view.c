/* The job as it stands: one document for the page and the report (docs/facts.md, "The view"). */
#include "job_impl.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Adds under `key`, taking the reference; false: no memory. */
static bool put(json_t *view, const char *key, json_t *value) {
    return json_object_set_new(view, key, value) == 0;
}

/* ---- one fact ------------------------------------------------------------------------------ */

static bool left_out(const char *key, const char *const *without) {
    for (; without && *without; without++)
        if (strcmp(*without, key) == 0) return true;
    return false;
}

/* The body with every key of its kind (null where it was not given), its number and its time. */
static json_t *row_of(const job_stored *fact, const char *const *without) {
    json_t *row = json_object();
    for (const job_key *key = fact->kind->keys; key->name && row; key++) {
        json_t *value = json_object_get(fact->body, key->name);
        if (left_out(key->name, without)) continue;
        if (!put(row, key->name, value ? json_incref(value) : json_null())) goto lost;
    }
    if (row && put(row, "fact", json_integer(fact->id)) && put(row, "when", json_integer(fact->at)))
        return row;
lost:
    json_decref(row);
    return NULL;
}

static bool put_last(json_t *view, const job_record *record, const char *kind, const char *key) {
    const job_stored *fact = job_last(record, kind);
    return put(view, key, fact ? row_of(fact, NULL) : json_null());
}

static bool put_all(json_t *view, const job_record *record, const char *kind, const char *key) {
    json_t *list = json_array();
    bool well = list != NULL;
    for (size_t i = 0; i < record->count && well; i++)
        if (job_is(&record->fact[i], kind) && job_stands(&record->fact[i]))
            well = json_array_append_new(list, row_of(&record->fact[i], NULL)) == 0;
    return put(view, key, list) && well;
}

/* ---- readings ------------------------------------------------------------------------------ */

/* A place that was read again later in the same phase shows its last reading. */
static bool read_again(const job_record *record, size_t index) {
    const json_t *body = record->fact[index].body;
    for (size_t i = index + 1; i < record->count; i++) {
        const job_stored *later = &record->fact[i];
        if (later->kind == record->fact[index].kind && job_stands(later) &&
            strcmp(job_text_of(later->body, "phase"), job_text_of(body, "phase")) == 0 &&
            strcasecmp(job_text_of(later->body, "at"), job_text_of(body, "at")) == 0)
            return true;
    }
    return false;
}

bool job_reads(const job_record *record, size_t index, const char *phase) {
    return job_is(&record->fact[index], "reading") && job_tells(record, index, phase);
}

bool job_tells(const job_record *record, size_t index, const char *phase) {
    const job_stored *fact = &record->fact[index];
    const char *own = job_text_of(fact->body, "phase");
    bool told = job_is(fact, "symptom") || job_is(fact, "finding");
    if (!job_stands(fact)) return false;
    if (told) return strcmp(*own ? own : "before", phase) == 0;
    return (job_is(fact, "reading") || job_is(fact, "test")) && strcmp(own, phase) == 0 &&
           !read_again(record, index);
}

static json_t *readings_of(const job_record *record, const char *phase) {
    static const char *const without[] = {"phase", NULL};
    json_t *list = json_array();
    for (size_t i = 0; i < record->count && list; i++)
        if (job_reads(record, i, phase) &&
            json_array_append_new(list, row_of(&record->fact[i], without))) {
            json_decref(list);
            return NULL;
        }
    return list;
}

static bool put_readings(json_t *view, const job_record *record) {
    json_t *both = json_object();
    return put(view, "readings", both) && put(both, "before", readings_of(record, "before")) &&
           put(both, "after", readings_of(record, "after"));
}

/* ---- heads --------------------------------------------------------------------------------- */

static bool put_taken(json_t *view, const job_record *record) {
    static const char *const without[] = {"amp", NULL};
    const job_stored *taken = job_last(record, "take in");
    json_t *row = taken ? row_of(taken, without) : NULL;
    bool well = row && json_object_del(row, "fact") == 0 && json_object_del(row, "when") == 0;
    if (well && json_is_null(json_object_get(row, "accessories")))
        well = put(row, "accessories", json_array());
    well = well && json_object_update(view, row) == 0;
    json_decref(row);
    return well;
}

static bool put_amp(json_t *view, job_store *store, const job_record *record,
                    const job_amp_kept *kept) {
    const job_stored *taken = job_last(record, "take in"), *anew = job_last(record, "drawing");
    const char *name = taken ? job_text_of(taken->body, "amp") : "";
    size_t length;
    if (anew && taken && anew->id > taken->id) name = job_text_of(anew->body, "amp");
    const circuit_about *about = kept && kept->amp ? circuit_about_of(kept->amp) : NULL;
    return put(view, "amp",
               json_pack("{s:s, s:s?, s:s?, s:s?, s:b, s:b, s:b}", "name", name, "title",
                         about ? about->name : NULL, "family", about ? about->family : NULL,
                         "story", about ? about->story : NULL, "library",
                         store->amp && store->amp(store->library, name, &length), "drawn",
                         *job_drawing(record) != 0, "transformerless",
                         kept && kept->transformerless));
}

static bool put_power(json_t *view, const job_record *record) {
    const job_stored *last = job_last(record, "power");
    bool ever = false;
    for (size_t i = 0; i < record->count; i++)
        if (job_is(&record->fact[i], "power") && job_stands(&record->fact[i]) &&
            json_is_true(json_object_get(record->fact[i].body, "on")))
            ever = true;
    bool on = last && json_is_true(json_object_get(last->body, "on"));
    return put(view, "powered",
               json_pack("{s:b, s:o, s:b}", "on", on, "at",
                         last ? json_integer(last->at) : json_null(), "ever", ever));
}

static bool put_minutes(json_t *view, const job_record *record) {
    double minutes = 0;
    for (size_t i = 0; i < record->count; i++)
        if (job_is(&record->fact[i], "work") && job_stands(&record->fact[i]) &&
            json_object_get(record->fact[i].body, "minutes"))
            minutes += json_number_value(json_object_get(record->fact[i].body, "minutes"));
    return put(view, "minutes", json_integer((json_int_t)minutes));
}

/* ---- the whole ----------------------------------------------------------------------------- */

static bool put_stage(json_t *view, const job_record *record, const job_amp_kept *kept) {
    const char *stage = job_stage(record);
    json_t *drained = job_drained(record, kept);
    char *next = drained ? job_next(stage, drained) : NULL;
    int64_t closed = job_closed(record);
    bool well = next && put(view, "stage", json_string(stage)) &&
                put(view, "next", json_string(next)) &&
                put(view, "drained", json_incref(drained)) &&
                put(view, "closed", closed ? json_integer(closed) : json_null());
    free(next);
    json_decref(drained);
    return well;
}

static bool put_lists(json_t *view, const job_record *record) {
    static const char *const all[][2] = {
        {"test", "tests"}, {"symptom", "symptoms"},   {"finding", "findings"}, {"look", "looks"},
        {"edit", "edits"}, {"decision", "decisions"}, {"work", "work"},        {"check", "checks"},
        {"note", "notes"}, {"paper", "papers"},       {"photo", "photos"}};
    static const char *const last[][2] = {
        {"cord", "cord"}, {"estimate", "estimate"},   {"acceptance", "acceptance"},
        {"soak", "soak"}, {"hand back", "hand_back"}, {"invoice", "invoice"}};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        if (!put_all(view, record, all[i][0], all[i][1])) return false;
    for (size_t i = 0; i < sizeof last / sizeof *last; i++)
        if (!put_last(view, record, last[i][0], last[i][1])) return false;
    return true;
}

static json_t *view_of(job_store *store, const job_record *record, const job_amp_kept *kept) {
    json_t *view = json_object();
    if (view && put(view, "job", json_integer(record->job)) &&
        put(view, "number", json_integer(record->number)) &&
        put(view, "opened", json_integer(record->opened)) && put_stage(view, record, kept) &&
        put_taken(view, record) && put_amp(view, store, record, kept) && put_power(view, record) &&
        put_readings(view, record) && put_lists(view, record) && put_minutes(view, record) &&
        put(view, "facts", json_integer((json_int_t)record->count)) &&
        put(view, "last", json_integer(record->count ? record->fact[record->count - 1].id : 0)))
        return view;
    json_decref(view);
    return NULL;
}

json_t *job_view(job_store *store, int64_t job, base_errors *errors) {
    job_record record;
    json_t *view = NULL;
    job_lock(store);
    if (job_record_load(store, job, &record, errors) == BASE_OK) {
        /* A drawing that no longer reads is said where it is asked for, not here. */
        const job_amp_kept *kept = job_amp_of(store, &record, JOB_REPAIRED, NULL);
        view = view_of(store, &record, kept);
        if (!view) job_no_memory(errors);
        job_record_free(&record);
    }
    job_unlock(store);
    return view;
}

static json_t *fact_json(const job_stored *fact) {
    return json_pack("{s:I, s:I, s:s, s:O, s:o, s:b}", "id", (json_int_t)fact->id, "at",
                     (json_int_t)fact->at, "kind", fact->kind->name, "body", fact->body, "replaces",
                     fact->replaces ? json_integer(fact->replaces) : json_null(), "undone",
                     fact->undone);
}

json_t *job_facts(job_store *store, int64_t job, base_errors *errors) {
    job_record record;
    json_t *list = NULL;
    job_lock(store);
    if (job_record_load(store, job, &record, errors) == BASE_OK) {
        list = json_array();
        for (size_t i = 0; i < record.count && list; i++)
            if (json_array_append_new(list, fact_json(&record.fact[i]))) {
                json_decref(list);
                list = NULL;
            }
        if (!list) job_no_memory(errors);
        job_record_free(&record);
    }
    job_unlock(store);
    return list;
}
