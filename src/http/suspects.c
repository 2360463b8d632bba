/* Who is to blame: the job's engine is kept warm, so that a reading costs one run of it. */
#include "amps_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define QUESTION (1u << 20)

/* Visits that the table of faults counts for, against this shop's own: common practice, no source.
 */
#define TABLE_VISITS 20.0

void http_engine_forget(http_kept_engine *engine) {
    for (int i = 0; i < LISTS; i++) {
        free(engine->list[i].question);
        free(engine->list[i].answer);
    }
    diagnose_engine_free(engine->engine);
    free(engine->prior);
    *engine = (http_kept_engine){0};
}

static base_code no_memory(base_errors *errors) {
    return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                           "no memory left|close other programs");
}

/* ---- the engine ---------------------------------------------------------------------------- */

/* The mains to a volt: what was read beyond that comes in as a reading of the mains itself, so that
 * a mains that wanders does not make a new engine at every reading. */
static double near_mains(const diagnose_readings *readings) {
    return isfinite(readings->mains) ? nearbyint(readings->mains) : NAN;
}

static diagnose_meter meter_of(const diagnose_readings *readings) {
    if (readings->count) return readings->reading[readings->count - 1].meter;
    return diagnose_defaults().meter;
}

static bool save_priors(http_kept_engine *engine) {
    size_t faults = diagnose_faults(engine->engine);
    engine->prior = calloc(faults + 1, sizeof *engine->prior);
    for (size_t i = 0; engine->prior && i < faults; i++)
        engine->prior[i] = diagnose_fault_at(engine->engine, i)->prior;
    return engine->prior != NULL;
}

static bool engine_make(http_kept_engine *place, const http_amp *amp, const diagnose_priors *priors,
                        const http_kept_engine *wanted, base_errors *errors) {
    diagnose_options options = diagnose_defaults();
    http_engine_forget(place);
    options.mains = wanted->mains;
    options.mains_spread = isfinite(wanted->mains) ? 0.005 : 0.03;
    options.meter = wanted->meter;
    options.tests = true;
    *place = *wanted;
    place->engine = diagnose_engine_new(amp->system, priors, &options, errors);
    if (place->engine && save_priors(place)) return true;
    if (place->engine) no_memory(errors);
    http_engine_forget(place);
    return false;
}

static http_kept_engine *engine_for(http_amp_kept *kept, const diagnose_priors *priors,
                                    const diagnose_readings *readings, base_errors *errors) {
    http_kept_engine wanted = {.mains = near_mains(readings), .meter = meter_of(readings)};
    http_kept_engine *least = &kept->engine[0];
    for (int i = 0; i < ENGINES; i++) {
        http_kept_engine *engine = &kept->engine[i];
        if (engine->engine && http_same_number(engine->mains, wanted.mains) &&
            http_same_meter(&engine->meter, &wanted.meter))
            return engine;
        if (engine->used < least->used) least = engine;
    }
    return engine_make(least, &kept->open, priors, &wanted, errors) ? least : NULL;
}

/* ---- the shop's own counts ----------------------------------------------------------------- */

static bool says(const char *words, const char *mode) {
    for (; *words; words++)
        if (strncasecmp(words, mode, strlen(mode)) == 0) return true;
    return false;
}

static bool is_part(const http_amp *amp, const diagnose_fault *fault, const char *part) {
    if (fault->part < 0) return false;
    return strcasecmp(circuit_part_at(amp->amp, (size_t)fault->part)->name, part) == 0;
}

/* Adds the count of one cause to the faults that it can mean, in the ratio of their priors: those
 * of the part whose mode its words name, else all of the part. Returns what was added. */
static double add_cause(const http_amp *amp, const http_kept_engine *engine, const json_t *cause,
                        double *count) {
    const char *part = json_string_value(json_object_get(cause, "part"));
    const char *what = json_string_value(json_object_get(cause, "what"));
    double times = json_number_value(json_object_get(cause, "count"));
    size_t faults = diagnose_faults(engine->engine);
    for (int named = 1; named >= 0 && part; named--) {
        double sum = 0;
        for (int add = 0; add < 2; add++) {
            for (size_t i = 0; i < faults; i++) {
                const diagnose_fault *fault = diagnose_fault_at(engine->engine, i);
                if (!is_part(amp, fault, part)) continue;
                if (named && !(what && says(what, diagnose_mode_name(fault->mode)))) continue;
                if (add)
                    count[i] += times * engine->prior[i] / sum;
                else
                    sum += engine->prior[i];
            }
            if (!(sum > 0)) break;
        }
        if (sum > 0) return times;
    }
    return 0;
}

/* The table's prior and the shop's counts together: (K p + count) / (K + all counts), the mean of a
 * Dirichlet posterior with K p for its parameters. */
