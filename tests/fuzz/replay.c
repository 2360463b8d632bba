/* Runs a fuzz target once on each file of a folder, so that a corpus is an ordinary test. */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void fail(const char *what, const char *path) {
    fprintf(stderr, "%s: %s\n", what, path);
    exit(1);
}

static void run_file(const char *folder, const char *name) {
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    if (!file || fseek(file, 0, SEEK_END) != 0) fail("cannot read", path);
    long size = ftell(file);
    rewind(file);
    uint8_t *data = malloc(size ? (size_t)size : 1); /* its exact size: a sanitizer sees its end */
    if (!data || fread(data, 1, (size_t)size, file) != (size_t)size) fail("cannot read", path);
    fclose(file);
    printf("%s\n", name);
    fflush(stdout);
    LLVMFuzzerTestOneInput(data, (size_t)size);
    free(data);
}

static int is_input(const struct dirent *entry) {
    return entry->d_name[0] != '.';
}

int main(int count, char **arguments) {
    struct dirent **entries;
    const char *folder = count == 2 ? arguments[1] : "";
    int files = scandir(folder, &entries, is_input, alphasort);
    if (files <= 0) fail("no inputs in folder", folder);
    LLVMFuzzerTestOneInput((const uint8_t *)"", 0);
    for (int i = 0; i < files; i++) {
        run_file(folder, entries[i]->d_name);
        free(entries[i]);
    }
    free(entries);
    printf("%d inputs\n", files);
    return 0;
}
