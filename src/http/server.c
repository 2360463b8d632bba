/* Start and stop. */
#include "http_impl.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define LIGHT 3    /* threads for what is quick, ... */
#define HEAVY 3    /* ... and for what is not: an engine at work, PDFs, photos */
#define WAITING 64 /* connections not yet taken */

/* ---- what needs no socket ------------------------------------------------------------------ */

static base_code no_memory(base_errors *errors) {
    return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                           "no memory left|close other programs");
}

http_server *http_core_new(job_store *store, const http_options *options, base_errors *errors) {
    http_server *server = sodium_init() < 0 ? NULL : calloc(1, sizeof *server);
    if (server) {
        server->store = store;
        server->options = *options;
        pthread_mutex_init(&server->list_lock, NULL);
        server->near = (http_gate){.server = server, .port = options->port};
        server->far = (http_gate){.server = server, .lan = true};
        server->amps = http_amps_new(options->tubes, options->priors);
        server->events = http_events_new(http_now(server));
        server->live = http_live_new(server);
        if (options->lan) server->pairing = http_pairing_new();
        if (server->amps && server->events && server->live && (server->pairing || !options->lan))
            return server;
    }
    no_memory(errors);
    http_core_free(server);
    return NULL;
}

void http_core_free(http_server *server) {
    if (!server) return;
    http_live_free(server->live);
    http_amps_free(server->amps);
    http_events_free(server->events);
    http_pairing_free(server->pairing);
    http_certificate_free(&server->certificate);
    json_decref(server->list);
    pthread_mutex_destroy(&server->list_lock);
    free(server);
}

/* ---- sockets ------------------------------------------------------------------------------- */

static base_code complain_port(const http_gate *gate, int error, base_errors *errors) {
    base_place place = {0};
    if (error == EADDRINUSE)
        return base_errors_add(errors, BASE_FILE, place,
                               "port %d is in use by another program|if a bench is running "
                               "already, its page is at http://127.0.0.1:%d/; else choose another "
                               "port: --port 0 takes any that is free",
                               gate->port, gate->port);
    return base_errors_add(errors, BASE_FILE, place,
                           "port %d cannot be opened: %s|choose another: --port 0 takes any that "
                           "is free",
                           gate->port, strerror(error));
}

/* A listening socket on loopback, or on all interfaces; -1 with errno. */
static int listen_at(const http_gate *gate) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons((uint16_t)gate->port)};
    int yes = 1, handle = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (handle < 0) return -1;
    address.sin_addr.s_addr = htonl(gate->lan ? INADDR_ANY : INADDR_LOOPBACK);
    setsockopt(handle, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    if (bind(handle, (struct sockaddr *)&address, sizeof address) == 0 &&
        listen(handle, WAITING) == 0)
        return handle;
    int error = errno;
    close(handle);
    errno = error;
    return -1;
}

static bool find_port(http_gate *gate, int handle) {
    struct sockaddr_in address;
    socklen_t size = sizeof address;
    if (getsockname(handle, (struct sockaddr *)&address, &size) != 0) return false;
    gate->port = ntohs(address.sin_port);
    return true;
}

bool http_gate_open(http_gate *gate, base_errors *errors) {
    int handle = listen_at(gate);
    if (handle < 0) {
        complain_port(gate, errno, errors);
        return false;
    }
    if (find_port(gate, handle) && http_gate_start(gate, handle)) return true;
    close(handle);
    base_errors_add(errors, BASE_FILE, (base_place){0},
                    "the server cannot start on port %d|close other programs and try again",
                    gate->port);
    return false;
}

/* ---- start and stop ------------------------------------------------------------------------ */

static bool open_lan(http_server *server, base_errors *errors) {
    const char *folder = server->options.state ? server->options.state : ".";
    http_names_find(&server->names);
    if (http_certificate_open(folder, &server->names, http_now(server), &server->certificate,
                              errors) != BASE_OK)
        return false;
    server->far.port = server->options.port ? server->near.port + 1 : 0;
    if (!http_gate_open(&server->far, errors)) return false;
    if (server->names.addresses)
        snprintf(server->lan_address, sizeof server->lan_address, "https://%s:%d/",
                 server->names.name[0], server->far.port);
    return true;
}

static bool open_all(http_server *server, base_errors *errors) {
    server->work = http_work_new(LIGHT, HEAVY);
    server->watch = http_watch_new(&server->limits, server->events);
    if (!server->work || !server->watch) {
        no_memory(errors);
        return false;
    }
    if (!http_gate_open(&server->near, errors)) return false;
    snprintf(server->address, sizeof server->address, "http://127.0.0.1:%d/", server->near.port);
    return !server->options.lan || open_lan(server, errors);
}

http_server *http_start_within(job_store *store, const http_options *options,
                               const http_limits *limits, base_errors *errors) {
    http_server *server = http_core_new(store, options, errors);
    if (!server) return NULL;
    server->limits = *limits;
    if (open_all(server, errors)) return server;
    http_stop(server);
    return NULL;
}

http_server *http_start(job_store *store, const http_options *options, base_errors *errors) {
    return http_start_within(store, options, &http_limits_default, errors);
}

/* A daemon must not be stopped while a connection sleeps: streams end and work is finished first,
 * which wakes them all; from `closing` on none falls asleep again. */
void http_stop(http_server *server) {
    if (!server) return;
    server->closing = true;
    http_events_close(server->events);
    if (server->work) http_work_close(server->work);
    http_live_connect(server->live, NULL, NULL, NULL); /* nobody can connect one any more */
    http_gate_close(&server->far);
    http_gate_close(&server->near);
    http_work_free(server->work);
    http_watch_free(server->watch);
    http_core_free(server);
}

bool http_meter(http_server *server, const char *address, base_errors *errors) {
    return http_live_connect(server->live, address, NULL, errors);
}

int http_port(const http_server *server) {
    return server->near.port;
}

const char *http_address(const http_server *server) {
    return server->address;
}

bool http_lan_now(http_server *server, http_lan *lan) {
    *lan = (http_lan){0};
    if (!server->pairing) return false;
    http_pairing_now(server->pairing, http_ticks(), lan);
    lan->address = *server->lan_address ? server->lan_address : NULL;
    lan->fingerprint = server->certificate.fingerprint;
    return true;
}
