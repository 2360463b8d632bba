/* JSON objects with one memory of failure. */
#include "cli.h"

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

void cli_json_take(cli *cli, json_t *result) {
    if (json_object_update(cli->json, result) != 0) cli->json_failed = true;
    json_decref(result);
}
