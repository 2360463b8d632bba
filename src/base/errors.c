#include "base.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { KEPT = 200, LINE = 1024 };

static const char OUT_OF_MEMORY[] = "out of memory";
static const char FREE_SOME[] = "close other programs and try again";

struct base_errors {
    base_error kept[KEPT];
    char *owned[KEPT]; /* cause, remedy and file of each, in one block; NULL: constant texts */
    size_t count, dropped;
    base_code worst;
};

static const base_code_row CODES[BASE_CODES] = {
    [BASE_OK] = {"ok", 0, 200, "done, nothing to complain of"},
    [BASE_MEMORY] = {"memory", 71, 500, "the computer ran out of memory"},
    [BASE_SYNTAX] = {"syntax", 65, 400, "the text is not what the format allows"},
    [BASE_VALUE] = {"value", 65, 400, "a value or unit that makes no sense where it stands"},
    [BASE_UNKNOWN] = {"unknown", 65, 404, "a name that does not exist: part, node, tube type, key"},
    [BASE_CIRCUIT] = {"circuit", 65, 422, "the circuit as drawn cannot be"},
    [BASE_UNSOLVED] = {"unsolved", 70, 422, "no solution of the circuit was found"},
    [BASE_FILE] = {"file", 66, 500, "a file cannot be read or written"},
    [BASE_USAGE] = {"usage", 64, 400, "the command line makes no sense"},
    [BASE_SUSPICIOUS] = {"suspicious", 0, 200, "a warning: it may be meant so"},
};

const base_code_row *base_code_of(base_code code) {
    static const base_code_row none = {"unknown code", 70, 500, "a code that is not in the table"};
    return (unsigned)code < BASE_CODES ? &CODES[code] : &none;
}

base_errors *base_errors_new(void) {
    return calloc(1, sizeof(base_errors));
}

void base_errors_free(base_errors *errors) {
    if (!errors) return;
    for (size_t i = 0; i < errors->count; i++)
        free(errors->owned[i]);
    free(errors);
}

/* Length of the character at `s` that a terminal may print, 0 if there is none: control characters
 * of both sets are refused, so that no file can drive a terminal. */
static size_t printable(const char *s) {
    unsigned char first = (unsigned char)s[0], second = first ? (unsigned char)s[1] : 0;
    bool control = first < 0x20 || first == 0x7f || (first == 0xc2 && second < 0xa0);
    return control ? 0 : base_utf8_length(s, strlen(s));
}

/* Writes `from` to `to` with anything that does not print as `?`; white space becomes a blank. */
static char *copy_clean(char *to, const char *from) {
    while (*from) {
        size_t length = printable(from);
        if (length) {
            memcpy(to, from, length);
        } else {
            *to = strchr("\t\n\r", *from) ? ' ' : '?';
            length = 1;
        }
        to += length;
        from += length;
    }
    *to = 0;
    return to + 1;
}

static void fill(base_errors *errors, size_t at, const char *file, const char *cause,
                 const char *remedy) {
    base_error *error = &errors->kept[at];
    size_t size = strlen(cause) + strlen(remedy) + (file ? strlen(file) : 0) + 3;
    char *block = malloc(size);
    errors->owned[at] = block;
    if (!block) {
        error->code = BASE_MEMORY;
        error->file = NULL;
        error->cause = OUT_OF_MEMORY;
        error->remedy = FREE_SOME;
        return;
    }
    error->cause = block;
    error->remedy = block = copy_clean(block, cause);
    block = copy_clean(block, remedy);
    error->file = file ? block : NULL;
    if (file) copy_clean(block, file);
}

/* Writes cause and remedy, each 0-ended; returns where the remedy begins. The format's bar is found
 * before the texts are put in: a bar in a user's text parts nothing. */
static const char *write_both(char both[LINE], const char *format, va_list arguments) {
    char cause[LINE];
    va_list again;
    va_copy(again, arguments);
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
    snprintf(cause, sizeof cause, "%.*s", (int)strcspn(format, "|"), format);
    int length = vsnprintf(NULL, 0, cause, again);
    memset(both, 0, LINE);
    if (length >= 0) vsnprintf(both, LINE - 1, format, arguments);
#pragma GCC diagnostic pop
    va_end(again);
    size_t split = length < 0 ? 0 : length < LINE - 2 ? (size_t)length : LINE - 2;
    both[split] = 0;
    return both + split + 1;
}

base_code base_errors_add_list(base_errors *errors, base_code code, base_place place,
                               const char *format, va_list arguments) {
    if (!errors) return code;
    if (errors->worst == BASE_OK && code != BASE_SUSPICIOUS) errors->worst = code;
    if (errors->count == KEPT) {
        errors->dropped++;
        return code;
    }
    char both[LINE];
    const char *remedy = write_both(both, format, arguments);
    size_t at = errors->count++;
    errors->kept[at] = (base_error){.code = code, .line = place.line, .column = place.column};
    fill(errors, at, place.file, both, remedy);
    return code;
}

base_code base_errors_add(base_errors *errors, base_code code, base_place place, const char *format,
                          ...) {
    va_list arguments;
    va_start(arguments, format);
    base_errors_add_list(errors, code, place, format, arguments);
    va_end(arguments);
    return code;
}

void base_errors_append(base_errors *errors, const base_errors *from) {
    for (size_t i = 0; i < base_errors_count(from); i++) {
        const base_error *error = base_errors_at(from, i);
        base_place place = {error->file, error->line, error->column};
        if (error->code != BASE_SUSPICIOUS)
            base_errors_add(errors, error->code, place, "%s|%s", error->cause, error->remedy);
    }
}

size_t base_errors_count(const base_errors *errors) {
    return errors ? errors->count : 0;
}

const base_error *base_errors_at(const base_errors *errors, size_t index) {
    return errors && index < errors->count ? &errors->kept[index] : NULL;
}

size_t base_errors_dropped(const base_errors *errors) {
    return errors ? errors->dropped : 0;
}

base_code base_errors_worst(const base_errors *errors) {
    return errors ? errors->worst : BASE_OK;
}
