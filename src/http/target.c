/* The target of a request line: path segments and query, decoded strictly. */
#include "http_impl.h"

#include <string.h>

static int hex(char c) {
    if (c >= '0' && c <= '9') return c - '0';
    if (c >= 'a' && c <= 'f') return c - 'a' + 10;
    if (c >= 'A' && c <= 'F') return c - 'A' + 10;
    return -1;
}

/* Bytes that follow the first of a UTF-8 character, with the bounds of the second; -1: none begins
 * so. RFC 3629, table of well-formed sequences. */
static int follow(unsigned char first, unsigned char bounds[2]) {
    bounds[0] = first == 0xe0 ? 0xa0 : first == 0xf0 ? 0x90 : 0x80;
    bounds[1] = first == 0xed ? 0x9f : first == 0xf4 ? 0x8f : 0xbf;
    if (first < 0x80) return 0;
    if (first >= 0xc2 && first <= 0xdf) return 1;
    if (first >= 0xe0 && first <= 0xef) return 2;
    if (first >= 0xf0 && first <= 0xf4) return 3;
    return -1;
}

/* Printable UTF-8: no control characters in it. */
static bool is_text(const char *text) {
    const unsigned char *c = (const unsigned char *)text;
    while (*c) {
        unsigned char bounds[2];
        int more = follow(*c, bounds);
        if (more < 0 || *c < 0x20 || *c == 0x7f) return false;
        if (more && (c[1] < bounds[0] || c[1] > bounds[1])) return false;
        for (int i = 2; i <= more; i++)
            if (c[i] < 0x80 || c[i] > 0xbf) return false;
        c += 1 + more;
    }
    return true;
}

/* Decodes `text` in place; `plus` is a space in a query. */
static bool decode(char *text, bool query) {
    char *out = text;
    for (const char *in = text; *in; in++) {
        if (*in != '%') {
            *out++ = query && *in == '+' ? ' ' : *in;
            continue;
        }
        int high = hex(in[1]), low = high < 0 ? -1 : hex(in[2]);
        if (low < 0 || high * 16 + low == 0) return false;
        *out++ = (char)(high * 16 + low);
        in += 2;
    }
    *out = 0;
    return is_text(text);
}

static bool add_segment(http_target *target, char *text) {
    if (target->segments == HTTP_SEGMENTS || !decode(text, false)) return false;
    if (!*text || strcmp(text, ".") == 0 || strcmp(text, "..") == 0) return false;
    target->segment[target->segments++] = text;
    return true;
}

static bool add_param(http_target *target, char *text) {
    char *value = strchr(text, '=');
    if (!*text) return true;
    if (value) *value++ = 0;
    if (target->params == HTTP_PARAMS || !decode(text, true) || (value && !decode(value, true)))
        return false;
    target->key[target->params] = text;
    target->value[target->params++] = value ? value : "";
    return true;
}

/* Calls `add` with each piece between `mark`s. */
static bool split(http_target *target, char *text, char mark, bool add(http_target *, char *)) {
    while (text) {
        char *next = strchr(text, mark);
        if (next) *next++ = 0;
        if (!add(target, text)) return false;
        text = next;
    }
    return true;
}

bool http_target_read(http_target *target, const char *raw) {
    size_t length = strlen(raw);
    *target = (http_target){0};
    if (*raw != '/' || length > HTTP_TARGET) return false;
    memcpy(target->text, raw, length + 1);
    char *query = strchr(target->text, '?');
    if (query) *query++ = 0;
    bool root = target->text[1] == 0;
    return (root || split(target, target->text + 1, '/', add_segment)) &&
           split(target, query, '&', add_param);
}

const char *http_target_param(const http_target *target, const char *key) {
    for (int i = 0; i < target->params; i++)
        if (strcmp(target->key[i], key) == 0) return target->value[i];
    return NULL;
}
