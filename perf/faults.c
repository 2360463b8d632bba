/* faults: does the true part come first?
 *
 * Every fault of the catalogue that a DC reading can show is put into every amp of the library, one
 * at a time, with random tolerance; the whole chart is read and judged. Beside it, on the same
 * readings, the habit: take the largest percentage deviation from the chart and blame the nearest
 * part. With --law the truth has other tube curves than the inference. */
#include "truth.h"

#include "files.h"

#include <argp.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdio.h>
#include <time.h>

#define VISIBLE 3.0 /* deviations of the whole chart from which a fault counts as shown */

typedef struct settings {
    const char *amp; /* NULL: all */
    long cases, seed;
    double law; /* how far the other law lies; 0: the same law */
    bool chart; /* give the inference a chart of the true kind in health */
    bool verbose, weighted;
    double wrong;
} settings;

typedef struct score {
    long cases, part, group, first3, habit, habit3, settled, settled_right, unsolved, hidden;
    long tried[4], right[4]; /* by deviations: 3 to 4, to 5, to 7, more */
    double far;              /* of the case at hand */
    double confidence, log_loss, members, seconds, severe;
} score;

typedef struct amp {
    const char *name;
    circuit *circuit, *true_circuit;
    solve_system *system, *true_system;
    diagnose_engine *engine;
    truth truth;
    size_t places;
    gsl_matrix *good; /* covariance of the chart of good amps, factored */
    double *healthy, *shown;
    double *fault_weight;
} amp;

/* ---- setting up
 * -------------------------------------------------------------------------------------- */

static void die(const base_errors *errors, const char *what) {
    fprintf(stderr, "%s\n", what);
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        if (error->code != BASE_SUSPICIOUS)
            fprintf(stderr, "%s:%d:%d: %s\n", error->file ? error->file : "", error->line,
                    error->column, error->cause);
    }
    exit(1);
}

static tube_library *read_tubes(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; tubes && i < count; i++)
        if (strncmp(files[i].name, "tubes/", 6) == 0)
            tube_library_add(tubes, files[i].name, files[i].data, files[i].length, errors);
    return tubes;
}

static const cli_file *find_file(const char *name) {
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, name) == 0) return &files[i];
    return NULL;
}

/* ---- another tube law
 * ---------------------------------------------------------------------------------- */

static double current_at(const tube_unit *unit, const tube_volts *volts) {
    tube_point point;
    tube_current(unit, &TUBE_BOGEY, volts, &point);
    return point.plate;
}

/* Another shape: the bend into cut-off, contact potential, mu, knee and the screen's share all
 * differ; the perveance is such that the first published point keeps its current within 5 %. */
static void bend(tube_unit *unit, const tube_fit *fit, double size, base_random *random) {
    tube_curve *curve = &unit->curve;
    tube_volts volts = {fit->plate_v, isfinite(fit->screen_v) ? fit->screen_v : 0, fit->grid_v};
    double before = current_at(unit, &volts);
    double side = base_random_unit(random) < 0.5 ? -1 : 1;
    curve->kp *= exp(0.4 * size * side);
    curve->kvb *= exp(0.4 * size * base_random_normal(random));
    curve->contact += 0.15 * size * base_random_normal(random);
    curve->mu *= exp(0.04 * size * base_random_normal(random));
    curve->share *= exp(0.15 * size * base_random_normal(random));
    curve->knee *= exp(0.2 * size * base_random_normal(random));
    double after = current_at(unit, &volts);
    if (before > 0 && after > 0) curve->perveance *= before / after;
    curve->perveance *= exp(0.025 * size * base_random_normal(random));
}

static void bend_library(tube_library *tubes, const settings *settings) {
    base_random random;
    base_random_seed(&random, (uint64_t)settings->seed * 7919 + 17);
    for (size_t i = 0; i < tube_library_count(tubes); i++) {
        tube_type *type =
            (tube_type *)tube_library_at(tubes, i); /* ours to change: no other reads it */
        for (int unit = 0; unit < type->units; unit++) {
            if (type->unit[unit].kind == TUBE_DIODE) continue;
            for (size_t f = 0; f < type->fits; f++)
                if (type->fit[f].unit < 0 || type->fit[f].unit == unit) {
                    if (type->fit[f].triode || !isfinite(type->fit[f].grid_v)) continue;
                    bend(&type->unit[unit], &type->fit[f], settings->law, &random);
                    break;
                }
        }
    }
}

