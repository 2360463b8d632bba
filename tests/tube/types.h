/* The tube library as it stands in data/tubes. */
#ifndef GRIDLEAK_TESTS_TUBE_TYPES_H
#define GRIDLEAK_TESTS_TUBE_TYPES_H

#include "support.h"

#include <dirent.h>

#include "tube.h"

static inline int types_is_yaml(const struct dirent *entry) {
    return strstr(entry->d_name, ".yaml") != NULL;
}

/* Adds every type of a folder under the source folder; fails the test on any complaint. */
static inline tube_library *types_all(void) {
    tube_library *library = tube_library_new();
    base_errors *errors = base_errors_new();
    struct dirent **entries;
    int files = scandir(SOURCE_DIR "/data/tubes", &entries, types_is_yaml, alphasort);
    assert_true(library && errors && files > 0);
    for (int i = 0; i < files; i++) {
        char path[300];
        size_t length;
        snprintf(path, sizeof path, "data/tubes/%s", entries[i]->d_name);
        char *text = support_file(path, &length);
        if (tube_library_add(library, path, text, length, errors) != BASE_OK)
            fail_msg("%s: %s", path, base_errors_at(errors, 0)->cause);
        free(text);
        free(entries[i]);
    }
    free(entries);
    base_errors_free(errors);
    return library;
}

static inline int types_set_up(void **state) {
    *state = types_all();
    return 0;
}

static inline int types_tear_down(void **state) {
    tube_library_free(*state);
    return 0;
}

#endif
