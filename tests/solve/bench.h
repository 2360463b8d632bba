/* An amp on the bench: from a text or from the library to a solved operating point. */
#ifndef GRIDLEAK_TESTS_SOLVE_BENCH_H
#define GRIDLEAK_TESTS_SOLVE_BENCH_H

#include <glob.h>
#include <math.h>

#include "../support.h"
#include "solve.h"

typedef struct bench {
    base_errors *errors;
    circuit *amp;
    solve_system *system;
    solve_work *work, *judge; /* the judge has no memory of the solve */
    double *numbers, *x;
    size_t slots, unknowns;
} bench;

static inline void bench_show(const base_errors *errors) {
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code == BASE_SUSPICIOUS) continue;
        print_message("%s:%d:%d: %s (%s)\n", error->file ? error->file : "-", error->line,
                      error->column, error->cause, error->remedy);
    }
}

/* Every type of data/tubes. */
static inline tube_library *bench_tubes(void) {
    tube_library *tubes = tube_library_new();
    base_errors *errors = base_errors_new();
    glob_t found;
    assert_int_equal(glob(SOURCE_DIR "/data/tubes/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        const char *relative = found.gl_pathv[i] + strlen(SOURCE_DIR) + 1;
        size_t length;
        char *text = support_file(relative, &length);
        base_code code = tube_library_add(tubes, relative, text, length, errors);
        if (code != BASE_OK) bench_show(errors);
        assert_int_equal(code, BASE_OK);
        free(text);
    }
    globfree(&found);
    base_errors_free(errors);
    return tubes;
}

/* The amp of `text`, ready to solve; fails the test where it cannot be read. */
static inline bench bench_of_text(const tube_library *tubes, const char *file, const char *text) {
    bench b = {.errors = base_errors_new()};
    b.amp = circuit_read(file, text, strlen(text), tubes, b.errors);
    if (!b.amp) bench_show(b.errors);
    assert_non_null(b.amp);
    b.system = solve_system_new(b.amp, b.errors);
    if (!b.system) bench_show(b.errors);
    assert_non_null(b.system);
    b.work = solve_work_new(b.system);
    b.judge = solve_work_new(b.system);
    b.slots = solve_slots(b.system);
    b.unknowns = solve_unknowns(b.system);
    b.numbers = malloc(b.slots * sizeof(double));
    b.x = calloc(b.unknowns, sizeof(double));
    memcpy(b.numbers, solve_nominal(b.system), b.slots * sizeof(double));
    return b;
}

static inline bench bench_of_file(const tube_library *tubes, const char *relative) {
    char *text = support_file(relative, NULL);
    bench b = bench_of_text(tubes, relative, text);
    free(text);
    return b;
}

static inline void bench_free(bench *b) {
    free(b->numbers);
    free(b->x);
    solve_work_free(b->work);
    solve_work_free(b->judge);
    solve_system_free(b->system);
    circuit_free(b->amp);
    base_errors_free(b->errors);
}

/* Calls `each` for every amp of data/amps. */
static inline void bench_each_amp(void (*each)(bench *b, const char *file, void *extra),
                                  void *extra) {
    tube_library *tubes = bench_tubes();
    glob_t found;
    assert_int_equal(glob(SOURCE_DIR "/data/amps/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        const char *relative = found.gl_pathv[i] + strlen(SOURCE_DIR) + 1;
        bench b = bench_of_file(tubes, relative);
        each(&b, relative, extra);
        bench_free(&b);
    }
    globfree(&found);
    tube_library_free(tubes);
}

static inline int bench_slot(const bench *b, const char *part, solve_what what, int which) {
    int index = part ? circuit_part_find(b->amp, part) : -1;
    int slot = solve_slot_find(b->system, index, what, which);
    if (slot < 0) print_message("no such number: %s %d %d\n", part ? part : "mains", what, which);
    assert_true(slot >= 0);
    return slot;
}

static inline int bench_node(const bench *b, const char *name) {
    circuit_place place;
    base_code code = circuit_place_find(b->amp, name, (base_place){0}, &place, b->errors);
    if (code != BASE_OK) bench_show(b->errors);
    assert_int_equal(code, BASE_OK);
    return place.node;
}

static inline bool bench_solved(solve_result result) {
    return result.outcome == SOLVE_CONVERGED || result.outcome == SOLVE_CONTINUED;
}

/* Solves from cold; fails the test where no operating point is found. */
static inline void bench_solve(bench *b) {
    solve_result result = solve_point(b->work, b->numbers, NULL, b->x);
    if (!bench_solved(result))
        print_message("%s at %s\n", solve_outcome_text(result.outcome),
                      result.where < 0 ? "?" : circuit_node_at(b->amp, (size_t)result.where)->name);
    assert_true(bench_solved(result));
}

static inline double bench_volts(bench *b, const char *plus, const char *minus) {
    solve_probe probe = {bench_node(b, plus), bench_node(b, minus), false, INFINITY};
    assert_true(solve_probe_exists(b->system, &probe));
    return solve_read(b->work, b->numbers, b->x, &probe, NULL, NULL);
}

/* The largest Kirchhoff error as a part of what the contract allows (1 nA + 1e-6): fine up to 1. */
static inline double bench_kirchhoff(const bench *b, const double *numbers, const double *x) {
    double error, current;
    solve_kirchhoff(b->judge, numbers, x, &error, &current);
    return error / (1e-9 + 1e-6 * current);
}

#endif