/* ---- which faults show
 * ------------------------------------------------------------------------------------ */

/* Chart of one good amp. */
static bool good_chart(amp *amp, double *volts) {
    truth_sample(&amp->truth, 0.03);
    if (!truth_solve(&amp->truth)) return false;
    for (size_t i = 0; i < amp->places; i++)
        volts[i] = truth_read(&amp->truth, &diagnose_place_at(amp->engine, i)->probe);
    return true;
}

/* Mean and factored covariance of the charts of 400 good amps: the truth's own spread, by drawing.
 */
static void learn_good(amp *amp) {
    enum { DRAWS = 400 };
    size_t n = amp->places;
    double *all = calloc(DRAWS * n, sizeof *all);
    int drawn = 0;
    for (int d = 0; d < DRAWS; d++)
        drawn += good_chart(amp, all + (size_t)drawn * n);
    for (size_t i = 0; i < n; i++)
        for (int d = 0; d < drawn; d++)
            amp->healthy[i] += all[(size_t)d * n + i] / drawn;
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < n; k++) {
            double sum = i == k ? 1e-4 + 1e-5 * amp->healthy[i] * amp->healthy[i] : 0;
            for (int d = 0; d < drawn; d++)
                sum += (all[(size_t)d * n + i] - amp->healthy[i]) *
                       (all[(size_t)d * n + k] - amp->healthy[k]) / drawn;
            gsl_matrix_set(amp->good, i, k, sum);
        }
    gsl_linalg_cholesky_decomp1(amp->good);
    free(all);
}

/* How many deviations the whole chart lies from those of good amps. */
static double shift(const amp *amp, const double *volts) {
    gsl_vector *z = gsl_vector_alloc(amp->places);
    for (size_t i = 0; i < amp->places; i++)
        gsl_vector_set(z, i, volts[i] - amp->healthy[i]);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, amp->good, z);
    double length = gsl_blas_dnrm2(z);
    gsl_vector_free(z);
    return length;
}

/* The fault alone, with every part at its nominal value: is it one that the chart shows? */
static double how_far(amp *amp, const diagnose_fault *fault, base_random kept) {
    truth *truth = &amp->truth;
    memcpy(truth->numbers, solve_nominal(truth->system),
           solve_slots(truth->system) * sizeof(double));
    truth->random = kept;
    truth_fault(truth, fault);
    if (!truth_solve(truth)) return INFINITY;
    double *volts = calloc(amp->places, sizeof *volts);
    for (size_t i = 0; i < amp->places; i++)
        volts[i] = truth_clean(truth, &diagnose_place_at(amp->engine, i)->probe);
    for (size_t i = 0; i < amp->places; i++)
        volts[i] += amp->healthy[i] - amp->shown[i];
    double length = shift(amp, volts);
    free(volts);
    return length;
}

/* ---- the habit
 * ---------------------------------------------------------------------------------------------- */

/* Parts joined to a node, likeliest first; across two nodes, those joined to both come first. */
static void blame(const amp *amp, const solve_probe *probe, int blamed[3]) {
    size_t parts = circuit_parts(amp->circuit);
    double best[3] = {0, 0, 0};
    for (int k = 0; k < 3; k++)
        blamed[k] = -1;
    for (size_t p = 0; p < parts; p++) {
        const circuit_part *part = circuit_part_at(amp->circuit, p);
        int touches = 0;
        for (int e = 0; e < part->ends; e++)
            touches +=
                part->end[e] == probe->plus || (probe->minus && part->end[e] == probe->minus);
        if (part->kind == CIRCUIT_TUBE)
            for (int e = part->ends; e <= part->tube->pins; e++)
                touches += part->end[e] == probe->plus;
        double worth = touches * (1 + amp->fault_weight[p]);
        int at = 2;
        if (worth <= best[2]) continue;
        for (; at > 0 && worth > best[at - 1]; at--) {
            best[at] = best[at - 1];
            blamed[at] = blamed[at - 1];
        }
        best[at] = worth;
        blamed[at] = (int)p;
    }
}

