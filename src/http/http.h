/* http: the local server of the bench page. JSON API, live stream, the page's files.
 *
 * It answers on the loopback interface in plain HTTP. With `lan` it answers a second port on every
 * interface, with TLS, to devices that were paired by a code shown on the bench. docs/api.md
 * describes every path; docs/openapi.json is held against http_routes() by a test. */
#ifndef GRIDLEAK_HTTP_H
#define GRIDLEAK_HTTP_H

#include <jansson.h>

#include "base.h"
#include "diagnose.h"
#include "job.h"
#include "meter.h"
#include "practice.h"
#include "service.h"

/* ---- results as JSON: one shape for the API and for --json (docs/json.md)
 *
 * Each returns a new reference; NULL: no memory. ----------------------------------------------- */

json_t *http_json_number(double value);    /* null where it is not finite */
json_t *http_json_text(const char *text);  /* null for NULL; what is no UTF-8 becomes `?` */
json_t *http_json_words(const char *text); /* null for NULL and for "" */
/* Appends `item`, stealing both; NULL where either is NULL. So that lists can be built in a line.
 */
json_t *http_json_append(json_t *list, json_t *item);
/* The complaints that stop, or the warnings. */
json_t *http_json_errors(const base_errors *errors, bool warnings);
json_t *http_json_meter(const diagnose_meter *meter);
json_t *http_json_chart(const service_chart *chart);
json_t *http_json_tube(const tube_type *type);
json_t *http_json_response(const service_response *response);
json_t *http_json_hum(const service_hum *hum);
json_t *http_json_tremolo(const service_tremolo *tremolo);
json_t *http_json_margin(const service_margin *margin);
json_t *http_json_margins(const service_margins *margins);
json_t *http_json_swap(const service_swap *swap);
json_t *http_json_value(const service_value *value);
json_t *http_json_drain(const service_drain *drain);
json_t *http_json_substitute(const service_substitute *found);
json_t *http_json_mains(const service_mains *mains);
json_t *http_json_fuses(const service_fuses *fuses);
json_t *http_json_plot(const service_plot *plot);
json_t *http_json_powerup(const service_powerup *powerup);
json_t *http_json_output(const service_output *output);

/* A belief with what it was made from. */
typedef struct http_case {
    const circuit *amp;
    const diagnose_readings *readings;
    const diagnose_engine *engine;
    const diagnose_belief *belief;
    double mains;
    bool measured; /* the mains was read at the wall */
    diagnose_meter meter;
} http_case;
json_t *http_json_suspects(const http_case *at);
json_t *http_json_symptoms(const diagnose_symptoms *symptoms);

/* ---- the server
 * --------------------------------------------------------------------------------------- */

typedef struct http_file { /* a page file, gzip */
    const char *name, *type;
    const void *data;
    size_t length;
} http_file;

typedef struct http_options {
    const char *version;
    int port;              /* 0: any free one; with lan the next one is used too */
    bool lan;              /* beyond loopback: TLS and a pairing code */
    const char *state;     /* folder for the certificate and for files on their way */
    const http_file *file; /* the page */
    size_t files;
    /* The library: tube types, amp texts by name, priors. Borrowed. */
    const tube_library *tubes;
    const diagnose_priors *priors;
    const char *(*amp)(void *library, const char *name, size_t *length);
    const char *(*amps)(void *library, size_t index); /* names; NULL past the last */
    void *library;
    const meter_profiles *meters; /* NULL: no meter can be connected */
    practice *practice;           /* of the practice bench; NULL: this is none */
    int64_t (*clock)(void *);     /* milliseconds since 1970; NULL: the system's */
    void *clock_data;
} http_options;

typedef struct http_server http_server;
/* Starts threads and returns; NULL with a complaint (port in use: names it and the remedy). All of
 * `options` is borrowed until http_stop. */
http_server *http_start(job_store *store, const http_options *options, base_errors *errors);
void http_stop(http_server *server); /* ends every stream first; takes NULL */
/* Connects the bench to a meter, as PUT /api/meter does. False with a complaint. */
bool http_meter(http_server *server, const char *address, base_errors *errors);
int http_port(const http_server *server);
const char *http_address(const http_server *server); /* "http://127.0.0.1:8473/" */

/* With `lan`: what the bench screen shows. */
typedef struct http_lan {
    char code[12];           /* "1234 5678"; changes when a device was paired */
    const char *address;     /* "https://192.168.1.20:8474/"; NULL: the machine has no address */
    const char *fingerprint; /* SHA-256 of the certificate, in hex by pairs */
    int devices;             /* paired now */
    int locked_s;            /* seconds until the next guess is looked at */
} http_lan;
bool http_lan_now(http_server *server, http_lan *lan); /* false without lan */
/* `text` as a QR code in UTF-8 half blocks, for a terminal; to be freed. NULL: no memory. */
char *http_qr_text(const char *text);

/* The route table, for the OpenAPI check. */
typedef struct http_route {
    const char *method, *path; /* "/api/jobs/{job}/facts" */
    const char *summary;
} http_route;
const http_route *http_route_at(size_t index); /* NULL past the last */

#endif
