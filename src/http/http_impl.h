/* Inside the room. A request comes down through these files:
 *
 *   daemon.c   libmicrohttpd: reads requests, hands them to a worker, sends answers
 *   watch.c    connections: how many from where, and their deadlines
 *   guard.c    who may ask: Host, Origin, paired devices
 *   route.c    one table: which function answers which path
 *   api_*.c    the answers; amps.c keeps what they work out
 *   events.c   the live stream
 *
 * From http_handle downwards nothing knows of libmicrohttpd, so that tests and the fuzzer can ask
 * without a socket. */
#ifndef GRIDLEAK_HTTP_IMPL_H
#define GRIDLEAK_HTTP_IMPL_H

#include "http.h"

#include <pthread.h>
#include <stdatomic.h>

/* ---- a request ----------------------------------------------------------------------------- */

#define HTTP_TARGET 2048 /* bytes of path and query */
#define HTTP_SEGMENTS 8
#define HTTP_PARAMS 16

typedef struct http_target { /* "/api/jobs/7/chart?phase=after", taken apart and decoded */
    char text[HTTP_TARGET + 1];
    const char *segment[HTTP_SEGMENTS];
    int segments;
    const char *key[HTTP_PARAMS], *value[HTTP_PARAMS];
    int params;
} http_target;
/* false: too long, no absolute path, "..", an empty segment, bytes that are no UTF-8, a control
 * character however it is written. */
bool http_target_read(http_target *target, const char *raw);
const char *http_target_param(const http_target *target, const char *key); /* NULL: not given */

typedef struct http_request {
    const char *method;
    http_target target;
    /* Headers; NULL where not given. */
    const char *host, *origin, *fetch_site, *content_type, *cookie, *if_none_match,
        *accept_encoding, *last_event;
    bool doubled; /* one of them came twice */
    bool lan;     /* by the gate that needs a paired device */
    const void *body;
    size_t length;
} http_request;

typedef struct http_answer {
    int status;
    const char *type; /* media type; NULL: no body */
    void *data;
    size_t length;
    bool borrowed, gzip; /* data is not to be freed; is compressed */
    bool stream;         /* not data but the live stream */
    char etag[48];
    const char *cache;    /* Cache-Control; NULL: no-store */
    char allow[32];       /* of a 405 */
    const char *location; /* of a 303 */
    const char *name;     /* of a file to be saved, or NULL */
    int retry_s;          /* of a 429 */
    char set_cookie[160];
} http_answer;
void http_answer_clear(http_answer *answer);
/* {"errors": [{code, cause, remedy}]}: for refusals that no base_code stands for. */
void http_refuse(http_answer *answer, int status, base_code code, const char *words);
/* The complaints, with the status of the first that is no warning. */
void http_answer_errors(http_answer *answer, const base_errors *errors);
/* Takes `json`; NULL: no memory. `digits` of real numbers. */
void http_answer_json(http_answer *answer, json_t *json, int digits);
/* Takes `data`, which is to be freed. */
void http_answer_bytes(http_answer *answer, const char *type, void *data, size_t length);
/* Sets the ETag from the data, and turns the answer into a 304 when the client has it. */
void http_answer_tag(http_answer *answer, const http_request *request);

/* ---- routes -------------------------------------------------------------------------------- */

#define HTTP_BODY_MAXIMUM (256u << 10)
#define HTTP_PHOTO_MAXIMUM (40u << 20)

typedef struct http_call {
    http_server *server;
    const http_request *request;
    http_answer *answer;
    const char *arg;     /* the last {name} of the path, "" if none */
    int64_t job;         /* {job} */
    const json_t *body;  /* of a route that takes JSON */
    base_errors *errors; /* a handler that fails adds here */
} http_call;

typedef enum http_takes { HTTP_NOTHING, HTTP_JSON, HTTP_BYTES, HTTP_FORM } http_takes;

enum {                 /* bits of http_entry.is */
       HTTP_HEAVY = 1, /* may take a tenth of a second and more: kept away from the others */
       HTTP_BENCH = 2, /* on the bench itself only, not for paired devices */
       HTTP_OPEN = 4,  /* also for devices that are not paired */
};

typedef struct http_entry {
    http_route route;
    void (*answer)(http_call *call); /* NULL: the page's files */
    http_takes takes;
    unsigned is;
} http_entry;
/* The entry for a method and path, or NULL with the refusal in `answer` (404, 405). HEAD finds GET.
 * *arg and *job (may be NULL) as in http_call. */
