#include "base.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ALIGN = _Alignof(max_align_t), FIRST = 16 * 1024, LARGEST = 1024 * 1024 };

typedef struct block {
    struct block *next;
    size_t room, used;
    max_align_t bytes[];
} block;

struct base_arena {
    block *blocks; /* the first one is being filled */
    size_t next_room;
};

base_arena *base_arena_new(void) {
    base_arena *arena = calloc(1, sizeof *arena);
    if (arena) arena->next_room = FIRST;
    return arena;
}

void base_arena_free(base_arena *arena) {
    if (!arena) return;
    for (block *b = arena->blocks, *next; b; b = next) {
        next = b->next;
        free(b);
    }
    free(arena);
}

#ifdef GRIDLEAK_ARENA_MALLOC

/* Exactly the size asked for, so that a sanitizer sees one byte too far. */
static size_t rounded(size_t size) {
    return size;
}

static size_t room_for(base_arena *arena, size_t size) {
    (void)arena;
    return size;
}

#else

static size_t rounded(size_t size) {
    return (size + ALIGN - 1) / ALIGN * ALIGN;
}

static size_t room_for(base_arena *arena, size_t size) {
    size_t room = arena->next_room;
    if (arena->next_room < LARGEST) arena->next_room *= 2;
    return size > room ? size : room;
}

#endif

static block *add_block(base_arena *arena, size_t size) {
    size_t room = room_for(arena, size);
    block *b = calloc(1, sizeof *b + room);
    if (!b) return NULL;
    b->room = room;
    b->next = arena->blocks;
    arena->blocks = b;
    return b;
}

void *base_arena_take(base_arena *arena, size_t count, size_t size) {
    size_t bytes;
    if (!arena || __builtin_mul_overflow(count, size, &bytes)) return NULL;
    if (bytes > PTRDIFF_MAX - sizeof(block) - ALIGN) return NULL;
    bytes = rounded(bytes ? bytes : 1);
    block *b = arena->blocks;
    if (!b || b->room - b->used < bytes) b = add_block(arena, bytes);
    if (!b) return NULL;
    void *taken = (char *)b->bytes + b->used;
    b->used += bytes;
    return taken;
}

char *base_arena_text(base_arena *arena, const char *text) {
    size_t size = strlen(text) + 1;
    char *copy = base_arena_take(arena, size, 1);
    return copy ? memcpy(copy, text, size) : NULL;
}

char *base_arena_print_list(base_arena *arena, const char *format, va_list arguments) {
    va_list again;
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, again);
    va_end(again);
    char *text = length < 0 ? NULL : base_arena_take(arena, (size_t)length + 1, 1);
    if (text) vsnprintf(text, (size_t)length + 1, format, arguments);
    return text;
}

char *base_arena_print(base_arena *arena, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    char *text = base_arena_print_list(arena, format, arguments);
    va_end(arguments);
    return text;
}
