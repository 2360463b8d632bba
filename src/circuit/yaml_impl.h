/* One amp file as a tree of keys and values, each with its place. All that the room knows of the
 * YAML library is behind this header. */
#ifndef GRIDLEAK_CIRCUIT_YAML_IMPL_H
#define GRIDLEAK_CIRCUIT_YAML_IMPL_H

#include "base.h"

#include <libfyaml.h>

#define YAML_FILE_MOST (256 * 1024) /* bytes; an amp of 150 parts takes 20 kB */
#define YAML_KEYS_MOST 1000         /* keys in one mapping */

/* Where complaints go and memory comes from, for all steps of reading one file. */
typedef struct yaml_reader {
    base_arena *arena;
    base_errors *errors;
    const char *file;
    bool refused; /* a complaint was made that is no warning */
    bool no_memory;
} yaml_reader;

/* Notes the code of a complaint just made: `COMPLAIN(yaml, BASE_VALUE, at, "cause|remedy")`. */
base_code circuit_refuse(yaml_reader *yaml, base_code code);
#define COMPLAIN(yaml, code, at, ...)                                                              \
    circuit_refuse((yaml), base_errors_add((yaml)->errors, (code), (at), __VA_ARGS__))

void *circuit_take(yaml_reader *yaml, size_t count, size_t size); /* NULL: noted in no_memory */

/* Text of the file made fit to show: at most 60 bytes, no control characters, no bar. */
const char *circuit_show(yaml_reader *yaml, const char *text);

typedef struct yaml_item {
    const char *key;
    base_place key_at;
    struct fy_node *value;
    base_place at; /* of the value; of its key where the value is no scalar */
} yaml_item;

/* A mapping: its items in the file's order, each key once. */
typedef struct yaml_map {
    const char *who; /* what complaints call it: "R7", "the file" */
    base_place at;
    yaml_item *item;
    size_t items;
} yaml_map;

typedef struct yaml_word {
    const char *text;
    base_place at;
} yaml_word;

/* The library's errors are kept, to be asked for; it prints nothing. NULL: no memory. */
struct fy_diag *circuit_diag_new(void);

/* The one document of `text`, to be destroyed by the caller; NULL with complaints. */
struct fy_document *circuit_yaml_open(yaml_reader *yaml, const char *text, size_t length);

/* The mapping under `node`. Complains of what is no mapping, of keys given twice, of aliases. */
bool circuit_map_read(yaml_reader *yaml, struct fy_node *node, base_place at, yaml_map *map);
const yaml_item *circuit_item_find(const yaml_map *map,
                                   const char *key); /* case folded; NULL: none */

/* The one value of an item; NULL with a complaint when it is empty, a list or a mapping. */
const char *circuit_text_of(yaml_reader *yaml, const yaml_item *item, const char *who);

/* The values of a list (or one value alone): how many, or -1 with a complaint. */
int circuit_list_of(yaml_reader *yaml, const yaml_item *item, const char *who, yaml_word *word,
                    int most);

#endif
