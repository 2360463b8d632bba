/* An export read back into an empty store: element by element, all of it or nothing. */
#include "job_impl.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#define ELEMENT_MOST (64u << 20) /* bytes of one element: a photo in base64 has some 3 MB */

typedef struct importing {
    job_store *store;
    FILE *file;
    const char *path;
    base_errors *errors;
    int line;     /* that the reader is at */
    int first;    /* on which the element began */
    size_t taken; /* bytes of this element */
    bool freeze;  /* drawings are taken from the library as it now is */
} importing;

/* ---- reading ------------------------------------------------------------------------------- */

static base_place here(const importing *importing) {
    return (base_place){importing->path, importing->first, 0};
}

static int next(importing *importing) {
    int c = getc(importing->file);
    if (c == '\n') importing->line++;
    return c;
}

/* One byte at a time, so that the JSON reader never takes one of the next element. */
static size_t give(void *buffer, size_t room, void *data) {
    importing *importing = data;
    (void)room;
    if (importing->taken++ >= ELEMENT_MOST) return 0;
    int c = next(importing);
    if (c == EOF) return 0;
    *(char *)buffer = (char)c;
    return 1;
}

static int mark_read(importing *importing) {
    int c;
    do {
        c = next(importing);
    } while (c == ' ' || c == '\n' || c == '\t' || c == '\r');
    return c;
}

static json_t *element_read(importing *importing) {
    json_error_t error;
    importing->first = importing->line;
    importing->taken = 0;
    json_t *element = json_load_callback(give, importing,
                                         JSON_DISABLE_EOF_CHECK | JSON_REJECT_DUPLICATES, &error);
    if (element && json_is_object(element)) return element;
    json_decref(element);
    if (!element && !error.text[0]) /* the JSON reader has no words for want of memory */
        job_no_memory(importing->errors);
    else if (importing->taken > ELEMENT_MOST)
        base_errors_add(importing->errors, BASE_SYNTAX, here(importing),
                        "an element is longer than %u MB|this is no export of a store",
                        ELEMENT_MOST >> 20);
    else
        base_errors_add(importing->errors, BASE_SYNTAX,
                        (base_place){importing->path, importing->line, 0},
                        "the export cannot be read: %.160s|use a whole export, as it was written",
                        element ? "an element is no object" : error.text);
    return NULL;
}

/* ---- values -------------------------------------------------------------------------------- */

static base_code broken(const importing *importing, const char *what) {
    return base_errors_add(importing->errors, BASE_SYNTAX, here(importing),
                           "%s|use a whole export, as it was written", what);
}

static int64_t number_of(const json_t *element, const char *key) {
    return json_integer_value(json_object_get(element, key));
}

static const char *text_or_null(const json_t *element, const char *key) {
    return json_string_value(json_object_get(element, key));
}

static base_code wrote(const importing *importing, bool well) {
    if (well) return BASE_OK;
    bool refused = (sqlite3_errcode(importing->store->db) & 0xff) == SQLITE_CONSTRAINT;
    if (!refused)
        return job_sql_complain(importing->store->db, "nothing was imported", importing->errors);
    return broken(importing, "an element names what is not there, or is there twice");
}

/* ---- elements ------------------------------------------------------------------------------ */

static base_code head_take(importing *importing, const json_t *element) {
    int64_t version = number_of(element, "version");
    importing->freeze = json_is_true(json_object_get(element, "drawings from library"));
    if (strcmp(job_text_of(element, "gridleak"), "store") != 0 || version < 1)
        return broken(importing, "the file is no export of a store");
    if (version > JOB_VERSION)
        return base_errors_add(importing->errors, BASE_FILE, here(importing),
                               "the export is of version %lld, and this program knows up to %d"
                               "|use the newer program that wrote it",
                               (long long)version, JOB_VERSION);
    return BASE_OK;
}

static base_code shop_take(importing *importing, const json_t *element) {
    const json_t *body = json_object_get(element, "body");
    base_code code = job_shop_check(body, importing->errors);
    if (code != BASE_OK) return code;
    char *text = job_json_text(body);
    if (!text) return job_no_memory(importing->errors);
    code =
        wrote(importing,
              job_sql_run(importing->store, "INSERT INTO shop_fact (id, at, body) VALUES (?, ?, ?)",
                          "iis", number_of(element, "shop"), number_of(element, "at"), text));
    free(text);
    return code;
}

static base_code text_take(importing *importing, const json_t *element) {
    char hash[JOB_HASH];
    const char *yaml = job_text_of(element, "yaml"), *named = job_text_of(element, "text");
    job_hash(yaml, strlen(yaml), hash);
    if (strcmp(hash, named) != 0)
        return broken(importing, "an amp's text is not the one that its hash names");
    return wrote(importing,
                 job_sql_run(importing->store, "INSERT INTO amp_text (hash, text) VALUES (?, ?)",
                             "ss", hash, yaml));
}

static base_code amp_take(importing *importing, const json_t *element) {
    return wrote(importing,
                 job_sql_run(importing->store,
                             "INSERT INTO amp_fact (id, at, name, hash) VALUES (?, ?, ?, ?)",
                             "iiss", number_of(element, "amp"), number_of(element, "at"),
                             text_or_null(element, "name"), text_or_null(element, "text")));
}

/* Bytes to be freed; NULL where it is no base64, or memory is out. */
static unsigned char *bytes_of(const json_t *element, const char *key, size_t *length) {
    const json_t *value = json_object_get(element, key);
    size_t most = json_string_length(value) / 4 * 3 + 3;
    unsigned char *bytes = json_is_string(value) ? malloc(most) : NULL;
    if (bytes && sodium_base642bin(bytes, most, json_string_value(value), json_string_length(value),
                                   NULL, length, NULL, sodium_base64_VARIANT_ORIGINAL) != 0) {
        free(bytes);
        return NULL;
    }
    return bytes;
}

