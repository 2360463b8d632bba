/* Whether the amp's capacitors were measured empty since it was last on. Only readings say so.
 *
 * 60 V DC is the limit of ES1 in IEC 62368-1. After any `power` fact, on or off, all that was
 * measured before is stale. Nobody knows when a new job's amp was last on: it counts as charged. */
#include "job_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#define ES1_VOLTS 60.0

typedef enum measured { NEVER, STALE, ABOVE, BELOW } measured;

typedef struct draining {
    const job_record *record;
    const job_amp_kept *amp; /* or NULL */
    int64_t powered;         /* id of the last `power` fact, or 0 */
    bool on;
    int64_t oldest; /* time of the oldest reading that counts; 0: none */
    size_t count[BELOW + 1];
    base_text words;
} draining;

/* ---- which reading is of which capacitor --------------------------------------------------- */

/* A reading at a capacitor is of that one alone: behind a broken lead its neighbour on the same
 * node may still be charged. A reading at a node is of every capacitor that joins it to the other
 * end of the meter. */
static bool is_of(const draining *draining, const job_stored *fact, const job_capacitor *one) {
    const char *at = job_text_of(fact->body, "at");
    if (strcasecmp(at, one->part) == 0) return true;
    if (circuit_part_find(draining->amp->amp, at) >= 0) return false;
    char plus[64];
    const char *dash = strchr(at, '-');
    circuit_place from, to = {0};
    snprintf(plus, sizeof plus, "%.*s", dash ? (int)(dash - at) : (int)strlen(at), at);
    if (circuit_place_find(draining->amp->amp, plus, JOB_NOWHERE, &from, NULL) != BASE_OK)
        return false;
    if (dash && circuit_place_find(draining->amp->amp, dash + 1, JOB_NOWHERE, &to, NULL) != BASE_OK)
        return false;
    return (from.node == one->end[0] && to.node == one->end[1]) ||
           (from.node == one->end[1] && to.node == one->end[0]);
}

static const job_stored *last_of(const draining *draining, const job_capacitor *one) {
    for (size_t i = draining->record->count; i-- > 0;) {
        const job_stored *fact = &draining->record->fact[i];
        if (job_is(fact, "drain") && job_stands(fact) && is_of(draining, fact, one)) return fact;
    }
    return NULL;
}

static measured judge(const draining *draining, const job_stored *fact) {
    if (!fact) return NEVER;
    if (fact->id < draining->powered) return STALE;
    return fabs(job_number_of(fact->body, "volts")) < ES1_VOLTS ? BELOW : ABOVE;
}

/* ---- words --------------------------------------------------------------------------------- */

/* "C20 0.6 V at 10:42", by the clock on the wall. */
static void say(draining *draining, const job_stored *fact) {
    char clock[16] = "";
    time_t seconds = (time_t)(fact->at / 1000);
    struct tm when;
    if (localtime_r(&seconds, &when)) strftime(clock, sizeof clock, "%H:%M", &when);
    base_text_add(&draining->words, "%s%s %.4g V at %s", draining->words.length ? ", " : "",
                  job_text_of(fact->body, "at"), job_number_of(fact->body, "volts"), clock);
}

static const char *state_words(const draining *draining) {
    if (draining->on) return "on";
    if (draining->count[ABOVE]) return "above 60 V";
    if (draining->count[STALE]) return "powered since";
    if (draining->count[NEVER] || !draining->count[BELOW]) return "not measured";
    return "below 60 V";
}

/* ---- the list ------------------------------------------------------------------------------ */

static json_t *or_null(double number) {
    return isfinite(number) ? json_real(base_value_round(number, 4)) : json_null();
}

static json_t *one_json(draining *draining, const job_capacitor *one) {
    const job_stored *fact = last_of(draining, one);
    measured how = judge(draining, fact);
    draining->count[how]++;
    if (how >= ABOVE) {
        say(draining, fact);
        if (!draining->oldest || fact->at < draining->oldest) draining->oldest = fact->at;
    }
    return json_pack("{s:s, s:s, s:s?, s:o, s:O?, s:o, s:o, s:b}", "part", one->part, "node",
                     one->node, "value", one->written, "rating", or_null(one->rating), "volts",
                     fact ? json_object_get(fact->body, "volts") : NULL, "at",
                     fact ? json_integer(fact->at) : json_null(), "expected_volts",
                     or_null(one->expected), "below_60", how == BELOW);
}

/* Without a drawing nobody knows which capacitors there are: what was measured is said, and no
 * conclusion is drawn. */
static void say_all(draining *draining) {
    for (size_t i = 0; i < draining->record->count; i++) {
        const job_stored *fact = &draining->record->fact[i];
        if (!job_is(fact, "drain") || !job_stands(fact)) continue;
        measured how = judge(draining, fact);
        if (how >= ABOVE) say(draining, fact);
        draining->count[how == BELOW ? NEVER : how]++;
    }
}

static bool list(draining *draining, json_t *capacitors) {
    if (!draining->amp || !draining->amp->amp) {
        say_all(draining);
        return true;
    }
    for (size_t i = 0; i < draining->amp->capacitors; i++)
        if (json_array_append_new(capacitors, one_json(draining, &draining->amp->capacitor[i])))
            return false;
    return true;
}

json_t *job_drained(const job_record *record, const job_amp_kept *amp) {
    const job_stored *power = job_last(record, "power");
    draining draining = {.record = record, .amp = amp};
    draining.powered = power ? power->id : 0;
    draining.on = power && json_is_true(json_object_get(power->body, "on"));
    base_text_init(&draining.words, 1 << 16);
    json_t *capacitors = json_array(), *made = NULL;
    if (capacitors && list(&draining, capacitors) && !draining.words.failed) {
        const char *state = state_words(&draining);
        made = json_pack("{s:s, s:b, s:s, s:o, s:O}", "state", state, "measured_below_60",
                         strcmp(state, "below 60 V") == 0, "words", draining.words.data,
                         "oldest_at", draining.oldest ? json_integer(draining.oldest) : json_null(),
                         "capacitors", capacitors);
    }
    json_decref(capacitors);
    base_text_free(&draining.words);
    return made;
}
