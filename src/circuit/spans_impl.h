/* An amp file as spans of its own characters: where each key and value begins and ends. For edits
 * that leave all else as it was, and for a look at a file without tube types. */
#ifndef GRIDLEAK_CIRCUIT_SPANS_IMPL_H
#define GRIDLEAK_CIRCUIT_SPANS_IMPL_H

#include "circuit.h"

typedef enum span_type { SPAN_SCALAR, SPAN_MAPPING, SPAN_SEQUENCE } span_type;

/* One value. A mapping's children are key, value, key, value... Quotes and brackets are inside. */
typedef struct span {
    span_type type;
    bool flow;        /* a collection in brackets */
    bool exact;       /* the place of a scalar is known, and it is no block of lines */
    size_t start;     /* of its first character */
    size_t end;       /* behind its last; of a block: behind the last of its children */
    const char *text; /* of a scalar */
    struct span *parent, *child, *last, *next;
} span;

typedef struct spans {
    const char *text;
    size_t length;
    span *root;   /* NULL: the text is no YAML, or memory is out */
    size_t count; /* of all spans */
    base_arena *arena;
} spans;

bool circuit_spans_open(spans *spans, const char *text, size_t length); /* false: cannot be read */
void circuit_spans_close(spans *spans);

/* The key of a mapping; its value is the next. NULL: none such, or `in` is no mapping. */
span *circuit_span_key(const span *in, const char *key);
size_t circuit_span_size(const span *at); /* how many spans it is made of, itself included */
/* The key span of a part, "R7" or "T1 high voltage", and the key span of its section. */
typedef struct span_part {
    span *section, *key;
} span_part;
bool circuit_span_part(const spans *spans, const char *part, span_part *found);

#endif
