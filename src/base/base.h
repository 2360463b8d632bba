/* base: what every room stands on. Errors with place and remedy, arenas, growing text,
 * the trade's writing of values, seeded random numbers, YAML. It knows nothing of amps. */
#ifndef GRIDLEAK_BASE_H
#define GRIDLEAK_BASE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- errors: a code, a place, a cause and a remedy ------------------------------------ */

typedef enum base_code {
    BASE_OK = 0,
    BASE_MEMORY,     /* an allocation failed */
    BASE_SYNTAX,     /* the text is not what the format allows */
    BASE_VALUE,      /* a value or unit that makes no sense here */
    BASE_UNKNOWN,    /* a name (part, node, tube type, key) that does not exist */
    BASE_CIRCUIT,    /* the circuit as drawn cannot be */
    BASE_UNSOLVED,   /* the equations have no solution that was found */
    BASE_FILE,       /* a file cannot be read or written */
    BASE_USAGE,      /* the command line makes no sense */
    BASE_SUSPICIOUS, /* a warning: it may be meant so */
    BASE_CODES
} base_code;

/* One table gives name, exit status and HTTP status of each code. */
typedef struct base_code_row {
    const char *name; /* "syntax" */
    int exit_status;  /* of the program: 0 ok, 64.. as in sysexits(3) where one fits */
    int http_status;
    const char *meaning; /* one line for the handbook */
} base_code_row;
const base_code_row *base_code_of(base_code code); /* never NULL */

/* Both texts are owned by the list. `line` and `column` count from 1; 0 means not in a file. */
typedef struct base_error {
    base_code code;
    const char *file; /* NULL when no file is concerned */
    int line, column;
    const char *cause;  /* "R7 joins V2.6, but V2 is not declared" */
    const char *remedy; /* "declare it under tubes" */
} base_error;

/* All complaints of one run, in the order found. Holds at most 200; counts the rest. */
typedef struct base_errors base_errors;
typedef struct base_place {
    const char *file;
    int line, column;
} base_place;
base_errors *base_errors_new(void); /* NULL: no memory */
void base_errors_free(base_errors *errors);
/* Adds one; `format` writes "cause|remedy" (one bar parts the two). Never fails: with no memory
 * left it records BASE_MEMORY. Returns code, so that `return base_errors_add(...)` reads well. */
base_code base_errors_add(base_errors *errors, base_code code, base_place place, const char *format,
                          ...) __attribute__((format(printf, 4, 5)));
base_code base_errors_add_list(base_errors *errors, base_code code, base_place place,
                               const char *format, va_list arguments);
/* Adds all of `from` that are no warnings. */
void base_errors_append(base_errors *errors, const base_errors *from);
size_t base_errors_count(const base_errors *errors); /* those kept, warnings included */
const base_error *base_errors_at(const base_errors *errors, size_t index);
size_t base_errors_dropped(const base_errors *errors);
base_code base_errors_worst(const base_errors *errors); /* first that is no warning, or BASE_OK */

/* ---- memory ---------------------------------------------------------------------------- */

/* Zeroed memory freed in one call. Built with GRIDLEAK_ARENA_MALLOC each block is its own
 * malloc, so that a sanitizer sees its ends. */
typedef struct base_arena base_arena;
base_arena *base_arena_new(void); /* NULL: no memory */
void base_arena_free(base_arena *arena);
void *base_arena_take(base_arena *arena, size_t count,
                      size_t size);                                /* NULL: no memory or overflow */
char *base_arena_text(base_arena *arena, const char *text);        /* a copy; NULL: no memory */
char *base_arena_print(base_arena *arena, const char *format, ...) /* NULL: no memory */
    __attribute__((format(printf, 2, 3)));
char *base_arena_print_list(base_arena *arena, const char *format, va_list arguments);

/* A growing text with a stated maximum. Past it, or with no memory, `failed` is set and the rest
 * is dropped: look once, at the end. `data` is always terminated. */
typedef struct base_text {
    char *data;
    size_t length, room, maximum;
    bool failed;
} base_text;
void base_text_init(base_text *text, size_t maximum);
void base_text_add(base_text *text, const char *format, ...) __attribute__((format(printf, 2, 3)));
void base_text_free(base_text *text);

