#include "cases.h"

#include "files.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHOWN 3.0 /* deviations of one reading */
#define TRIES 1000

static void die(const char *what, const base_errors *errors) {
    fprintf(stderr, "%s\n", what);
    for (size_t i = 0; i < base_errors_count(errors); i++)
        fprintf(stderr, "%d: %s\n", base_errors_at(errors, i)->line,
                base_errors_at(errors, i)->cause);
    exit(1);
}

/* ---- the amp ------------------------------------------------------------------------------- */

static tube_library *read_tubes(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; tubes && i < count; i++)
        if (strncmp(files[i].name, "tubes/", 6) == 0)
            tube_library_add(tubes, files[i].name, files[i].data, files[i].length, errors);
    return tubes;
}

static diagnose_priors *read_priors(base_errors *errors) {
    size_t count;
    const cli_file *files = cli_files(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, "priors/faults.yaml") == 0)
            return diagnose_priors_read(files[i].name, files[i].data, files[i].length, errors);
    return NULL;
}

void case_open(case_amp *amp, const char *name, const char *text, uint64_t seed) {
    base_errors *errors = base_errors_new();
    tube_library *tubes = read_tubes(errors);
    diagnose_priors *priors = read_priors(errors);
    diagnose_options options = diagnose_defaults();
    options.printed = false;
    options.pairs = options.wiring = DIAGNOSE_LOOK_NEVER;
    *amp = (case_amp){.name = name};
    amp->circuit = circuit_read(name, text, strlen(text), tubes, errors);
    amp->system = amp->circuit ? solve_system_new(amp->circuit, errors) : NULL;
    amp->engine =
        amp->system && priors ? diagnose_engine_new(amp->system, priors, &options, errors) : NULL;
    amp->model = amp->engine ? model_open(amp->engine, amp->system) : NULL;
    if (!amp->model) die(name, errors);
    base_random_seed(&amp->random, seed);
    amp->tubes = tubes;
    diagnose_priors_free(priors);
    base_errors_free(errors);
}

void case_close(case_amp *amp) {
    model_close(amp->model);
    diagnose_engine_free(amp->engine);
    solve_system_free(amp->system);
    circuit_free(amp->circuit);
    tube_library_free(amp->tubes);
}

void case_fault_name(const case_amp *amp, int fault, char text[80]) {
    const diagnose_fault *one = diagnose_fault_at(amp->engine, (size_t)fault);
    const char *part = one->part >= 0 ? circuit_part_at(amp->circuit, (size_t)one->part)->name : "";
    snprintf(text, 80, "%s%s%s/%d", part, *part ? " " : "", diagnose_mode_key(one->mode),
             one->which);
}

/* ---- drawing ------------------------------------------------------------------------------- */

static int by_prior(case_amp *amp) {
    double at = base_random_unit(&amp->random) * (1 - diagnose_fault_at(amp->engine, 1)->prior);
    int faults = (int)diagnose_faults(amp->engine);
    for (int f = 0; f < faults; f++)
        if (f != 1 && (at -= diagnose_fault_at(amp->engine, (size_t)f)->prior) < 0) return f;
    return 0;
}

/* Does the drawn amp with the fault, at the severity of this knot, depart somewhere? */
static bool shows(const case_amp *amp, int fault, double cell) {
    const model_amp *model = amp->model;
    const model_fault *table = &model->fault[fault];
    int knot = table->knots > 1 ? (int)lrint(cell * MODEL_KNOTS) : 0;
    for (int p = 0; p < model->places; p++) {
        double healthy = model->fault[0].volts[p];
        double good = hypot(model->fault[0].spread[p], 0.01 + 0.005 * fabs(healthy));
        if (fabs(table->volts[knot * model->places + p] - healthy) > SHOWN * good) return true;
    }
    return false;
}

static int choose(case_amp *amp, bool shown) {
    int faults = (int)diagnose_faults(amp->engine);
    return shown ? 2 + (int)(base_random_unit(&amp->random) * (faults - 2)) : by_prior(amp);
}

/* The places that are read, in the order of the chart. */
static int choose_places(case_amp *amp, int most, int *place) {
    int places = amp->model->places, left = most < places ? most : places, count = 0;
    for (int p = 0; p < places; p++)
        if (base_random_unit(&amp->random) * (places - p) < left) {
            place[count++] = p;
            left--;
        }
    return count;
}

static void add_reading(case_amp *amp, int place, double volts, diagnose_readings *readings) {
    base_errors *errors = base_errors_new();
    const diagnose_place *at = diagnose_place_at(amp->engine, (size_t)place);
    double size = fabs(volts);
    int decimals = size < 4 ? 3 : size < 40 ? 2 : size < 400 ? 1 : 0;
    char text[128];
    snprintf(text, sizeof text, "%s=%.*f", at->at, decimals, volts);
    if (diagnose_readings_add(readings, amp->system, text, NULL, errors) != BASE_OK)
        die(text, errors);
    base_errors_free(errors);
}

