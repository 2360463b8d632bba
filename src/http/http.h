/* http: the local server of the bench page. JSON API, live stream, the page's files. */
#ifndef GRIDLEAK_HTTP_H
#define GRIDLEAK_HTTP_H

#include <jansson.h>

#include "base.h"
#include "diagnose.h"
#include "job.h"
#include "service.h"

/* ---- results as JSON: one shape for the API and for --json (docs/json.md)
 * ---------------------------- */

json_t *http_json_errors(const base_errors *errors);
json_t *http_json_chart(const service_chart *chart);
json_t *http_json_belief(const diagnose_engine *engine, const diagnose_belief *belief, bool all);
json_t *http_json_tube(const tube_type *type);

/* ---- the server
 * --------------------------------------------------------------------------------------- */

typedef struct http_file { /* a page file, gzip */
    const char *name, *type;
    const void *data;
    size_t length;
} http_file;

typedef struct http_options {
    int port;              /* 0: any free one */
    bool lan;              /* beyond loopback: TLS and a pairing code */
    const char *state;     /* folder for the certificate */
    const http_file *file; /* the page */
    size_t files;
    /* The library: tube types, amp texts by name, priors. Borrowed. */
    const tube_library *tubes;
    const diagnose_priors *priors;
    const char *(*amp)(void *library, const char *name, size_t *length);
    json_t *(*amps)(void *library); /* [{name, family, story}] */
    void *library;
    int64_t (*clock)(void *); /* milliseconds; NULL: the system's */
    void *clock_data;
} http_options;

typedef struct http_server http_server;
/* Starts threads and returns; NULL with a complaint (port in use: names it and the remedy). */
http_server *http_start(job_store *store, const http_options *options, base_errors *errors);
void http_stop(http_server *server); /* resumes every stream first; takes NULL */
int http_port(const http_server *server);
const char *http_address(const http_server *server); /* "http://127.0.0.1:8473/" */
const char *
http_pairing(const http_server *server); /* the code shown on the bench; NULL without lan */

/* The route table, for the OpenAPI check. */
typedef struct http_route {
    const char *method, *path; /* "/api/jobs/{job}/facts" */
    const char *summary;
} http_route;
const http_route *http_routes(size_t *count);

#endif
