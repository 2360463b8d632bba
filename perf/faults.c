/* faults: does the true part come first?
 *
 * Every fault of the catalogue that a DC reading can show is put into every amp of the library, one
 * at a time, with random tolerance; the whole chart is read and judged. Beside it, on the same
 * readings, the habit: take the largest percentage deviation from the chart and blame the nearest
 * part. With --law the truth has other tube curves than the inference. With --by-prior the faults
 * come as often as the priors say, hidden ones and healthy amps among them: then what the inference
 * says of its first group should be how often that is right. */
#include "trial.h"

#include <argp.h>
#include <time.h>

#define VISIBLE 3.0 /* deviations of the whole chart from which a fault counts as shown */
#define BINS 4

typedef struct score {
    long cases, part, group, first3, habit, habit3, settled, settled_right, unsolved, hidden;
    long tried[BINS], right[BINS]; /* by deviations: 3 to 4, to 5, to 7, more */
    double says, is, brier, log_loss, members, seconds;
} score;

/* ---- the habit ----------------------------------------------------------------------------- */

static int touches(const circuit_part *part, const solve_probe *probe) {
    int count = 0;
    for (int end = 0; end < CIRCUIT_ENDS; end++) {
        bool exists = end < part->ends || (part->kind == CIRCUIT_TUBE && end <= part->tube->pins);
        if (!exists || part->end[end] <= 0) continue;
        count += part->end[end] == probe->plus || part->end[end] == probe->minus;
    }
    return count;
}