/* Percent of what the chart says; of a volt where it says less than that. */
static void follow_habit(const amp *amp, const diagnose_readings *readings, int blamed[3]) {
    double most = -1;
    size_t worst = 0;
    for (size_t i = 0; i < readings->count; i++) {
        double healthy = diagnose_place_at(amp->engine, i)->healthy;
        double percent = fabs(readings->reading[i].volts - healthy) / fmax(fabs(healthy), 1);
        if (percent <= most) continue;
        most = percent;
        worst = i;
    }
    blame(amp, &readings->reading[worst].probe, blamed);
}

/* ---- one case
 * ---------------------------------------------------------------------------------------------------
 */

static diagnose_readings *read_chart(amp *amp, double wrong, double *volts, base_errors *errors) {
    diagnose_readings *readings = diagnose_readings_new();
    for (size_t i = 0; i < amp->places; i++) {
        const diagnose_place *place = diagnose_place_at(amp->engine, i);
        char text[128];
        volts[i] = truth_read(&amp->truth, &place->probe);
        if (base_random_unit(&amp->truth.random) < wrong)
            volts[i] = round(400 * base_random_unit(&amp->truth.random));
        double digit = truth_digit(volts[i]);
        int decimals = digit < 0.005 ? 3 : digit < 0.05 ? 2 : digit < 0.5 ? 1 : 0;
        snprintf(text, sizeof text, "%s=%.*f", place->at, decimals, volts[i]);
        if (diagnose_readings_add(readings, amp->system, text, NULL, errors) != BASE_OK)
            die(errors, text);
    }
    return readings;
}

/* Rank of the first group that holds the part, healthy and unmodelled ones not counted as finding
 * it; 99 where none does. */
static int rank_of(const diagnose_engine *engine, const diagnose_belief *belief, int part) {
    int best = 99;
    int nothing = -1;
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == 0) nothing = belief->suspect[i].group;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        int group = suspect->group;
        if (group == nothing || suspect->fault < 2) continue;
        if (diagnose_fault_at(engine, (size_t)suspect->fault)->part != part) continue;
        if (group < best) best = group;
    }
    return best;
}

/* Probability of each part, over all its modes: is the true one the likeliest? */
static bool part_leads(const amp *amp, const diagnose_belief *belief, int part, double *of_truth) {
    size_t parts = circuit_parts(amp->circuit);
    double *sum = calloc(parts + 2, sizeof *sum), other = 0;
    for (size_t i = 0; i < belief->suspects; i++) {
        int owner = diagnose_fault_at(amp->engine, (size_t)belief->suspect[i].fault)->part;
        if (belief->suspect[i].fault < 2) owner = (int)parts;
        sum[owner < 0 ? parts + 1 : (size_t)owner] += belief->suspect[i].probability;
    }
    size_t own = part < 0 ? parts + 1 : (size_t)part;
    for (size_t p = 0; p < parts + 2; p++)
        if (p != own) other = fmax(other, sum[p]);
    *of_truth = sum[own];
    bool leads = sum[own] > other;
    free(sum);
    return leads;
}

static double parts_in_leader(const amp *amp, const diagnose_belief *belief) {
    int seen[64], count = 0;
    for (size_t i = 0; i < belief->suspects; i++) {
        int part = diagnose_fault_at(amp->engine, (size_t)belief->suspect[i].fault)->part, k = 0;
        if (belief->suspect[i].group != 0 || count == 64) continue;
        if (belief->suspect[i].probability < 1e-4 * belief->group[0].probability) continue;
        while (k < count && seen[k] != part)
            k++;
        if (k == count) seen[count++] = part;
    }
    return count;
}

