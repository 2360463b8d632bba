/* Any bytes as a request to the bench, below the socket: the first line is method and address, the
 * second the type of the body, the rest the body. It never crashes, is never at fault itself, and
 * every refusal says why and what to do. */
#include "files.h"
#include "http_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define FRESH 400 /* requests to one store */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

/* ---- the bench ----------------------------------------------------------------------------- */

static const char *amp(void *library, const char *name, size_t *length) {
    size_t count;
    const cli_file *files = cli_files(&count);
    char full[128];
    (void)library;
    snprintf(full, sizeof full, "amps/%.100s.yaml", name);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, full) == 0) {
            *length = files[i].length;
            return files[i].data;
        }
    return NULL;
}

static const char *amp_name(void *library, size_t index) {
    (void)library;
    return index == 0 ? "thimble" : NULL;
}

static int64_t clock_stands(void *data) {
    (void)data;
    return 1740830400000; /* 2025-03-01 12:00:00 UTC */
}

static http_options *make_options(base_errors *errors) {
    static http_options options = {
        .version = "fuzz", .state = "/tmp", .amp = amp, .amps = amp_name, .clock = clock_stands};
    size_t count;
    const cli_file *files = cli_files(&count);
    tube_library *tubes = tube_library_new();
    for (size_t i = 0; i < count; i++) {
        const cli_file *file = &files[i];
        if (strncmp(file->name, "tubes/", 6) == 0)
            demand(tube_library_add(tubes, file->name, file->data, file->length, errors) == 0);
        if (strcmp(file->name, "priors/faults.yaml") == 0)
            options.priors = diagnose_priors_read(file->name, file->data, file->length, errors);
    }
    options.tubes = tubes;
    return &options;
}

typedef struct bench {
    char folder[64], path[96];
    http_options *options;
    job_store *store;
    http_server *server;
    base_errors *errors;
    int asked;
} bench;

static bench here;

static void close_bench(void) {
    char path[128];
    static const char *const beside[] = {"", "-wal", "-shm"};
    http_core_free(here.server);
    job_store_close(here.store);
    for (size_t i = 0; i < 3; i++) {
        snprintf(path, sizeof path, "%s%s", here.path, beside[i]);
        unlink(path);
    }
    here.server = NULL;
    here.store = NULL;
}

static void end_bench(void) {
    close_bench();
    rmdir(here.folder);
}

static void open_bench(void) {
    int64_t job;
    if (!here.options) {
        here.errors = base_errors_new();
        here.options = make_options(here.errors);
        strcpy(here.folder, "/tmp/gridleak-fuzz-XXXXXX");
        demand(mkdtemp(here.folder) != NULL);
        snprintf(here.path, sizeof here.path, "%s/shop.store", here.folder);
        atexit(end_bench);
    }
    here.store = job_store_open(here.path, here.errors);
    demand(here.store != NULL);
    job_store_use_library(here.store, here.options->tubes, amp, NULL);
    here.server = http_core_new(here.store, here.options, here.errors);
    json_t *body =
        json_pack("{s:s,s:s,s:s}", "owner", "Ada", "complaint", "hums", "amp", "thimble");
    demand(here.server && job_create(here.store, body, 1, &job, here.errors) == BASE_OK);
    json_decref(body);
    here.asked = 0;
}

/* ---- one request --------------------------------------------------------------------------- */

/* The next line, 0-ended in `line`; what follows it. */
static const char *take_line(const char *at, const char *end, char *line, size_t size) {
    const char *stop = memchr(at, '\n', (size_t)(end - at));
    size_t length = stop ? (size_t)(stop - at) : (size_t)(end - at);
    snprintf(line, size, "%.*s", (int)length, at);
    return stop ? stop + 1 : end;
}

static void demand_sound(const http_answer *answer) {
    demand(answer->status >= 200 && answer->status < 500);
    if (answer->status < 400) return;
    json_t *json = json_loadb(answer->data, answer->length, JSON_REJECT_DUPLICATES, NULL);
    json_t *first = json_array_get(json_object_get(json, "errors"), 0);
    demand(json_string_length(json_object_get(first, "cause")) > 0);
    demand(json_string_length(json_object_get(first, "remedy")) > 0);
    json_decref(json);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    char line[3000], type[100];
    const char *at = (const char *)data, *end = at + size;
    http_request request = {.host = "127.0.0.1:0"};
    http_answer answer;
    if (here.asked++ == FRESH) close_bench();
    if (!here.server) open_bench();
    at = take_line(at, end, line, sizeof line);
    at = take_line(at, end, type, sizeof type);
    char *space = strchr(line, ' ');
    if (!space) return 0;
    *space = 0;
    request.method = line;
    request.content_type = type;
    request.body = at;
    request.length = (size_t)(end - at);
    if (!http_target_read(&request.target, space + 1)) return 0;
    http_handle(here.server, &request, &answer);
    demand_sound(&answer);
    http_answer_clear(&answer);
    return 0;
}
