/* pairs: are two faults at once found, and are they said of amps that have one?
 *
 * Two faults of two parts, each of which shows beside the other (over three deviations of the whole
 * chart of good amps), are put into every amp of the library with random tolerance; the whole chart
 * is read and judged. Beside it amps with one fault: how often is a pair said to be in them? Times
 * are those of a run, against the same readings with pairs never looked at. */
#include "trial.h"

#include <argp.h>
#include <time.h>

#define VISIBLE 3.0
#define DRAWS 40 /* tries for each case: most faults do not show */

typedef struct score {
    long cases, one, leader_one, both_first, three, three_parts, listed, searched, settled,
        settled_right, unsolved;
    long singles, said, said_sure, looked;
    double says, is;
    double seconds, plain, single_seconds, single_plain;
} score;

typedef struct pair_case {
    const diagnose_fault *fault[2];
    int severity[2];
} pair_case;

/* ---- the truth ----------------------------------------------------------------------------- */

/* The chart of the nominal amp with these faults; severities as the random state gives them. */
static bool shifted(trial_amp *amp, const diagnose_fault *const fault[2], base_random state,
                    const bool in[2], double *volts) {
    base_random kept = amp->truth.random;
    amp->truth.random = state;
    trial_nominal(amp);
    double *spare = calloc(solve_slots(amp->true_system), sizeof *spare),
           *numbers = amp->truth.numbers;
    for (int k = 0; k < 2; k++) {
        amp->truth.numbers = in[k] ? numbers : spare;
        truth_fault(&amp->truth, fault[k]);
    }
    amp->truth.numbers = numbers;
    free(spare);
    bool solved = truth_solve(&amp->truth);
    if (solved) trial_clean(amp, volts);
    amp->truth.random = kept;
    return solved;
}

/* Deviations between two charts. */
static double apart(const trial_amp *amp, const double *a, const double *b) {
    double *moved = calloc(amp->places + 1, sizeof *moved);
    for (size_t i = 0; i < amp->places; i++)
        moved[i] = amp->shown[i] + a[i] - b[i];
    double far = trial_shift(amp, moved);
    free(moved);
    return far;
}

/* Does each show beside the other, in an amp that is nominal but for them? */
static bool both_show(trial_amp *amp, const pair_case *one, base_random state) {
    static const bool both[2] = {true, true}, first[2] = {true, false}, second[2] = {false, true};
    double *volts = calloc(3 * amp->places + 1, sizeof *volts);
    double *only = volts + amp->places, *other = only + amp->places;
    bool shows = shifted(amp, one->fault, state, both, volts) &&
                 shifted(amp, one->fault, state, first, only) &&
                 shifted(amp, one->fault, state, second, other) &&
                 apart(amp, volts, only) > VISIBLE && apart(amp, volts, other) > VISIBLE;
    free(volts);
    return shows;
}

static const diagnose_fault *draw(trial_amp *amp) {
    size_t faults = diagnose_faults(amp->engine) - 2;
    size_t at = (size_t)(base_random_unit(&amp->truth.random) * (double)faults);
    return diagnose_fault_at(amp->engine, 2 + (at < faults ? at : 0));
}

/* Puts two visible faults into a random amp and solves it. */
static bool inject(trial_amp *amp, pair_case *one) {
    for (int tried = 0; tried < DRAWS; tried++) {
        for (int k = 0; k < 2; k++)
            one->fault[k] = draw(amp);
        if (one->fault[0]->part == one->fault[1]->part) continue;
        base_random state = amp->truth.random;
        truth_normal(&amp->truth);
        if (!both_show(amp, one, state)) continue;
        truth_sample(&amp->truth, TRIAL_MAINS_SPREAD);
        base_random after = amp->truth.random;
        amp->truth.random = state;
        for (int k = 0; k < 2; k++)
            one->severity[k] = truth_fault(&amp->truth, one->fault[k]);
        amp->truth.random = after;
        if (truth_solve(&amp->truth)) return true;
    }
    return false;
}

/* ---- what was found ------------------------------------------------------------------------ */

