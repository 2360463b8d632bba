/* A store in a folder of its own, with the tubes and amps of the library. */
#ifndef GRIDLEAK_TESTS_JOB_BENCH_H
#define GRIDLEAK_TESTS_JOB_BENCH_H

#include "../support.h"

#include "job.h"

#include <ftw.h>
#include <glob.h>
#include <math.h>
#include <stdbool.h>
#include <unistd.h>

#define AMPS_MOST 16
#define NOON 1740830400000 /* 2025-03-01 12:00:00 UTC, ms */

typedef struct bench {
    char folder[64], path[96];
    tube_library *tubes;
    struct {
        char name[64];
        char *text;
        size_t length;
    } amp[AMPS_MOST];
    size_t amps;
    job_store *store;
    base_errors *errors;
    int64_t now; /* goes on by a second with each fact */
} bench;

static inline void bench_say(const base_errors *errors) {
    for (size_t i = 0; i < base_errors_count(errors); i++)
        print_message("%s | %s\n", base_errors_at(errors, i)->cause,
                      base_errors_at(errors, i)->remedy);
}

static inline const char *bench_amp(void *data, const char *name, size_t *length) {
    bench *bench = data;
    for (size_t i = 0; i < bench->amps; i++)
        if (strcmp(bench->amp[i].name, name) == 0) {
            *length = bench->amp[i].length;
            return bench->amp[i].text;
        }
    return NULL;
}

static inline void bench_library(bench *bench) {
    glob_t found;
    bench->tubes = tube_library_new();
    assert_non_null(bench->tubes);
    assert_int_equal(glob(SOURCE_DIR "/data/tubes/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        size_t length;
        char *text = support_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1, &length);
        assert_int_equal(tube_library_add(bench->tubes, "tube", text, length, bench->errors), 0);
        free(text);
    }
    globfree(&found);
    assert_int_equal(glob(SOURCE_DIR "/data/amps/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc && bench->amps < AMPS_MOST; i++) {
        const char *name = strrchr(found.gl_pathv[i], '/') + 1;
        size_t at = bench->amps++;
        snprintf(bench->amp[at].name, sizeof bench->amp[at].name, "%.*s",
                 (int)(strlen(name) - strlen(".yaml")), name);
        bench->amp[at].text =
            support_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1, &bench->amp[at].length);
    }
    globfree(&found);
}

/* Opens the store at bench->path again. */
static inline void bench_reopen(bench *bench) {
    job_store_close(bench->store);
    bench->store = job_store_open(bench->path, bench->errors);
    if (!bench->store) bench_say(bench->errors);
    assert_non_null(bench->store);
    if (bench->tubes) job_store_use_library(bench->store, bench->tubes, bench_amp, bench);
}

/* In memory where there is such a folder: what is tested is what is written, not the disk. */
static inline void bench_folder(bench *bench) {
    *bench = (struct bench){.now = NOON};
    bool memory = access("/dev/shm", W_OK | X_OK) == 0;
    snprintf(bench->folder, sizeof bench->folder, "%s/gridleak-test-XXXXXX",
             memory ? "/dev/shm" : "/tmp");
    assert_non_null(mkdtemp(bench->folder));
    snprintf(bench->path, sizeof bench->path, "%s/shop.store", bench->folder);
    bench->errors = base_errors_new();
    assert_non_null(bench->errors);
}

static inline void bench_open(bench *bench) {
    bench_folder(bench);
    bench_library(bench);
    bench_reopen(bench);
}

static inline int bench_drop(const char *path, const struct stat *about, int flag,
                             struct FTW *walk) {
    (void)about, (void)flag, (void)walk;
    return remove(path);
}

static inline void bench_close(bench *bench) {
    job_store_close(bench->store);
    tube_library_free(bench->tubes);
    for (size_t i = 0; i < bench->amps; i++)
        free(bench->amp[i].text);
    base_errors_free(bench->errors);
    nftw(bench->folder, bench_drop, 8, FTW_DEPTH | FTW_PHYS);
}

