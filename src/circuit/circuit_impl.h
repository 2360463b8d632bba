/* Inside the room: the amp itself, and the state while a file is read.
 *
 * Reading runs in four steps, each over all parts in the file's order:
 *   declare (names and kinds) -> fields (values, how many ends) -> joins (ends to names)
 *   -> nodes (joined names become one node), then the printed volts.
 * Names may be used before they are declared, so each step waits for the one before. */
#ifndef GRIDLEAK_CIRCUIT_IMPL_H
#define GRIDLEAK_CIRCUIT_IMPL_H

#include "circuit.h"

#define PARTS_MOST 2000
#define CIRCUIT_FORM_UNREAD ((circuit_form)-1) /* until the file gives a rectifier's form */

/* Every name that a probe or a reading may use, sorted by name, case folded. */
typedef struct place_entry {
    const char *name;
    circuit_place place; /* node -1: nothing joins this pin */
} place_entry;

struct circuit {
    base_arena *arena;
    circuit_about about;
    circuit_part *part;
    size_t parts, part_room;
    circuit_node *node;
    size_t nodes;
    place_entry *place;
    size_t places;
    const char **name; /* of the places, for the nearest one */
};

struct section;

/* What the file says of a part, beside the part. */
typedef struct draft {
    base_yaml_items map;
    const struct section *section;
    int first_term; /* its ends are terms first_term + 0 .. CIRCUIT_ENDS - 1 */
} draft;

/* A name that ends join: a plain one ("B1") or a part's end ("V2.1"). Joined terms form trees. */
typedef struct term {
    const char *name; /* plain; NULL for an end */
    int part, end;    /* of an end; part -1 for a plain name */
    int parent;       /* itself at the root */
    bool joined;
} term;

typedef struct mention {
    int term;
    base_place at;
} mention;

typedef struct reader {
    base_yaml yaml;
    circuit *amp;
    const tube_library *tubes;
    draft *draft; /* beside amp->part */
    size_t draft_room;
    term *term;
    size_t terms, term_room;
    int *plain; /* the terms that are plain names */
    size_t plains, plain_room;
    mention *mention; /* in the order made */
    size_t mentions, mention_room;
    const base_yaml_item *printed;
} reader;

/* Room for one more in an array of the arena; the array, moved if need be. Without
 * memory it stays as it is, and yaml.no_memory is set: look at that before using the room. */
void *circuit_grow(reader *read, void *array, size_t count, size_t *room, size_t size);

/* ---- fields: typed keys of one mapping ----------------------------------------------------- */

typedef struct field_word {
    const char *word; /* NULL ends a list */
    int meaning;
} field_word;

typedef enum field_type {
    FIELD_VALUE, /* double, in `quantity`, within least..most */
    FIELD_WORDS, /* const char * */
    FIELD_YES,   /* int: 1 or 0 */
    FIELD_FLAG,  /* bool */
    FIELD_WORD,  /* int: the meaning of one of `words` */
    FIELD_REAL,  /* double: the meaning of one of `words`, in percent, as a part of one */
    FIELD_LATER  /* a known key, read by its section */
} field_type;

typedef struct field {
    const char *key; /* NULL ends a table */
    field_type type;
    size_t offset;
    base_quantity quantity;
    double least, most;
    const field_word *words;
    const char *needed; /* how to write it when it must be there, or NULL */
} field;

/* Reads all of `map` into the struct at `into`: first by `own`, then by `common` (may be NULL).
 * Complains of unknown keys, of values that cannot be read or make no sense, of needed keys. */
void circuit_fields_read(base_yaml *yaml, const base_yaml_items *map, const field *own,
                         const field *common, void *into);
/* A text of the file with its place. */
typedef struct written_word {
    const char *text;
    base_place at;
} written_word;

/* The texts of a list (or one text alone): how many, or -1 with a complaint. */
int circuit_words_of(base_yaml *yaml, const base_yaml_item *item, const char *who,
                     written_word *word, int most);
const char *circuit_word_of(const field_word *words, int meaning); /* NULL: none */

/* ---- sections: the parts of one top-level key ---------------------------------------------- */

typedef struct section {
    const char *key; /* "resistors"; NULL ends the table */
    circuit_kind kind;
    const field *own, *common;
    double tolerance;                   /* where the file states none */
    void (*finish)(reader *, int part); /* after the fields: ends, what fields cannot say */
    void (*join)(reader *, int part);   /* the ends to names */
} section;

extern const section circuit_sections[]; /* resistors, capacitors, ... */
extern const section circuit_primary_section, circuit_winding_section, circuit_rectifier_section;
extern const field circuit_common_fields[]; /* tolerance, watts, volts, original, sits, does */

/* Adds a part; its index, or -1 with a complaint (a name used twice, not a word, too many). */
int circuit_part_declare(reader *read, const section *section, const char *name,
                         const base_yaml_items *map);
/* Joins the listed names to the part's ends 0, 1...: `least` to `most` of them. */
int circuit_join_list(reader *read, int part, const char *key, int least, int most);
/* Joins the one name of a key to an end; false when the key is not there. */
bool circuit_join_key(reader *read, int part, const char *key, int end);
const base_yaml_item *circuit_part_item(const reader *read, int part, const char *key);

void circuit_part_site(circuit_part *part); /* from the words of `sits` */

void circuit_power_declare(reader *read, const base_yaml_items *transformers);
void circuit_output_finish(reader *read, int part);
void circuit_output_join(reader *read, int part);
void circuit_rectifier_join(reader *read, int part);

/* ---- terms and nodes
 * ----------------------------------------------------------------------------- */

bool circuit_is_word(const char *name); /* letters, digits, `_`, `+` */
int circuit_part_by_name(const circuit *amp, const char *name,
                         size_t length); /* -1: none; case folded */
/* The end that `text` names on this part ("1", "tip"), or -1. */
int circuit_end_by_name(const circuit_part *part, const char *text);
/* The special name of an end ("tip"), or NULL: it has only its number. */
const char *circuit_end_name(const circuit_part *part, int end);
/* A tube's end is its pin; another part's first end is 1. */
int circuit_end_number(const circuit_part *part, int end);

int circuit_term_root(const reader *read, int term);
int circuit_term_of_end(const reader *read, int part, int end);
int circuit_term_plain(reader *read, const char *name); /* made if new; -1: no memory */
/* The term that a written name means; -1 with a complaint, where `who` is what uses it. */
int circuit_term_of_word(reader *read, const written_word *word, const char *who);
/* Joins a part's end to the written name. */
void circuit_term_join(reader *read, int part, int end, const written_word *word);
void circuit_term_join_plain(reader *read, int part, int end, const char *name);
/* Makes the nodes from the joined terms, gives each part its nodes, lists the places. */
void circuit_nodes_make(reader *read);
/* Warns of what the joins make odd: one lead, both ends on one node, names like `gnd`. */
void circuit_nodes_check(reader *read);

#endif