const http_entry *http_entry_find(const char *method, const http_target *target,
                                  http_answer *answer);
size_t http_entry_limit(const http_entry *entry); /* bytes of body */

/* Everything below the socket: guard, route, body, answer. */
void http_handle(http_server *server, const http_request *request, http_answer *answer);
/* What can be refused before the body is there; NULL then, with the answer. */
const http_entry *http_admit(http_server *server, const http_request *request, http_answer *answer);
/* Host, Origin and fetch metadata; false with the answer. */
bool http_guard_origin(const http_server *server, const http_request *request, http_answer *answer);
/* Is this device paired, where it must be? false with the answer. */
bool http_guard_device(http_server *server, const http_request *request, const http_entry *entry,
                       http_answer *answer);

/* In a handler: a parameter of the query, `otherwise` where it is not given. */
const char *http_param(const http_call *call, const char *key, const char *otherwise);
/* A number of the query in the trade's writing; NAN where it is not given, or with a complaint. */
double http_param_number(http_call *call, const char *key, base_quantity quantity);
/* One of the bar-separated words; NULL with a complaint. */
const char *http_param_word(http_call *call, const char *key, const char *otherwise,
                            const char *words);
/* A text of the JSON body, NULL with a complaint when it is missing or no text. */
const char *http_body_text(http_call *call, const char *key);
/* Answers with JSON: numbers as they were typed, or six digits of what was computed. */
void http_answer_exact(http_call *call, json_t *json);
void http_answer_computed(http_call *call, json_t *json);
int64_t http_now(const http_server *server);

void http_api_symptoms(http_call *);
void http_api_ping(http_call *), http_api_keys(http_call *), http_api_shop(http_call *),
    http_api_shop_put(http_call *), http_api_jobs(http_call *), http_api_job_new(http_call *),
    http_api_job(http_call *), http_api_facts(http_call *), http_api_fact_new(http_call *),
    http_api_undo(http_call *), http_api_history(http_call *), http_api_chart(http_call *),
    http_api_suspects(http_call *), http_api_compare(http_call *), http_api_job_amp(http_call *),
    http_api_edit(http_call *), http_api_differences(http_call *), http_api_substitute(http_call *),
    http_api_dates(http_call *), http_api_report(http_call *), http_api_invoice(http_call *),
    http_api_chart_sheet(http_call *), http_api_csv(http_call *), http_api_photo_new(http_call *),
    http_api_photo(http_call *), http_api_amps(http_call *), http_api_amp(http_call *),
    http_api_amp_put(http_call *), http_api_check(http_call *), http_api_curves(http_call *),
    http_api_response(http_call *), http_api_hum(http_call *), http_api_tremolo(http_call *),
    http_api_margins(http_call *), http_api_fuse(http_call *), http_api_swap(http_call *),
    http_api_mains(http_call *), http_api_value(http_call *), http_api_drain(http_call *),
    http_api_powerup(http_call *), http_api_output(http_call *), http_api_events(http_call *),
    http_api_pairing(http_call *), http_api_pairing_new(http_call *),
    http_api_pairing_qr(http_call *), http_pair_page(http_call *), http_pair_style(http_call *),
    http_api_meter(http_call *), http_api_meter_put(http_call *),
    http_api_meter_recent(http_call *), http_api_meters(http_call *), http_api_guide(http_call *),
    http_api_guide_start(http_call *), http_api_guide_press(http_call *),
    http_api_words(http_call *), http_api_practice(http_call *), http_api_practice_do(http_call *),
    http_api_practice_end(http_call *), http_pair_try(http_call *);
void http_page(http_server *server, const http_request *request, http_answer *answer);

/* ---- amps that are open -------------------------------------------------------------------- */

/* An amp's text read and made ready, kept for a while and shared by all who ask for it. Circuit and
 * system never change; charts and engines are made when they are first asked for. */
