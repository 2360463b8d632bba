/* Invented jobs, made into PDFs and read back with pdftotext. */
#ifndef GRIDLEAK_TESTS_REPORT_SUPPORT_H
#define GRIDLEAK_TESTS_REPORT_SUPPORT_H

#include "../service/amp.h"

#include "report.h"

#include <unistd.h>

#define NOW 1763721000000 /* 21 November 2025 */

static inline json_t *view_of(const char *name) {
    char path[128];
    snprintf(path, sizeof path, "tests/report/%s.json", name);
    char *text = support_file(path, NULL);
    json_error_t error;
    json_t *view = json_loads(text, 0, &error);
    if (!view) fail_msg("%s:%d: %s", path, error.line, error.text);
    free(text);
    return view;
}

typedef void *document(const report_given *given, size_t *length, base_errors *errors);

typedef struct pdf {
    unsigned char *bytes;
    size_t length;
    char *text; /* of all pages, a form feed after each */
    int pages;
} pdf;

/* What a command prints, to be freed. */
static inline char *printed(const char *command) {
    FILE *pipe = popen(command, "r");
    assert_non_null(pipe);
    size_t length = 0, room = 1 << 16;
    char *text = malloc(room);
    for (size_t got; (got = fread(text + length, 1, room - length - 1, pipe)) > 0;) {
        length += got;
        if (length + 1 == room) text = realloc(text, room *= 2);
    }
    text[length] = 0;
    assert_int_equal(pclose(pipe), 0);
    return text;
}

static inline char *text_of(const void *bytes, size_t length) {
    char path[] = "/tmp/gridleak_report_XXXXXX", command[128];
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_int_equal(write(file, bytes, length), (ssize_t)length);
    close(file);
    snprintf(command, sizeof command, "pdftotext -layout -enc UTF-8 %s - 2>&1", path);
    char *text = printed(command);
    unlink(path);
    return text;
}

static inline pdf pdf_of(unsigned char *bytes, size_t length) {
    pdf pdf = {.bytes = bytes, .length = length};
    assert_non_null(bytes);
    assert_memory_equal(bytes, "%PDF-", 5);
    pdf.text = text_of(bytes, length);
    for (const char *at = pdf.text; *at; at++)
        pdf.pages += *at == '\f';
    return pdf;
}

static inline void pdf_free(pdf *pdf) {
    free(pdf->bytes);
    free(pdf->text);
}

/* Is it there, however its words are spaced and broken into lines? */
static inline bool says(const pdf *pdf, const char *words) {
    const char *at = pdf->text;
    for (; *at; at++) {
        const char *a = at, *b = words;
        while (*b && *a) {
            if (*b == ' ' && strchr(" \n\f", *a)) {
                while (*a && strchr(" \n\f", *a))
                    a++;
                b++;
            } else if (*a == *b) {
                a++;
                b++;
            } else {
                break;
            }
        }
        if (!*b) return true;
    }
    return false;
}
#define assert_says(pdf, words)                                                                    \
    do {                                                                                           \
        if (!says(pdf, words)) fail_msg("the pages do not say \"%s\":\n%s", words, (pdf)->text);   \
    } while (0)

#endif
