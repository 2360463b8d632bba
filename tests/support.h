/* What many tests need: a whole file as text, and the demo library's tubes and amps. */
#ifndef GRIDLEAK_TESTS_SUPPORT_H
#define GRIDLEAK_TESTS_SUPPORT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* The file under the source folder, 0-ended, to be freed; fails the test when it is not there. */
static inline char *support_file(const char *relative, size_t *length) {
    char path[512];
    snprintf(path, sizeof path, "%s/%s", SOURCE_DIR, relative);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    assert_int_equal(fseek(file, 0, SEEK_END), 0);
    long size = ftell(file);
    rewind(file);
    char *text = malloc((size_t)size + 1);
    assert_non_null(text);
    assert_int_equal(fread(text, 1, (size_t)size, file), (size_t)size);
    text[size] = 0;
    fclose(file);
    if (length) *length = (size_t)size;
    return text;
}

#endif
