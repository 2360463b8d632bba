/* The order of advice: what tells most for its cost first; but never a riskier thing before a safer
 * one that gives most of that. */
#include "diagnose_impl.h"

/* Swaps two of `size` bytes. */
static void exchange(char *a, char *b, size_t size) {
    for (size_t k = 0; k < size; k++) {
        char kept = a[k];
        a[k] = b[k];
        b[k] = kept;
    }
}

/* For each place in the list: of those whose worth is at least that part of the best's, the least
 * risky; of those, the best. */
void diagnose_order(void *choices, size_t count, size_t size, double (*worth)(const void *),
                    int (*risk)(const void *)) {
    char *list = choices;
    for (size_t at = 0; at < count; at++) {
        double best = 0;
        size_t chosen = at;
        for (size_t k = at; k < count; k++)
            best = fmax(best, worth(list + k * size));
        while (chosen + 1 < count && worth(list + chosen * size) < DIAGNOSE_ENOUGH * best)
            chosen++;
        for (size_t k = chosen + 1; k < count; k++) {
            const char *one = list + k * size, *before = list + chosen * size;
            if (worth(one) < DIAGNOSE_ENOUGH * best) continue;
            bool safer = risk(one) < risk(before);
            bool better = risk(one) == risk(before) && worth(one) > worth(before);
            if (safer || better) chosen = k;
        }
        exchange(list + at * size, list + chosen * size, size);
    }
}
