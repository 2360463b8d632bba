/* What to try beside volts: hum, a test signal, ohms with the power off, a part measured alone, a
 * reading after something was done. Each is weighed as a place to read is (next.c), by what it
 * would tell of the part, over its cost in effort, risk and originality. */
#include "symptoms_impl.h"

#include <stdio.h>
#include <string.h>

#define CASES 32     /* the heaviest, whose predictions are worked out */
#define PROPOSALS 48 /* looked at */
#define SUSPECTS 6   /* parts for which something of their own is proposed */
#define LEAST 0.01   /* of probability, for that */
#define LEAST_BITS 0.05
#define ROUGH 0.10
#define TEST_HERTZ 1000.0
#define TEST_VOLTS 0.02

#define OFF "Unplug, drain the capacitors and MEASURE that they are empty first."
#define OFF_ON                                                                                     \
    OFF " Then put the lead or tube in its new state, take your hands away, and only then "        \
        "switch on and read."
#define LIVE "Live: black lead on the chassis first, one hand in your pocket."
#define LIFT_COST 4.0     /* unsoldering one end, and soldering it again */
#define ORIGINAL_COST 1.0 /* of a joint that nobody has touched yet */

typedef struct proposal {
    char at[80];
    diagnose_test test;
    solve_probe probe;
    double cost, bits;
    int risk;
    const char *caution;
} proposal;

typedef struct tester {
    diagnose_run_state *run;
    diagnose_engine *engine;
    diagnose_belief *belief;
    base_errors *scratch; /* complaints about proposals that make no sense */
    int cases, classes;
    int index[CASES], class[CASES];
    double weight[CASES], mean[CASES], sd[CASES];
    diagnose_gauss gauss[CASES]; /* without the readings that are thought wrong */
    proposal *proposal;
    int count;
} tester;

/* ---- cases and classes ------------------------------------------------------------------------
 */

/* What is sought is the part: suspects of one part are one class. */
static bool same_class(const tester *tester, int a, int b) {
    int singles = (int)tester->engine->catalogue.count;
    if (a == b || a >= singles || b >= singles) return a == b;
    int part = tester->engine->catalogue.fault[a].part;
    return part >= 0 && part == tester->engine->catalogue.fault[b].part;
}

/* A copy, without the readings that the case thinks wrong. false: no memory. */
static bool copy_gauss(tester *tester, const diagnose_case *one, diagnose_gauss *gauss) {
    size_t n = one->exact ? (size_t)one->gauss.n : 0;
    base_arena *arena = tester->run->arena;
    *gauss = (diagnose_gauss){.n = (int)n};
    gauss->q = base_arena_take(arena, n * n + 1, sizeof(double));
    gauss->e = base_arena_take(arena, n + 1, sizeof(double));
    if (!gauss->q || !gauss->e) return false;
    memcpy(gauss->q, one->gauss.q, n * n * sizeof(double));
    memcpy(gauss->e, one->gauss.e, n * sizeof(double));
    for (size_t i = 0; i < n; i++)
        if (one->wrong[i] > 0.5) diagnose_gauss_leave_out(gauss, (int)i);
    return true;
}

static bool choose_cases(tester *tester) {
    const diagnose_run_state *run = tester->run;
    double sum = 0;
    for (int k = 0; k < run->count && tester->cases < CASES; k++) {
        const diagnose_case *one = &run->cases[k];
        if (one->point < 0 || !(one->weight > 0)) continue;
        int at = tester->cases++, like = 0;
        while (like < at && !same_class(tester, run->cases[tester->index[like]].label, one->label))
            like++;
        tester->index[at] = k;
        tester->class[at] = like < at ? tester->class[like] : tester->classes++;
        tester->weight[at] = one->weight;
        sum += one->weight;
        if (!copy_gauss(tester, one, &tester->gauss[at])) return false;
    }
    for (int k = 0; k < tester->cases; k++)
        tester->weight[k] /= sum;
    return true;
}

/* ---- proposing --------------------------------------------------------------------------------
 */

static bool given(const tester *tester, const proposal *one) {
    for (int i = 0; i < tester->run->given; i++) {
        const diagnose_reading *reading = &tester->run->readings->reading[i];
        bool same =
            reading->probe.plus == one->probe.plus && reading->probe.minus == one->probe.minus;
        if (same && diagnose_test_same(&reading->test, &one->test)) return true;
    }
    for (int i = 0; i < tester->count; i++)
        if (strcmp(tester->proposal[i].at, one->at) == 0) return true;
    return false;
}