static bool set_priors(const http_amp *amp, http_kept_engine *engine, const http_past *past) {
    size_t faults = diagnose_faults(engine->engine);
    double *prior = calloc(faults + 1, sizeof *prior), all = 0;
    if (!prior) return false;
    for (size_t i = 0; past->cause && i < json_array_size(past->cause); i++)
        all += add_cause(amp, engine, json_array_get(past->cause, i), prior);
    for (size_t i = 0; i < faults; i++)
        prior[i] = (TABLE_VISITS * engine->prior[i] + prior[i]) / (TABLE_VISITS + all);
    diagnose_set_priors(engine->engine, prior);
    free(prior);
    return true;
}

/* ---- the answer ---------------------------------------------------------------------------- */

/* All that the answer depends on, beside the engine. NULL: no memory. */
static char *question_of(const diagnose_readings *readings, const http_past *past) {
    base_text text;
    char *causes = past->cause ? json_dumps(past->cause, JSON_COMPACT) : NULL;
    base_text_init(&text, QUESTION);
    base_text_add(&text, "%.17g %d %s\n", readings->mains, past->alike, causes ? causes : "-");
    free(causes);
    for (size_t i = 0; i < readings->count; i++) {
        const diagnose_reading *one = &readings->reading[i];
        base_text_add(&text, "%s %.17g %g %g %g %g\n", one->at, one->volts, one->resolution,
                      one->meter.ohms, one->meter.ohms_per_volt, one->meter.range);
    }
    for (size_t i = 0; i < readings->clues; i++)
        base_text_add(&text, "%s\n", readings->clue[i].said);
    if (!text.failed) return text.data;
    base_text_free(&text);
    return NULL;
}

static char *work_out(const http_amp *amp, const http_kept_engine *engine,
                      const diagnose_readings *readings, const http_past *past,
                      base_errors *errors) {
    diagnose_belief *belief = diagnose_run(engine->engine, readings, errors);
    if (!belief) return NULL;
    bool measured = isfinite(readings->mains);
    http_case at = {.amp = amp->amp,
                    .readings = readings,
                    .engine = engine->engine,
                    .belief = belief,
                    .mains = measured ? readings->mains : circuit_about_of(amp->amp)->mains_volts,
                    .measured = measured,
                    .meter = engine->meter};
    json_t *json = http_json_suspects(&at);
    json_t *shop = json_pack("{s:i,s:b}", "alike", past->alike, "used", past->cause != NULL);
    char *text = NULL;
    if (json && json_object_set_new(json, "shop", shop) == 0 &&
        json_object_set_new(json, "warnings", http_json_errors(errors, true)) == 0)
        text = json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(6));
    if (!text) no_memory(errors);
    json_decref(json);
    diagnose_belief_free(belief);
    return text;
}

/* Takes both texts. */
static void keep_list(http_kept_engine *engine, char *question, char *answer, uint64_t turn) {
    http_kept_list *least = &engine->list[0];
    for (int i = 1; i < LISTS; i++)
        if (engine->list[i].used < least->used) least = &engine->list[i];
    free(least->question);
    free(least->answer);
    *least = (http_kept_list){.question = question, .answer = answer, .used = turn};
}

static char *answer(http_amp_kept *kept, http_kept_engine *engine,
                    const diagnose_readings *readings, const http_past *past, base_errors *errors) {
    char *question = question_of(readings, past), *list;
    for (int i = 0; i < LISTS && question; i++) {
        http_kept_list *known = &engine->list[i];
        if (!known->question || strcmp(known->question, question) != 0) continue;
        known->used = ++kept->turns;
        free(question);
        return strdup(known->answer);
    }
    if (!set_priors(&kept->open, engine, past)) no_memory(errors);
    list = base_errors_worst(errors) == BASE_OK
               ? work_out(&kept->open, engine, readings, past, errors)
               : NULL;
    char *copy = list ? strdup(list) : NULL;
    if (question && copy) {
        keep_list(engine, question, copy, ++kept->turns);
    } else {
        free(question);
        free(copy);
    }
    return list;
}

char *http_suspects(http_amp *amp, const diagnose_priors *priors, const diagnose_readings *readings,
                    const http_past *past, base_errors *errors) {
    http_amp_kept *kept = (http_amp_kept *)amp;
    char *list = NULL;
    pthread_mutex_lock(&kept->engine_lock);
    http_kept_engine *engine = engine_for(kept, priors, readings, errors);
    if (engine) {
        engine->used = ++kept->turns;
        list = answer(kept, engine, readings, past, errors);
    }
    pthread_mutex_unlock(&kept->engine_lock);
    return list;
}
