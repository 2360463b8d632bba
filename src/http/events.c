/* The live stream: server-sent events.
 *
 * The last events stand in a ring, already written out. A listener is a place in that ring, so
 * that none can grow: one that falls more than the ring behind is let go, and asks for everything
 * anew when it comes back. A listener with nothing to send is asleep: its connection is suspended,
 * exactly once, and resumed exactly once.
 *
 * What is old news in a second (a meter's readings) goes through a small ring of its own, without
 * ids: it must not push out what somebody who comes back has missed. Who falls behind there jumps
 * to its end. */
#include "http_impl.h"

#include <microhttpd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KEPT 256   /* events in the ring */
#define PASSING 32 /* and in that of old news */
#define LONG 3072  /* bytes of one, written out */
#define SHORT 1024

static const char hello[] = "retry: 1000\n: gridleak\n\n";
static const char comment[] = ":\n\n";

struct http_listener {
    http_events *events;
    struct MHD_Connection *connection;
    http_listener *next, *before;
    int64_t at;        /* the next event that it gets */
    int64_t passing;   /* and of those without an id */
    bool in_passing;   /* it is in the midst of one of these */
    const char *aside; /* hello or a comment, to be sent before it; NULL: nothing */
    size_t sent;       /* bytes of what it is in the midst of */
    bool asleep, lan, dropped;
};

struct http_events {
    pthread_mutex_t lock;
    http_listener *first;
    int64_t next; /* id of the next event */
    size_t count; /* in the ring */
    bool closing;
    char ring[KEPT][LONG];
    int64_t next_passing;
    char passing[PASSING][SHORT];
};

http_events *http_events_new(int64_t first) {
    http_events *events = calloc(1, sizeof *events);
    if (!events) return NULL;
    pthread_mutex_init(&events->lock, NULL);
    events->next = first;
    return events;
}

void http_events_free(http_events *events) {
    if (!events) return;
    pthread_mutex_destroy(&events->lock);
    free(events);
}

/* ---- with the lock held -------------------------------------------------------------------- */

static void wake(http_listener *listener) {
    if (!listener->asleep) return;
    listener->asleep = false;
    MHD_resume_connection(listener->connection);
}

static void wake_all(http_events *events) {
    for (http_listener *listener = events->first; listener; listener = listener->next)
        wake(listener);
}

/* What the listener gets next; NULL: nothing. One that it is in the midst of goes on. */
static const char *pending(http_listener *listener) {
    const http_events *events = listener->events;
    if (listener->aside) return listener->aside;
    if (!listener->in_passing && listener->at < events->next)
        return events->ring[listener->at % KEPT];
    if (listener->passing >= events->next_passing) return NULL;
    if (!listener->in_passing && events->next_passing - listener->passing > PASSING / 2)
        listener->passing = events->next_passing - 1;
    listener->in_passing = true;
    return events->passing[listener->passing % PASSING];
}

static bool too_far_behind(const http_listener *listener) {
    const http_events *events = listener->events;
    bool lapped = listener->in_passing && events->next_passing - listener->passing > PASSING;
    return lapped || listener->at < events->next - (int64_t)events->count;
}

static void advance(http_listener *listener, const char *text, size_t sent) {
    listener->sent += sent;
    if (text[listener->sent]) return;
    listener->sent = 0;
    if (listener->aside) {
        listener->aside = NULL;
    } else if (listener->in_passing) {
        listener->in_passing = false;
        listener->passing++;
    } else {
        listener->at++;
    }
}

/* ---- telling ------------------------------------------------------------------------------- */

void http_events_tell(http_events *events, const char *name, json_t *data) {
    char *text = data ? json_dumps(data, JSON_COMPACT) : NULL;
    json_decref(data);
    pthread_mutex_lock(&events->lock);
    if (text) {
        char *place = events->ring[events->next % KEPT];
        int length = snprintf(place, LONG, "id: %lld\nevent: %s\ndata: %s\n\n",
                              (long long)events->next, name, text);
        if (length < LONG) {
            events->next++;
            if (events->count < KEPT) events->count++;
            wake_all(events);
        }
    }
    pthread_mutex_unlock(&events->lock);
    free(text);
}

