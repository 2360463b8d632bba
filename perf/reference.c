/* reference: how far diagnose's probabilities lie from those of importance sampling.
 *
 * Amps are drawn as diagnose believes them to be (its catalogue, priors, tolerances and noises),
 * read at a few to all places, and judged twice: by diagnose_run, and by solving the amp for each
 * of many draws (reference/). Printed: the total variation between the two, over suspects and over
 * diagnose's groups; what the sampling itself leaves open; the Bayes limit, which is the mean of
 * the reference's largest probability. A line for each case as it is done. */
#include "reference/cases.h"

#include "files.h"

#include <argp.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_READINGS 3

typedef struct settings {
    const char *amp, *kept;
    long cases, seed;
    bool shown, verbose;
    posterior_settings posterior;
} settings;

typedef struct tally {
    size_t cases, room;
    double *suspects, *groups, *open;
    double says[2], limit[2], hit[2], could[2], worst_error, least_effective;
    long draws, unsolved;
} tally;

/* ---- one case ------------------------------------------------------------------------------ */

static void print_suspects(const case_amp *amp, const case_result *result) {
    for (size_t f = 0; f < result->posterior->faults; f++) {
        const posterior_fault *is = &result->posterior->fault[f];
        double says = result->probability[f];
        if (says < 0.005 && is->probability < 0.005) continue;
        char name[80];
        case_fault_name(amp, (int)f, name);
        printf("      %-28s says %.4f, is %.4f: ln %+.3f (error %.3f, %.0f effective of %ld, %d "
               "modes)\n",
               name, says, is->probability, log(says / is->probability), is->error, is->effective,
               is->draws, is->modes);
    }
}

static void print_case(const case_amp *amp, long number, const case_drawn *drawn,
                       const case_result *result) {
    char truth[80], worst[80];
    case_fault_name(amp, drawn->fault, truth);
    case_fault_name(amp, result->worst, worst);
    const posterior *all = result->posterior;
    printf("%-10s %3ld  %-26s %2zu readings  suspects %.4f groups %.4f open %.4f  worst %s %.3f is "
           "%.3f  (error %.3f, effective %.0f, draws %ld)\n",
           amp->name, number, truth, drawn->readings->count, result->suspects, result->groups,
           all->variation, worst, result->worst_says, result->worst_is, all->worst_error,
           all->least_effective, all->draws);
}

static void add(tally *tally, const case_result *result) {
    size_t at = tally->cases++;
    tally->suspects[at] = result->suspects;
    tally->groups[at] = result->groups;
    tally->open[at] = result->posterior->variation;
    for (int k = 0; k < 2; k++) {
        tally->says[k] += result->says[k];
        tally->limit[k] += result->limit[k];
        tally->hit[k] += result->hit[k];
        tally->could[k] += result->could[k];
    }
    tally->worst_error = fmax(tally->worst_error, result->posterior->worst_error);
    tally->least_effective = fmin(tally->least_effective, result->posterior->least_effective);
    tally->draws += result->posterior->draws;
    tally->unsolved += result->posterior->unsolved;
}

/* ---- what was sampled before ---- */

/* The posterior of a case from the file of an earlier run; NULL where it is not there. The cases
 * are the same as long as the amp, its catalogue and the seed are. */
static posterior *recall(const settings *settings, const case_amp *amp, long number) {
    FILE *file = settings->kept ? fopen(settings->kept, "r") : NULL;
    posterior one = {0}, *found = NULL;
    char name[80];
    long seed, which, shown;
    while (file && !found &&
           fscanf(file, "%79s %ld %ld %ld %zu %ld %lf %lf %lf", name, &seed, &shown, &which,
                  &one.faults, &one.draws, &one.variation, &one.worst_error,
                  &one.least_effective) == 9) {
        one.fault = calloc(one.faults, sizeof *one.fault);
        for (size_t f = 0; f < one.faults; f++)
            if (fscanf(file, "%lf", &one.fault[f].probability) != 1) exit(1);
        bool same = strcmp(name, amp->name) == 0 && seed == settings->seed && which == number &&
                    shown == settings->shown && one.faults == diagnose_faults(amp->engine);
        if (same && (found = malloc(sizeof *found)))
            *found = one;
        else
            free(one.fault);
    }
    if (file) fclose(file);
    return found;
}

static void keep(const settings *settings, const case_amp *amp, long number, const posterior *one) {
    FILE *file = settings->kept ? fopen(settings->kept, "a") : NULL;
    if (!file) return;
    fprintf(file, "%s %ld %d %ld %zu %ld %g %g %g\n", amp->name, settings->seed, settings->shown,
            number, one->faults, one->draws, one->variation, one->worst_error,
            one->least_effective);
    for (size_t f = 0; f < one->faults; f++)
        fprintf(file, "%.9g%c", one->fault[f].probability, f + 1 < one->faults ? ' ' : '\n');
    fclose(file);
}

static posterior *brute_force(const settings *settings, case_amp *amp, long number,
                              const case_drawn *drawn) {
    posterior *one = recall(settings, amp, number);
    if (one) return one;
    posterior_settings own = settings->posterior;
    own.seed = (uint64_t)(settings->seed * 1000 + number);
    one = posterior_new(amp->model, drawn->readings, &own);
    if (one) keep(settings, amp, number, one);
    return one;
}

