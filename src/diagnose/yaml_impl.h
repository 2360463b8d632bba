/* Private to diagnose: reading YAML with the place of every value. */
#ifndef GRIDLEAK_DIAGNOSE_YAML_IMPL_H
#define GRIDLEAK_DIAGNOSE_YAML_IMPL_H

#include <libfyaml.h>

#include "base.h"

#define YAML_LONGEST (4U << 20) /* bytes */

/* A file being read. Set name, errors and arena before diagnose_yaml_open. */
typedef struct diagnose_yaml {
    const char *name;
    base_errors *errors;
    base_arena *arena; /* texts live here */
    struct fy_document *document;
    struct fy_node *root;
    bool refused; /* a complaint was made that is no warning */
} diagnose_yaml;

/* Adds a complaint to the file's list: COMPLAIN(file, BASE_VALUE, place, "cause|remedy"). */
#define COMPLAIN(file, code, at, ...)                                                              \
    ((file)->refused |=                                                                            \
     base_errors_add((file)->errors, (code), (at), __VA_ARGS__) != BASE_SUSPICIOUS)

bool diagnose_yaml_open(diagnose_yaml *file, const char *text,
                        size_t length); /* false: complained */
void diagnose_yaml_close(diagnose_yaml *file);
base_place diagnose_yaml_place(const diagnose_yaml *file, struct fy_node *node);
/* A scalar's text; "" where it is empty; NULL where the node is no scalar or memory is out. */
const char *diagnose_yaml_text(diagnose_yaml *file, struct fy_node *node);

/* Walks a mapping: start from a zeroed pair. */
typedef struct diagnose_yaml_pair {
    void *iterator;
    struct fy_node *key_node, *value;
    const char *key;  /* never NULL */
    base_place place; /* of the key */
} diagnose_yaml_pair;
bool diagnose_yaml_next(diagnose_yaml *file, struct fy_node *mapping, diagnose_yaml_pair *pair);

void diagnose_yaml_no_memory(diagnose_yaml *file);
void diagnose_yaml_unknown_key(diagnose_yaml *file, const diagnose_yaml_pair *pair,
                               const char *const *known, size_t count);

#endif