typedef struct http_amps http_amps;
typedef struct http_amp {
    circuit *amp;
    solve_system *system;
    const diagnose_priors *priors; /* the library's: for its charts */
} http_amp;
http_amps *http_amps_new(const tube_library *tubes, const diagnose_priors *priors);
void http_amps_free(http_amps *amps);
/* The amp of `text`; `name` is what complaints call it. Give it back. NULL with a complaint. */
http_amp *http_amp_take(http_amps *amps, const char *name, const char *text, base_errors *errors);
void http_amp_give(http_amps *amps, http_amp *amp); /* takes NULL */
/* The text of an amp, the shop's own before the library's; to be freed. NULL with a complaint. */
char *http_amp_text(http_call *call, const char *name, bool *own);
/* Of a job as drawn, found or repaired. */
http_amp *http_amp_of_job(http_call *call, job_amp which);
/* The shop's own of this name before the library's. */
http_amp *http_amp_named(http_call *call, const char *name);
bool http_amp_live(const circuit *amp); /* the mains itself feeds a rectifier */

/* The chart on `mains` (NAN: not measured) with `meter`. Borrowed until http_chart_done, during
 * which nobody else gets a chart of this amp: be short. NULL with a complaint, and then there is
 * nothing to be done. */
const service_chart *http_chart(http_amp *amp, double mains, const diagnose_meter *meter,
                                base_errors *errors);
void http_chart_done(http_amp *amp);
/* While a chart is borrowed: the line at which this probe reads, or -1; *sign -1 where the chart
 * has it the other way round. */
int http_chart_line(const http_amp *amp, const solve_probe *probe, int *sign);

json_t *http_json_parts(const circuit *amp);
json_t *http_json_units(const circuit *amp);                    /* of all tubes */
json_t *http_json_probe(const circuit *amp, int part, int pin); /* the socket; null if none */

/* What past repairs in this shop say: how often each part was to blame. */
typedef struct http_past {
    int alike;           /* repairs of such amps */
    const json_t *cause; /* [{part, what, count}]; NULL: their counts are not to be used */
} http_past;
/* The list of suspects as JSON text, to be freed; NULL with a complaint. The last answers are kept,
 * so that several windows cost one run. */
char *http_suspects(http_amp *amp, const diagnose_priors *priors, const diagnose_readings *readings,
                    const http_past *past, base_errors *errors);

/* Tells all windows that a fact was added, and of the suspects that it moves. */
void http_tell_fact(http_server *server, int64_t job, int64_t fact, const char *kind);

/* ---- the meter, and who is led by it (live_impl.h) ------------------------------------------ */

typedef struct http_live http_live;
http_live *http_live_new(http_server *server);
void http_live_free(http_live *live); /* ends the meter's thread */
/* NULL lets the meter go. False with a complaint. */
bool http_live_connect(http_live *live, const char *address, const char *profile,
                       base_errors *errors);
void http_live_probe(http_live *live, int64_t job, const char *phase);
void http_live_drain(http_live *live, int64_t job, const char *at, double through);
/* `volts`, `written`: read off a meter without a wire; NAN: what the meter shows. */
void http_live_press(http_live *live, meter_press press, double volts, const char *written);

/* ---- the live stream ----------------------------------------------------------------------- */

typedef struct http_events http_events;
typedef struct http_listener http_listener;
struct MHD_Connection;

http_events *http_events_new(int64_t first);
void http_events_free(http_events *events);
/* Tells all listeners. Steals `data`; nothing happens when it is NULL (no memory): they ask again
 * at the next comment. */
void http_events_tell(http_events *events, const char *name, json_t *data);
/* The same for what is old news in a second: no id, and nobody gets it later. */
void http_events_pass(http_events *events, const char *name, json_t *data);
void http_events_comment(http_events *events); /* keeps connections open, finds dead ones */
/* From here on every stream ends; those that sleep are woken. */
void http_events_close(http_events *events);
void http_events_drop_lan(http_events *events); /* ends the streams of paired devices */
size_t http_events_listeners(http_events *events);
/* A listener that begins after event `last` where that is still kept, else now. NULL: no memory. */
http_listener *http_listen(http_events *events, struct MHD_Connection *connection, const char *last,
                           bool lan);
void http_listener_free(http_listener *listener);
/* Puts up to `most` bytes into `text`. 0: nothing yet, and the connection has been suspended;
 * -1: the stream is at its end (closed, or this listener is too far behind). */
long http_listener_read(http_listener *listener, char *text, size_t most);

/* ---- pairing ------------------------------------------------------------------------------- */

typedef struct http_pairing http_pairing;
#define HTTP_TOKEN 65 /* hex of 32 bytes, 0-ended */
typedef enum http_guess { HTTP_PAIRED, HTTP_WRONG, HTTP_LOCKED, HTTP_FULL } http_guess;

