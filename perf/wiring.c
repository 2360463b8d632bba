/* wiring: is a lead on the wrong node found, and is it said of amps that are wired as drawn?
 *
 * A mistake from the list that is looked for, drawn at random among those that the chart can show
 * (over three deviations of good amps), in an amp with random tolerance: the whole chart is read as
 * a technician reads it, at the pins where they now are. Beside it amps with one fault. Counted by
 * the part that is named, and by how the first group stands. */
#include "trial.h"

#include "wiring_impl.h"

#include <argp.h>
#include <time.h>

#define VISIBLE 3.0
#define DRAWS 60

typedef struct score {
    long cases, part, three, said, exact, singles, accused;
    double seconds, plain, first;
    int wirings;
} score;

/* The chart of the amp that is wired so; the numbers are the truth's. */
static diagnose_readings *chart_of(trial_amp *amp, const solve_system *system, bool errs,
                                   double *volts) {
    truth truth = amp->truth;
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = diagnose_readings_new();
    truth.system = system;
    truth.work = solve_work_new(system);
    if (!truth_solve(&truth)) {
        diagnose_readings_free(readings);
        readings = NULL;
    }
    for (size_t i = 0; readings && i < amp->places; i++) {
        const diagnose_place *place = diagnose_place_at(amp->engine, i);
        solve_probe probe = place->probe;
        if (!probe.heater) diagnose_probe_read(system, place->at, (base_place){0}, &probe, errors);
        probe.meter_ohms = place->probe.meter_ohms;
        double shown = errs ? truth_read(&truth, &probe) : truth_clean(&truth, &probe);
        char written[200];
        volts[i] = shown;
        if (probe.heater) continue;
        snprintf(written, sizeof written, "%s=%.4g", place->at, shown);
        diagnose_readings_add(readings, amp->system, written, NULL, errors);
    }
    amp->truth.random = truth.random;
    solve_work_free(truth.work);
    base_errors_free(errors);
    return readings;
}

static bool named(const diagnose_belief *belief, const diagnose_engine *engine, int part,
                  size_t groups) {
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].group < (int)groups && belief->suspect[i].fault > 1 &&
            diagnose_fault_at(engine, (size_t)belief->suspect[i].fault)->part == part)
            return true;
    return false;
}

static bool leads_wired(const diagnose_belief *belief, const diagnose_engine *engine, int *fault) {
    int leader = diagnose_leader(belief, 0);
    *fault = leader < 0 ? -1 : belief->suspect[leader].fault;
    return leader >= 0 && diagnose_leading_pair(belief, 0) < 0 &&
           *fault >= (int)diagnose_faults(engine);
}

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

static void judge(trial_amp *amp, int wiring, const diagnose_readings *readings, bool verbose,
                  score *score) {
    const diagnose_wiring *true_one = &amp->engine->wirings->wiring[wiring];
    diagnose_belief *belief = run(amp->engine, readings, &score->seconds);
    int fault;
    bool said = leads_wired(belief, amp->engine, &fault);
    bool first = named(belief, amp->engine, true_one->part, 1);
    score->cases++;
    score->part += first;
    score->three += named(belief, amp->engine, true_one->part, 3);
    score->said += said;
    score->exact += said && fault == (int)diagnose_faults(amp->engine) + wiring;
    if (verbose && !first)
        printf("    %s %s | %s %s %.2f\n",
               circuit_part_at(amp->circuit, (size_t)true_one->part)->name, true_one->words,
               belief->suspect[0].part, belief->suspect[0].what, belief->suspect[0].probability);
    diagnose_belief_free(belief);
}

