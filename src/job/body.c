/* A fact's body against its kind's table: every complaint names the key and the remedy. */
#include "job_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TEXT_MOST (64 << 10) /* bytes of one text */
#define LIST_MOST 200        /* entries of one list */
#define PLACE_MOST 60
#define KEYS_MOST 24

typedef struct checker {
    const job_kind *kind;
    base_errors *errors;
    base_code code; /* of the first complaint */
} checker;

#define COMPLAIN(checker, error, ...)                                                              \
    note((checker), base_errors_add((checker)->errors, (error), JOB_NOWHERE, __VA_ARGS__))

static void note(checker *checker, base_code code) {
    if (checker->code == BASE_OK) checker->code = code;
}

/* ---- texts --------------------------------------------------------------------------------- */

/* Control characters of both sets (U+0000-1F, 7F, 80-9F) can drive a terminal or a printer; tab and
 * the ends of lines belong to what people write. */
static bool is_control(const char *c) {
    unsigned char first = (unsigned char)c[0];
    if (first < ' ') return first != '\n' && first != '\t' && first != '\r';
    return first == 0x7F || (first == 0xC2 && (unsigned char)c[1] < 0xA0);
}

static bool is_blank(const char *text) {
    return text[strspn(text, " \t\r\n")] == 0;
}

typedef enum bytes { BYTES_TEXT, BYTES_CONTROL, BYTES_NO_UTF8 } bytes;

static bytes judge(const char *text, size_t length) {
    for (size_t i = 0, step; i < length; i += step) {
        step = base_utf8_length(text + i, length - i);
        if (step == 0) return BYTES_NO_UTF8;
        if (is_control(text + i)) return BYTES_CONTROL;
    }
    return BYTES_TEXT;
}

static bool text_check(checker *checker, const job_key *key, const json_t *value) {
    const char *text = json_string_value(value);
    size_t length = json_string_length(value);
    if (length > TEXT_MOST)
        COMPLAIN(checker, BASE_VALUE,
                 "`%s` of `%s` is %zu kB long|write at most %d kB; a long "
                 "text can be several notes",
                 key->name, checker->kind->name, length >> 10, TEXT_MOST >> 10);
    else if (judge(text, length) == BYTES_NO_UTF8)
        COMPLAIN(checker, BASE_SYNTAX, "`%s` of `%s` is no UTF-8 text|send it as UTF-8", key->name,
                 checker->kind->name);
    else if (judge(text, length) == BYTES_CONTROL)
        COMPLAIN(checker, BASE_SYNTAX,
                 "`%s` of `%s` holds a control character|leave out what cannot be printed",
                 key->name, checker->kind->name);
    else if (key->must && is_blank(text))
        COMPLAIN(checker, BASE_VALUE, "`%s` of `%s` is empty|write something there", key->name,
                 checker->kind->name);
    else
        return true;
    return false;
}

/* The words of a bar-separated list, each ended by a 0 in `room`. Returns how many. */
static size_t split(const char *list, char *room, size_t size, const char **word) {
    size_t count = 0;
    snprintf(room, size, "%s", list);
    for (char *save, *at = strtok_r(room, "|", &save); at && count < KEYS_MOST;
         at = strtok_r(NULL, "|", &save))
        word[count++] = at;
    return count;
}

static void words_check(checker *checker, const job_key *key, const char *text) {
    char room[256], listed[256];
    const char *word[KEYS_MOST];
    size_t count = split(key->words, room, sizeof room, word);
    for (size_t i = 0; i < count; i++)
        if (strcmp(word[i], text) == 0) return;
    const char *nearest = base_nearest_name(text, word, count);
    snprintf(listed, sizeof listed, "%s", key->words);
    for (char *bar = listed; (bar = strchr(bar, '|'));)
        *bar = ',';
    COMPLAIN(checker, BASE_VALUE, "`%s` of `%s` cannot be `%.60s`|%s%s%swrite one of: %s",
             key->name, checker->kind->name, text, nearest ? "did you mean `" : "",
             nearest ? nearest : "", nearest ? "`? " : "", listed);
}

