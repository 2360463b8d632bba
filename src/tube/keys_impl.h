/* Mappings by tables: each key names its reader and the field that it fills. tools/tubefit reads
 * the published figures with it too. */
#ifndef GRIDLEAK_TUBE_KEYS_IMPL_H
#define GRIDLEAK_TUBE_KEYS_IMPL_H

#include "base.h"

typedef struct tube_key tube_key;
typedef void tube_key_reader(base_yaml *reader, const base_yaml_item *item, const tube_key *key,
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

/* Fills `into` by `keys`; complains of keys unknown (with the nearest known) and missing. */
void tube_read_map(base_yaml *reader, const base_yaml_item *item, const tube_key *keys,
                   size_t count, void *into);

/* The items of a list, or of a mapping (then `key` is each one's key), in *items. */
size_t tube_read_items(base_yaml *reader, const base_yaml_item *item, bool mapping,
                       base_yaml_item **items);

tube_key_reader tube_read_text;   /* const char * */
tube_key_reader tube_read_texts;  /* const char *const *, NULL-ended */
tube_key_reader tube_read_number; /* double */
tube_key_reader tube_read_range;  /* double[2], rising */
tube_key_reader tube_read_word;   /* int: its place among the key's words */
tube_key_reader tube_read_yes;    /* bool: yes, no */
tube_key_reader tube_read_later;  /* base_yaml_item: kept, to be read by the caller */

#endif
