/* A bench that serves: a store in a folder of its own, the library, a page of two files. */
#ifndef GRIDLEAK_TESTS_HTTP_SERVE_H
#define GRIDLEAK_TESTS_HTTP_SERVE_H

#include "../job/bench.h"
#include "client.h"

#include "http_impl.h"

typedef struct serve {
    bench bench;
    diagnose_priors *priors;
    http_options options;
    http_limits limits;
    http_server *server;
    int port;
} serve;

static inline const char *serve_amp_name(void *library, size_t index) {
    bench *bench = library;
    return index < bench->amps ? bench->amp[index].name : NULL;
}

static inline int64_t serve_clock(void *data) {
    int64_t *now = data;
    return __atomic_add_fetch(now, 1000, __ATOMIC_SEQ_CST);
}

static inline void serve_prepare(serve *serve) {
    static const http_file page[] = {{"index.html", "text/html; charset=utf-8", "PAGE", 4},
                                     {"app-1a2b.js", "text/javascript; charset=utf-8", "CODE", 4}};
    memset(serve, 0, sizeof *serve);
    bench_open(&serve->bench);
    size_t length;
    char *text = support_file("data/priors/faults.yaml", &length);
    serve->priors = diagnose_priors_read("priors", text, length, serve->bench.errors);
    assert_non_null(serve->priors);
    free(text);
    serve->limits = http_limits_default;
    serve->options = (http_options){.version = "test",
                                    .state = serve->bench.folder,
                                    .file = page,
                                    .files = 2,
                                    .tubes = serve->bench.tubes,
                                    .priors = serve->priors,
                                    .amp = bench_amp,
                                    .amps = serve_amp_name,
                                    .library = &serve->bench,
                                    .clock = serve_clock,
                                    .clock_data = &serve->bench.now};
}

static inline void serve_start(serve *serve) {
    serve->server =
        http_start_within(serve->bench.store, &serve->options, &serve->limits, serve->bench.errors);
    if (!serve->server) bench_say(serve->bench.errors);
    assert_non_null(serve->server);
    serve->port = http_port(serve->server);
}

static inline void serve_stop(serve *serve) {
    http_stop(serve->server);
    serve->server = NULL;
}

static inline void serve_finish(serve *serve) {
    serve_stop(serve);
    diagnose_priors_free(serve->priors);
    bench_close(&serve->bench);
}

/* Takes in an amp; returns the job. */
static inline int64_t serve_job(serve *serve, const char *amp) {
    char body[256];
    snprintf(body, sizeof body,
             "{\"owner\": \"Ada Moss\", \"complaint\": \"hums\", \"amp\": \"%s\"}", amp);
    client_answer answer = client_post(serve->port, "/api/jobs", body);
    int64_t job = json_integer_value(client_at(answer.json, "job"));
    if (!job) print_message("%s\n", answer.text);
    assert_true(job > 0);
    client_free(&answer);
    return job;
}

/* Adds a fact and expects this status. */
static inline void serve_fact(serve *serve, int64_t job, const char *fact, int status) {
    char path[64];
    snprintf(path, sizeof path, "/api/jobs/%lld/facts", (long long)job);
    client_answer answer = client_post(serve->port, path, fact);
    if (answer.status != status) print_message("%s\n%s\n", fact, answer.text);
    assert_int_equal(answer.status, status);
    client_free(&answer);
}

static inline client_answer serve_job_get(serve *serve, int64_t job, const char *rest) {
    char path[512];
    snprintf(path, sizeof path, "/api/jobs/%lld%s", (long long)job, rest);
    return client_fetch(serve->port, path);
}

#endif
