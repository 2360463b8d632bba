/* JSON objects with one memory of failure. */
#include "cli.h"

#include <math.h>

json_t *cli_json_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

/* Text from outside may hold bytes that are no UTF-8; JSON may not: each becomes a `?`. */
json_t *cli_json_text(const char *text) {
    if (!text) return json_null();
    json_t *value = json_string(text);
    if (value) return value;
    base_text safe;
    base_text_init(&safe, 1u << 20);
    for (const char *c = text; *c; c++)
        base_text_add(&safe, "%c", (unsigned char)*c < 0x80 ? *c : '?');
    value = safe.failed ? NULL : json_string(safe.data);
    base_text_free(&safe);
    return value;
}

void cli_json_set(cli *cli, json_t *object, const char *key, json_t *value) {
    if (json_object_set_new(object, key, value) != 0) cli->json_failed = true;
}

void cli_json_add(cli *cli, json_t *list, json_t *value) {
    if (json_array_append_new(list, value) != 0) cli->json_failed = true;
}

json_t *cli_json_object_in(cli *cli, json_t *object, const char *key) {
    json_t *value = json_object();
    cli_json_set(cli, object, key, value);
    return value;
}

json_t *cli_json_list_in(cli *cli, json_t *object, const char *key) {
    json_t *value = json_array();
    cli_json_set(cli, object, key, value);
    return value;
}

json_t *cli_json_row_in(cli *cli, json_t *list) {
    json_t *value = json_object();
    cli_json_add(cli, list, value);
    return value;
}

json_t *cli_json_errors(cli *cli, bool warnings) {
    json_t *list = json_array();
    for (size_t i = 0; i < base_errors_count(cli->errors); i++) {
        const base_error *error = base_errors_at(cli->errors, i);
        if ((error->code == BASE_SUSPICIOUS) != warnings) continue;
        json_t *row = cli_json_row_in(cli, list);
        cli_json_set(cli, row, "code", cli_json_text(base_code_of(error->code)->name));
        cli_json_set(cli, row, "file", cli_json_text(error->file));
        cli_json_set(cli, row, "line", error->line > 0 ? json_integer(error->line) : json_null());
        cli_json_set(cli, row, "column",
                     error->column > 0 ? json_integer(error->column) : json_null());
        cli_json_set(cli, row, "cause", cli_json_text(error->cause));
        cli_json_set(cli, row, "remedy", cli_json_text(error->remedy));
    }
    return list;
}

json_t *cli_json_meter(cli *cli, const diagnose_meter *meter) {
    json_t *object = json_object();
    cli_json_set(cli, object, "ohms", cli_json_number(meter->ohms));
    cli_json_set(cli, object, "ohms_per_volt", cli_json_number(meter->ohms_per_volt));
    cli_json_set(cli, object, "range", cli_json_number(meter->range));
    return object;
}