/* Forgets the complaints so far. */
static inline void bench_forget(bench *bench) {
    base_errors_free(bench->errors);
    bench->errors = base_errors_new();
    assert_non_null(bench->errors);
}

/* Is there a complaint whose cause holds `words`? */
static inline void bench_complained(bench *bench, const char *words) {
    bool found = false;
    for (size_t i = 0; i < base_errors_count(bench->errors); i++) {
        const base_error *error = base_errors_at(bench->errors, i);
        if (strstr(error->cause, words)) found = true;
        assert_true(error->remedy[0]);
    }
    if (!found) {
        bench_say(bench->errors);
        fail_msg("no complaint of: %s", words);
    }
    bench_forget(bench);
}

/* JSON written with ' for ". */
static inline json_t *bench_json(const char *written) {
    char *text = strdup(written);
    json_error_t error;
    for (char *c = text; (c = strchr(c, '\''));)
        *c = '"';
    json_t *value = json_loads(text, JSON_DECODE_ANY, &error);
    if (!value) fail_msg("%s: %s", error.text, text);
    free(text);
    return value;
}

static inline base_code bench_try(bench *bench, int64_t job, const char *kind, const char *written,
                                  int64_t *id) {
    json_t *body = bench_json(written);
    job_fact fact = {.kind = kind, .body = body};
    base_code code = job_add(bench->store, job, &fact, bench->now += 1000, id, bench->errors);
    json_decref(body);
    return code;
}

/* Adds a fact that must be taken; returns its number. */
static inline int64_t bench_add(bench *bench, int64_t job, const char *kind, const char *written) {
    int64_t id = 0;
    if (bench_try(bench, job, kind, written, &id) != BASE_OK) {
        bench_say(bench->errors);
        fail_msg("%s not taken: %s", kind, written);
    }
    return id;
}

static inline void bench_refused(bench *bench, int64_t job, const char *kind, const char *written,
                                 const char *words) {
    if (bench_try(bench, job, kind, written, NULL) == BASE_OK)
        fail_msg("%s taken: %s", kind, written);
    bench_complained(bench, words);
}

static inline int64_t bench_job(bench *bench, const char *amp) {
    int64_t job = 0;
    json_t *body = json_pack("{s:s, s:s, s:s}", "owner", "Ada Example", "complaint",
                             "it hums and is quiet", "amp", amp);
    if (job_create(bench->store, body, bench->now += 1000, &job, bench->errors) != BASE_OK) {
        bench_say(bench->errors);
        fail_msg("no job made");
    }
    json_decref(body);
    return job;
}

static inline json_t *bench_view(bench *bench, int64_t job) {
    json_t *view = job_view(bench->store, job, bench->errors);
    if (!view) bench_say(bench->errors);
    assert_non_null(view);
    return view;
}

/* "drained.state" of a view, as JSON text; borrowed from a static buffer. */
static inline const char *bench_get(const json_t *view, const char *path) {
    static char text[4096];
    char name[64];
    while (*path) {
        size_t length = strcspn(path, ".");
        snprintf(name, sizeof name, "%.*s", (int)length, path);
        view = json_is_array(view) ? json_array_get(view, (size_t)atoi(name))
                                   : json_object_get(view, name);
        path += length + (path[length] == '.');
    }
    char *dumped = json_dumps(view, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(10));
    snprintf(text, sizeof text, "%s", dumped ? dumped : "nothing");
    for (char *c = text; (c = strchr(c, '"'));)
        *c = '\'';
    free(dumped);
    return text;
}

static inline void bench_is(bench *bench, int64_t job, const char *path, const char *wanted) {
    json_t *view = bench_view(bench, job);
    const char *got = bench_get(view, path);
    if (strcmp(got, wanted) != 0) fail_msg("%s is %s, not %s", path, got, wanted);
    json_decref(view);
}

#endif