http_pairing *http_pairing_new(void); /* NULL: no memory */
void http_pairing_free(http_pairing *pairing);
/* `now_ms` of a clock that never goes back. *token receives what the device keeps. */
http_guess http_pairing_try(http_pairing *pairing, const char *code, int64_t now_ms,
                            char token[HTTP_TOKEN]);
bool http_pairing_knows(http_pairing *pairing, const char *token);
void http_pairing_renew(http_pairing *pairing, bool forget); /* a new code; all devices gone */
void http_pairing_now(http_pairing *pairing, int64_t now_ms, http_lan *lan);

/* A certificate for `names` (addresses and host names) in `folder`, made when there is none, it
 * ends within a week, or it lacks a name. Freed by http_certificate_free. */
typedef struct http_certificate {
    char *pem; /* the certificate, then its key */
    char fingerprint[96];
} http_certificate;
#define HTTP_NAMES 24
typedef struct http_names { /* by which this machine is asked */
    char name[HTTP_NAMES][80];
    int count;
    int addresses; /* the first so many are numeric addresses on the network */
} http_names;
void http_names_find(http_names *names);
base_code http_certificate_open(const char *folder, const http_names *names, int64_t now_ms,
                                http_certificate *certificate, base_errors *errors);
void http_certificate_free(http_certificate *certificate);

/* `text` as QR, drawn as SVG; to be freed. NULL: no memory. */
char *http_qr_svg(const char *text);

/* ---- threads and connections --------------------------------------------------------------- */

typedef struct http_task {
    void (*run)(struct http_task *task);
    struct http_task *next;
} http_task;
typedef struct http_work http_work;
http_work *http_work_new(int light, int heavy); /* threads; NULL: none to be had */
bool http_work_add(http_work *work, http_task *task, bool heavy); /* false: closing */
/* Waits until all is done; nothing is taken on after. */
void http_work_close(http_work *work);
void http_work_free(http_work *work); /* a closed one */

/* Deadlines, in milliseconds; tests have shorter ones. */
typedef struct http_limits {
    int head_ms;         /* from opening to a whole request head */
    int idle_ms;         /* from one answer to the next whole head */
    int body_ms;         /* to a whole body */
    int send_ms;         /* to a whole answer taken */
    int comment_ms;      /* between comments of the live stream */
    int here, one, away; /* connections: from loopback, from one other address, from all others */
} http_limits;
extern const http_limits http_limits_default;

typedef struct http_watch http_watch;
typedef struct http_guest http_guest; /* one connection */
struct sockaddr;
http_watch *http_watch_new(const http_limits *limits, http_events *events);
void http_watch_free(http_watch *watch); /* ends its thread */
bool http_watch_admits(http_watch *watch, const struct sockaddr *address);
http_guest *http_guest_new(http_watch *watch, int handle, const struct sockaddr *address);
void http_guest_free(http_watch *watch, http_guest *guest);
/* The connection is shut when `ms` pass before the next call; 0: never. */
void http_guest_expect(http_watch *watch, http_guest *guest, int ms);

int64_t http_ticks(void); /* ms of a clock that never goes back */

/* ---- the server ---------------------------------------------------------------------------- */

struct MHD_Daemon;
typedef struct http_gate { /* one port */
    http_server *server;
    struct MHD_Daemon *daemon;
    int port;
    bool lan;
} http_gate;

struct http_server {
    job_store *store;
    http_options options;
    http_limits limits;
    http_amps *amps;
    http_events *events;
    http_live *live;
    http_pairing *pairing; /* NULL without lan */
    http_work *work;
    http_watch *watch;
    http_gate near, far; /* loopback; lan */
    http_names names;
    http_certificate certificate;
    pthread_mutex_t list_lock;
    json_t *list; /* of the library's amps; NULL: not asked for yet */
    char address[64], lan_address[96];
    atomic_bool closing;
};

/* All but the sockets and threads: what http_handle needs. */
http_server *http_core_new(job_store *store, const http_options *options, base_errors *errors);
void http_core_free(http_server *server);
http_server *http_start_within(job_store *store, const http_options *options,
                               const http_limits *limits, base_errors *errors);
bool http_gate_open(http_gate *gate, base_errors *errors);
bool http_gate_start(http_gate *gate, int handle); /* the daemon, on a listening socket */
void http_gate_close(http_gate *gate);

#endif