static void try_amp(const settings *settings, const char *name, const char *text, tally *tally) {
    case_amp amp;
    case_open(&amp, name, text, (uint64_t)settings->seed);
    for (long number = 0; number < settings->cases; number++) {
        int span = amp.model->places - LEAST_READINGS + 1;
        int most = LEAST_READINGS + (int)(base_random_unit(&amp.random) * span);
        case_drawn drawn = case_draw(&amp, settings->shown, most);

        case_result result = case_judge(&amp, &drawn, brute_force(settings, &amp, number, &drawn));
        print_case(&amp, number, &drawn, &result);
        if (settings->verbose) print_suspects(&amp, &result);
        fflush(stdout);
        add(tally, &result);
        case_free(&drawn, &result);
    }
    case_close(&amp);
}

/* ---- all ----------------------------------------------------------------------------------- */

static void print_share(const char *what, double *values, size_t count) {
    gsl_sort(values, 1, count);
    printf("%-40s median %.4f, 95th percentile %.4f, mean %.4f, most %.4f\n", what,
           gsl_stats_quantile_from_sorted_data(values, 1, count, 0.5),
           gsl_stats_quantile_from_sorted_data(values, 1, count, 0.95),
           gsl_stats_mean(values, 1, count), values[count - 1]);
}

static void print_tally(const settings *settings, tally *tally) {
    static const char *const what[] = {"suspect", "group"};
    double n = (double)tally->cases;
    if (tally->cases == 0) return;
    printf("%zu cases, seed %ld%s\n", tally->cases, settings->seed,
           settings->shown ? ", faults that show" : ", faults by their priors");
    print_share("total variation over suspects", tally->suspects, tally->cases);
    print_share("total variation over groups", tally->groups, tally->cases);
    print_share("of it open by sampling", tally->open, tally->cases);
    for (int k = 0; k < 2; k++)
        printf("first %-8s diagnose says %.4f, right %.4f; the reference says %.4f%s, right %.4f\n",
               what[k], tally->says[k] / n, tally->hit[k] / n, tally->limit[k] / n,
               settings->shown ? "" : " (Bayes limit)", tally->could[k] / n);
    printf("draws a case %.0f (unsolved %ld in all); of suspects over 0.01: largest standard error "
           "of a log evidence %.3f, least effective sample %.0f\n",
           (double)tally->draws / n, tally->unsolved, tally->worst_error, tally->least_effective);
}

static char *read_own(const char *name) {
    char path[400];
    snprintf(path, sizeof path, SOURCE_DIR "/perf/reference/%s.yaml", name);
    FILE *file = fopen(path, "rb");
    char *text = calloc(1, 20000);
    if (!file || !text) {
        fprintf(stderr, "%s cannot be read\n", path);
        exit(1);
    }
    fread(text, 1, 19999, file);
    fclose(file);
    return text;
}

static void try_all(const settings *settings, tally *tally) {
    static const char *const own[] = {"one-tube", "two-tubes"};
    for (int k = 0; k < 2; k++) {
        if (settings->amp && strcmp(settings->amp, own[k]) != 0) continue;
        char *text = read_own(own[k]);
        try_amp(settings, own[k], text, tally);
        free(text);
    }
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count && settings->amp; i++)
        if (strncmp(files[i].name, "amps/", 5) == 0 && strstr(files[i].name, settings->amp))
            try_amp(settings, settings->amp, files[i].data, tally);
}

static error_t parse(int key, char *argument, struct argp_state *state) {
    settings *settings = state->input;
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
    case 'd':
        settings->posterior.most_draws = atol(argument);
        return 0;
    case 'o':
        settings->posterior.close = atof(argument);
        return 0;
    case 'f':
        settings->shown = true;
        return 0;
    case 'k':
        settings->kept = argument;
        return 0;
    case 'v':
        settings->verbose = true;
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp_option options[] = {
    {"amp", 'a', "NAME", 0, "one-tube, two-tubes, or an amp of the library; the first two", 0},
    {"cases", 'n', "N", 0, "cases of each amp; 50", 0},
    {"seed", 's', "N", 0, "of the random numbers; 1", 0},
    {"draws", 'd', "N", 0, "most draws of a case; 1000000", 0},
    {"open", 'o', "TV", 0, "total variation that the sampling may leave open; 0.005", 0},
    {"faults", 'f', NULL, 0, "all faults that show alike, not by their priors", 0},
    {"keep", 'k', "FILE", 0, "what is sampled is kept there, and taken from there again", 0},
    {"verbose", 'v', NULL, 0, "print the suspects of each case", 0},
    {0}};

int main(int count, char **arguments) {
    settings settings = {.cases = 50, .seed = 1, .posterior = {1000000, 0.005, 9, 1}};
    static const struct argp argp = {
        options, parse, NULL, "How far are the probabilities from brute force?", NULL, NULL, NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    tally tally = {.room = (size_t)(3 * settings.cases + 1), .least_effective = INFINITY};
    tally.suspects = calloc(tally.room, sizeof(double));
    tally.groups = calloc(tally.room, sizeof(double));
    tally.open = calloc(tally.room, sizeof(double));
    try_all(&settings, &tally);
    print_tally(&settings, &tally);
    free(tally.suspects);
    free(tally.groups);
    free(tally.open);
    return 0;
}