/* Written as the technician would, and read as his own would be. */
static void propose(tester *tester, const char *at, double cost, int risk, const char *caution) {
    diagnose_reading reading = {.at = at};
    if (tester->count == PROPOSALS) return;
    proposal *one = &tester->proposal[tester->count];
    if (diagnose_test_read(tester->engine->bench.system, at, (base_place){0}, &reading,
                           tester->scratch) != BASE_OK)
        return;
    *one = (proposal){.test = reading.test,
                      .probe = reading.probe,
                      .cost = cost,
                      .risk = risk,
                      .caution = caution};
    snprintf(one->at, sizeof one->at, "%.79s", at);
    bool volts = reading.test.quantity <= DIAGNOSE_HUM && !reading.probe.heater;
    one->probe.meter_ohms =
        volts ? diagnose_meter_ohms(&tester->engine->options.meter, 1, 0) : INFINITY;
    if (!given(tester, one)) tester->count++;
}

static double lift_cost(const circuit_part *part) {
    return LIFT_COST + (part->original == 0 ? 0 : ORIGINAL_COST);
}

/* The end of a capacitor where a leak would show: that with the lesser volts in a good amp. */
static const char *quiet_end(const tester *tester, const circuit_part *part) {
    const diagnose_bench *bench = &tester->engine->bench;
    double a = diagnose_bench_volts(bench, part->end[0], 0, NULL);
    double b = diagnose_bench_volts(bench, part->end[1], 0, NULL);
    int node = fabs(a) < fabs(b) ? part->end[0] : part->end[1];
    if (node <= 0) node = part->end[0] + part->end[1];
    return circuit_node_at(bench->amp, (size_t)node)->name;
}

static void for_capacitor(tester *tester, const circuit_part *part, diagnose_mode mode) {
    char at[160];
    const char *what = mode == DIAGNOSE_CAP_OPEN   ? "alone"
                       : mode == DIAGNOSE_HIGH_ESR ? "ESR"
                                                   : "leak";
    snprintf(at, sizeof at, "%.40s %s", part->name, what);
    propose(tester, at, lift_cost(part), 0, OFF);
    if (mode != DIAGNOSE_LEAKY && mode != DIAGNOSE_SHORTED) return;
    snprintf(at, sizeof at, "%.40s with %.40s lifted", quiet_end(tester, part), part->name);
    propose(tester, at, lift_cost(part) + 0.5, 2, OFF_ON);
}

static void for_tube(tester *tester, const circuit_part *part, const diagnose_fault *fault) {
    char at[160];
    int pin = 0;
    for (int p = 1; p <= part->tube->pins && !pin; p++)
        if (part->tube->pin[p].electrode ==
            (fault->mode == DIAGNOSE_GASSY ? TUBE_GRID : TUBE_CATHODE))
            pin = p;
    if (fault->mode == DIAGNOSE_PIN_OPEN) {
        snprintf(at, sizeof at, "%.40s.%d contact", part->name, fault->which);
        propose(tester, at, 2, 0, OFF);
    } else if (fault->mode == DIAGNOSE_HEATER_OPEN) {
        snprintf(at, sizeof at, "%.40s alone", part->name);
        propose(tester, at, 1.5, 0, "Switch off, let it cool, and pull it.");
    }
    if (!pin) return;
    if (fault->mode == DIAGNOSE_GASSY) {
        snprintf(at, sizeof at, "%.40s.%d with %.40s pulled", part->name, pin, part->name);
        propose(tester, at, 2.5, 1, OFF_ON);
    }
    snprintf(at, sizeof at, "%.40s.%d with %.40s new", part->name, pin, part->name);
    propose(tester, at, 2, 1, "Switch off and let it cool before you change tubes. " LIVE);
}

static void for_ohms(tester *tester, const circuit_part *part, const diagnose_fault *fault) {
    char at[160];
    bool halves = part->kind == CIRCUIT_OUTPUT_TRANSFORMER || part->kind == CIRCUIT_POT;
    if (part->kind == CIRCUIT_RESISTOR || part->kind == CIRCUIT_INDUCTOR ||
        part->kind == CIRCUIT_SPEAKER) {
        snprintf(at, sizeof at, "%.40s cold", part->name);
        propose(tester, at, 2, 0, OFF);
    }
    snprintf(at, sizeof at, halves ? "%.40s.%d alone" : "%.40s alone", part->name,
             fault->which ? 3 : 1);
    propose(tester, at, lift_cost(part), 0, OFF);
}

