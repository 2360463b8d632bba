/* Between libmicrohttpd and http_handle: a request is gathered, worked out by another thread while
 * its connection sleeps, and answered. */
#include "http_impl.h"

#include <microhttpd.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define THREADS 2
#define CONNECTIONS 256
#define IDLE_S 75         /* of libmicrohttpd: nothing moves; watch.c's deadlines are shorter */
#define THROWN (8u << 20) /* bytes past a limit that are read, so that the refusal arrives */
#define GONE_MS 30000     /* a listener that acknowledges nothing */

typedef enum phase { HEAD, BODY, WORKED } phase;

typedef struct exchange { /* one request and its answer */
    http_task task;
    http_gate *gate;
    struct MHD_Connection *connection;
    http_guest *guest;
    phase phase;
    char raw[HTTP_TARGET + 2];
    http_request request;
    http_answer answer;
    const http_entry *entry; /* NULL: refused, `answer` says why */
    char *body;
    size_t room, thrown;
} exchange;

/* ---- the head ------------------------------------------------------------------------------ */

/* The request line is there. What this returns comes back with every later call. */
static void *on_line(void *gate, const char *uri, struct MHD_Connection *connection) {
    exchange *one = calloc(1, sizeof *one);
    if (!one) return NULL;
    one->gate = gate;
    one->connection = connection;
    snprintf(one->raw, sizeof one->raw, "%s", uri); /* cut where it is too long in any case */
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    one->guest = info ? info->socket_context : NULL;
    return one;
}

static enum MHD_Result on_header(void *cls, enum MHD_ValueKind kind, const char *key,
                                 const char *value) {
    http_request *request = cls;
    struct {
        const char *key, **place;
    } known[] = {{"Host", &request->host},
                 {"Origin", &request->origin},
                 {"Sec-Fetch-Site", &request->fetch_site},
                 {"Content-Type", &request->content_type},
                 {"Cookie", &request->cookie},
                 {"If-None-Match", &request->if_none_match},
                 {"Accept-Encoding", &request->accept_encoding},
                 {"Last-Event-ID", &request->last_event}};
    (void)kind;
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        if (strcasecmp(key, known[i].key) != 0) continue;
        if (*known[i].place) request->doubled = true;
        *known[i].place = value ? value : "";
    }
    return MHD_YES;
}

/* Bytes that the head says will follow; 0 where it does not say. */
static unsigned long long announced(struct MHD_Connection *connection) {
    const char *length = MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Content-Length");
    return length ? strtoull(length, NULL, 10) : 0;
}

static void refuse_size(exchange *one) {
    size_t limit = one->entry ? http_entry_limit(one->entry) : 0;
    http_answer_clear(&one->answer);
    http_refuse(&one->answer, 413, BASE_VALUE,
                limit == HTTP_PHOTO_MAXIMUM
                    ? "the photo is over 40 MB|take it with less resolution, or scale it down"
                : limit ? "the body is over 256 kB|send less at a time"
                        : "this path takes no body|leave it out");
    one->entry = NULL;
}

static void read_head(exchange *one, const char *method) {
    http_request *request = &one->request;
    request->method = method;
    request->lan = one->gate->lan;
    MHD_get_connection_values(one->connection, MHD_HEADER_KIND, on_header, request);
    if (strlen(one->raw) > HTTP_TARGET)
        http_refuse(&one->answer, 414, BASE_VALUE, "the address is too long|shorten it");
    else if (!http_target_read(&request->target, one->raw))
        http_refuse(&one->answer, 400, BASE_SYNTAX,
                    "the address cannot be read|look at its `%` signs, dots and slashes");
    else
        one->entry = http_admit(one->gate->server, request, &one->answer);
    if (one->entry && announced(one->connection) > http_entry_limit(one->entry)) refuse_size(one);
}

/* ---- the body ------------------------------------------------------------------------------ */

/* What is refused is still read for a while: a client that is cut off in mid-body does not see why.
 */
static bool throw_away(exchange *one, size_t size) {
    one->thrown += size;
    return one->thrown <= HTTP_PHOTO_MAXIMUM + THROWN;
}

static bool grow(exchange *one, size_t size) {
    size_t room = one->room ? one->room : 4096;
    while (room < one->request.length + size)
        room *= 2;
    if (room == one->room) return true;
    char *larger = realloc(one->body, room);
    if (!larger) return false;
    one->body = larger;
    one->room = room;
    return true;
}