/* Parts joined to the probed nodes: those that touch both first, then the likelier to fail. */
static void blame(const trial_amp *amp, const solve_probe *probe, int blamed[3]) {
    double best[3] = {0, 0, 0};
    for (int k = 0; k < 3; k++)
        blamed[k] = -1;
    for (size_t p = 0; p < circuit_parts(amp->circuit); p++) {
        int count = touches(circuit_part_at(amp->circuit, p), probe), at = 2;
        double worth = count * (1 + amp->weight[p]);
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
static void follow_habit(const trial_amp *amp, const diagnose_readings *readings, int blamed[3]) {
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
 * ------------------------------------------------------------------------------------ */

/* Probability of each part, over all its modes: *of_truth gets the true one's; is it the largest?
 * Nothing wrong and the mains count as parts of their own. */
static bool part_leads(const trial_amp *amp, const diagnose_belief *belief, int part,
                       double *of_truth) {
    size_t parts = circuit_parts(amp->circuit), own = part < 0 ? parts + 1 : (size_t)part;
    double *sum = calloc(parts + 2, sizeof *sum), other = 0;
    for (size_t i = 0; i < belief->suspects; i++) {
        size_t fault = (size_t)belief->suspect[i].fault;
        int owner = diagnose_fault_at(amp->engine, fault)->part;
        size_t at = fault < 2 ? parts : owner < 0 ? parts + 1 : (size_t)owner;
        sum[at] += belief->suspect[i].probability;
    }
    for (size_t p = 0; p < parts + 2; p++)
        if (p != own) other = fmax(other, sum[p]);
    *of_truth = sum[own];
    free(sum);
    return *of_truth > other;
}

static double parts_in_leader(const trial_amp *amp, const diagnose_belief *belief) {
    int seen[64], count = 0;
    for (size_t i = 0; i < belief->suspects && count < 64; i++) {
        size_t fault = (size_t)belief->suspect[i].fault;
        int part = diagnose_fault_at(amp->engine, fault)->part, k = 0;
        if (belief->suspect[i].group != 0) continue;
        if (belief->suspect[i].probability < 1e-4 * belief->group[0].probability) continue;
        while (k < count && seen[k] != part)
            k++;
        if (k == count) seen[count++] = part;
    }
    return count;
}

static void report_miss(const trial_amp *amp, const trial_case *one, const diagnose_belief *belief,
                        int rank) {
    const diagnose_fault *fault = one->fault;
    const char *part =
        fault->part < 0 ? "mains" : circuit_part_at(amp->circuit, (size_t)fault->part)->name;
    printf("    [%.1f] %s %s (which %d, severity near %.3g) came %d:", one->far, part,
           diagnose_mode_key(fault->mode), fault->which, fault->severity[one->severity], rank + 1);
    for (int k = 0; k < 3; k++)
        printf("  %s %s %.2f g%d;", belief->suspect[k].part, belief->suspect[k].what,
               belief->suspect[k].probability, belief->suspect[k].group);
    printf("\n");
}

/* Is the true fault itself in the first group? (a healthy amp counts as a fault of its own) */
static bool in_first(const diagnose_belief *belief, int fault) {
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == fault) return belief->suspect[i].group == 0;
    return false;
}

static void count_case(trial_amp *amp, const trial_case *one, const diagnose_belief *belief,
                       score *score) {
    double of_truth, says = belief->group[0].probability;
    int rank = trial_rank(amp, belief, one->fault->part);
    int bin = one->far < 4 ? 0 : one->far < 5 ? 1 : one->far < 7 ? 2 : 3;
    bool right = in_first(belief, one->index) || rank == 0;
    score->cases++;
    score->part += part_leads(amp, belief, one->fault->part, &of_truth);
    score->group += rank == 0;
    score->first3 += rank < 3;
    score->tried[bin]++;
    score->right[bin] += rank == 0;
    score->says += says;
    score->is += right;
    score->brier += (says - right) * (says - right);
    score->log_loss -= log(fmax(of_truth, 1e-12));
    if (rank == 0) score->members += parts_in_leader(amp, belief);
    score->settled += belief->verdict == DIAGNOSE_SETTLED;
    score->settled_right += belief->verdict == DIAGNOSE_SETTLED && rank == 0;
}

static void judge(trial_amp *amp, const trial_case *one, const trial_settings *settings,
                  score *score) {
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = trial_chart(amp, settings->wrong, errors);
    clock_t start = clock();
    diagnose_belief *belief = diagnose_run(amp->engine, readings, errors);
    score->seconds += (double)(clock() - start) / CLOCKS_PER_SEC;
    if (!belief) trial_die(errors, "no belief");
    int blamed[3], rank = trial_rank(amp, belief, one->fault->part);
    count_case(amp, one, belief, score);
    follow_habit(amp, readings, blamed);
    for (int k = 0; k < 3 && one->fault->part >= 0; k++) {
        score->habit += k == 0 && blamed[k] == one->fault->part;
        score->habit3 += blamed[k] == one->fault->part;
    }
    if (settings->verbose && rank > 0) report_miss(amp, one, belief, rank);
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
    base_errors_free(errors);
}

/* ---- one amp
 * ---------------------------------------------------------------------------------------- */

static void print_score(const char *name, const score *score) {
    double n = score->cases > 0 ? (double)score->cases : 1;
    double hits = score->group > 0 ? (double)score->group : 1;
    double settled = score->settled > 0 ? (double)score->settled : 1;
    printf("%-16s %5ld cases: part first %5.1f %%, group first %5.1f %%, in three %5.1f %%; habit "
           "%4.1f %%, in three %4.1f %%\n",
           name, score->cases, 100 * (double)score->part / n, 100 * (double)score->group / n,
           100 * (double)score->first3 / n, 100 * (double)score->habit / n,
           100 * (double)score->habit3 / n);
    printf(
        "%16s by deviations of the chart: 3-4 %ld/%ld, 4-5 %ld/%ld, 5-7 %ld/%ld, over 7 %ld/%ld; "
        "hidden %ld, unsolved %ld\n",
        "", score->right[0], score->tried[0], score->right[1], score->tried[1], score->right[2],
        score->tried[2], score->right[3], score->tried[3], score->hidden, score->unsolved);
    printf("%16s says %.3f, is %.3f, Brier %.3f, log loss %.3f, %.2f parts in the first group, "
           "settled "
           "%.1f %% (right %.1f %%), %.0f ms a case\n",
           "", score->says / n, score->is / n, score->brier / n, score->log_loss / n,
           score->members / hits, 100 * (double)score->settled / n,
           100 * (double)score->settled_right / settled, 1000 * score->seconds / n);
    fflush(stdout);
}

static void add_score(score *all, const score *one) {
    all->cases += one->cases;
    all->part += one->part;
    all->group += one->group;
    all->first3 += one->first3;
    all->habit += one->habit;
    all->habit3 += one->habit3;
    all->settled += one->settled;
    all->settled_right += one->settled_right;
    all->unsolved += one->unsolved;
    all->hidden += one->hidden;
    for (int bin = 0; bin < BINS; bin++) {
        all->tried[bin] += one->tried[bin];
        all->right[bin] += one->right[bin];
    }
    all->says += one->says;
    all->is += one->is;
    all->brier += one->brier;
    all->log_loss += one->log_loss;
    all->members += one->members;
    all->seconds += one->seconds;
}

static void try_fault(trial_amp *amp, size_t index, const trial_settings *settings, score *score) {
    trial_case one;
    if (!trial_inject(amp, index, &one))
        score->unsolved++;
    else if (!(one.far > VISIBLE) && !settings->by_prior)
        score->hidden++;
    else
        judge(amp, &one, settings, score);
}

static size_t draw_by_prior(trial_amp *amp) {
    size_t faults = diagnose_faults(amp->engine);
    double sum = 0;
    for (size_t f = 0; f < faults; f++)
        sum += f == 1 ? 0 : diagnose_fault_at(amp->engine, f)->prior;
    double at = base_random_unit(&amp->truth.random) * sum;
    for (size_t f = 0; f < faults; f++) {
        if (f != 1) at -= diagnose_fault_at(amp->engine, f)->prior;
        if (at < 0 && f != 1) return f;
    }
    return 0;
}

/* Each fault once, or a number of them spread over the catalogue, or drawn. */
static void try_amp(trial_amp *amp, const trial_settings *settings, void *context) {
    score own = {0}, *all = context;
    double faults = (double)diagnose_faults(amp->engine) - 2;
    long most = settings->cases > 0 ? settings->cases : (long)faults;
    double step = fmax(1, faults / (double)most);
    double at = base_random_unit(&amp->truth.random) * step;
    for (long tried = 0; tried < most; tried++, at += step) {
        size_t index = 2 + (size_t)fmod(at, faults);
        try_fault(amp, settings->by_prior ? draw_by_prior(amp) : index, settings, &own);
    }
    print_score(amp->name, &own);
    add_score(all, &own);
}

/* ---- the program
 * ---------------------------------------------------------------------------------------- */

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
    case 'c':
        settings->chart = true;
        return 0;
    case 'p':
        settings->by_prior = true;
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
    {"by-prior", 'p', NULL, 0, "faults as often as the priors say, hidden ones too", 0},
    {"wrong", 'w', "CHANCE", 0, "that a reading is simply wrong; 0", 0},
    {"verbose", 'v', NULL, 0, "print each case whose part did not come first", 0},
    {0}};

int main(int count, char **arguments) {
    trial_settings settings = {.seed = 1};
    static const struct argp argp = {options, parse, NULL, "Does the true part come first?",
                                     NULL,    NULL,  NULL};
    argp_parse(&argp, count, arguments, 0, NULL, &settings);
    gsl_set_error_handler_off();
    printf("seed %ld, law %.1f%s, wrong readings %.3f%s\n", settings.seed, settings.law,
           settings.chart ? " with chart" : "", settings.wrong,
           settings.by_prior ? ", faults by their priors" : "");
    score total = {0};
    trial_all(&settings, try_amp, &total);
    print_score("all", &total);
    return 0;
}
