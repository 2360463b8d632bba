/* JSON that carries a failure upwards: whoever is handed NULL hands on NULL. */
#include "http.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

json_t *http_json_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

/* Text from outside may hold bytes that are no UTF-8; JSON may not: each becomes a `?`. */
static json_t *cleaned(const char *text) {
    char *safe = strdup(text);
    if (!safe) return NULL;
    for (char *c = safe; *c; c++)
        if ((unsigned char)*c >= 0x80) *c = '?';
    json_t *value = json_string(safe);
    free(safe);
    return value;
}

json_t *http_json_text(const char *text) {
    if (!text) return json_null();
    json_t *value = json_string(text);
    return value ? value : cleaned(text);
}

json_t *http_json_words(const char *text) {
    return http_json_text(text && *text ? text : NULL);
}

json_t *http_json_append(json_t *list, json_t *item) {
    if (list && item && json_array_append_new(list, item) == 0) return list;
    if (!list) json_decref(item);
    json_decref(list);
    return NULL;
}

static json_t *counted(int number) {
    return number > 0 ? json_integer(number) : json_null();
}

static json_t *error_row(const base_error *error) {
    return json_pack("{s:s,s:o,s:o,s:o,s:o,s:o}", "code", base_code_of(error->code)->name, "file",
                     http_json_text(error->file), "line", counted(error->line), "column",
                     counted(error->column), "cause", http_json_text(error->cause), "remedy",
                     http_json_text(error->remedy));
}

json_t *http_json_errors(const base_errors *errors, bool warnings) {
    json_t *list = json_array();
    for (size_t i = 0; list && i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        if ((error->code == BASE_SUSPICIOUS) == warnings)
            list = http_json_append(list, error_row(error));
    }
    return list;
}

json_t *http_json_meter(const diagnose_meter *meter) {
    return json_pack("{s:o,s:o,s:o}", "ohms", http_json_number(meter->ohms), "ohms_per_volt",
                     http_json_number(meter->ohms_per_volt), "range",
                     http_json_number(meter->range));
}