static void report_miss(const amp *amp, const diagnose_fault *fault, int severity,
                        const diagnose_belief *belief, int rank, double far) {
    const char *part =
        fault->part < 0 ? "mains" : circuit_part_at(amp->circuit, (size_t)fault->part)->name;
    printf("    [%.1f] %s %s (which %d, severity %.3g) came %d:", far, part,
           diagnose_mode_key(fault->mode), fault->which, fault->severity[severity], rank + 1);
    for (int k = 0; k < 3; k++)
        printf("  %s %s %.2f g%d;", belief->suspect[k].part, belief->suspect[k].what,
               belief->suspect[k].probability, belief->suspect[k].group);
    printf("\n");
}

static void judge(amp *amp, const diagnose_fault *fault, int severity,
                  const diagnose_readings *readings, score *score, const settings *settings) {
    base_errors *errors = base_errors_new();
    clock_t start = clock();
    diagnose_belief *belief = diagnose_run(amp->engine, readings, errors);
    score->seconds += (double)(clock() - start) / CLOCKS_PER_SEC;
    if (!belief) die(errors, "no belief");
    int blamed[3], rank = rank_of(amp->engine, belief, fault->part);
    double of_truth;
    score->part += part_leads(amp, belief, fault->part, &of_truth);
    score->log_loss -= log(fmax(of_truth, 1e-12));
    score->group += rank == 0;
    score->first3 += rank < 3;
    score->confidence += belief->group[0].probability;
    if (rank == 0) score->members += parts_in_leader(amp, belief);
    score->settled += belief->verdict == DIAGNOSE_SETTLED;
    score->settled_right += belief->verdict == DIAGNOSE_SETTLED && rank == 0;
    follow_habit(amp, readings, blamed);
    score->habit += fault->part >= 0 && blamed[0] == fault->part;
    for (int k = 0; k < 3; k++)
        score->habit3 += fault->part >= 0 && blamed[k] == fault->part;
    if (settings->verbose && rank > 0) report_miss(amp, fault, severity, belief, rank, score->far);
    score->cases++;
    diagnose_belief_free(belief);
    base_errors_free(errors);
}

static void try_fault(amp *amp, size_t index, score *score, const settings *settings) {
    const diagnose_fault *fault = diagnose_fault_at(amp->engine, index);
    base_errors *errors = base_errors_new();
    base_random kept = amp->truth.random;
    double *volts = calloc(amp->places, sizeof *volts);
    double far = how_far(amp, fault, kept);
    bool visible = far > VISIBLE;
    int bin = far < 4 ? 0 : far < 5 ? 1 : far < 7 ? 2 : 3;
    base_random severity = kept;
    truth_sample(&amp->truth, 0.03); /* moves the generator on */
    base_random after = amp->truth.random;
    amp->truth.random = severity;
    int k = truth_fault(&amp->truth, fault);
    amp->truth.random = after;
    if (!visible) {
        score->hidden++;
    } else if (!truth_solve(&amp->truth)) {
        score->unsolved++;
    } else {
        diagnose_readings *readings = read_chart(amp, settings->wrong, volts, errors);
        long before = score->group;
        score->far = far;
        judge(amp, fault, k, readings, score, settings);
        score->tried[bin]++;
        score->right[bin] += score->group - before;
        diagnose_readings_free(readings);
    }
    free(volts);
    base_errors_free(errors);
}

/* ---- one amp
 * --------------------------------------------------------------------------------------------------------
 */

static diagnose_readings *true_chart(amp *amp, base_errors *errors) {
    double *volts = calloc(amp->places, sizeof *volts);
    memcpy(amp->truth.numbers, solve_nominal(amp->true_system),
           solve_slots(amp->true_system) * sizeof(double));
    if (!truth_solve(&amp->truth)) die(errors, "the true amp has no healthy point");
    diagnose_readings *chart = read_chart(amp, 0, volts, errors);
    free(volts);
    return chart;
}

