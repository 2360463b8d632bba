/* steps: how many readings until the part is found?
 *
 * Faults that show clearly are put into the amps of the library; readings are taken one at a time
 * until the true group is over 0.9, and until the verdict is settled: as the program proposes, from
 * the supply to the input, and at random. */
#include "trial.h"

#include <argp.h>

#define CLEAR 6.0 /* deviations of the whole chart from which a fault must be found */
#define MOST 40   /* readings after which a case is given up */
#define POLICIES 3

static const char *const policy_names[POLICIES] = {"as proposed", "supply to input", "at random"};

typedef struct tally {
    int *found[POLICIES];                  /* readings until over 0.9, by case; MOST + 1: never */
    int *settled[POLICIES];                /* readings until settled */
    long right[POLICIES], wrong[POLICIES]; /* settled on the true group, and on another */
    double cost[POLICIES];                 /* of the readings taken until settled */
    long cases, room;
} tally;

/* ---- which place next
 * ---------------------------------------------------------------------------- */

static int place_named(const trial_amp *amp, const char *at) {
    for (size_t i = 0; i < amp->places; i++)
        if (strcmp(diagnose_place_at(amp->engine, i)->at, at) == 0) return (int)i;
    return -1;
}

static int highest_left(const trial_amp *amp, const bool *taken) {
    int best = -1;
    for (size_t i = 0; i < amp->places; i++) {
        const diagnose_place *place = diagnose_place_at(amp->engine, i);
        if (taken[i]) continue;
        if (best < 0 ||
            fabs(place->healthy) > fabs(diagnose_place_at(amp->engine, (size_t)best)->healthy))
            best = (int)i;
    }
    return best;
}

static int any_left(trial_amp *amp, const bool *taken) {
    size_t left = 0;
    for (size_t i = 0; i < amp->places; i++)
        left += !taken[i];
    if (left == 0) return -1;
    size_t skip = (size_t)(base_random_unit(&amp->truth.random) * (double)left);
    for (size_t i = 0; i < amp->places; i++)
        if (!taken[i] && skip-- == 0) return (int)i;
    return -1;
}

static int choose(trial_amp *amp, int policy, const diagnose_belief *belief, const bool *taken) {
    if (policy == 1) return highest_left(amp, taken);
    if (policy == 2) return any_left(amp, taken);
    return belief->nexts > 0 ? place_named(amp, belief->next[0].at) : -1;
}

/* ---- one case
 * ------------------------------------------------------------------------------------- */

static void follow(trial_amp *amp, const trial_case *one, int policy, tally *tally) {
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = diagnose_readings_new();
    bool *taken = calloc(amp->places, sizeof *taken);
    int found = MOST + 1, settled = MOST + 1;
    for (int step = 0; step <= MOST && settled > MOST; step++) {
        diagnose_belief *belief = diagnose_run(amp->engine, readings, errors);
        if (!belief) trial_die(errors, "no belief");
        bool right = trial_rank(amp, belief, one->fault->part) == 0;
        if (right && belief->group[0].probability > 0.9 && found > step) found = step;
        int place = choose(amp, policy, belief, taken);
        if (belief->verdict == DIAGNOSE_SETTLED) {
            settled = step;
            *(right ? &tally->right[policy] : &tally->wrong[policy]) += 1;
        } else if (place < 0 || step == MOST) {
            step = MOST;
        } else {
            taken[place] = true;
            tally->cost[policy] += diagnose_place_at(amp->engine, (size_t)place)->cost;
            trial_read(amp, (size_t)place, 0, readings, errors);
        }
        diagnose_belief_free(belief);
    }
    tally->found[policy][tally->cases] = found;
    tally->settled[policy][tally->cases] = settled;
    free(taken);
    diagnose_readings_free(readings);
    base_errors_free(errors);
}

static void try_amp(trial_amp *amp, const trial_settings *settings, void *context) {
    tally *tally = context;
    double faults = (double)diagnose_faults(amp->engine) - 2;
    double step = fmax(1, faults / (double)settings->cases);
    double at = base_random_unit(&amp->truth.random) * step;
    for (; at < faults && tally->cases < tally->room; at += step) {
        trial_case one;
        if (!trial_inject(amp, 2 + (size_t)at, &one) || !(one.far > CLEAR)) continue;
        for (int policy = 0; policy < POLICIES; policy++)
            follow(amp, &one, policy, tally);
        tally->cases++;
    }
    printf("%s: %ld cases so far\n", amp->name, tally->cases);
    fflush(stdout);
}

/* ---- the program
 * ------------------------------------------------------------------------------------- */

static int by_size(const void *a, const void *b) {
    return *(const int *)a - *(const int *)b;
}

static int share(int *counts, long n, double part) {
    qsort(counts, (size_t)n, sizeof *counts, by_size);
    return n > 0 ? counts[(long)(part * (double)(n - 1))] : 0;
}

static void print_policy(tally *tally, int policy) {
    long n = tally->cases, ended = tally->right[policy] + tally->wrong[policy];
    printf(
        "%-16s over 0.9 on the true group: median %d, nine in ten %d; settled: median %d, nine in "
        "ten %d (%ld of %ld, right %.1f %%), effort a case %.1f\n",
        policy_names[policy], share(tally->found[policy], n, 0.5),
        share(tally->found[policy], n, 0.9), share(tally->settled[policy], n, 0.5),
        share(tally->settled[policy], n, 0.9), ended, n,
        ended ? 100 * (double)tally->right[policy] / (double)ended : 0,
        n ? tally->cost[policy] / (double)n : 0);
}

static error_t parse(int key, char *argument, struct argp_state *state) {
    trial_settings *settings = state->input;
    switch (key) {
    case 'a':
        settings->amp = argument;
        return 0;
    case 'n':
        settings->cases = atol(argument);
        return 0;
    case 's':
        settings->seed = atol(argument);
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp_option options[] = {
    {"amp", 'a', "NAME", 0, "only this amp of the library", 0},
    {"cases", 'n', "N", 0, "faults tried in each amp; 30", 0},
    {"seed", 's', "N", 0, "of the random numbers; 1", 0},
    {0}};

int main(int count, char **arguments) {
    trial_settings settings = {.seed = 1, .cases = 30};
    static const struct argp argp = {options, parse, NULL, "How many readings until it is found?",
                                     NULL,    NULL,  NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    printf("seed %ld; %d stands for never\n", settings.seed, MOST + 1);
    tally tally = {.room = 100 * settings.cases};
    for (int p = 0; p < POLICIES; p++) {
        tally.found[p] = calloc((size_t)tally.room, sizeof(int));
        tally.settled[p] = calloc((size_t)tally.room, sizeof(int));
    }
    trial_all(&settings, try_amp, &tally);
    for (int p = 0; p < POLICIES; p++) {
        print_policy(&tally, p);
        free(tally.found[p]);
        free(tally.settled[p]);
    }
    return 0;
}
