/* Who may ask. A local server can be reached by every web page that the browser shows, so each
 * request must name this bench as its host (which a page of another name cannot make the browser
 * do), and must not come from a page of another origin. */
#include "http_impl.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

static const http_gate *gate_of(const http_server *server, const http_request *request) {
    return request->lan ? &server->far : &server->near;
}

/* Does `host` stand for `name` at this gate? The usual port of the scheme may be left out. */
static bool is_name(const http_gate *gate, const char *host, const char *name) {
    char full[96];
    snprintf(full, sizeof full, "%s:%d", name, gate->port);
    bool usual = gate->port == (gate->lan ? 443 : 80);
    return strcasecmp(host, full) == 0 || (usual && strcasecmp(host, name) == 0);
}

static bool is_ours(const http_server *server, const http_request *request) {
    static const char *const loopback[] = {"127.0.0.1", "localhost", "[::1]"};
    const http_gate *gate = gate_of(server, request);
    if (!request->host) return false;
    for (size_t i = 0; i < sizeof loopback / sizeof *loopback; i++)
        if (is_name(gate, request->host, loopback[i])) return true;
    for (int i = 0; request->lan && i < server->names.count; i++)
        if (is_name(gate, request->host, server->names.name[i])) return true;
    return false;
}

static bool changes(const char *method) {
    return strcmp(method, "GET") != 0 && strcmp(method, "HEAD") != 0;
}

/* The origin that the request names must be the very one that it asks. Programs that are no
 * browsers name none. */
static bool same_origin(const http_request *request) {
    const char *scheme = request->lan ? "https://" : "http://", *site = request->fetch_site;
    const char *origin = request->origin;
    bool api = request->target.segments > 0 && strcmp(request->target.segment[0], "api") == 0;
    if (origin && (strncasecmp(origin, scheme, strlen(scheme)) != 0 ||
                   strcasecmp(origin + strlen(scheme), request->host) != 0))
        return false;
    if (!site || strcmp(site, "same-origin") == 0 || strcmp(site, "none") == 0) return true;
    return !api && !changes(request->method);
}

bool http_guard_origin(const http_server *server, const http_request *request,
                       http_answer *answer) {
    if (request->doubled)
        http_refuse(answer, 400, BASE_USAGE, "a header came twice|send Host and Origin once each");
    else if (!is_ours(server, request))
        http_refuse(answer, 403, BASE_USAGE,
                    "the request names another host than this bench|open the page at the address "
                    "that gridleak bench prints");
    else if (!same_origin(request))
        http_refuse(answer, 403, BASE_USAGE,
                    "another web page asked for this|only the bench page itself may");
    else
        return true;
    return false;
}

/* The value of our cookie, in `token`; false: not given, or of another length. */
static bool cookie_token(const char *cookie, char token[HTTP_TOKEN]) {
    static const char name[] = "gridleak=";
    const char *at = cookie;
    while (at && strncmp(at, name, sizeof name - 1) != 0) {
        at = strchr(at, ';');
        if (at) at += 1 + strspn(at + 1, " ");
    }
    if (!at) return false;
    at += sizeof name - 1;
    size_t length = strcspn(at, "; ");
    if (length != HTTP_TOKEN - 1) return false;
    memcpy(token, at, length);
    token[length] = 0;
    return true;
}

bool http_guard_device(http_server *server, const http_request *request, const http_entry *entry,
                       http_answer *answer) {
    char token[HTTP_TOKEN];
    if (!request->lan || (entry->is & HTTP_OPEN)) return true;
    bool known = cookie_token(request->cookie, token) && http_pairing_knows(server->pairing, token);
    bool page = request->target.segments == 0;
    if (known && !(entry->is & HTTP_BENCH)) return true;
    if (known) {
        http_refuse(answer, 403, BASE_USAGE, "this is for the bench itself|do it there");
    } else if (page) {
        answer->status = 303;
        answer->location = "/pair";
    } else {
        http_refuse(answer, 401, BASE_USAGE,
                    "this device is not paired with the bench|open /pair and type the code that "
                    "the bench shows");
    }
    return false;
}
