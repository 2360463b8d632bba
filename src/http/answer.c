/* Answers: JSON, complaints, bytes. */
#include "http_impl.h"

#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char media_json[] = "application/json";
static const char no_memory[] =
    "{\"errors\":[{\"code\":\"memory\",\"file\":null,\"line\":null,\"column\":null,"
    "\"cause\":\"no memory left\",\"remedy\":\"close other programs and try again\"}]}";

void http_answer_clear(http_answer *answer) {
    if (!answer->borrowed) free(answer->data);
    *answer = (http_answer){0};
}

static void answer_no_memory(http_answer *answer) {
    http_answer_clear(answer);
    answer->status = base_code_of(BASE_MEMORY)->http_status;
    answer->type = media_json;
    answer->data = (void *)no_memory;
    answer->length = strlen(no_memory);
    answer->borrowed = true;
}

void http_answer_bytes(http_answer *answer, const char *type, void *data, size_t length) {
    if (!data) return answer_no_memory(answer);
    if (!answer->borrowed) free(answer->data);
    answer->data = data;
    answer->length = length;
    answer->borrowed = false;
    answer->type = type;
    if (!answer->status) answer->status = 200;
}

void http_answer_json(http_answer *answer, json_t *json, int digits) {
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION((size_t)digits)) : NULL;
    json_decref(json);
    http_answer_bytes(answer, media_json, text, text ? strlen(text) : 0);
}

void http_answer_errors(http_answer *answer, const base_errors *errors) {
    base_code worst = base_errors_worst(errors);
    answer->status = base_code_of(worst)->http_status;
    http_answer_json(answer, json_pack("{s:o}", "errors", http_json_errors(errors, false)), 15);
}

void http_refuse(http_answer *answer, int status, base_code code, const char *words) {
    base_errors *errors = base_errors_new();
    if (!errors) return answer_no_memory(answer);
    const char *bar = strchr(words, '|');
    base_errors_add(errors, code, (base_place){0}, "%.*s|%s",
                    (int)(bar ? (size_t)(bar - words) : strlen(words)), words, bar ? bar + 1 : "");
    http_answer_errors(answer, errors);
    answer->status = status;
    base_errors_free(errors);
}

void http_answer_tag(http_answer *answer, const http_request *request) {
    unsigned char hash[crypto_generichash_BYTES_MIN];
    if (answer->status != 200) return;
    crypto_generichash(hash, sizeof hash, answer->data, answer->length, NULL, 0);
    answer->etag[0] = '"';
    sodium_bin2hex(answer->etag + 1, 2 * sizeof hash + 1, hash, sizeof hash);
    strcat(answer->etag, "\"");
    if (!request->if_none_match || !strstr(request->if_none_match, answer->etag)) return;
    http_answer mine = {.status = 304, .cache = answer->cache};
    memcpy(mine.etag, answer->etag, sizeof mine.etag);
    http_answer_clear(answer);
    *answer = mine;
}
