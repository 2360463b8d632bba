#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "tube_impl.h"

typedef struct entry {
    base_arena *arena; /* holds all of the type */
    const tube_type *type;
} entry;

struct tube_library {
    entry *entry;
    size_t count, room;
};

tube_library *tube_library_new(void) {
    return calloc(1, sizeof(tube_library));
}

void tube_library_free(tube_library *library) {
    if (!library) return;
    for (size_t i = 0; i < library->count; i++)
        base_arena_free(library->entry[i].arena);
    free(library->entry);
    free(library);
}

static bool grow(tube_library *library) {
    if (library->count < library->room) return true;
    size_t room = library->room ? 2 * library->room : 64;
    entry *larger = realloc(library->entry, room * sizeof *larger);
    if (!larger) return false;
    library->entry = larger;
    library->room = room;
    return true;
}

/* The first of a type's names that the library has already, or NULL. */
static const char *name_taken(const tube_library *library, const tube_type *type) {
    if (tube_find(library, type->name)) return type->name;
    for (const char *const *also = type->also; *also; also++)
        if (tube_find(library, *also)) return *also;
    return NULL;
}

static base_code keep(tube_library *library, base_yaml *reader, const tube_type *type) {
    const char *taken = name_taken(library, type);
    base_place top = {reader->file, 1, 1};
    if (taken)
        return base_errors_add(reader->errors, BASE_VALUE, top,
                               "`%s` is in the library already|give the type another name", taken);
    if (!grow(library))
        return base_errors_add(reader->errors, BASE_MEMORY, top,
                               "no memory is left for this tube type|close other programs");
    library->entry[library->count++] = (entry){reader->arena, type};
    return BASE_OK;
}

base_code tube_library_add(tube_library *library, const char *file, const char *text, size_t length,
                           base_errors *errors) {
    base_yaml reader = {.file = file, .arena = base_arena_new(), .errors = errors};
    if (!reader.arena)
        return base_errors_add(errors, BASE_MEMORY, (base_place){file, 0, 0},
                               "no memory is left for this tube type|close other programs");
    const tube_type *type = tube_type_read(&reader, text, length);
    base_code code = type ? keep(library, &reader, type) : reader.worst;
    if (code != BASE_OK) base_arena_free(reader.arena);
    return code;
}

size_t tube_library_count(const tube_library *library) {
    return library->count;
}

const tube_type *tube_library_at(const tube_library *library, size_t index) {
    return index < library->count ? library->entry[index].type : NULL;
}

static bool is_named(const tube_type *type, const char *name) {
    if (strcasecmp(type->name, name) == 0) return true;
    for (const char *const *also = type->also; *also; also++)
        if (strcasecmp(*also, name) == 0) return true;
    return false;
}

const tube_type *tube_find(const tube_library *library, const char *name) {
    for (size_t i = 0; i < library->count; i++)
        if (is_named(library->entry[i].type, name)) return library->entry[i].type;
    return NULL;
}

/* All names of all types, in `names` unless it is NULL; returns how many. */
static size_t list_names(const tube_library *library, const char **names) {
    size_t count = 0;
    for (size_t i = 0; i < library->count; i++) {
        const tube_type *type = library->entry[i].type;
        if (names) names[count] = type->name;
        count++;
        for (const char *const *also = type->also; *also; also++) {
            if (names) names[count] = *also;
            count++;
        }
    }
    return count;
}

const char *tube_nearest(const tube_library *library, const char *name) {
    const char **names = calloc(list_names(library, NULL) + 1, sizeof *names);
    if (!names) return NULL;
    const char *nearest = base_nearest_name(name, names, list_names(library, names));
    free(names);
    return nearest;
}
