/* SCPI over a raw TCP socket, port 5025 as registered with IANA ("scpi-raw"). */
#include "meter_impl.h"

#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define PORT "5025"
#define CONNECT_S 2.0
#define REMEDY                                                                                     \
    "look at the meter's address and cable; many must be told to take a network connection"

/* "host:port", "host", "[::1]:5025". */
static void take_apart(const char *path, char host[128], char port[16]) {
    char text[128];
    snprintf(text, sizeof text, "%s", path);
    char *begin = *text == '[' ? text + 1 : text;
    char *end = *text == '[' ? strchr(text, ']') : NULL;
    char *colon = strrchr(end ? end : text, ':');
    if (!end && colon && strchr(text, ':') != colon) colon = NULL; /* a bare IPv6 address */
    snprintf(port, 16, "%.15s", colon ? colon + 1 : PORT);
    if (colon) *colon = 0;
    if (end) *end = 0;
    strcpy(host, begin);
}

static bool finish(meter_link *link) {
    double until = meter_ticks() + CONNECT_S;
    int error = 0;
    socklen_t size = sizeof error;
    while (meter_ticks() < until && !(link->ending && *link->ending)) {
        struct pollfd at = {.fd = link->handle, .events = POLLOUT};
        if (poll(&at, 1, 50) <= 0) continue;
        getsockopt(link->handle, SOL_SOCKET, SO_ERROR, &error, &size);
        errno = error;
        return error == 0;
    }
    errno = ETIMEDOUT;
    return false;
}

static bool try_one(meter_link *link, const struct addrinfo *one) {
    int yes = 1, type = one->ai_socktype | SOCK_NONBLOCK | SOCK_CLOEXEC;
    link->handle = socket(one->ai_family, type, one->ai_protocol);
    if (link->handle < 0) return false;
    setsockopt(link->handle, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
    int joined = connect(link->handle, one->ai_addr, one->ai_addrlen);
    if (joined == 0 || (errno == EINPROGRESS && finish(link))) return true;
    int error = errno;
    meter_handle_close(link);
    errno = error;
    return false;
}

static bool open_tcp(meter_link *link, const meter_profile *profile, char *why, size_t size) {
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM}, *list = NULL;
    char host[128], port[16];
    (void)profile;
    take_apart(link->path, host, port);
    errno = 0;
    if (getaddrinfo(host, port, &hints, &list) != 0)
        return meter_link_fails(why, size, "no machine is known by that name", REMEDY);
    bool joined = false;
    for (struct addrinfo *one = list; one && !joined; one = one->ai_next)
        joined = try_one(link, one);
    int error = errno;
    freeaddrinfo(list);
    errno = error;
    return joined || meter_link_fails(why, size, "no connection", REMEDY);
}

static bool write_tcp(meter_link *link, const char *bytes, size_t length) {
    double until = meter_ticks() + 1;
    while (length > 0 && meter_ticks() < until) {
        ssize_t put = send(link->handle, bytes, length, MSG_NOSIGNAL);
        struct pollfd at = {.fd = link->handle, .events = POLLOUT};
        if (put < 0 && errno == EAGAIN) poll(&at, 1, 50);
        if (put < 0 && errno != EAGAIN && errno != EINTR) return false;
        if (put > 0) bytes += put;
        if (put > 0) length -= (size_t)put;
    }
    return length == 0;
}

const meter_link_kind meter_link_tcp = {
    "tcp", false, open_tcp, meter_handle_read, write_tcp, meter_handle_close};
