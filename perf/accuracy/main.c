/* accuracy: what the probabilities are worth.
 *
 * Cases whose truth is known are made, read and judged; each belief becomes a row of a file
 * (rows.h), and the report is made from rows. The truth comes from the engine's own generative
 * model
 * (--own), or from another's world that shares no equation with it (the default). A case depends on
 * the seed, the amp and its number alone, so that a run can be stopped, taken up again, and shared
 * among processes. */
#include "exact.h"
#include "files.h"
#include "judge.h"
#include "report.h"

#include <argp.h>
#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

typedef struct settings {
    bool own, chart, report, sbc, verbose, brief, exact;
    const char *amp, *file;
    long cases, seed, variations, part, parts, walks, efforts;
    char **files;
    int count;
} settings;

typedef struct run {
    const settings *settings;
    rows done;
    FILE *to;
    long made, skipped, unsolved;
} run;

static bool is_done(const run *run, const row *base) {
    for (size_t i = 0; i < run->done.count; i++) {
        const row *row = &run->done.row[i];
        if (row->at[C_CASE] == base->at[C_CASE] && row->at[C_KIND] == base->at[C_KIND] &&
            row->at[C_VARIATION] == base->at[C_VARIATION] && row->at[C_SEED] == base->at[C_SEED] &&
            strcmp(row->amp, base->amp) == 0 && strcmp(row->truth, base->truth) == 0)
            return true;
    }
    return false;
}

static void name_case(const subject *subject, const truth *truth, row *base) {
    int fault = truth->asked[0];
    base->at[C_FAULT] = fault;
    base->at[C_SECOND] = truth->asked[1];
    const char *mode =
        fault < 0 ? truth->what
                  : diagnose_mode_key(diagnose_fault_at(subject->engine, (size_t)fault)->mode);
    if (fault < 0)
        mode = truth->what[0] == 'e'   ? "parts exchanged"
               : truth->what[0] == 'w' ? "wrong value"
                                       : "stray leak";
    snprintf(base->mode, sizeof base->mode, "%s", mode);
}

/* Charts of every case; walks of some; other ways of choosing of fewer, where the fault shows. */
static void judge_case(judge *judge, const settings *settings, long number) {
    kind kind = judge->truth->kind;
    judge_charts(judge, kind == KIND_ENTRY, settings->brief);
    judge->spoilt = -1;
    if (kind != KIND_SINGLE || settings->brief || settings->walks == 0 || number % settings->walks)
        return;
    judge_walk(judge, EVIDENCE_STOP, true);
    bool shows = judge->truth->asked[0] > 1 && judge->truth->far[1] > 4;
    if (!shows || settings->efforts == 0 || (number / settings->walks) % settings->efforts) return;
    for (evidence policy = EVIDENCE_STOP_EDGES; policy < EVIDENCES; policy++)
        judge_walk(judge, policy, false);
}

static void try_case(run *run, subject *subject, kind kind, long number) {
    const settings *settings = run->settings;
    judge judge = {.subject = subject, .to = run->to, .spoilt = -1, .verbose = settings->verbose};
    row *base = &judge.base;
    snprintf(base->truth, sizeof base->truth, "%s", subject->own ? "own" : "other");
    snprintf(base->amp, sizeof base->amp, "%.*s", (int)strcspn(subject->name, "."), subject->name);
    base->at[C_SEED] = (double)settings->seed;
    base->at[C_VARIATION] = subject->variation;
    base->at[C_CASE] = (double)number;
    base->at[C_KIND] = kind;
    if (is_done(run, base)) {
        run->skipped++;
        return;
    }
    judge.truth = truth_make(subject, kind, (uint64_t)settings->seed, number);
    judge.errors = base_errors_new();
    base_random_seed(&judge.random, (uint64_t)(settings->seed * 7919 + number));
    name_case(subject, judge.truth, base);
    if (judge.truth->solved)
        judge_case(&judge, settings, number);
    else
        run->unsolved++;
    run->made++;
    fflush(run->to);
    base_errors_free(judge.errors);
    truth_free(judge.truth);
}

/* A fifth as many of each kind that is not the plain one; the own model makes no faults that it
 * does not know. */
static void try_subject(run *run, subject *subject) {
    const settings *settings = run->settings;
    for (kind kind = 0; kind < KINDS; kind++) {
        long count = kind == KIND_SINGLE ? settings->cases : settings->cases / 5;
        if (kind == KIND_OUTSIDE && subject->own) continue;
        if (settings->brief && kind != KIND_SINGLE) continue;
        for (long number = settings->part; number < count; number += settings->parts)
            try_case(run, subject, kind, number);
    }
}

static void print_exact(const subject *subject) {
    exact exact = exact_policy(subject);
    printf("%s: %d hypotheses, %d places; expected effort: information for its cost %.3f (%.3f of "
           "the best), edges for their cost %.3f (%.3f), best %.3f\n",
           subject->name, exact.hypotheses, exact.places, exact.information,
           exact.information / exact.best, exact.edges, exact.edges / exact.best, exact.best);
}

static void try_amp(run *run, const cli_file *file, const subject_options *given) {
    const settings *settings = run->settings;
    if (strncmp(file->name, "amps/", 5) != 0) return;
    if (settings->amp && !strstr(file->name, settings->amp)) return;
    for (int variation = 0; variation <= settings->variations; variation++) {
        subject_options options = *given;
        options.file = file->name;
        options.text = file->data;
        options.length = file->length;
        options.variation = variation;
        subject *subject = subject_open(&options);
        if (!subject) {
            printf("%s, variation %d: no amp\n", file->name, variation);
            continue;
        }
        time_t start = time(NULL);
        if (settings->exact)
            print_exact(subject);
        else
            try_subject(run, subject);
        printf("%s, variation %d: %ld cases made, %ld there already, %ld unsolved; %ld s\n",
               file->name, variation, run->made, run->skipped, run->unsolved,
               (long)(time(NULL) - start));
        fflush(stdout);
        run->made = run->skipped = run->unsolved = 0;
        subject_close(subject);
    }
}