static int part_of(const trial_amp *amp, int fault) {
    return diagnose_fault_at(amp->engine, (size_t)fault)->part;
}

static bool is_true_part(const pair_case *one, int part) {
    return one->fault[0]->part == part || one->fault[1]->part == part;
}

static bool is_true_pair(const trial_amp *amp, const pair_case *one, const diagnose_pair *pair) {
    int a = part_of(amp, pair->fault[0]), b = part_of(amp, pair->fault[1]);
    int c = one->fault[0]->part, d = one->fault[1]->part;
    return (a == c && b == d) || (a == d && b == c);
}

/* Does the first group name one of the two? */
static bool one_right(const trial_amp *amp, const pair_case *one, const diagnose_belief *belief) {
    for (size_t i = 0; i < belief->pairs; i++)
        for (int k = 0; k < 2; k++)
            if (belief->pair[i].group == 0 &&
                is_true_part(one, part_of(amp, belief->pair[i].fault[k])))
                return true;
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].group == 0 && belief->suspect[i].fault > 1 &&
            is_true_part(one, part_of(amp, belief->suspect[i].fault)))
            return true;
    return false;
}

static bool leader_right(const trial_amp *amp, const pair_case *one,
                         const diagnose_belief *belief) {
    int pair = diagnose_leading_pair(belief, 0), leader = diagnose_leader(belief, 0);
    if (pair < 0 && leader >= 0) {
        int fault = belief->suspect[leader].fault;
        return fault > 1 && is_true_part(one, part_of(amp, fault));
    }
    return pair >= 0 && (is_true_part(one, part_of(amp, belief->pair[pair].fault[0])) ||
                         is_true_part(one, part_of(amp, belief->pair[pair].fault[1])));
}

/* How many groups of pairs, or pairs of parts, come before the true pair; 99: it is not there. */
static int rank_of(const trial_amp *amp, const pair_case *one, const diagnose_belief *belief,
                   bool groups) {
    int seen[200][2], count = 0, group = -1;
    for (size_t i = 0; i < belief->pairs; i++)
        if (group < 0 && is_true_pair(amp, one, &belief->pair[i])) group = belief->pair[i].group;
    for (size_t i = 0; i < belief->pairs && count < 200; i++) {
        const diagnose_pair *pair = &belief->pair[i];
        int key[2] = {pair->group, 0}, k = 0;
        if (is_true_pair(amp, one, pair) || (groups && pair->group == group)) return count;
        if (!groups) key[0] = part_of(amp, pair->fault[0]), key[1] = part_of(amp, pair->fault[1]);
        while (k < count && (seen[k][0] != key[0] || seen[k][1] != key[1]))
            k++;
        if (k < count) continue;
        seen[count][0] = key[0];
        seen[count++][1] = key[1];
    }
    return 99;
}

static void report_miss(const trial_amp *amp, const pair_case *one, const diagnose_belief *belief) {
    printf("    ");
    for (int k = 0; k < 2; k++) {
        int part = one->fault[k]->part;
        printf("%s%s %s (%d, near %.3g)", k ? " + " : "",
               part < 0 ? "mains" : circuit_part_at(amp->circuit, (size_t)part)->name,
               diagnose_mode_key(one->fault[k]->mode), one->fault[k]->which,
               one->fault[k]->severity[one->severity[k]]);
    }
    printf(" | %s:", diagnose_verdict_name(belief->verdict));
    for (size_t k = 0; k < 2 && k < belief->suspects; k++)
        printf("  %s %s %.2f g%d;", belief->suspect[k].part, belief->suspect[k].what,
               belief->suspect[k].probability, belief->suspect[k].group);
    printf(" |");
    for (size_t k = 0; k < 3 && k < belief->pairs; k++)
        printf("  %s %.2f g%d;", belief->pair[k].words, belief->pair[k].probability,
               belief->pair[k].group);
    printf("\n");
}

/* ---- judging ------------------------------------------------------------------------------- */

