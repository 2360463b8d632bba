/* Inside the room: characters of UTF-8 text. */
#ifndef GRIDLEAK_BASE_UTF8_IMPL_H
#define GRIDLEAK_BASE_UTF8_IMPL_H

#include <stddef.h>

/* Length of the well-formed character at `s` (RFC 3629, section 4), of which `left` bytes may be
 * looked at; 0: it is none. A zero byte is a character of one byte. */
size_t base_utf8_length(const char *s, size_t left);

#endif
