/* Reading YAML by tables: each key of a mapping names its reader and the field that it fills.
 * All that the room knows of the YAML library is behind this header; tools/tubefit reads the
 * published figures with it too. */
#ifndef GRIDLEAK_TUBE_YAML_IMPL_H
#define GRIDLEAK_TUBE_YAML_IMPL_H

#include "base.h"

#include <libfyaml.h>

#define TUBE_FILE_MOST (256 * 1024) /* bytes; the longest type takes 10 kB */
#define TUBE_ITEMS_MOST 200         /* in one list or mapping */

typedef struct tube_reader {
    const char *file;
    base_arena *arena;
    base_errors *errors;
    base_code worst; /* the first complaint that is no warning, or BASE_OK */
} tube_reader;

/* A value, its place (of its key where the value is no scalar), and what complaints call it. */
typedef struct tube_item {
    struct fy_node *node;
    base_place place;
    const char *key;
} tube_item;

typedef struct tube_key tube_key;
typedef void tube_key_reader(tube_reader *reader, const tube_item *item, const tube_key *key,
                             void *field);
struct tube_key {
    const char *name;
    bool needed;
    tube_key_reader *read;
    size_t offset;            /* of the field within the struct that the mapping fills */
    double low, high;         /* numbers: the range allowed, ends included */
    const char *const *words; /* words: those allowed, NULL-ended */
};

/* One row of a table of keys: of a struct's field, by its reader; of a number; of a word. */
#define TUBE_KEY(name, needed, read, type, field)                                                  \
    { name, needed, read, offsetof(type, field), 0, 0, NULL }
#define TUBE_NUMBER(name, needed, type, field, low, high)                                          \
    { name, needed, tube_read_number, offsetof(type, field), low, high, NULL }
#define TUBE_WORD(name, needed, type, field, words)                                                \
    { name, needed, tube_read_word, offsetof(type, field), 0, 0, words }

/* Notes the code of a complaint: `TUBE_COMPLAIN(reader, BASE_VALUE, place, "cause|remedy", ...)`.
 */
void tube_complained(tube_reader *reader, base_code code);
#define TUBE_COMPLAIN(reader, code, place, ...)                                                    \
    tube_complained((reader), base_errors_add((reader)->errors, (code), (place), __VA_ARGS__))

/* From the arena; NULL with BASE_MEMORY noted. */
void *tube_take(tube_reader *reader, size_t count, size_t size);

/* The one document of `text`, to be destroyed by the caller, and its root; NULL with complaints. */
struct fy_document *tube_yaml_open(tube_reader *reader, const char *text, size_t length,
                                   tube_item *root);

/* Fills `into` by `keys`; complains of keys unknown (with the nearest known) and missing. */
void tube_read_map(tube_reader *reader, const tube_item *item, const tube_key *keys, size_t count,
                   void *into);

/* The items of a list, or of a mapping (then `key` is each one's key), in *items. */
size_t tube_read_items(tube_reader *reader, const tube_item *item, bool mapping, tube_item **items);

tube_key_reader tube_read_text;   /* const char * */
tube_key_reader tube_read_texts;  /* const char *const *, NULL-ended */
tube_key_reader tube_read_number; /* double */
tube_key_reader tube_read_range;  /* double[2], rising */
tube_key_reader tube_read_word;   /* int: its place among the key's words */
tube_key_reader tube_read_yes;    /* bool: yes, no */
tube_key_reader tube_read_later;  /* tube_item: kept, to be read by the caller */

#endif