static diagnose_belief *run(diagnose_engine *engine, const diagnose_readings *readings,
                            double *seconds) {
    base_errors *errors = base_errors_new();
    clock_t start = clock();
    diagnose_belief *belief = diagnose_run(engine, readings, errors);
    *seconds += (double)(clock() - start) / CLOCKS_PER_SEC;
    if (!belief) trial_die(errors, "no belief");
    base_errors_free(errors);
    return belief;
}

typedef struct trial_run {
    trial_amp *amp;
    diagnose_engine *plain; /* looks at no pairs */
    const trial_settings *settings;
    score *score;
} trial_run;

static void judge_pair(const trial_run *trial, const pair_case *one) {
    base_errors *errors = base_errors_new();
    trial_amp *amp = trial->amp;
    score *score = trial->score;
    diagnose_readings *readings = trial_chart(amp, trial->settings->wrong, errors);
    diagnose_belief_free(run(trial->plain, readings, &score->plain));
    diagnose_belief *belief = run(amp->engine, readings, &score->seconds);
    int rank = rank_of(amp, one, belief, true), pair = diagnose_leading_pair(belief, 0);
    bool first = pair >= 0 && rank == 0, found = one_right(amp, one, belief);
    score->cases++;
    score->searched += belief->pairs > 0;
    score->one += found;
    score->leader_one += leader_right(amp, one, belief);
    score->both_first += first;
    score->three += rank < 3;
    score->three_parts += rank_of(amp, one, belief, false) < 3;
    score->listed += rank < 99;
    score->says += belief->group[0].probability;
    score->is += first;
    score->settled += belief->verdict == DIAGNOSE_SETTLED;
    score->settled_right += belief->verdict == DIAGNOSE_SETTLED && found;
    if (trial->settings->verbose && (rank > 0 || !found)) report_miss(amp, one, belief);
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    base_errors_free(errors);
}

static void judge_single(const trial_run *trial, const trial_case *one) {
    base_errors *errors = base_errors_new();
    trial_amp *amp = trial->amp;
    score *score = trial->score;
    diagnose_readings *readings = trial_chart(amp, trial->settings->wrong, errors);
    diagnose_belief_free(run(trial->plain, readings, &score->single_plain));
    diagnose_belief *belief = run(amp->engine, readings, &score->single_seconds);
    bool said = diagnose_leading_pair(belief, 0) >= 0 && belief->group[0].probability > 0.5;
    score->singles++;
    score->looked += belief->pairs > 0;
    score->said += said;
    score->said_sure += said && belief->verdict == DIAGNOSE_SETTLED;
    if (trial->settings->verbose && said) {
        pair_case shown = {{one->fault, one->fault}, {one->severity, one->severity}};
        printf("    [%.1f] alone:", one->far);
        report_miss(amp, &shown, belief);
    }
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    base_errors_free(errors);
}

/* ---- one amp ------------------------------------------------------------------------------- */

static void print_score(const char *name, const score *score) {
    double n = score->cases > 0 ? (double)score->cases : 1;
    double singles = score->singles > 0 ? (double)score->singles : 1;
    double settled = score->settled > 0 ? (double)score->settled : 1;
    printf(
        "%-16s %4ld pairs: one right %5.1f %% (the leader itself %5.1f %%), the pair first %5.1f "
        "%%, in three pairs %5.1f %% (by parts %5.1f %%), listed %5.1f %%\n",
        name, score->cases, 100 * (double)score->one / n, 100 * (double)score->leader_one / n,
        100 * (double)score->both_first / n, 100 * (double)score->three / n,
        100 * (double)score->three_parts / n, 100 * (double)score->listed / n);
    printf(
        "%16s looked at in %.1f %%, settled %.1f %% (one right %.1f %%), says %.3f, is %.3f, %.0f "
        "ms a run, %.1f times the plain one\n",
        "", 100 * (double)score->searched / n, 100 * (double)score->settled / n,
        100 * (double)score->settled_right / settled, score->says / n, score->is / n,
        1000 * score->seconds / n, score->seconds / fmax(score->plain, 1e-9));
    printf(
        "%16s %ld with one fault: a pair said of %.1f %% (settled %.1f %%), looked at in %.1f %%, "
        "%.0f ms a run, %.2f times the plain one\n",
        "", score->singles, 100 * (double)score->said / singles,
        100 * (double)score->said_sure / singles, 100 * (double)score->looked / singles,
        1000 * score->single_seconds / singles,
        score->single_seconds / fmax(score->single_plain, 1e-9));
    fflush(stdout);
}

