/* The amp of a job, read and solved once and kept: the page asks for the same job again and again.
 */
#include "job_impl.h"

#include "service.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- keeping ------------------------------------------------------------------------------- */

static void kept_free(job_amp_kept *kept) {
    if (!kept) return;
    solve_system_free(kept->system);
    circuit_free(kept->amp);
    base_arena_free(kept->arena);
    free(kept->text);
    free(kept);
}

void job_amps_free(job_store *store) {
    for (size_t i = 0; i < JOB_AMPS; i++) {
        kept_free(store->amps[i]);
        circuit_outline_free(store->outline[i].outline);
    }
}

static job_amp_kept *kept_find(job_store *store, const char *key) {
    for (size_t i = 0; i < JOB_AMPS; i++)
        if (store->amps[i] && strcmp(store->amps[i]->key, key) == 0) {
            store->amps[i]->used = ++store->uses;
            return store->amps[i];
        }
    return NULL;
}

/* In the place of the one that was asked for longest ago. */
static void kept_add(job_store *store, job_amp_kept *kept) {
    size_t oldest = 0;
    for (size_t i = 0; i < JOB_AMPS && store->amps[oldest]; i++)
        if (!store->amps[i] || store->amps[i]->used < store->amps[oldest]->used) oldest = i;
    kept_free(store->amps[oldest]);
    store->amps[oldest] = kept;
    kept->used = ++store->uses;
}

/* ---- filter capacitors --------------------------------------------------------------------- */

/* Those of the drain plan, in its order. Where the amp has no solution the plan takes them at their
 * ratings, which is no volts to expect. */
static bool capacitors_take(job_amp_kept *kept, const service_drain *plan, bool solved) {
    kept->capacitor = base_arena_take(kept->arena, plan->capacitors + 1, sizeof *kept->capacitor);
    for (size_t i = 0; i < plan->capacitors && kept->capacitor; i++) {
        const service_drain_capacitor *one = &plan->capacitor[i];
        int index = circuit_part_find(kept->amp, one->part);
        const circuit_part *part = circuit_part_at(kept->amp, (size_t)index);
        kept->capacitor[kept->capacitors++] =
            (job_capacitor){.part = part->name,
                            .node = one->node,
                            .written = part->written,
                            .rating = part->volts,
                            .expected = !solved         ? NAN
                                        : one->negative ? -one->volts
                                                        : one->volts,
                            .end = {part->end[0], part->end[1]}};
    }
    return kept->capacitor != NULL;
}

bool job_capacitors_find(job_amp_kept *kept) {
    base_errors *quiet = base_errors_new();
    bool well = quiet != NULL;
    if (well && kept->system) {
        service_drain *plan = service_drain_new(kept->system, NAN, NAN, quiet);
        base_code said = base_errors_worst(quiet);
        well = said != BASE_MEMORY && (!plan || capacitors_take(kept, plan, said == BASE_OK));
        service_drain_free(plan);
    }
    base_errors_free(quiet);
    return well;
}

/* ---- making one ---------------------------------------------------------------------------- */

static bool has_transformer(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_WINDING) return true;
    return false;
}

/* An amp that reads but has no equations still has its record: only the volts are missing. */
static base_code kept_read(job_store *store, job_amp_kept *kept, const char *name,
                           base_errors *errors) {
    base_errors *quiet = base_errors_new();
    kept->arena = base_arena_new();
    base_code code = quiet && kept->arena ? BASE_OK : job_no_memory(errors);
    if (code == BASE_OK) {
        kept->amp = circuit_read(name, kept->text, strlen(kept->text), store->tubes, errors);
        if (!kept->amp) code = BASE_CIRCUIT;
    }
    if (code == BASE_OK) {
        kept->transformerless = !has_transformer(kept->amp);
        kept->system = solve_system_new(kept->amp, quiet);
        if (base_errors_worst(quiet) == BASE_MEMORY || !job_capacitors_find(kept))
            code = job_no_memory(errors);
    }
    base_errors_free(quiet);
    return code;
}

static job_amp_kept *kept_new(job_store *store, const job_record *record, job_amp which,
                              base_errors *errors) {
    const job_stored *taken = job_last(record, "take in");
    const char *name = taken ? job_text_of(taken->body, "amp") : "";
    job_amp_kept *kept = calloc(1, sizeof *kept);
    if (!kept) {
        job_no_memory(errors);
        return NULL;
    }
    kept->text = job_text_at(store, record, which, errors);
    if (kept->text && (!store->tubes || kept_read(store, kept, name, errors) == BASE_OK))
        return kept;
    kept_free(kept); /* one that does not read is not kept: it complains each time */
    return NULL;
}

/* What makes the amp what it is: the drawing and every edit up to `which`, in order. */
static bool key_make(const job_record *record, job_amp which, char key[JOB_HASH]) {
    base_text made;
    base_text_init(&made, 16 << 20);
    base_text_add(&made, "%s", job_drawing(record));
    for (size_t i = 0; i < record->count; i++) {
        const job_stored *fact = &record->fact[i];
        if (!job_is(fact, "edit") || !job_stands(fact) || which == JOB_DRAWN) continue;
        bool found = strcmp(job_text_of(fact->body, "phase"), "found") == 0;
        if (!found && which != JOB_REPAIRED) continue;
        char *body = json_dumps(fact->body, JSON_COMPACT | JSON_SORT_KEYS);
        base_text_add(&made, "\n%s", body ? body : "");
        if (!body) made.failed = true;
        free(body);
    }
    job_hash(made.data, made.length, key);
    bool well = !made.failed;
    base_text_free(&made);
    return well;
}

const job_amp_kept *job_amp_of(job_store *store, const job_record *record, job_amp which,
                               base_errors *errors) {
    char key[JOB_HASH];
    if (!*job_drawing(record)) return NULL;
    if (!key_make(record, which, key)) {
        job_no_memory(errors);
        return NULL;
    }
    job_amp_kept *kept = kept_find(store, key);
    if (kept) return kept;
    kept = kept_new(store, record, which, errors);
    if (!kept) return NULL;
    memcpy(kept->key, key, sizeof key);
    kept_add(store, kept);
    return kept;
}
