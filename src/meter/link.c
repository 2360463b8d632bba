/* Addresses, and what all links with a file descriptor share. */
#include "meter_impl.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define SLICE_S 0.05 /* a meter that is stopped is gone within that */

double meter_ticks(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static const meter_link_kind *const kinds[] = {&meter_link_tcp, &meter_link_serial, &meter_link_usb,
                                               &meter_link_pty};

/* A bare path in /dev says by its name what it is. */
static const meter_link_kind *kind_of_path(const char *path) {
    if (strncmp(path, "/dev/usbtmc", 11) == 0) return &meter_link_usb;
    if (strncmp(path, "/dev/pts/", 9) == 0) return &meter_link_pty;
    return strncmp(path, "/dev/", 5) == 0 ? &meter_link_serial : NULL;
}

bool meter_link_find(const char *address, meter_link *link) {
    *link = (meter_link){.handle = -1, .kind = kind_of_path(address)};
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && !link->kind; i++) {
        size_t length = strlen(kinds[i]->prefix);
        if (strncmp(address, kinds[i]->prefix, length) != 0 || address[length] != ':') continue;
        link->kind = kinds[i];
        address += length + 1;
    }
    if (!link->kind || !*address || strlen(address) >= sizeof link->path) return false;
    if (strstr(address, "..")) return false;
    if (link->kind != &meter_link_tcp && strncmp(address, "/dev/", 5) != 0) return false;
    strcpy(link->path, address);
    return true;
}

bool meter_link_fails(char *why, size_t size, const char *what, const char *remedy) {
    snprintf(why, size, "%s%s%s|%s", what, errno ? ": " : "", errno ? strerror(errno) : "", remedy);
    return false;
}

/* ---- bytes --------------------------------------------------------------------------------- */

/* 1: ready; 0: not in that time, or the meter is being stopped; -1: gone. */
static int wait_for(meter_link *link, short events, double seconds) {
    double until = meter_ticks() + seconds;
    for (;;) {
        double left = until - meter_ticks();
        struct pollfd at = {.fd = link->handle, .events = events};
        int ms = (int)ceil(1e3 * fmin(fmax(left, 0), SLICE_S));
        int ready = poll(&at, 1, ms);
        if (ready < 0 && errno != EINTR) return -1;
        if (ready > 0) return at.revents & (events | POLLHUP) ? 1 : -1;
        if (left <= 0 || (link->ending && *link->ending)) return 0;
    }
}

long meter_handle_read(meter_link *link, char *bytes, size_t most, double seconds) {
    int ready = wait_for(link, POLLIN, seconds);
    if (ready <= 0) return ready;
    ssize_t got = read(link->handle, bytes, most);
    if (got < 0 && (errno == EAGAIN || errno == EINTR)) return 0;
    return got > 0 ? got : -1;
}

bool meter_handle_write(meter_link *link, const char *bytes, size_t length) {
    while (length > 0) {
        if (wait_for(link, POLLOUT, 1) != 1) return false;
        ssize_t put = write(link->handle, bytes, length);
        if (put < 0 && (errno == EAGAIN || errno == EINTR)) continue;
        if (put <= 0) return false;
        bytes += put;
        length -= (size_t)put;
    }
    return true;
}

void meter_handle_close(meter_link *link) {
    if (link->handle >= 0) close(link->handle);
    link->handle = -1;
}