static void make_engine(amp *amp, const diagnose_priors *priors, const diagnose_readings *chart,
                        base_errors *errors) {
    diagnose_options options = diagnose_defaults();
    options.printed = chart == NULL && amp->true_system == amp->system;
    options.chart = chart;
    diagnose_engine_free(amp->engine);
    amp->engine = diagnose_engine_new(amp->system, priors, &options, errors);
    if (!amp->engine) die(errors, "no engine");
    amp->places = diagnose_places(amp->engine);
}

static void weigh_parts(amp *amp) {
    amp->fault_weight = calloc(circuit_parts(amp->circuit), sizeof *amp->fault_weight);
    for (size_t f = 2; f < diagnose_faults(amp->engine); f++) {
        const diagnose_fault *fault = diagnose_fault_at(amp->engine, f);
        if (fault->part >= 0) amp->fault_weight[fault->part] += fault->prior;
    }
}

static void open_amp(amp *amp, const cli_file *file, tube_library *tubes, tube_library *truths,
                     base_errors *errors) {
    amp->name = file->name;
    amp->circuit = circuit_read(file->name, file->data, file->length, tubes, errors);
    amp->system = amp->circuit ? solve_system_new(amp->circuit, errors) : NULL;
    if (!amp->system) die(errors, file->name);
    amp->true_system = amp->system;
    if (truths == tubes) return;
    amp->true_circuit = circuit_read(file->name, file->data, file->length, truths, errors);
    amp->true_system = amp->true_circuit ? solve_system_new(amp->true_circuit, errors) : NULL;
    if (!amp->true_system) die(errors, file->name);
}

static void close_amp(amp *amp) {
    truth_close(&amp->truth);
    diagnose_engine_free(amp->engine);
    if (amp->true_system != amp->system) solve_system_free(amp->true_system);
    solve_system_free(amp->system);
    circuit_free(amp->true_circuit);
    circuit_free(amp->circuit);
    gsl_matrix_free(amp->good);
    free(amp->healthy);
    free(amp->shown);
    free(amp->fault_weight);
}

static void prepare(amp *amp, const diagnose_priors *priors, const settings *settings,
                    base_errors *errors) {
    make_engine(amp, priors, NULL, errors);
    if (!truth_open(&amp->truth, amp->true_system, (uint64_t)settings->seed))
        die(errors, "the true amp has no healthy point");
    if (settings->chart) {
        diagnose_readings *chart = true_chart(amp, errors);
        make_engine(amp, priors, chart, errors);
        diagnose_readings_free(chart);
    }
    amp->healthy = calloc(amp->places, sizeof(double));
    amp->shown = calloc(amp->places, sizeof(double));
    amp->good = gsl_matrix_alloc(amp->places, amp->places);
    weigh_parts(amp);
    learn_good(amp);
    memcpy(amp->truth.numbers, solve_nominal(amp->true_system),
           solve_slots(amp->true_system) * sizeof(double));
    truth_solve(&amp->truth);
    for (size_t i = 0; i < amp->places; i++)
        amp->shown[i] = truth_clean(&amp->truth, &diagnose_place_at(amp->engine, i)->probe);
}

static void print_score(const char *name, const score *score) {
    double n = score->cases > 0 ? (double)score->cases : 1;
    printf(
        "%-14s %5ld cases  part first %5.1f %%  group first %5.1f %%  in three %5.1f %%  | habit "
        "%4.1f %%, in three %4.1f %%  | says %.3f, log loss %.3f, parts in group %.2f, settled "
        "%4.1f %% (right %5.1f %%)  %.0f ms a case; hidden %ld, unsolved %ld\n",
        name, score->cases, 100 * (double)score->part / n, 100 * (double)score->group / n,
        100 * (double)score->first3 / n, 100 * (double)score->habit / n,
        100 * (double)score->habit3 / n, score->confidence / n, score->log_loss / n,
        score->group > 0 ? score->members / (double)score->group : 0,
        100 * (double)score->settled / n,
        score->settled ? 100 * (double)score->settled_right / (double)score->settled : 0,
        1000 * score->seconds / n, score->hidden, score->unsolved);
    printf(
        "    by deviations of the chart: 3-4 %ld/%ld, 4-5 %ld/%ld, 5-7 %ld/%ld, over 7 %ld/%ld\n",
        score->right[0], score->tried[0], score->right[1], score->tried[1], score->right[2],
        score->tried[2], score->right[3], score->tried[3]);
    fflush(stdout);
}

