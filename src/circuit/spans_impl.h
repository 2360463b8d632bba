/* An amp file as spans of its own characters: where each key and value begins and ends. For edits
 * that leave all else as it was, and for a look at a file without tube types. */
#ifndef GRIDLEAK_CIRCUIT_SPANS_IMPL_H
#define GRIDLEAK_CIRCUIT_SPANS_IMPL_H

#include "circuit.h"

typedef struct spans {
    const char *text;
    size_t length;
    const base_yaml_node *root; /* a mapping */
    base_yaml yaml;
} spans;

/* BASE_SYNTAX: it cannot be read; BASE_MEMORY. Complains of either. */
base_code circuit_spans_open(spans *spans, const char *text, size_t length, base_errors *errors);
void circuit_spans_close(spans *spans);

/* The key of a mapping; its value is the next. NULL: none such, or `in` is no mapping. */
const base_yaml_node *circuit_span_key(const base_yaml_node *in, const char *key);
size_t
circuit_span_size(const base_yaml_node *at); /* how many spans it is made of, itself included */
/* The key span of a part, "R7" or "T1 high voltage", and the key span of its section. */
typedef struct span_part {
    const base_yaml_node *section, *key;
} span_part;
bool circuit_span_part(const spans *spans, const char *part, span_part *found);

#endif