/* Puts the mistake into the nominal amp, then into a random one. */
static bool try_wiring(trial_amp *amp, int wiring, bool verbose, score *score) {
    const diagnose_wiring *one = &amp->engine->wirings->wiring[wiring];
    base_errors *errors = base_errors_new();
    circuit *wired = circuit_rewired(amp->circuit, one->lead, (size_t)one->leads);
    solve_system *system = solve_system_new(wired, errors);
    bool shows = false;
    trial_nominal(amp);
    diagnose_readings *readings = system ? chart_of(amp, system, false, amp->volts) : NULL;
    if (readings) shows = trial_shift(amp, amp->volts) > VISIBLE;
    diagnose_readings_free(readings);
    if (shows) {
        truth_sample(&amp->truth, TRIAL_MAINS_SPREAD);
        readings = chart_of(amp, system, true, amp->volts);
        if (readings) judge(amp, wiring, readings, verbose, score);
        diagnose_readings_free(readings);
    }
    solve_system_free(system);
    circuit_free(wired);
    base_errors_free(errors);
    return shows;
}

static void try_single(trial_amp *amp, score *score) {
    size_t faults = diagnose_faults(amp->engine) - 2;
    base_errors *errors = base_errors_new();
    trial_case one;
    for (int tried = 0; tried < DRAWS; tried++) {
        size_t at = (size_t)(base_random_unit(&amp->truth.random) * (double)faults);
        if (!trial_inject(amp, 2 + (at < faults ? at : 0), &one) || !(one.far > VISIBLE)) continue;
        diagnose_readings *readings = trial_chart(amp, 0, errors);
        diagnose_belief *belief = run(amp->engine, readings, &score->plain);
        int fault;
        score->singles++;
        score->accused += leads_wired(belief, amp->engine, &fault);
        diagnose_belief_free(belief);
        diagnose_readings_free(readings);
        break;
    }
    base_errors_free(errors);
}

static void print_score(const char *name, const score *score) {
    double n = score->cases > 0 ? (double)score->cases : 1;
    double singles = score->singles > 0 ? (double)score->singles : 1;
    printf("%-16s %4ld mistakes (of %d): the part in the first group %5.1f %%, in three %5.1f %%; "
           "wiring said %5.1f %%, that very one %5.1f %%; %.0f ms a run, %.1f times one with one "
           "fault; found and solved once in %.0f ms\n",
           name, score->cases, score->wirings, 100 * (double)score->part / n,
           100 * (double)score->three / n, 100 * (double)score->said / n,
           100 * (double)score->exact / n, 1000 * score->seconds / n,
           score->seconds / n / fmax(score->plain / singles, 1e-9), 1000 * score->first);
    printf("%16s wiring said of %.1f %% of %ld amps with one fault\n", "",
           100 * (double)score->accused / singles, score->singles);
    fflush(stdout);
}

static void try_amp(trial_amp *amp, const trial_settings *settings, void *context) {
    score own = {0}, *all = context;
    clock_t start = clock();
    if (!diagnose_wirings_make(amp->engine)) exit(1);
    own.first = (double)(clock() - start) / CLOCKS_PER_SEC;
    int wirings = own.wirings = amp->engine->wirings->count;
    for (long k = 0; k < settings->cases; k++) {
        for (int tried = 0; tried < DRAWS; tried++) {
            int at = (int)(base_random_unit(&amp->truth.random) * wirings);
            if (amp->engine->wirings->point[at].solved &&
                try_wiring(amp, at, settings->verbose, &own))
                break;
        }
        try_single(amp, &own);
    }
    print_score(amp->name, &own);
    long *to = &all->cases;
    for (const long *from = &own.cases; from <= &own.accused; from++)
        *to++ += *from;
    all->seconds += own.seconds;
    all->plain += own.plain;
    all->first += own.first;
    all->wirings += own.wirings;
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
    case 'v':
        settings->verbose = true;
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp_option options[] = {
    {"amp", 'a', "NAME", 0, "only this amp of the library", 0},
    {"cases", 'n', "N", 0, "mistakes tried in each amp, and as many single faults; 10", 0},
    {"seed", 's', "N", 0, "of the random numbers; 1", 0},
    {"verbose", 'v', NULL, 0, "print each case whose part did not come first", 0},
    {0}};

int main(int count, char **arguments) {
    trial_settings settings = {.seed = 1, .cases = 10};
    static const struct argp argp = {options, parse, NULL, "Is a lead on the wrong node found?",
                                     NULL,    NULL,  NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    score total = {0};
    trial_all(&settings, try_amp, &total);
    print_score("all", &total);
    return 0;
}