static bool take_body(exchange *one, const char *data, size_t size) {
    if (one->entry && one->request.length + size > http_entry_limit(one->entry)) refuse_size(one);
    if (!one->entry) return throw_away(one, size);
    if (!grow(one, size)) return false;
    memcpy(one->body + one->request.length, data, size);
    one->request.length += size;
    one->request.body = one->body;
    return true;
}

/* ---- the answer ---------------------------------------------------------------------------- */

static ssize_t on_stream(void *cls, uint64_t position, char *text, size_t most) {
    (void)position;
    long length = http_listener_read(cls, text, most);
    return length < 0 ? MHD_CONTENT_READER_END_OF_STREAM : length;
}

static void on_stream_end(void *cls) {
    http_listener_free(cls);
}

static struct MHD_Response *stream_of(exchange *one) {
    unsigned gone = GONE_MS;
    http_events *events = one->gate->server->events;
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(one->connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    if (strcmp(one->request.method, "HEAD") == 0)
        return MHD_create_response_from_buffer(0, "", MHD_RESPMEM_PERSISTENT);
    if (info) setsockopt(info->connect_fd, IPPROTO_TCP, TCP_USER_TIMEOUT, &gone, sizeof gone);
    http_listener *listener =
        http_listen(events, one->connection, one->request.last_event, one->gate->lan);
    if (!listener) return NULL;
    return MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, 2048, on_stream, listener,
                                             on_stream_end);
}

static struct MHD_Response *body_of(exchange *one) {
    http_answer *answer = &one->answer;
    if (answer->stream) return stream_of(one);
    if (!answer->data) return MHD_create_response_from_buffer(0, "", MHD_RESPMEM_PERSISTENT);
    struct MHD_Response *response = MHD_create_response_from_buffer(
        answer->length, answer->data,
        answer->borrowed ? MHD_RESPMEM_PERSISTENT : MHD_RESPMEM_MUST_FREE);
    if (response) answer->data = NULL;
    return response;
}

static void add(struct MHD_Response *response, const char *key, const char *value) {
    if (value && *value) MHD_add_response_header(response, key, value);
}

static void add_headers(struct MHD_Response *response, const http_answer *answer) {
    char text[160];
    add(response, "Content-Security-Policy",
        "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'");
    add(response, "X-Content-Type-Options", "nosniff");
    add(response, "Referrer-Policy", "same-origin"); /* none: then a form has no Origin */
    add(response, "Cross-Origin-Resource-Policy", "same-origin");
    add(response, "Cross-Origin-Opener-Policy", "same-origin");
    add(response, "Cache-Control", answer->cache ? answer->cache : "no-store");
    add(response, "Content-Type", answer->type);
    add(response, "ETag", answer->etag);
    add(response, "Allow", answer->allow);
    add(response, "Location", answer->location);
    add(response, "Set-Cookie", answer->set_cookie);
    if (answer->gzip && answer->status == 200) add(response, "Content-Encoding", "gzip");
    snprintf(text, sizeof text, "%d", answer->retry_s);
    if (answer->retry_s) add(response, "Retry-After", text);
    snprintf(text, sizeof text, "inline; filename=\"%s\"", answer->name ? answer->name : "");
    if (answer->name) add(response, "Content-Disposition", text);
}

static enum MHD_Result send_answer(exchange *one) {
    http_server *server = one->gate->server;
    struct MHD_Response *response = body_of(one);
    if (!response) return MHD_NO;
    add_headers(response, &one->answer);
    http_guest_expect(server->watch, one->guest, one->answer.stream ? 0 : server->limits.send_ms);
    enum MHD_Result result =
        MHD_queue_response(one->connection, (unsigned)one->answer.status, response);
    MHD_destroy_response(response);
    return result;
}

/* ---- the work ------------------------------------------------------------------------------ */

static void on_turn(http_task *task) {
    exchange *one = (exchange *)task; /* its first member */
    http_handle(one->gate->server, &one->request, &one->answer);
    MHD_resume_connection(one->connection);
}

/* The connection sleeps until a worker has the answer. */
static enum MHD_Result hand_over(exchange *one) {
    http_server *server = one->gate->server;
    one->phase = WORKED;
    one->task.run = on_turn;
    MHD_suspend_connection(one->connection);
    if (http_work_add(server->work, &one->task, one->entry->is & HTTP_HEAVY)) return MHD_YES;
    http_refuse(&one->answer, 503, BASE_FILE, "the bench is being stopped|start it again");
    MHD_resume_connection(one->connection);
    return MHD_YES;
}

