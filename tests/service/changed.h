/* An amp of the library and the same amp with changes. */
#ifndef GRIDLEAK_TESTS_SERVICE_CHANGED_H
#define GRIDLEAK_TESTS_SERVICE_CHANGED_H

#include "amp.h"

typedef struct changed {
    amp amp;
    circuit *circuit;
    solve_system *system;
} changed;

static inline void changed_open(changed *it, const char *name, const char *const *changes) {
    char path[128];
    amp_open(&it->amp, name, NULL, NULL);
    snprintf(path, sizeof path, "data/amps/%s.yaml", name);
    char *text = support_file(path, NULL);
    char *made = circuit_change_text(it->amp.circuit, text, it->amp.tubes, changes, it->amp.errors);
    assert_non_null(made);
    it->circuit = circuit_read("changed", made, strlen(made), it->amp.tubes, it->amp.errors);
    assert_non_null(it->circuit);
    it->system = solve_system_new(it->circuit, it->amp.errors);
    assert_non_null(it->system);
    free(text);
    free(made);
}

static inline void changed_close(changed *it) {
    solve_system_free(it->system);
    circuit_free(it->circuit);
    amp_close(&it->amp);
}

#endif
