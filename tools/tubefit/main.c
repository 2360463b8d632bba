/* tubefit FIGURES TUBES: fits the curve of every type in the folder FIGURES and writes it to the
 * folder TUBES. Prints how far each type's worst figure is off; a figure past its target without a
 * stated reason makes the exit status 1. The same input gives the same output. */
#include <dirent.h>
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tubefit.h"

static char *file_text(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    if (!file) return NULL;
    char *text = calloc(1, BASE_YAML_MOST + 1);
    *length = text ? fread(text, 1, BASE_YAML_MOST, file) : 0;
    fclose(file);
    return text;
}

static bool write_file(const char *path, const base_text *text) {
    FILE *file = text->failed ? NULL : fopen(path, "wb");
    if (!file) return false;
    bool whole = fwrite(text->data, 1, text->length, file) == text->length;
    return fclose(file) == 0 && whole;
}

static void print_errors(const base_errors *errors) {
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *e = base_errors_at(errors, i);
        fprintf(stderr, "%s:%d:%d: %s; %s\n", e->file ? e->file : "", e->line, e->column, e->cause,
                e->remedy);
    }
}

/* One line for the type's worst figure; false where one is off without a reason. */
static bool report(const figures *f) {
    static const char *const names[] = {"plate current", "screen current", "mu", "rp", "gm"};
    bool excused = true;
    for (size_t i = 0; i < f->points; i++) {
        const tube_fit *p = &f->point[i];
        int q;
        bool off = fit_worst(p, &q) > 1;
        printf("%-8s %-44s %s %+.1f %%%s\n", f->type, p->name, names[q],
               100 * (p->fitted[q] / p->published[q] - 1),
               !off           ? ""
               : p->exception ? " (exception)"
                              : " OFF TARGET");
        excused = excused && (!off || p->exception);
    }
    return excused;
}

/* The written text must read back as a tube type. */
static bool reads_back(const char *path, const base_text *text, base_errors *errors) {
    tube_library *library = tube_library_new();
    bool ok =
        library && tube_library_add(library, path, text->data, text->length, errors) == BASE_OK;
    tube_library_free(library);
    return ok;
}

static bool fit_text(const char *path, const char *text, size_t length, const char *folder) {
    figures f = {0};
    base_text out;
    char to[4096];
    base_errors *errors = base_errors_new();
    base_yaml reader = {.file = path, .arena = base_arena_new(), .errors = errors};
    base_text_init(&out, BASE_YAML_MOST);
    bool ok = errors && reader.arena && figures_read(&reader, text, length, &f) && fit_units(&f);
    if (ok) {
        write_type(&f, &out);
        snprintf(to, sizeof to, "%s/%s.yaml", folder, f.type);
        bool written = reads_back(to, &out, errors) && write_file(to, &out);
        if (!written) fprintf(stderr, "%s cannot be written\n", to);
        ok = report(&f) && written;
    }
    print_errors(errors);
    base_text_free(&out);
    base_arena_free(reader.arena);
    base_errors_free(errors);
    return ok;
}

static int is_yaml(const struct dirent *entry) {
    const char *dot = strrchr(entry->d_name, '.');
    return dot && strcmp(dot, ".yaml") == 0;
}

int main(int count, char **arguments) {
    struct dirent **entries;
    if (count != 3) {
        fprintf(stderr, "usage: tubefit FIGURES TUBES (two folders)\n");
        return 64;
    }
    int files = scandir(arguments[1], &entries, is_yaml, alphasort);
    bool ok = files > 0;
    gsl_set_error_handler_off();
    for (int i = 0; i < files; i++) {
        char path[4096];
        size_t length;
        snprintf(path, sizeof path, "%s/%s", arguments[1], entries[i]->d_name);
        char *text = file_text(path, &length);
        ok = text && fit_text(path, text, length, arguments[2]) && ok;
        free(text);
        free(entries[i]);
    }
    if (files > 0) free(entries);
    if (!ok) fprintf(stderr, "tubefit: something is off; see above\n");
    return ok ? 0 : 1;
}