static void add_score(score *all, const score *one) {
    long *to = &all->cases;
    const long *from = &one->cases;
    for (; from <= &one->looked; from++, to++)
        *to += *from;
    all->says += one->says;
    all->is += one->is;
    all->seconds += one->seconds;
    all->plain += one->plain;
    all->single_seconds += one->single_seconds;
    all->single_plain += one->single_plain;
}

static diagnose_engine *engine_with(const trial_amp *amp, diagnose_look pairs) {
    base_errors *errors = base_errors_new();
    diagnose_priors *priors = trial_priors(errors);
    diagnose_options options = diagnose_defaults();
    options.printed = amp->true_system == amp->system;
    options.pairs = pairs;
    if (pairs == DIAGNOSE_LOOK_NEVER) options.wiring = pairs;
    diagnose_engine *engine = diagnose_engine_new(amp->system, priors, &options, errors);
    if (!engine) trial_die(errors, "no engine");
    diagnose_priors_free(priors);
    base_errors_free(errors);
    return engine;
}

static void try_amp(trial_amp *amp, const trial_settings *settings, void *context) {
    score own = {0}, *all = context;
    trial_run trial = {amp, engine_with(amp, DIAGNOSE_LOOK_NEVER), settings, &own};
    if (settings->asked) {
        diagnose_engine_free(amp->engine);
        amp->engine = engine_with(amp, DIAGNOSE_LOOK_ALWAYS);
    }
    for (long k = 0; k < settings->cases; k++) {
        pair_case one;
        trial_case single;
        if (inject(amp, &one))
            judge_pair(&trial, &one);
        else
            own.unsolved++;
        size_t faults = diagnose_faults(amp->engine) - 2;
        for (int tried = 0; tried < DRAWS; tried++) {
            size_t at = (size_t)(base_random_unit(&amp->truth.random) * (double)faults);
            if (!trial_inject(amp, 2 + (at < faults ? at : 0), &single) || !(single.far > VISIBLE))
                continue;
            judge_single(&trial, &single);
            break;
        }
    }
    print_score(amp->name, &own);
    add_score(all, &own);
    diagnose_engine_free(trial.plain);
}

/* ---- the program --------------------------------------------------------------------------- */

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
    case 'l':
        settings->law = argument ? atof(argument) : 1;
        return 0;
    case 'w':
        settings->wrong = atof(argument);
        return 0;
    case 'A':
        settings->asked = true;
        return 0;
    case 'v':
        settings->verbose = true;
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp_option options[] = {
    {"amp", 'a', "NAME", 0, "only this amp of the library", 0},
    {"cases", 'n', "N", 0, "pairs tried in each amp, and as many single faults; 20", 0},
    {"seed", 's', "N", 0, "of the random numbers; 1", 0},
    {"law", 'l', "SIZE", OPTION_ARG_OPTIONAL, "the truth has other tube curves", 0},
    {"wrong", 'w', "CHANCE", 0, "that a reading is simply wrong; 0", 0},
    {"always", 'A', NULL, 0, "look at pairs even where one fault explains the readings", 0},
    {"verbose", 'v', NULL, 0, "print each case whose pair did not come first", 0},
    {0}};

int main(int count, char **arguments) {
    trial_settings settings = {.seed = 1, .cases = 20};
    static const struct argp argp = {options, parse, NULL, "Are two faults at once found?",
                                     NULL,    NULL,  NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    printf("seed %ld, law %.1f, wrong readings %.3f\n", settings.seed, settings.law,
           settings.wrong);
    score total = {0};
    trial_all(&settings, try_amp, &total);
    print_score("all", &total);
    return 0;
}
