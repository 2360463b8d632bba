/* Hypotheses by their labels: a single fault's is its index in the catalogue, a pair's is the
 * catalogue's count and its own index in the belief. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <string.h>

static int singles_of(const diagnose_run_state *run) {
    return diagnose_singles(run->engine);
}

int diagnose_leading_label(const diagnose_run_state *run, const diagnose_belief *belief,
                           size_t group) {
    int pair = diagnose_leading_pair(belief, group), leader = diagnose_leader(belief, group);
    if (pair >= 0) return singles_of(run) + pair;
    return leader < 0 ? 0 : belief->suspect[leader].fault;
}

static const char *suspect_words(const diagnose_belief *belief, int fault) {
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *one = &belief->suspect[i];
        if (one->fault != fault) continue;
        char text[400];
        snprintf(text, sizeof text, "%.100s %.250s", one->part, one->what);
        return base_arena_text(belief->arena, text);
    }
    return NULL;
}

const char *diagnose_label_words(const diagnose_run_state *run, const diagnose_belief *belief,
                                 int label) {
    if (label >= singles_of(run)) return belief->pair[label - singles_of(run)].words;
    const char *words = suspect_words(belief, label);
    return words ? words : "it";
}

const char *diagnose_label_with(const diagnose_run_state *run, int label, base_arena *arena) {
    const diagnose_fault *faults = run->engine->catalogue.fault;
    if (label < singles_of(run)) return diagnose_words_with(run->engine, &faults[label], arena);
    const int *fault = run->two[label - singles_of(run)].fault;
    const char *first = diagnose_words_with(run->engine, &faults[fault[0]], arena);
    const char *second = diagnose_words_with(run->engine, &faults[fault[1]], arena);
    if (!first || !second) return NULL;
    char text[400];
    snprintf(text, sizeof text, "%.190s and %.190s", first, second + strlen("with "));
    return base_arena_text(arena, text);
}