static base_code photo_take(importing *importing, const json_t *element) {
    char hash[JOB_HASH] = "";
    size_t length = 0, small_length = 0;
    unsigned char *jpeg = bytes_of(element, "jpeg", &length);
    unsigned char *small = bytes_of(element, "small", &small_length);
    if (jpeg) job_hash(jpeg, length, hash);
    base_code code;
    if (!jpeg || !small || strcmp(hash, job_text_of(element, "photo")) != 0 ||
        !job_photo_is_jpeg(jpeg, length) || !job_photo_is_jpeg(small, small_length))
        code = broken(importing, "a photo is not the one that its hash names");
    else
        code =
            wrote(importing, job_sql_run(importing->store,
                                         "INSERT INTO photo (hash, jpeg, small) VALUES (?, ?, ?)",
                                         "sbb", hash, jpeg, length, small, small_length));
    free(jpeg);
    free(small);
    return code;
}

static base_code job_take(importing *importing, const json_t *element) {
    return wrote(importing,
                 job_sql_run(importing->store,
                             "INSERT INTO job (job, number, opened) VALUES (?, ?, ?)", "iii",
                             number_of(element, "job"), number_of(element, "number"),
                             number_of(element, "opened")));
}

static base_code drawing_take(importing *importing, const json_t *element, char hash[JOB_HASH]) {
    const json_t *body = json_object_get(element, "body");
    snprintf(hash, JOB_HASH, "%s", job_text_of(element, "drawing"));
    if (hash[0] || !importing->freeze || strcmp(job_text_of(element, "kind"), "take in") != 0)
        return BASE_OK;
    return job_drawing_find(importing->store, job_text_of(body, "amp"), hash, importing->errors);
}

static base_code fact_take(importing *importing, const json_t *element) {
    const json_t *body = json_object_get(element, "body");
    const job_kind *kind = job_kind_find(job_text_of(element, "kind"));
    char hash[JOB_HASH];
    if (!kind) return broken(importing, "a fact is of a kind that is not known");
    base_code code = job_body_check(kind, body, importing->errors);
    if (code == BASE_OK) code = drawing_take(importing, element, hash);
    if (code != BASE_OK) return code;
    char *text = job_json_text(body);
    if (!text) return job_no_memory(importing->errors);
    code = wrote(importing,
                 job_sql_run(importing->store,
                             "INSERT INTO fact (id, job, at, kind, body, replaces, token, drawing) "
                             "VALUES (?, ?, ?, ?, ?, nullif(?, 0), ?, nullif(?, ''))",
                             "iiississ", number_of(element, "fact"), number_of(element, "job"),
                             number_of(element, "at"), kind->name, text,
                             number_of(element, "replaces"), text_or_null(element, "token"), hash));
    free(text);
    return code;
}

static base_code element_take(importing *importing, const json_t *element) {
    static const struct {
        const char *key;
        base_code (*take)(struct importing *importing, const json_t *element);
    } takes[] = {{"shop", shop_take},   {"text", text_take}, {"amp", amp_take},
                 {"photo", photo_take}, {"fact", fact_take}, {"job", job_take}};
    /* `fact` names its `job`, and `amp` its `text`: the key that comes first says what it is. */
    const char *first = json_object_iter_key(json_object_iter((json_t *)element));
    for (size_t i = 0; first && i < sizeof takes / sizeof *takes; i++)
        if (strcmp(takes[i].key, first) == 0) return takes[i].take(importing, element);
    return broken(importing, "an element is of no kind that is known");
}

/* ---- the whole ----------------------------------------------------------------------------- */

static base_code list_take(importing *importing) {
    base_code code = BASE_OK;
    int mark = mark_read(importing);
    if (mark != '[') return broken(importing, "the file is no export of a store");
    for (size_t i = 0; code == BASE_OK && mark != ']'; i++) {
        json_t *element = element_read(importing);
        code = !element ? BASE_SYNTAX
               : i == 0 ? head_take(importing, element)
                        : element_take(importing, element);
        json_decref(element);
        mark = code == BASE_OK ? mark_read(importing) : ']';
        if (mark != ',' && mark != ']') code = broken(importing, "the export ends too soon");
    }
    if (code == BASE_OK && mark_read(importing) != EOF)
        code = broken(importing, "something stands behind the end of the export");
    return code;
}

static base_code is_empty(job_store *store, base_errors *errors) {
    int64_t rows = 0;
    if (!job_sql_number(store,
                        "SELECT (SELECT count(*) FROM job) + (SELECT count(*) FROM shop_fact) + "
                        "(SELECT count(*) FROM amp_fact) + (SELECT count(*) FROM photo)",
                        &rows))
        return job_sql_complain(store->db, "the store was not read", errors);
    if (rows == 0) return BASE_OK;
    return base_errors_add(errors, BASE_USAGE, JOB_NOWHERE,
                           "the store is not empty, and an import does not mix two shops"
                           "|import into a new store");
}

base_code job_import(job_store *store, const char *path, base_errors *errors) {
    importing importing = {.store = store, .path = path, .errors = errors, .line = 1, .first = 1};
    importing.file = fopen(path, "re");
    if (!importing.file) return job_file_complain(path, "the export cannot be opened", errors);
    base_code code = job_begin(store, errors);
    if (code == BASE_OK) {
        code = is_empty(store, errors);
        if (code == BASE_OK) code = list_take(&importing);
        if (code == BASE_OK && ferror(importing.file))
            code = job_file_complain(path, "the export was not read", errors);
        if (code == BASE_OK) code = job_derive_all(store, errors);
        code = job_end(store, code, errors);
    }
    fclose(importing.file);
    return code;
}