/* Volts of a drawn amp at all places; false where it has no solution. */
static bool draw_amp(case_amp *amp, bool shown, case_drawn *drawn, double *volts, double *sd) {
    model_amp *model = amp->model;
    int n = model->places, *place = calloc((size_t)n, sizeof *place);
    double *meter = calloc((size_t)n, sizeof *meter);
    double *v = calloc((size_t)model->latents + 1, sizeof *v);
    for (int p = 0; p < n; p++)
        place[p] = p;
    drawn->fault = choose(amp, shown);
    for (int l = 0; l <= model->latents; l++)
        v[l] = base_random_normal(&amp->random);
    model_hypothesis hypothesis = {model, drawn->fault, 0, 0, n, place, meter};
    sampler_model made = model_of(&hypothesis);
    drawn->cell = model_at(&hypothesis, v);
    bool good = (!shown || shows(amp, drawn->fault, drawn->cell)) &&
                model->fault[drawn->fault].solved && made.volts(&hypothesis, v, volts, NULL);
    for (int p = 0; p < n && good; p++)
        meter[p] = diagnose_noise(amp->engine, &amp->engine->options.meter, volts[p], 0,
                                  amp->engine->load[p].source);
    if (good) made.noise(&hypothesis, v, sd);
    free(place);
    free(meter);
    free(v);
    return good;
}

case_drawn case_draw(case_amp *amp, bool shown, int most) {
    case_drawn drawn = {.readings = diagnose_readings_new()};
    size_t n = (size_t)amp->model->places;
    int *place = calloc(n, sizeof *place);
    double *volts = calloc(n, sizeof *volts), *sd = calloc(n, sizeof *sd);
    int tries = 0;
    while (!draw_amp(amp, shown, &drawn, volts, sd))
        if (++tries == TRIES) die("no fault of this amp shows", NULL);
    int count = choose_places(amp, most, place);
    for (int i = 0; i < count; i++) {
        int p = place[i];
        double span =
            diagnose_place_at(amp->engine, (size_t)p)->probe.heater ? 15 : amp->engine->span;
        double shown_volts = volts[p] + sd[p] * base_random_normal(&amp->random);
        if (base_random_unit(&amp->random) < amp->engine->options.wrong)
            shown_volts = span * base_random_unit(&amp->random);
        add_reading(amp, p, shown_volts, drawn.readings);
    }
    free(place);
    free(volts);
    free(sd);
    return drawn;
}

/* ---- comparing ----------------------------------------------------------------------------- */

static int largest(const double *p, size_t count) {
    int best = 0;
    for (size_t k = 1; k < count; k++)
        if (p[k] > p[best]) best = (int)k;
    return best;
}

static double apart(const double *a, const double *b, size_t count) {
    double sum = 0;
    for (size_t k = 0; k < count; k++)
        sum += fabs(a[k] - b[k]) / 2;
    return sum;
}

static void compare(const diagnose_belief *belief, int truth, case_result *result) {
    size_t faults = belief->suspects, groups = belief->groups;
    double *is = calloc(faults, sizeof *is);
    double *group[2] = {calloc(groups, sizeof(double)), calloc(groups, sizeof(double))};
    int of_truth = -1;
    for (size_t s = 0; s < faults; s++) {
        const diagnose_suspect *suspect = &belief->suspect[s];
        is[suspect->fault] = result->posterior->fault[suspect->fault].probability;
        result->probability[suspect->fault] = suspect->probability;
        group[0][suspect->group] += suspect->probability;
        group[1][suspect->group] += is[suspect->fault];
        if (suspect->fault == truth) of_truth = suspect->group;
        double off = fabs(suspect->probability - is[suspect->fault]);
        if (off < fabs(result->worst_says - result->worst_is)) continue;
        result->worst = suspect->fault;
        result->worst_says = suspect->probability;
        result->worst_is = is[suspect->fault];
    }
    int best[2] = {largest(result->probability, faults), largest(is, faults)};
    int first[2] = {largest(group[0], groups), largest(group[1], groups)};
    result->suspects = apart(result->probability, is, faults);
    result->groups = apart(group[0], group[1], groups);
    result->says[0] = result->probability[best[0]];
    result->limit[0] = is[best[1]];
    result->says[1] = group[0][first[0]];
    result->limit[1] = group[1][first[1]];
    result->hit[0] = best[0] == truth;
    result->could[0] = best[1] == truth;
    result->hit[1] = first[0] == of_truth;
    result->could[1] = first[1] == of_truth;
    free(is);
    free(group[0]);
    free(group[1]);
}

case_result case_judge(case_amp *amp, const case_drawn *drawn, posterior *posterior) {
    case_result result = {.worst = -1, .posterior = posterior};
    base_errors *errors = base_errors_new();
    diagnose_belief *belief = diagnose_run(amp->engine, drawn->readings, errors);
    result.probability = calloc(diagnose_faults(amp->engine), sizeof(double));

    if (!belief || !result.posterior) die("no belief", errors);
    compare(belief, drawn->fault, &result);
    diagnose_belief_free(belief);
    base_errors_free(errors);
    return result;
}

void case_free(case_drawn *drawn, case_result *result) {
    diagnose_readings_free(drawn->readings);
    posterior_free(result->posterior);
    free(result->probability);
}