static enum MHD_Result on_whole(exchange *one) {
    http_guest_expect(one->gate->server->watch, one->guest, 0);
    if (!one->entry) return send_answer(one);
    bool quick = !one->entry->answer || one->entry->answer == http_api_ping ||
                 one->entry->answer == http_api_events;
    if (!quick) return hand_over(one);
    http_handle(one->gate->server, &one->request, &one->answer);
    return send_answer(one);
}

static enum MHD_Result on_head(exchange *one, const char *method) {
    unsigned long long length = announced(one->connection);
    read_head(one, method);
    one->phase = BODY;
    http_guest_expect(one->gate->server->watch, one->guest, one->gate->server->limits.body_ms);
    /* Too much even to throw away: answered now, and libmicrohttpd closes the connection. */
    if (!one->entry && length > HTTP_PHOTO_MAXIMUM + THROWN) return send_answer(one);
    return MHD_YES;
}

static enum MHD_Result on_request(void *gate, struct MHD_Connection *connection, const char *url,
                                  const char *method, const char *version, const char *data,
                                  size_t *size, void **context) {
    exchange *one = *context;
    (void)gate, (void)connection, (void)url, (void)version;
    if (!one) return MHD_NO;
    if (one->phase == HEAD) return on_head(one, method);
    if (one->phase == WORKED) return send_answer(one);
    if (*size == 0) return on_whole(one);
    bool taken = take_body(one, data, *size);
    *size = 0;
    return taken ? MHD_YES : MHD_NO;
}

static void on_done(void *gate, struct MHD_Connection *connection, void **context,
                    enum MHD_RequestTerminationCode how) {
    exchange *one = *context;
    (void)gate, (void)connection, (void)how;
    if (!one) return;
    http_guest_expect(one->gate->server->watch, one->guest, one->gate->server->limits.idle_ms);
    http_answer_clear(&one->answer);
    free(one->body);
    free(one);
    *context = NULL;
}

/* ---- connections --------------------------------------------------------------------------- */

static enum MHD_Result on_accept(void *gate, const struct sockaddr *address, socklen_t size) {
    (void)size;
    http_server *server = ((http_gate *)gate)->server;
    return !server->closing && http_watch_admits(server->watch, address) ? MHD_YES : MHD_NO;
}

static void on_connection(void *gate, struct MHD_Connection *connection, void **context,
                          enum MHD_ConnectionNotificationCode what) {
    http_watch *watch = ((http_gate *)gate)->server->watch;
    if (what == MHD_CONNECTION_NOTIFY_CLOSED) {
        http_guest_free(watch, *context);
        return;
    }
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
    int handle = info ? info->connect_fd : -1;
    info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    *context = http_guest_new(watch, handle, info ? info->client_addr : NULL);
}

/* Targets are decoded by us, segment by segment. */
static size_t keep_escapes(void *cls, struct MHD_Connection *connection, char *text) {
    (void)cls, (void)connection;
    return strlen(text);
}

bool http_gate_start(http_gate *gate, int handle) {
    unsigned flags = MHD_USE_EPOLL_INTERNAL_THREAD | MHD_ALLOW_SUSPEND_RESUME;
    struct MHD_OptionItem secure[] = {
        {MHD_OPTION_HTTPS_MEM_CERT, 0, gate->server->certificate.pem},
        {MHD_OPTION_HTTPS_MEM_KEY, 0, gate->server->certificate.pem},
        {MHD_OPTION_HTTPS_PRIORITIES, 0, "NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"},
        {MHD_OPTION_END, 0, NULL}};
    struct MHD_OptionItem nothing[] = {{MHD_OPTION_END, 0, NULL}};
    if (gate->lan) flags |= MHD_USE_TLS;
    gate->daemon = MHD_start_daemon(
        flags, 0, on_accept, gate, on_request, gate, MHD_OPTION_LISTEN_SOCKET, handle,
        MHD_OPTION_THREAD_POOL_SIZE, (unsigned)THREADS, MHD_OPTION_CONNECTION_LIMIT,
        (unsigned)CONNECTIONS, MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S,
        MHD_OPTION_URI_LOG_CALLBACK, on_line, gate, MHD_OPTION_NOTIFY_COMPLETED, on_done, gate,
        MHD_OPTION_NOTIFY_CONNECTION, on_connection, gate, MHD_OPTION_UNESCAPE_CALLBACK,
        keep_escapes, NULL, MHD_OPTION_ARRAY, gate->lan ? secure : nothing, MHD_OPTION_END);
    return gate->daemon != NULL;
}

void http_gate_close(http_gate *gate) {
    if (gate->daemon) MHD_stop_daemon(gate->daemon); /* closes the socket too */
    gate->daemon = NULL;
}