static void add_score(score *all, const score *one) {
    all->cases += one->cases;
    for (int bin = 0; bin < 4; bin++) {
        all->tried[bin] += one->tried[bin];
        all->right[bin] += one->right[bin];
    }
    all->part += one->part;
    all->group += one->group;
    all->first3 += one->first3;
    all->habit += one->habit;
    all->habit3 += one->habit3;
    all->settled += one->settled;
    all->settled_right += one->settled_right;
    all->unsolved += one->unsolved;
    all->hidden += one->hidden;
    all->confidence += one->confidence;
    all->log_loss += one->log_loss;
    all->members += one->members;
    all->seconds += one->seconds;
}

/* Goes through the catalogue as often as `cases` asks for, or a part of it. */
static void try_amp(amp *amp, score *score, const settings *settings) {
    size_t faults = diagnose_faults(amp->engine) - 2;
    long tried = 0, most = settings->cases > 0 ? settings->cases : (long)faults;
    double step = settings->cases > 0 && settings->cases < (long)faults
                      ? (double)faults / (double)settings->cases
                      : 1;
    double at = base_random_unit(&amp->truth.random) * step;
    for (; tried < most; tried++, at += step) {
        size_t index = 2 + (size_t)fmod(at, (double)faults);
        try_fault(amp, index, score, settings);
    }
    print_score(amp->name + 5, score);
}

/* ---- the program
 * ----------------------------------------------------------------------------------------------------
 */

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
    case 'l':
        settings->law = argument ? atof(argument) : 1;
        return 0;
    case 'c':
        settings->chart = true;
        return 0;
    case 'w':
        settings->wrong = atof(argument);
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
    {"cases", 'n', "N", 0, "faults tried in each amp; 0: each fault once", 0},
    {"seed", 's', "N", 0, "of the random numbers; 1", 0},
    {"law", 'l', "SIZE", OPTION_ARG_OPTIONAL, "the truth has other tube curves", 0},
    {"chart", 'c', NULL, 0, "a chart of the true kind in health is at hand", 0},
    {"wrong", 'w', "CHANCE", 0, "that a reading is simply wrong; 0", 0},
    {"verbose", 'v', NULL, 0, "print each case whose part did not come first", 0},
    {0}};

int main(int count, char **arguments) {
    settings settings = {.seed = 1};
    static const struct argp argp = {options, parse, NULL, "Does the true part come first?",
                                     NULL,    NULL,  NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    base_errors *errors = base_errors_new();
    tube_library *tubes = read_tubes(errors), *truths = tubes;
    if (settings.law > 0) {
        truths = read_tubes(errors);
        bend_library(truths, &settings);
    }
    const cli_file *file = find_file("priors/faults.yaml");
    diagnose_priors *priors =
        file ? diagnose_priors_read(file->name, file->data, file->length, errors) : NULL;
    if (!priors) die(errors, "no priors");
    printf("seed %ld, law %.1f%s, wrong readings %.3f\n", settings.seed, settings.law,
           settings.chart ? " with chart" : "", settings.wrong);
    size_t files;
    const cli_file *all = cli_files(&files);
    score total = {0};
    for (size_t i = 0; i < files; i++) {
        if (strncmp(all[i].name, "amps/", 5) != 0) continue;
        if (settings.amp && !strstr(all[i].name, settings.amp)) continue;
        amp amp = {0};
        score score = {0};
        open_amp(&amp, &all[i], tubes, truths, errors);
        prepare(&amp, priors, &settings, errors);
        try_amp(&amp, &score, &settings);
        add_score(&total, &score);
        close_amp(&amp);
    }
    print_score("all", &total);
    diagnose_priors_free(priors);
    if (truths != tubes) tube_library_free(truths);
    tube_library_free(tubes);
    base_errors_free(errors);
    return 0;
}