static void open_rows(run *run) {
    const char *file = run->settings->file;
    bool there = rows_read(&run->done, file) && run->done.count > 0;
    run->to = fopen(file, "a");
    if (!run->to) {
        perror(file);
        exit(1);
    }
    setvbuf(run->to, NULL, _IOFBF, 1 << 20); /* a case is written whole */
    if (!there) rows_head(run->to);
}

static void try_all(const settings *settings) {
    run run = {.settings = settings};
    base_errors *errors = base_errors_new();
    size_t count;
    const cli_file *files = cli_files(&count);
    subject_options options = {
        .own = settings->own, .chart = settings->chart, .seed = (uint64_t)settings->seed};
    options.tubes = tube_library_new();
    for (size_t i = 0; i < count; i++) {
        const cli_file *file = &files[i];
        if (strncmp(file->name, "tubes/", 6) == 0)
            tube_library_add(options.tubes, file->name, file->data, file->length, errors);
        if (strcmp(file->name, "priors/faults.yaml") == 0)
            options.priors = diagnose_priors_read(file->name, file->data, file->length, errors);
    }
    open_rows(&run);
    printf("seed %ld, truth: %s%s\n", settings->seed,
           settings->own ? "the engine's own model" : "another's world",
           settings->chart ? ", a chart in health at hand" : "");
    for (size_t i = 0; i < count; i++)
        try_amp(&run, &files[i], &options);
    fclose(run.to);
    rows_free(&run.done);
    diagnose_priors_free((diagnose_priors *)options.priors);
    tube_library_free(options.tubes);
    base_errors_free(errors);
}

/* ---- the program --------------------------------------------------------------------------- */

static error_t parse(int key, char *argument, struct argp_state *state) {
    settings *settings = state->input;
    long *numbers[128] = {['n'] = &settings->cases,
                          ['s'] = &settings->seed,
                          ['v'] = &settings->variations,
                          ['w'] = &settings->walks,
                          ['e'] = &settings->efforts};
    if (key > 0 && key < 128 && numbers[key]) return *numbers[key] = atol(argument), 0;
    switch (key) {
    case 'O':
        settings->own = true;
        return 0;
    case 'c':
        settings->chart = true;
        return 0;
    case 'a':
        settings->amp = argument;
        return 0;
    case 'o':
        settings->file = argument;
        return 0;
    case 'p':
        return sscanf(argument, "%ld/%ld", &settings->part, &settings->parts) == 2
                   ? 0
                   : ARGP_ERR_UNKNOWN;
    case 'r':
        settings->report = true;
        return 0;
    case 'b':
        settings->sbc = true;
        return 0;
    case 'B':
        settings->brief = true;
        return 0;
    case 'x':
        settings->exact = true;
        return 0;
    case 'V':
        settings->verbose = true;
        return 0;
    case ARGP_KEY_ARGS:
        settings->files = state->argv + state->next;
        settings->count = state->argc - state->next;
        return 0;
    default:
        return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp_option options[] = {
    {"own", 'O', NULL, 0, "the truth is the engine's own model; else another's world", 0},
    {"chart", 'c', NULL, 0, "a chart of the true kind in health is at hand", 0},
    {"amp", 'a', "NAME", 0, "only this amp of the library", 0},
    {"cases", 'n', "N", 0, "of one fault, in each amp and variation; 40", 0},
    {"seed", 's', "N", 0, "of the random numbers; 1", 0},
    {"variations", 'v', "N", 0, "random variations of each amp beside the drawing; 0", 0},
    {"walks", 'w', "N", 0, "every N-th case is read step by step too; 4; 0: none", 0},
    {"efforts", 'e', "N", 0, "and every N-th of those by all the other ways; 4; 0: none", 0},
    {"rows", 'o', "FILE", 0, "where the rows are kept, and taken up again; accuracy.csv", 0},
    {"part", 'p', "I/N", 0, "the I-th (from 0) of N processes that share the work", 0},
    {"report", 'r', NULL, 0, "make no cases: report on the rows of these files", 0},
    {"sbc", 'b', NULL, 0, "report only simulation-based calibration", 0},
    {"brief", 'B', NULL, 0, "only the chart of all places, only cases of one fault", 0},
    {"exact", 'x', NULL, 0, "no cases: the rules for the next reading against the exact policy", 0},
    {"verbose", 'V', NULL, 0, "print what was missed", 0},
    {0}};

int main(int count, char **arguments) {
    settings settings = {
        .seed = 1, .cases = 40, .parts = 1, .walks = 4, .efforts = 4, .file = "accuracy.csv"};
    static const struct argp argp = {
        options, parse, "[FILE...]", "What are the probabilities worth?", NULL, NULL, NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    char *own_file[] = {(char *)settings.file};
    if (!settings.report) {
        try_all(&settings);
        settings.files = own_file;
        settings.count = 1;
    }
    rows rows = {0};
    for (int i = 0; i < settings.count; i++)
        if (!rows_read(&rows, settings.files[i])) perror(settings.files[i]);
    report_print(&rows, settings.sbc);
    rows_free(&rows);
    return 0;
}
