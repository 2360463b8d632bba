/* The trade's computations on an amp, by its name or as it stands in a job: margins, swap, value,
 * drain, mains, fuse, substitute. */
#include "http_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CHANGES 64 /* in one swap */

/* ---- which amp ----------------------------------------------------------------------------- */

typedef struct asked {
    char *text;
    http_amp *amp; /* NULL with a complaint */
} asked;

/* By the path: /api/amps/{name}/..., or /api/jobs/{job}/... with ?as=. */
static asked ask(http_call *call) {
    asked found = {0};
    bool own = false;
    if (call->job) {
        const char *as = http_param_word(call, "as", "found", "drawn|found|repaired");
        job_amp which = !as || *as == 'f' ? JOB_FOUND : *as == 'd' ? JOB_DRAWN : JOB_REPAIRED;
        if (as) found.text = job_amp_text(call->server->store, call->job, which, call->errors);
    } else {
        found.text = http_amp_text(call, call->arg, &own);
    }
    if (found.text)
        found.amp = http_amp_take(call->server->amps, call->job ? "the job's amp" : call->arg,
                                  found.text, call->errors);
    return found;
}

static void give(http_call *call, asked *asked) {
    http_amp_give(call->server->amps, asked->amp);
    free(asked->text);
}

static bool sensible(http_call *call, double volts) {
    if (isnan(volts) || (volts >= 50 && volts <= 300)) return true;
    base_errors_add(call->errors, BASE_VALUE, (base_place){.file = "mains"},
                    "no mains has %.4g V|give volts from 50 to 300", volts);
    return false;
}

double http_param_number(http_call *call, const char *key, base_quantity quantity) {
    double value = NAN;
    const char *text = http_param(call, key, NULL);
    if (text) base_value_read(text, quantity, (base_place){.file = key}, &value, call->errors);
    return value;
}

/* ?mains=; false with a complaint. */
static bool mains_param(http_call *call, double *mains) {
    *mains = http_param_number(call, "mains", BASE_VOLTS);
    return base_errors_worst(call->errors) == BASE_OK && sensible(call, *mains);
}

/* ---- margins, fuse ------------------------------------------------------------------------- */

void http_api_margins(http_call *call) {
    double mains;
    const char *powerup = http_param_word(call, "powerup", "no", "no|yes");
    if (!powerup || !mains_param(call, &mains)) return;
    asked asked = ask(call);
    service_margins *margins =
        asked.amp ? service_margins_new(asked.amp->system, mains, *powerup == 'y', call->errors)
                  : NULL;
    if (margins) http_answer_computed(call, http_json_margins(margins));
    service_margins_free(margins);
    give(call, &asked);
}

void http_api_fuse(http_call *call) {
    double mains;
    const char *powerup = http_param_word(call, "powerup", "no", "no|yes");
    if (!powerup || !mains_param(call, &mains)) return;
    asked asked = ask(call);
    service_fuses *fuses =
        asked.amp ? service_fuses_new(asked.amp->system, mains, *powerup == 'y', call->errors)
                  : NULL;
    if (fuses) http_answer_computed(call, http_json_fuses(fuses));
    service_fuses_free(fuses);
    give(call, &asked);
}

/* ---- swap ---------------------------------------------------------------------------------- */

/* {changes: ["R12=1k", ...], mains?: 121} */
static bool read_changes(http_call *call, const char *changes[CHANGES + 1], double *mains) {
    json_t *list = NULL, *each;
    json_error_t error;
    size_t i;
    *mains = NAN;
    bool good = json_unpack_ex((json_t *)call->body, &error, JSON_STRICT, "{s:o,s?F}", "changes",
                               &list, "mains", mains) == 0 &&
                json_is_array(list) && json_array_size(list) <= CHANGES;
    json_array_foreach(list, i, each) {
        good = good && json_is_string(each);
        if (good) changes[i] = json_string_value(each);
    }
    if (!good)
        base_errors_add(call->errors, BASE_SYNTAX, (base_place){.file = "the request"},
                        "the changes cannot be read|send {\"changes\": [\"R12=1k\", ...], "
                        "\"mains\": number}; up to %d changes, and the mains may be left out",
                        CHANGES);
    return good && sensible(call, *mains);
}

static void answer_swap(http_call *call, const service_swap_side side[2]) {
    service_swap *swap = service_swap_new(&side[0], &side[1], call->errors);
    if (swap && service_swap_tremolo(swap, side)) http_answer_computed(call, http_json_swap(swap));
    service_swap_free(swap);
}