/* ---- places -------------------------------------------------------------------------------- */

/* A word of an amp's names: letters, digits, `_`, `+`, `.`, and blanks inside (a winding). */
static bool place_word(const char *text, size_t length) {
    if (length == 0 || text[0] == ' ' || text[length - 1] == ' ') return false;
    for (size_t i = 0; i < length; i++)
        if (!isalnum((unsigned char)text[i]) && !strchr("_+. ", text[i])) return false;
    return true;
}

static bool place_may_be(const char *text) {
    const char *dash = strchr(text, '-');
    size_t length = strlen(text);
    if (length > PLACE_MOST) return false;
    if (!dash) return place_word(text, length);
    return place_word(text, (size_t)(dash - text)) && place_word(dash + 1, strlen(dash + 1));
}

static void place_check(checker *checker, const job_key *key, const char *text) {
    if (place_may_be(text)) return;
    COMPLAIN(checker, BASE_SYNTAX,
             "`%s` of `%s` is no place of an amp: `%.60s`|write a part (C9), a pin (V2.3), a node "
             "(B1) or a difference (V5.4-B2)",
             key->name, checker->kind->name, text);
}

/* ---- numbers and lists --------------------------------------------------------------------- */

static void number_check(checker *checker, const job_key *key, const json_t *value) {
    double number = json_number_value(value);
    if (key->type == 'i' && number != trunc(number))
        COMPLAIN(checker, BASE_VALUE, "`%s` of `%s` is %.6g|write a whole number", key->name,
                 checker->kind->name, number);
    else if (!isfinite(number) ||
             (key->least < key->most && (number < key->least || number > key->most)))
        COMPLAIN(checker, BASE_VALUE,
                 "`%s` of `%s` is %.6g, which makes no sense|write a number from %.10g to %.10g",
                 key->name, checker->kind->name, number, key->least, key->most);
}

static void line_check(checker *checker, const job_key *key, const json_t *line) {
    static const job_key text = {.name = "text", .type = 's', .must = true};
    static const job_key amount = {.name = "amount", .type = 'i', .least = -1e9, .most = 1e9};
    const json_t *words = json_object_get(line, "text"), *money = json_object_get(line, "amount");
    if (!json_is_string(words) || !json_is_number(money) || json_object_size(line) != 2) {
        COMPLAIN(checker, BASE_SYNTAX,
                 "each line of `%s` of `%s` has a text and an amount, and nothing else"
                 "|write {\"text\": \"two capacitors\", \"amount\": 1800}",
                 key->name, checker->kind->name);
        return;
    }
    text_check(checker, &text, words);
    number_check(checker, &amount, money);
}

static void list_check(checker *checker, const job_key *key, const json_t *list) {
    size_t i;
    const json_t *one;
    if (json_array_size(list) > LIST_MOST) {
        COMPLAIN(checker, BASE_VALUE, "`%s` of `%s` has %zu entries|give at most %d", key->name,
                 checker->kind->name, json_array_size(list), LIST_MOST);
        return;
    }
    json_array_foreach(list, i, one) {
        if (key->type == 'o')
            line_check(checker, key, one);
        else if (!json_is_string(one))
            COMPLAIN(checker, BASE_SYNTAX, "`%s` of `%s` is a list of texts|write each in quotes",
                     key->name, checker->kind->name);
        else if (text_check(checker, key, one) && key->words)
            words_check(checker, key, json_string_value(one));
    }
}

/* ---- one key ------------------------------------------------------------------------------- */

static bool type_fits(char type, const json_t *value) {
    switch (type) {
    case 's':
    case 'p':
        return json_is_string(value);
    case 'n':
    case 'i':
        return json_is_number(value);
    case 'b':
        return json_is_boolean(value);
    default:
        return json_is_array(value);
    }
}