/* Length of the well-formed UTF-8 character at `s` (RFC 3629, section 4), of which `left` bytes may
 * be looked at; 0: it is none. A zero byte is a character of one byte. */
size_t base_utf8_length(const char *s, size_t left);

/* ---- values in the trade's writing ------------------------------------------------------ */

typedef enum base_quantity {
    BASE_OHMS,
    BASE_FARADS,
    BASE_HENRIES,
    BASE_VOLTS,
    BASE_AMPERES,
    BASE_WATTS,
    BASE_HERTZ,
    BASE_PERCENT, /* "10%" and "10" give 0.10 */
    BASE_NUMBER,  /* a bare number */
    BASE_QUANTITIES
} base_quantity;

/* Reads `4k7`, `470R`, `R47`, `1M`, `1 meg`, `22n`, `0.022u`, `.02 mfd`, `100 mmf`, `2u2`, `25 mA`,
 * `-1.5 V`, `1,5` (one comma is a decimal point). In ohms `M` and `m` are mega; in volts, amperes,
 * watts `m` is milli; in farads MF/MFD/mfd are micro, MMF/mmfd/uuF pico; `20` alone in farads is
 * ambiguous (micro or pico?) and is asked back, as are a lone `m` and `mF` in farads, `mohm`, `4E7`
 * in ohms, and `4,700`. A percentage may be an IEC 60062 tolerance letter (`K` is 0.10). Negative
 * ohms, farads, henries, watts and hertz are refused. Never guesses.
 * Fails with BASE_VALUE or BASE_SYNTAX and adds one complaint at `place`; *value is then NAN. */
base_code base_value_read(const char *text, base_quantity quantity, base_place place, double *value,
                          base_errors *errors);

/* Writes value so that base_value_read gives it back: `4k7`, `22n`, `1M`, `362.2 V`, `45 mA`.
 * Parts (ohms, farads, henries) keep up to 4 significant digits unless more are needed to read
 * back within 1e-12. Returns `buffer` (at least 32 bytes). */
char *base_value_write(double value, base_quantity quantity, char *buffer, size_t size);

/* `value` with that many significant decimal digits: for showing 362.2 of 362.1837. */
double base_value_round(double value, int digits);

/* The value of series (6, 12, 24, 96) of IEC 60063 nearest to `value` by ratio; NAN if value <= 0
 * or the series is not one of these. */
double base_value_nearest(double value, int series);

/* The name in `names` (count) nearest to `text` by edit distance, case folded; NULL if none is
 * within a third of its length. For "did you mean". */
const char *base_nearest_name(const char *text, const char *const *names, size_t count);

/* ---- seeded random numbers -------------------------------------------------------------- */

/* xoshiro256++ state, seeded by splitmix64; the same seed gives the same numbers everywhere. */
typedef struct base_random {
    uint64_t s[4];
} base_random;
void base_random_seed(base_random *random, uint64_t seed);
uint64_t base_random_bits(base_random *random);
double base_random_unit(base_random *random);   /* [0, 1) */
double base_random_normal(base_random *random); /* mean 0, variance 1 */

/* ---- reading YAML with the place of every value ------------------------------------------ */

/* What complaints say of the sort of file that is read. */
typedef struct base_yaml_kind {
    const char *files; /* "amp files" */
    const char *one;   /* "amp": what a file holds one of */
    const char *begin; /* "`amp:` and the amp's name": how an empty file should begin */
} base_yaml_kind;

/* One file while it is read. The caller sets the first four; `file` may be NULL. */
typedef struct base_yaml {
    const base_yaml_kind *kind;
    const char *file;
    base_arena *arena; /* for the texts, which outlive base_yaml_close */
    base_errors *errors;
    base_code worst; /* of the first complaint that is no warning, or BASE_OK */
    bool no_memory;  /* and it was complained of */
    base_arena *tree;
} base_yaml;

typedef enum base_yaml_type {
    BASE_YAML_TEXT,
    BASE_YAML_LIST,
    BASE_YAML_MAP,
    BASE_YAML_ALIAS
} base_yaml_type;

