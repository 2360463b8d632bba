/* The connections: how many from where, and until when each may take for what it is doing. A
 * client that sends its request, or takes its answer, by drips is shut out at its deadline. One
 * thread looks four times a second, and sends the comments of the live stream. */
#include "http_impl.h"

#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

#define LOOK_MS 250

struct http_guest {
    int handle;
    struct in_addr address;
    int64_t deadline; /* 0: none */
    http_guest *next, *before;
};

struct http_watch {
    pthread_mutex_t lock;
    pthread_cond_t end;
    http_guest *first;
    http_limits limits;
    http_events *events;
    int64_t comment; /* when the next is due */
    bool ending, threaded;
    pthread_t thread;
};

const http_limits http_limits_default = {.head_ms = 15000,
                                         .idle_ms = 60000,
                                         .body_ms = 120000,
                                         .send_ms = 120000,
                                         .comment_ms = 15000,
                                         .here = 192,
                                         .one = 24,
                                         .away = 48};

int64_t http_ticks(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* ---- the thread ---------------------------------------------------------------------------- */

static void shut_late(http_watch *watch, int64_t now) {
    for (http_guest *guest = watch->first; guest; guest = guest->next) {
        if (guest->deadline == 0 || guest->deadline > now) continue;
        shutdown(guest->handle, SHUT_RDWR); /* the daemon sees the end, and closes it */
        guest->deadline = 0;
    }
}

static void wait_a_while(http_watch *watch) {
    struct timespec until;
    int ms = watch->limits.comment_ms < LOOK_MS ? watch->limits.comment_ms : LOOK_MS;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += ms * 1000000L;
    until.tv_sec += until.tv_nsec / 1000000000L;
    until.tv_nsec %= 1000000000L;
    pthread_cond_timedwait(&watch->end, &watch->lock, &until);
}

static void *look(void *data) {
    http_watch *watch = data;
    pthread_mutex_lock(&watch->lock);
    while (!watch->ending) {
        wait_a_while(watch);
        int64_t now = http_ticks();
        shut_late(watch, now);
        bool due = now >= watch->comment;
        if (due) watch->comment = now + watch->limits.comment_ms;
        pthread_mutex_unlock(&watch->lock);
        if (due) http_events_comment(watch->events);
        pthread_mutex_lock(&watch->lock);
    }
    pthread_mutex_unlock(&watch->lock);
    return NULL;
}

http_watch *http_watch_new(const http_limits *limits, http_events *events) {
    pthread_condattr_t steady;
    http_watch *watch = calloc(1, sizeof *watch);
    if (!watch) return NULL;
    watch->limits = *limits;
    watch->events = events;
    watch->comment = http_ticks() + limits->comment_ms;
    pthread_mutex_init(&watch->lock, NULL);
    pthread_condattr_init(&steady);
    pthread_condattr_setclock(&steady, CLOCK_MONOTONIC);
    pthread_cond_init(&watch->end, &steady);
    pthread_condattr_destroy(&steady);
    watch->threaded = pthread_create(&watch->thread, NULL, look, watch) == 0;
    if (watch->threaded) return watch;
    http_watch_free(watch);
    return NULL;
}

void http_watch_free(http_watch *watch) {
    if (!watch) return;
    pthread_mutex_lock(&watch->lock);
    watch->ending = true;
    pthread_cond_signal(&watch->end);
    pthread_mutex_unlock(&watch->lock);
    if (watch->threaded) pthread_join(watch->thread, NULL);
    pthread_cond_destroy(&watch->end);
    pthread_mutex_destroy(&watch->lock);
    free(watch);
}

/* ---- connections --------------------------------------------------------------------------- */

static struct in_addr address_of(const struct sockaddr *address) {
    struct in_addr none = {0};
    if (!address || address->sa_family != AF_INET) return none;
    return ((const struct sockaddr_in *)(const void *)address)->sin_addr;
}

static bool is_loopback(struct in_addr address) {
    return ntohl(address.s_addr) >> 24 == 127;
}

bool http_watch_admits(http_watch *watch, const struct sockaddr *address) {
    struct in_addr from = address_of(address);
    int here = 0, one = 0, away = 0;
    pthread_mutex_lock(&watch->lock);
    for (const http_guest *guest = watch->first; guest; guest = guest->next) {
        bool loopback = is_loopback(guest->address);
        here += loopback;
        away += !loopback;
        one += guest->address.s_addr == from.s_addr;
    }
    pthread_mutex_unlock(&watch->lock);
    if (is_loopback(from)) return here < watch->limits.here;
    return one < watch->limits.one && away < watch->limits.away;
}

http_guest *http_guest_new(http_watch *watch, int handle, const struct sockaddr *address) {
    http_guest *guest = calloc(1, sizeof *guest);
    if (!guest) return NULL;
    guest->handle = handle;
    guest->address = address_of(address);
    guest->deadline = http_ticks() + watch->limits.head_ms;
    pthread_mutex_lock(&watch->lock);
    guest->next = watch->first;
    if (guest->next) guest->next->before = guest;
    watch->first = guest;
    pthread_mutex_unlock(&watch->lock);
    return guest;
}

void http_guest_free(http_watch *watch, http_guest *guest) {
    if (!guest) return;
    pthread_mutex_lock(&watch->lock);
    if (guest->next) guest->next->before = guest->before;
    *(guest->before ? &guest->before->next : &watch->first) = guest->next;
    pthread_mutex_unlock(&watch->lock);
    free(guest);
}

void http_guest_expect(http_watch *watch, http_guest *guest, int ms) {
    if (!guest) return;
    pthread_mutex_lock(&watch->lock);
    guest->deadline = ms ? http_ticks() + ms : 0;
    pthread_mutex_unlock(&watch->lock);
}
