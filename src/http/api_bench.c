/* What the trade works out on a job's amp: parts and edits, substitutes, date codes, curves. */
#include "http_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* ---- the amp ------------------------------------------------------------------------------- */

static job_amp which_of(const char *word) {
    if (strcmp(word, "drawn") == 0) return JOB_DRAWN;
    return strcmp(word, "found") == 0 ? JOB_FOUND : JOB_REPAIRED;
}

void http_api_job_amp(http_call *call) {
    const char *as = http_param_word(call, "as", "found", "drawn|found|repaired");
    char *text =
        as ? job_amp_text(call->server->store, call->job, which_of(as), call->errors) : NULL;
    http_amp *amp =
        text ? http_amp_take(call->server->amps, "the job's amp", text, call->errors) : NULL;
    if (amp)
        http_answer_computed(call,
                             json_pack("{s:o,s:o,s:o,s:o}", "name",
                                       http_json_text(circuit_about_of(amp->amp)->name), "text",
                                       http_json_text(text), "parts", http_json_parts(amp->amp),
                                       "units", http_json_units(amp->amp)));
    http_amp_give(call->server->amps, amp);
    free(text);
}

static json_t *difference_row(const circuit_difference *one) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "part", http_json_text(one->part), "key",
                     http_json_text(one->key), "from", http_json_text(one->from), "to",
                     http_json_text(one->to), "does", http_json_text(one->does), "undo",
                     http_json_text(one->undo));
}

static void differences(http_call *call, const http_amp *from, const http_amp *to) {
    base_arena *arena = base_arena_new();
    size_t count = 0;
    const circuit_difference *found =
        arena ? circuit_differences(from->amp, to->amp, arena, &count) : NULL;
    json_t *list = found ? json_array() : NULL;
    for (size_t i = 0; i < count; i++)
        list = http_json_append(list, difference_row(&found[i]));
    http_answer_computed(call, list);
    base_arena_free(arena);
}

void http_api_differences(http_call *call) {
    const char *from = http_param_word(call, "from", "drawn", "drawn|found|repaired");
    const char *to = http_param_word(call, "to", "found", "drawn|found|repaired");
    if (!from || !to) return;
    http_amp *a = http_amp_of_job(call, which_of(from));
    http_amp *b = a ? http_amp_of_job(call, which_of(to)) : NULL;
    if (b) differences(call, a, b);
    http_amp_give(call->server->amps, a);
    http_amp_give(call->server->amps, b);
}

/* ---- date codes ---------------------------------------------------------------------------- */

typedef struct dating { /* the codes seen, those that read first packed for service_dates_of */
    const json_t *looks;
    service_dated *dated;
    const char **problem; /* by look: NULL where it reads or has no code */
    size_t count;
    int latest;
    base_arena *arena;
} dating;

static int year_of(int64_t ms) {
    struct tm date;
    time_t seconds = (time_t)(ms / 1000);
    return gmtime_r(&seconds, &date) ? date.tm_year + 1900 : 0;
}

static const char *code_of(const json_t *look) {
    return json_string_value(json_object_get(look, "code"));
}

/* Reads one code; what is wrong with it goes beside it, not into the answer's complaints. */
static void read_code(dating *dating, size_t index) {
    const json_t *look = json_array_get(dating->looks, index);
    service_dated *dated = &dating->dated[dating->count];
    base_errors *errors = base_errors_new();
    if (errors &&
        service_date_read(code_of(look), (base_place){0}, &dated->code, errors) == BASE_OK) {
        dated->part = json_string_value(json_object_get(look, "part"));
        dating->count++;
    } else {
        const base_error *error =
            errors && base_errors_count(errors) ? base_errors_at(errors, 0) : NULL;
        dating->problem[index] =
            base_arena_text(dating->arena, error ? error->cause : "it cannot be read");
    }
    base_errors_free(errors);
}

static bool read_codes(dating *dating) {
    size_t looks = json_array_size(dating->looks);
    dating->arena = base_arena_new();
    if (!dating->arena) return false;
    dating->dated = base_arena_take(dating->arena, looks + 1, sizeof *dating->dated);
    dating->problem = base_arena_take(dating->arena, looks + 1, sizeof *dating->problem);
    if (!dating->dated || !dating->problem) return false;
    for (size_t i = 0; i < looks; i++)
        if (code_of(json_array_get(dating->looks, i))) read_code(dating, i);
    return true;
}

static json_t *code_row(const dating *dating, const json_t *look, size_t dated) {
    const service_date_code *code = &dating->dated[dated].code;
    int years[SERVICE_DATE_YEARS], count = service_date_years(code, dating->latest, years);
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        list = http_json_append(list, json_integer(years[i]));
    return json_pack("{s:o,s:o,s:o,s:i,s:i,s:o,s:n}", "part",
                     http_json_text(dating->dated[dated].part), "code",
                     http_json_text(code_of(look)), "maker", http_json_text(code->reading[0].maker),
                     "year_digit", code->reading[0].year, "week", code->reading[0].week, "years",
                     list, "problem");
}

static json_t *bad_row(const dating *dating, const json_t *look, size_t index) {
    return json_pack("{s:o,s:o,s:n,s:n,s:n,s:[],s:o}", "part",
                     http_json_text(json_string_value(json_object_get(look, "part"))), "code",
                     http_json_text(code_of(look)), "maker", "year_digit", "week", "years",
                     "problem", http_json_text(dating->problem[index]));
}

static json_t *codes_json(const dating *dating) {
    json_t *list = json_array();
    size_t dated = 0;
    for (size_t i = 0; i < json_array_size(dating->looks); i++) {
        const json_t *look = json_array_get(dating->looks, i);
        if (!code_of(look)) continue;
        list = http_json_append(list, dating->problem[i] ? bad_row(dating, look, i)
                                                         : code_row(dating, look, dated++));
    }
    return list;
}

static json_t *dates_json(const dating *dating, const service_dates *dates) {
    json_t *odd = json_array(), *alternatives = json_array();
    for (size_t i = 0; i < dates->odds; i++)
        odd = http_json_append(
            odd, json_pack("{s:o,s:o,s:b}", "part",
                           http_json_text(dating->dated[dates->odd[i].code].part), "words",
                           http_json_text(dates->odd[i].words), "later", dates->odd[i].later));
    for (size_t i = 0; i < dates->alternatives; i++)
        alternatives = http_json_append(alternatives, json_integer(dates->alternative[i]));
    bool known = dates->earliest > 0;
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "codes", codes_json(dating), "earliest",
                     known ? json_integer(dates->earliest) : json_null(), "week",
                     known ? json_integer(dates->week) : json_null(), "alternatives", alternatives,
                     "outliers", odd, "words", http_json_text(dates->words));
}

void http_api_dates(http_call *call) {
    json_t *view = job_view(call->server->store, call->job, call->errors);
    if (!view) return;
    dating dating = {.looks = json_object_get(view, "looks"),
                     .latest = year_of(http_now(call->server))};
    int about = (int)json_integer_value(json_object_get(view, "year"));
    service_dates *dates = NULL;
    if (read_codes(&dating))
        dates = service_dates_of(dating.dated, dating.count, dating.latest, about, call->errors);
    if (dates) http_answer_computed(call, dates_json(&dating, dates));
    service_dates_free(dates);
    base_arena_free(dating.arena);
    json_decref(view);
}