/* One value of the file, as it is written. Read-only; lives until base_yaml_close. */
typedef struct base_yaml_node {
    base_yaml_type type;
    bool flow;        /* a list or mapping in brackets */
    bool exact;       /* a text whose start and end are known, and no block of lines */
    const char *text; /* of a text or an alias; never NULL there */
    base_place at;    /* of its first character; line 0: an empty value */
    /* Bytes from the start of the file, quotes and brackets included. `end` is behind the last, in
     * a block that of the last child. */
    size_t start, end;
    size_t count; /* of the children. Those of a mapping: key, value, key, value... */
    struct base_yaml_node *parent, *child, *last, *next;
} base_yaml_node;

/* A value with its key. An entry of a list has the key of the list. */
typedef struct base_yaml_item {
    const char *key;
    base_place key_at;
    const base_yaml_node *value;
    base_place at; /* of the value; a list's or a mapping's under a key is that of the key */
} base_yaml_item;

/* The items of a mapping or a list, in the file's order. The caller sets the first two. */
typedef struct base_yaml_items {
    const char *who; /* what complaints call it: "R7", "the file" */
    bool repeats;    /* a key may stand twice */
    base_place at;
    base_yaml_item *item;
    size_t items;
} base_yaml_items;

/* Reads the one document of `text` (at most BASE_YAML_MOST bytes of UTF-8, 63 levels deep) into
 * *root, whose key is "the file". False with all complaints: no text, no YAML, two documents, no
 * memory. To be closed in either case. */
#define BASE_YAML_MOST (256 * 1024)
bool base_yaml_open(base_yaml *yaml, const char *text, size_t length, base_yaml_item *root);
void base_yaml_close(base_yaml *yaml);

/* The items of the mapping at `item`. False with a complaint when it is none; complains of keys
 * given twice and of aliases, and leaves those out. */
bool base_yaml_map(base_yaml *yaml, const base_yaml_item *item, base_yaml_items *map);
/* The entries of the list at `item`; one text alone is a list of one. False with a complaint when
 * it is neither, or one entry is an alias. */
bool base_yaml_list(base_yaml *yaml, const base_yaml_item *item, base_yaml_items *list);
/* By key, case folded; NULL: none. */
const base_yaml_item *base_yaml_find(const base_yaml_items *map, const char *key);

/* Complains of each key that is not among the `known` (NULL-ended). */
void base_yaml_check_keys(base_yaml *yaml, const base_yaml_items *map, const char *const *known);
/* Complains of this one: with the nearest that is known as remedy, or `otherwise`. */
void base_yaml_unknown(base_yaml *yaml, const base_yaml_items *map, const base_yaml_item *item,
                       const char *const *known, const char *otherwise);

/* The text of a value without outer blanks; NULL, without a complaint: it is none, or empty. */
const char *base_yaml_text_of(base_yaml *yaml, const base_yaml_node *value);
/* The one text of an item; NULL with a complaint. `who` is what it belongs to. */
const char *base_yaml_text(base_yaml *yaml, const base_yaml_item *item, const char *who);
/* That text as a value; false with a complaint, and *value is NAN. */
bool base_yaml_value(base_yaml *yaml, const base_yaml_item *item, const char *who,
                     base_quantity quantity, double *value);

/* base_errors_add, noted in `worst`. */
base_code base_yaml_complain(base_yaml *yaml, base_code code, base_place place, const char *format,
                             ...) __attribute__((format(printf, 4, 5)));
/* Notes a code that another reader complained with; returns it. */
base_code base_yaml_note(base_yaml *yaml, base_code code);
void base_yaml_no_memory(base_yaml *yaml); /* complains, once */
/* From the arena; NULL: complained of. */
void *base_yaml_take(base_yaml *yaml, size_t count, size_t size);
/* Printed into the arena; "?" where no memory is left, which is complained of. */
const char *base_yaml_print(base_yaml *yaml, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Text of the file made fit to show: at most 60 bytes, no control characters, no bar. */
const char *base_yaml_show(base_yaml *yaml, const char *text);

#endif