static void for_suspect(tester *tester, const diagnose_suspect *suspect) {
    const diagnose_fault *fault = &tester->engine->catalogue.fault[suspect->fault];
    if (fault->part < 0) return;
    const circuit_part *part = circuit_part_at(tester->engine->bench.amp, (size_t)fault->part);
    if (part->kind == CIRCUIT_CAPACITOR)
        for_capacitor(tester, part, fault->mode);
    else if (part->kind == CIRCUIT_TUBE)
        for_tube(tester, part, fault);
    else
        for_ohms(tester, part, fault);
}

static void for_suspects(tester *tester) {
    int parts[SUSPECTS], count = 0;
    for (size_t i = 0; i < tester->belief->suspects && count < SUSPECTS; i++) {
        const diagnose_suspect *suspect = &tester->belief->suspect[i];
        if (suspect->fault < 2 || suspect->probability < LEAST ||
            suspect->fault >= (int)tester->engine->catalogue.count)
            continue;
        int part = tester->engine->catalogue.fault[suspect->fault].part, k = 0;
        while (k < count && parts[k] != part)
            k++;
        if (k == count) parts[count++] = part;
        for_suspect(tester, suspect);
    }
}

/* Hum where it is filtered, and at the speaker. */
static void for_hum(tester *tester) {
    const circuit *amp = tester->engine->bench.amp;
    char at[160];
    for (size_t n = 1; n < circuit_nodes(amp); n++) {
        if (!tester->engine->places.supply[n]) continue;
        snprintf(at, sizeof at, "%.60s hum", circuit_node_at(amp, n)->name);
        propose(tester, at, 2, 2, LIVE " The meter on alternating volts.");
    }
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        if (circuit_part_at(amp, i)->kind != CIRCUIT_SPEAKER) continue;
        snprintf(at, sizeof at, "%.60s hum", circuit_part_at(amp, i)->name);
        propose(tester, at, 1, 0, "At the speaker's terminals; its leads stay on.");
    }
}

/* A signal at each plate, and at the speaker. */
static void for_signal(tester *tester) {
    const circuit *amp = tester->engine->bench.amp;
    solve_stage stage[PROPOSALS];
    int jack = diagnose_first_input(amp);
    char at[160];
    size_t count = jack < 0 ? 0 : solve_stages(tester->engine->bench.system, stage, PROPOSALS);
    for (size_t i = 0; i < count && i < PROPOSALS; i++) {
        const circuit_part *part = circuit_part_at(amp, (size_t)stage[i].part);
        const char *input = circuit_part_at(amp, (size_t)jack)->name;
        bool speaker = stage[i].unit < 0;
        if (speaker)
            snprintf(at, sizeof at, "%.30s @1kHz,20mV %.30s", part->name, input);
        else
            snprintf(at, sizeof at, "%.30s.%d @1kHz,20mV %.30s", part->name, stage[i].pin, input);
        propose(tester, at, speaker ? 1.5 : 2.5, speaker ? 0 : 1,
                speaker ? "Speaker joined, volume low." : LIVE);
    }
}

/* ---- what each would tell ----------------------------------------------------------------------
 */

static double square(double x) {
    return x * x;
}

/* Given the readings so far, as in next.c; NAN: the point has no answer. */
static double predict(tester *tester, const diagnose_ask *ask, int slot, float *row, double *sd) {
    const diagnose_run_state *run = tester->run;
    const diagnose_case *one = &run->cases[tester->index[slot]];
    diagnose_point *point = diagnose_point_of(run, one->point);
    double mean = diagnose_ask_row(tester->engine, ask, point, row);
    if (!isfinite(mean)) return NAN;
    double shown = diagnose_ask_shows(ask, mean);
    double variance = diagnose_ask_noise(tester->engine, ask, &tester->engine->options.meter, shown,
                                         diagnose_digit(shown)) +
                      diagnose_ask_model_error(tester->engine, ask, mean) +
                      diagnose_ask_covariance(tester->engine, row, row);
    const diagnose_gauss *gauss = &tester->gauss[slot];
    int n = gauss->n;
    double c[n + 1], known = 0;
    for (int i = 0; i < n; i++) {
        c[i] = diagnose_asked(run, i) ? diagnose_ask_covariance(tester->engine, row, one->row[i])
                                      : diagnose_covariance(tester->engine, row, one->row[i]);
        mean += c[i] * gauss->e[i];
    }
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++)
            known += c[i] * gauss->q[i * n + k] * c[k];
    *sd = sqrt(fmax(variance - known, 1e-3 * variance) + (n ? 0 : square(ROUGH * mean)));
    return mean;
}

