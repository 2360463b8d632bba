/* A store whose every allocation can be made to fail: ours, SQLite's and the JSON library's. */
#ifndef GRIDLEAK_TESTS_JOB_OOM_BENCH_H
#define GRIDLEAK_TESTS_JOB_OOM_BENCH_H

#include "bench.h"

#include "../oom.h"

#include <malloc.h>
#include <sqlite3.h>

static bench on;

/* ---- the two libraries allocate here ------------------------------------------------------- */

static inline void *sql_take(int size) {
    return malloc((size_t)size);
}

static inline void *sql_more(void *old, int size) {
    return realloc(old, (size_t)size);
}

static inline int sql_size(void *block) {
    return block ? (int)malloc_usable_size(block) : 0;
}

static inline int sql_round(int size) {
    return (size + 7) & ~7;
}

static inline int sql_begin(void *data) {
    (void)data;
    return SQLITE_OK;
}

static inline void sql_end(void *data) {
    (void)data;
}

static inline void *json_take(size_t size) {
    return malloc(size);
}

static inline void allocate_here(void) {
    static const sqlite3_mem_methods methods = {sql_take,  free,      sql_more, sql_size,
                                                sql_round, sql_begin, sql_end,  NULL};
    assert_int_equal(sqlite3_config(SQLITE_CONFIG_MALLOC, &methods), SQLITE_OK);
    assert_int_equal(sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0), SQLITE_OK);
    json_set_alloc_funcs(json_take, free);
    assert_int_equal(sqlite3_initialize(), SQLITE_OK);
}

/* ---- one case ------------------------------------------------------------------------------ */

/* What went wrong, if anything did, is said to be for want of memory. The JSON library may take it
 * for a fault of the text. */
static inline void ends(base_errors *errors, bool well) {
    long fails_at = oom_fails_at;
    oom_fails_at = -1;
    for (size_t i = 0; i < base_errors_count(errors) && !well; i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code != BASE_MEMORY && !strstr(error->cause, "the export cannot be read"))
            fail_msg("%s", error->cause);
    }
    if (!well && errors) assert_true(base_errors_count(errors) > 0);
    base_errors_free(errors);
    oom_fails_at = fails_at;
}

static inline void begin(bool library) {
    bench_folder(&on);
    if (library) bench_library(&on);
    bench_reopen(&on);
}

#endif
