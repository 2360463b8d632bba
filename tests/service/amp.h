/* One amp of the library, with a line of its file changed where a test wants it. */
#ifndef GRIDLEAK_TESTS_SERVICE_AMP_H
#define GRIDLEAK_TESTS_SERVICE_AMP_H

#include "../support.h"

#include "service.h"

#include <glob.h>
#include <math.h>
#include <stdbool.h>

typedef struct amp {
    tube_library *tubes;
    circuit *circuit;
    solve_system *system;
    diagnose_priors *priors;
    base_errors *errors;
} amp;

static inline tube_library *amp_tubes(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    glob_t found;
    assert_non_null(tubes);
    assert_int_equal(glob(SOURCE_DIR "/data/tubes/*.yaml", 0, NULL, &found), 0);
    for (size_t i = 0; i < found.gl_pathc; i++) {
        size_t length;
        char *text = support_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1, &length);
        assert_int_equal(tube_library_add(tubes, found.gl_pathv[i], text, length, errors), BASE_OK);
        free(text);
    }
    globfree(&found);
    return tubes;
}

/* The text with the first `from` turned into `to`; the test fails where there is none. */
static inline char *amp_changed(char *text, const char *from, const char *to) {
    if (!from) return text;
    char *at = strstr(text, from);
    assert_non_null(at);
    char *changed = malloc(strlen(text) + strlen(to) + 1);
    assert_non_null(changed);
    sprintf(changed, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    free(text);
    return changed;
}

static inline diagnose_priors *amp_priors(base_errors *errors) {
    size_t length;
    char *text = support_file("data/priors/faults.yaml", &length);
    diagnose_priors *priors = diagnose_priors_read("faults.yaml", text, length, errors);
    assert_non_null(priors);
    free(text);
    return priors;
}

static inline void amp_open(amp *amp, const char *name, const char *from, const char *to) {
    char path[128];
    snprintf(path, sizeof path, "data/amps/%s.yaml", name);
    amp->errors = base_errors_new();
    assert_non_null(amp->errors);
    amp->tubes = amp_tubes(amp->errors);
    amp->priors = amp_priors(amp->errors);
    char *text = amp_changed(support_file(path, NULL), from, to);
    amp->circuit = circuit_read(path, text, strlen(text), amp->tubes, amp->errors);
    assert_non_null(amp->circuit);
    amp->system = solve_system_new(amp->circuit, amp->errors);
    assert_non_null(amp->system);
    free(text);
}

/* wren-hollow without its printed volts: the chart is then the laws' alone. */
static inline void amp_open_unprinted(amp *amp) {
    amp_open(amp, "wren-hollow",
             "{V3.8: 385, B2: 380, B3: 325, V2.3: 380, V2.4: 380, V2.8: 24, V1.1: 215, V1.3: 1.7,\n"
             "          V1.6: 220, V1.8: 1.7}",
             "{}");
}

static inline void amp_close(amp *amp) {
    solve_system_free(amp->system);
    circuit_free(amp->circuit);
    tube_library_free(amp->tubes);
    diagnose_priors_free(amp->priors);
    base_errors_free(amp->errors);
}

static inline const service_line *amp_line(const service_chart *chart, const char *at) {
    for (size_t i = 0; i < chart->lines; i++)
        if (strcmp(chart->line[i].at, at) == 0) return &chart->line[i];
    fail_msg("the chart has no line %s", at);
    return NULL;
}

static inline void amp_near(double got, double wanted, double within, const char *what) {
    if (!(fabs(got - wanted) <= within))
        fail_msg("%s: %.6g, not %.6g within %.3g", what, got, wanted, within);
}
#define assert_double_equal(got, wanted, within) amp_near(got, wanted, within, #got)

/* Is there a complaint whose cause holds `words`? */
static inline bool amp_complains(const amp *amp, const char *words) {
    for (size_t i = 0; i < base_errors_count(amp->errors); i++)
        if (strstr(base_errors_at(amp->errors, i)->cause, words)) return true;
    return false;
}

#endif