void http_api_swap(http_call *call) {
    const char *changes[CHANGES + 1] = {NULL};
    double mains, after;
    if (!read_changes(call, changes, &mains)) return;
    after = mains;
    asked asked = ask(call);
    bool good = asked.amp && service_swap_mains(changes, &after, call->errors);
    char *text = good ? circuit_change_text(asked.amp->amp, asked.text, call->server->options.tubes,
                                            changes, call->errors)
                      : NULL;
    http_amp *made =
        text ? http_amp_take(call->server->amps, "the changed amp", text, call->errors) : NULL;
    if (made)
        answer_swap(call,
                    (service_swap_side[2]){{asked.amp->system, mains}, {made->system, after}});
    http_amp_give(call->server->amps, made);
    free(text);
    give(call, &asked);
}

/* ---- value, drain -------------------------------------------------------------------------- */

/* A parameter that must be there; NULL with a complaint. */
static const char *must(http_call *call, const char *key, const char *example) {
    const char *value = http_param(call, key, NULL);
    if (!value)
        base_errors_add(call->errors, BASE_USAGE, (base_place){0}, "`%s` is missing|write ?%s=%s",
                        key, key, example);
    return value;
}

void http_api_value(http_call *call) {
    const char *part = must(call, "part", "R12");
    const char *target = must(call, "for", "V3 dissipation 85%");
    double mains;
    if (!part || !target || !mains_param(call, &mains)) return;
    asked asked = ask(call);
    service_value *value =
        asked.amp ? service_value_new(asked.amp->system, mains, part, target, call->errors) : NULL;
    if (value) http_answer_computed(call, http_json_value(value));
    service_value_free(value);
    give(call, &asked);
}

/* An amp that has no operating point has a plan all the same, which says so itself. */
void http_api_drain(http_call *call) {
    double mains, ohms = http_param_number(call, "ohms", BASE_OHMS);
    if (!mains_param(call, &mains)) return;
    base_errors *own = base_errors_new();
    asked asked = ask(call);
    service_drain *drain =
        asked.amp ? service_drain_new(asked.amp->system, mains, ohms, own) : NULL;
    if (drain)
        http_answer_computed(call, http_json_drain(drain));
    else
        base_errors_append(call->errors, own);
    service_drain_free(drain);
    base_errors_free(own);
    give(call, &asked);
}

/* ---- powerup ------------------------------------------------------------------------------- */

void http_api_powerup(http_call *call) {
    const char *standby = http_param_word(call, "standby", "no", "no|yes");
    service_powerup_asked how = {.standby = standby && *standby == 'y'};
    if (!standby || !mains_param(call, &how.mains)) return;
    asked asked = ask(call);
    service_powerup *powerup =
        asked.amp ? service_powerup_new(asked.amp->system, &how, call->errors) : NULL;
    if (powerup) http_answer_computed(call, http_json_powerup(powerup));
    service_powerup_free(powerup);
    give(call, &asked);
}

/* ---- mains, substitute --------------------------------------------------------------------- */

void http_api_mains(http_call *call) {
    double volts = http_param_number(call, "volts", BASE_VOLTS);
    if (base_errors_worst(call->errors) != BASE_OK || !sensible(call, volts)) return;
    asked asked = ask(call);
    service_mains *mains =
        asked.amp ? service_mains_new(asked.amp->system, volts, call->errors) : NULL;
    if (mains) http_answer_computed(call, http_json_mains(mains));
    service_mains_free(mains);
    give(call, &asked);
}

void http_api_substitute(http_call *call) {
    const char *part = must(call, "part", "C9");
    double mains;
    if (!part || !mains_param(call, &mains)) return;
    asked asked = ask(call);
    service_substitute *found =
        asked.amp ? service_substitute_of(asked.amp->system, mains, part, call->errors) : NULL;
    if (found) http_answer_computed(call, http_json_substitute(found));
    service_substitute_free(found);
    give(call, &asked);
}

/* ---- output -------------------------------------------------------------------------------- */

/* A parameter from `least` to `most`, NAN where it is not given; false with a complaint. */
static bool within(http_call *call, const char *key, base_quantity quantity, const double range[2],
                   double *value) {
    *value = http_param_number(call, key, quantity);
    if (base_errors_worst(call->errors) != BASE_OK) return false;
    if (isnan(*value) || (*value >= range[0] && *value <= range[1])) return true;
    base_errors_add(call->errors, BASE_VALUE, (base_place){.file = key},
                    "`%s` of %.4g makes no sense|give a value from %g to %g", key, *value, range[0],
                    range[1]);
    return false;
}

void http_api_output(http_call *call) {
    service_output_asked how;
    if (!mains_param(call, &how.mains) ||
        !within(call, "speaker", BASE_OHMS, (double[]){0.1, 1e4}, &how.speaker) ||
        !within(call, "supply", BASE_VOLTS, (double[]){20, 2000}, &how.supply_v))
        return;
    asked asked = ask(call);
    service_output *output =
        asked.amp ? service_output_new(asked.amp->system, &how, call->errors) : NULL;
    if (output) http_answer_computed(call, http_json_output(output));
    service_output_free(output);
    give(call, &asked);
}
