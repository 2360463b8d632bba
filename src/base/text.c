#include "base.h"

#include <stdio.h>
#include <stdlib.h>

void base_text_init(base_text *text, size_t maximum) {
    *text = (base_text){.data = "", .maximum = maximum}; /* no room: the "" is never written */
}

void base_text_free(base_text *text) {
    if (text->room) free(text->data);
    base_text_init(text, text->maximum);
}

/* Makes room for `more` characters and the closing 0. */
static bool grow(base_text *text, size_t more) {
    if (more > text->maximum - text->length) return false;
    size_t wanted = text->length + more + 1;
    if (wanted <= text->room) return true;
    size_t room = text->room ? text->room : 256;
    while (room < wanted)
        room *= 2;
    char *data = realloc(text->room ? text->data : NULL, room);
    if (!data) return false;
    text->data = data;
    text->room = room;
    return true;
}

void base_text_add(base_text *text, const char *format, ...) {
    if (text->failed) return;
    va_list arguments, again;
    va_start(arguments, format);
    va_copy(again, arguments);
    int length = vsnprintf(NULL, 0, format, arguments);
    if (length < 0 || !grow(text, (size_t)length)) {
        text->failed = true;
    } else {
        vsnprintf(text->data + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
    va_end(arguments);
}
