/* Allocations that fail on demand: for tests named test_oom*.c, which are linked so that malloc,
 * calloc and realloc of our own code come here first. */
#ifndef GRIDLEAK_TESTS_OOM_H
#define GRIDLEAK_TESTS_OOM_H

#include <stdbool.h>
#include <stddef.h>

static long oom_seen, oom_fails_at = -1; /* allocations so far; the one that fails, from 0 */

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);

static bool oom_fails(void) {
    return oom_seen++ == oom_fails_at;
}

void *__wrap_malloc(size_t size) {
    return oom_fails() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size) {
    return oom_fails() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *old, size_t size) {
    return oom_fails() ? NULL : __real_realloc(old, size);
}

/* Runs `what` once whole, then once for each allocation that it makes with that one failing; tells
 * it whether one will fail. Returns how many there are. */
static inline long oom_each(void (*what)(bool failing)) {
    oom_fails_at = -1;
    oom_seen = 0;
    what(false);
    long all = oom_seen;
    for (long at = 0; at < all; at++) {
        oom_fails_at = at;
        oom_seen = 0;
        what(true);
    }
    oom_fails_at = -1;
    return all;
}

#endif