static bool predict_all(tester *tester, const diagnose_ask *ask) {
    float *row =
        base_arena_take(tester->run->arena, (size_t)tester->engine->scenes->wide, sizeof *row);
    for (int slot = 0; row && slot < tester->cases; slot++) {
        tester->mean[slot] = predict(tester, ask, slot, row, &tester->sd[slot]);
        if (isfinite(tester->mean[slot])) continue;
        tester->mean[slot] = ask->healthy;
        tester->sd[slot] = 10;
    }
    return row != NULL;
}

/* "About 12 mV here with C19 open, about 450 mV in a good amp." */
static const char *why(const tester *tester, const diagnose_ask *ask) {
    base_arena *arena = tester->belief->arena;
    const diagnose_case *cases = tester->run->cases;
    int other = -1;
    double most = 0;
    for (int slot = 1; slot < tester->cases; slot++) {
        double apart =
            fabs(tester->mean[slot] - tester->mean[0]) / (tester->sd[slot] + tester->sd[0] + 1e-12);
        double worth = tester->weight[slot] * fmin(apart, 4);
        if (tester->class[slot] == tester->class[0] || worth <= most) continue;
        most = worth;
        other = slot;
    }
    if (other < 0) return base_arena_text(arena, "It parts the less likely suspects.");
    base_quantity unit = diagnose_quantity_unit(tester->engine->bench.system, ask->test);
    const char *with = diagnose_label_with(tester->run, cases[tester->index[0]].label, arena);
    const char *without =
        diagnose_label_with(tester->run, cases[tester->index[other]].label, arena);
    char a[32], b[32];
    if (!with || !without) return NULL;
    diagnose_value_words(diagnose_ask_shows(ask, tester->mean[0]), unit, a);
    diagnose_value_words(diagnose_ask_shows(ask, tester->mean[other]), unit, b);
    return base_arena_print(arena, "About %s %.150s, about %s %.150s.", a, with, b, without);
}

/* Bits of a proposal, and its place in the list where it is worth one. false: no memory. */
static bool weigh(tester *tester, proposal *one) {
    diagnose_belief *belief = tester->belief;
    diagnose_ask ask;
    if (!diagnose_ask_open(tester->engine, &one->test, &one->probe, tester->run->arena, &ask))
        return true;
    if (!predict_all(tester, &ask)) return false;
    diagnose_cases cases = {tester->cases, tester->classes, tester->weight,
                            tester->mean,  tester->sd,      tester->class};
    one->bits = diagnose_information(&cases);
    if (!(one->bits >= LEAST_BITS)) return true;
    diagnose_test_next *next = &belief->test[belief->tests++];
    *next = (diagnose_test_next){.bits = one->bits, .cost = one->cost, .risk = one->risk};
    next->at = base_arena_text(belief->arena, one->at);
    next->quantity = diagnose_quantity_name(tester->engine->bench.system, &one->test, &one->probe);
    next->why = why(tester, &ask);
    next->caution = base_arena_text(belief->arena, one->caution);
    return next->at && next->why && next->caution;
}

static double worth(const void *choice) {
    const diagnose_test_next *one = choice;
    return one->bits / one->cost;
}

static int risk(const void *choice) {
    return ((const diagnose_test_next *)choice)->risk;
}

bool diagnose_next_tests(diagnose_run_state *run, diagnose_belief *belief) {
    tester tester = {.run = run, .engine = run->engine, .belief = belief};
    tester.proposal = base_arena_take(run->arena, PROPOSALS, sizeof *tester.proposal);
    belief->test = base_arena_take(belief->arena, PROPOSALS, sizeof *belief->test);
    tester.scratch = base_errors_new();
    bool good = tester.proposal && belief->test && tester.scratch;
    good = good && choose_cases(&tester);
    if (good) {
        for_suspects(&tester);
        for_hum(&tester);
        for_signal(&tester);
    }
    for (int i = 0; good && i < tester.count; i++)
        good = weigh(&tester, &tester.proposal[i]);
    base_errors_free(tester.scratch);
    if (!good) return false;
    diagnose_order(belief->test, belief->tests, sizeof *belief->test, worth, risk);
    if (belief->tests > DIAGNOSE_TESTS) belief->tests = DIAGNOSE_TESTS;
    return true;
}
