/* The fewest readings that would have done, sought with the answer in hand: the place that says
 * most for the hidden part, then the next that does, until the belief is clear. Not proven least;
 * nobody at the bench can do better than one who knows the answer by more than a reading or two. */
#include "practice_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CLEAR 0.9
#define DEEPEST 5
#define KEPT 8       /* places that are tried: those that are farthest off */
#define BUDGET_S 8.0 /* nobody waits longer for that; then it is not known */

typedef struct search {
    practice_amp *amp;
    int part;
    char written[DEEPEST][96]; /* readings chosen so far */
    int chosen;
    size_t *place; /* those worth looking at, best first */
    double *worth;
    size_t places;
    double until_s;
} search;

/* The probability of the group that the part is in, if it is the leading one or not. */
static double chance_of(const diagnose_engine *engine, const diagnose_belief *belief, int part) {
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        if (suspect->fault < 2) continue;
        if (diagnose_fault_at(engine, (size_t)suspect->fault)->part != part) continue;
        return belief->group[suspect->group].probability;
    }
    return 0;
}

bool practice_leads(const diagnose_engine *engine, const diagnose_belief *belief, int part,
                    bool *settled) {
    if (settled)
        *settled = belief->verdict == DIAGNOSE_SETTLED || belief->verdict == DIAGNOSE_LEANING;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        if (suspect->group != 0 || suspect->fault < 2) continue;
        if (diagnose_fault_at(engine, (size_t)suspect->fault)->part == part) return true;
    }
    return false;
}

static bool write_reading(search *search, size_t place, char text[96]) {
    const diagnose_place *at = diagnose_place_at(search->amp->engine, place);
    double volts = practice_read(search->amp, &at->probe, NULL);
    snprintf(text, 96, "%s=%.2f", at->at, volts);
    return isfinite(volts);
}

/* What all chosen readings and this one say for the part. */
static double try_place(search *search, size_t place) {
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = diagnose_readings_new();
    const solve_system *system = search->amp->system;
    char text[96];
    double chance = 0;
    bool good = errors && readings && write_reading(search, place, text);
    for (int i = 0; good && i < search->chosen; i++)
        good = diagnose_readings_add(readings, system, search->written[i], NULL, errors) == BASE_OK;
    if (good && diagnose_readings_add(readings, system, text, NULL, errors) == BASE_OK) {
        diagnose_belief *belief = diagnose_run(search->amp->engine, readings, errors);
        if (belief) chance = chance_of(search->amp->engine, belief, search->part);
        diagnose_belief_free(belief);
    }
    diagnose_readings_free(readings);
    base_errors_free(errors);
    return chance;
}

/* Best first, by insertion. */
static void keep(search *search, size_t at, size_t place, double chance) {
    for (; at > 0 && chance > search->worth[at - 1]; at--) {
        search->place[at] = search->place[at - 1];
        search->worth[at] = search->worth[at - 1];
    }
    search->place[at] = place;
    search->worth[at] = chance;
}

/* The places that are farthest off, in deviations of good amps. */
static void rank_places(search *search) {
    for (size_t i = 0; i < search->places; i++) {
        const diagnose_place *place = diagnose_place_at(search->amp->engine, i);
        double volts = practice_read(search->amp, &place->probe, NULL);
        double error = hypot(place->spread, 0.005 * place->healthy) + 0.02;
        double off = fabs(volts - place->healthy) / error;
        keep(search, i, i, isfinite(off) ? off : 0);
    }
    if (search->places > KEPT) search->places = KEPT;
}

static bool one_round(search *search) {
    for (size_t i = 0; i < search->places; i++) {
        size_t place = search->place[i];
        if (meter_ticks() > search->until_s) return false;
        keep(search, i, place, try_place(search, place));
    }
    return search->places > 0;
}

static int seek(search *search) {
    while (search->chosen < DEEPEST) {
        if (!one_round(search)) return -1;
        if (search->worth[0] >= CLEAR) return search->chosen + 1;
        write_reading(search, search->place[0], search->written[search->chosen++]);
        search->places--; /* the one chosen leaves the list */
        memmove(search->place, search->place + 1, search->places * sizeof *search->place);
    }
    return -1;
}

/* One fault alone in the amp. */
static int fewest_of(practice_amp *amp, size_t fault) {
    size_t places = diagnose_places(amp->engine);
    practice_amp alone = *amp;
    alone.fault[0] = amp->fault[fault];
    alone.severity[0] = amp->severity[fault];
    alone.faults = 1;
    search search = {.amp = &alone,
                     .part = alone.fault[0]->part,
                     .places = places,
                     .until_s = meter_ticks() + BUDGET_S};
    search.place = calloc(places + 1, sizeof *search.place);
    search.worth = calloc(places + 1, sizeof *search.worth);
    int fewest = -1;
    if (search.place && search.worth && practice_put_in(&alone) && practice_solve(&alone)) {
        rank_places(&search);
        fewest = seek(&search);
    }
    free(search.place);
    free(search.worth);
    return fewest;
}

int practice_fewest(practice_amp *amp) {
    int sum = 0;
    for (size_t i = 0; i < amp->faults; i++) {
        int one = fewest_of(amp, i);
        if (one < 0) return -1;
        sum += one;
    }
    return amp->faults ? sum : -1;
}