static const char *type_words(char type) {
    switch (type) {
    case 's':
        return "a text|write it in quotes";
    case 'p':
        return "a place of the amp|write it in quotes: \"V2.3\"";
    case 'n':
    case 'i':
        return "a number|write it without quotes and without its unit";
    case 'b':
        return "yes or no|write true or false";
    case 'o':
        return "a list of lines|write [{\"text\": \"...\", \"amount\": 1800}]";
    default:
        return "a list of texts|write [\"...\", \"...\"]";
    }
}

static void key_check(checker *checker, const job_key *key, const json_t *value) {
    if (!type_fits(key->type, value)) {
        const char *words = type_words(key->type), *bar = strchr(words, '|');
        COMPLAIN(checker, BASE_SYNTAX, "`%s` of `%s` must be %.*s|%s", key->name,
                 checker->kind->name, (int)(bar - words), words, bar + 1);
        return;
    }
    if (key->type == 'n' || key->type == 'i') number_check(checker, key, value);
    if (json_is_array(value)) list_check(checker, key, value);
    if (!json_is_string(value) || !text_check(checker, key, value)) return;
    if (key->type == 'p') place_check(checker, key, json_string_value(value));
    if (key->words) words_check(checker, key, json_string_value(value));
}

static const job_key *key_find(const job_kind *kind, const char *name) {
    for (const job_key *key = kind->keys; key->name; key++)
        if (strcmp(key->name, name) == 0) return key;
    return NULL;
}

static void unknown_key(checker *checker, const char *name) {
    const char *names[KEYS_MOST];
    char listed[256] = "";
    size_t count = 0;
    for (const job_key *key = checker->kind->keys; key->name; key++) {
        size_t length = strlen(listed);
        snprintf(listed + length, sizeof listed - length, "%s%s", count ? ", " : "", key->name);
        names[count++] = key->name;
    }
    const char *nearest = base_nearest_name(name, names, count);
    if (nearest)
        COMPLAIN(checker, BASE_UNKNOWN, "`%s` has no key `%.60s`|did you mean `%s`?",
                 checker->kind->name, name, nearest);
    else
        COMPLAIN(checker, BASE_UNKNOWN, "`%s` has no key `%.60s`|it has: %s", checker->kind->name,
                 name, listed);
}

base_code job_body_check(const job_kind *kind, const json_t *body, base_errors *errors) {
    checker checker = {kind, errors, BASE_OK};
    const char *name;
    json_t *value;
    if (!json_is_object(body)) {
        COMPLAIN(&checker, BASE_SYNTAX, "`%s` has no body|send an object with its keys",
                 kind->name);
        return checker.code;
    }
    json_object_foreach((json_t *)body, name, value) {
        const job_key *key = key_find(kind, name);
        if (!key)
            unknown_key(&checker, name);
        else if (!json_is_null(value))
            key_check(&checker, key, value);
    }
    for (const job_key *key = kind->keys; key->name; key++) {
        const json_t *given = json_object_get(body, key->name);
        if (key->must && (!given || json_is_null(given)))
            COMPLAIN(&checker, BASE_SYNTAX, "`%s` has no `%s`|it must be given", kind->name,
                     key->name);
    }
    return checker.code;
}

/* ---- looking at a body --------------------------------------------------------------------- */

const char *job_text_of(const json_t *body, const char *key) {
    const char *text = json_string_value(json_object_get(body, key));
    return text ? text : "";
}

double job_number_of(const json_t *body, const char *key) {
    const json_t *value = json_object_get(body, key);
    return json_is_number(value) ? json_number_value(value) : NAN;
}

/* Of 15, 16 and 17 digits the fewest that read back the same: 0.1 stays 0.1. */
char *job_json_text(const json_t *value) {
    for (size_t digits = 15; digits <= 17; digits++) {
        size_t flags = JSON_COMPACT | JSON_REAL_PRECISION(digits);
        char *text = json_dumps(value, flags);
        json_t *read = text && digits < 17 ? json_loads(text, 0, NULL) : NULL;
        bool same = digits == 17 || (read && json_equal(read, value));
        json_decref(read);
        if (!text || same) return text;
        free(text);
    }
    return NULL;
}