void http_events_pass(http_events *events, const char *name, json_t *data) {
    char *text = data ? json_dumps(data, JSON_COMPACT) : NULL;
    json_decref(data);
    pthread_mutex_lock(&events->lock);
    if (text) {
        char *place = events->passing[events->next_passing % PASSING];
        int length = snprintf(place, SHORT, "event: %s\ndata: %s\n\n", name, text);
        if (length < SHORT) {
            events->next_passing++;
            wake_all(events);
        }
    }
    pthread_mutex_unlock(&events->lock);
    free(text);
}

void http_events_comment(http_events *events) {
    pthread_mutex_lock(&events->lock);
    for (http_listener *listener = events->first; listener; listener = listener->next) {
        if (!listener->asleep) continue; /* it has something to send anyway */
        listener->aside = comment;
        wake(listener);
    }
    pthread_mutex_unlock(&events->lock);
}

void http_events_close(http_events *events) {
    pthread_mutex_lock(&events->lock);
    events->closing = true;
    wake_all(events);
    pthread_mutex_unlock(&events->lock);
}

void http_events_drop_lan(http_events *events) {
    pthread_mutex_lock(&events->lock);
    for (http_listener *listener = events->first; listener; listener = listener->next) {
        if (!listener->lan) continue;
        listener->dropped = true;
        wake(listener);
    }
    pthread_mutex_unlock(&events->lock);
}

size_t http_events_listeners(http_events *events) {
    size_t count = 0;
    pthread_mutex_lock(&events->lock);
    for (http_listener *listener = events->first; listener; listener = listener->next)
        count++;
    pthread_mutex_unlock(&events->lock);
    return count;
}

/* ---- listening ----------------------------------------------------------------------------- */

/* Where one that has seen event `last` goes on: now, where that event is not of this run or has
 * left the ring. */
static int64_t place_after(const http_events *events, const char *last) {
    char *end = NULL;
    long long id = last ? strtoll(last, &end, 10) : 0;
    bool number = last && end != last && !*end;
    bool kept = number && id >= events->next - (int64_t)events->count - 1 && id < events->next;
    return kept ? id + 1 : events->next;
}

http_listener *http_listen(http_events *events, struct MHD_Connection *connection, const char *last,
                           bool lan) {
    http_listener *listener = calloc(1, sizeof *listener);
    if (!listener) return NULL;
    *listener =
        (http_listener){.events = events, .connection = connection, .aside = hello, .lan = lan};
    pthread_mutex_lock(&events->lock);
    listener->at = place_after(events, last);
    listener->passing = events->next_passing;
    listener->next = events->first;
    if (listener->next) listener->next->before = listener;
    events->first = listener;
    pthread_mutex_unlock(&events->lock);
    return listener;
}

void http_listener_free(http_listener *listener) {
    http_events *events = listener->events;
    pthread_mutex_lock(&events->lock);
    if (listener->next) listener->next->before = listener->before;
    *(listener->before ? &listener->before->next : &events->first) = listener->next;
    pthread_mutex_unlock(&events->lock);
    free(listener);
}

long http_listener_read(http_listener *listener, char *text, size_t most) {
    http_events *events = listener->events;
    size_t length = 0;
    pthread_mutex_lock(&events->lock);
    bool end = events->closing || listener->dropped || too_far_behind(listener);
    const char *next;
    while (!end && length < most && (next = pending(listener))) {
        size_t left = strlen(next + listener->sent);
        size_t now = left < most - length ? left : most - length;
        memcpy(text + length, next + listener->sent, now);
        length += now;
        advance(listener, next, now);
    }
    if (!end && length == 0) {
        listener->asleep = true;
        MHD_suspend_connection(listener->connection);
    }
    pthread_mutex_unlock(&events->lock);
    return end ? -1 : (long)length;
}
