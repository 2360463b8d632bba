#include "judge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST_READINGS 25
#define PROBABLY_WRONG 0.5
#define NEARLY 0.8 /* of the information per cost of the place advised */

/* ---- readings ------------------------------------------------------------------------------ */

void judge_read(judge *judge, size_t place, double volts, diagnose_readings *readings) {
    const diagnose_place *at = diagnose_place_at(judge->subject->engine, place);
    if (isnan(volts)) volts = truth_read(judge->subject, judge->truth, place);
    double digit = truth_digit(volts);
    int decimals = digit < 0.005 ? 3 : digit < 0.05 ? 2 : digit < 0.5 ? 1 : 0;
    char text[160];
    snprintf(text, sizeof text, "%s=%.*f", at->at, decimals, volts);
    if (diagnose_readings_add(readings, judge->subject->system, text, NULL, judge->errors)) {
        fprintf(stderr, "%s: %s cannot be read\n", judge->subject->name, text);
        exit(1);
    }
}

static diagnose_belief *run(judge *judge, const diagnose_readings *readings) {
    diagnose_belief *belief = diagnose_run(judge->subject->engine, readings, judge->errors);
    if (belief) return belief;
    fprintf(stderr, "%s: no belief\n", judge->subject->name);
    exit(1);
}

/* ---- figures of a belief ------------------------------------------------------------------- */

static const diagnose_fault *fault_of(const judge *judge, int index) {
    return diagnose_fault_at(judge->subject->engine, (size_t)index);
}

static bool is_true(const judge *judge, int index) {
    return index >= 0 && judge->truth->asked[1] < 0 && index == judge->truth->asked[0];
}

static bool same_part(const judge *judge, int one, int other) {
    if (one == other) return one >= 0;
    return one > 1 && other > 1 && fault_of(judge, one)->part == fault_of(judge, other)->part;
}

/* A part is right where any of its faults is named: that part is taken out and looked at. */
static bool true_part(const judge *judge, int index) {
    return same_part(judge, index, judge->truth->asked[0]) ||
           same_part(judge, index, judge->truth->asked[1]);
}

static bool is_pair(const judge *judge, const diagnose_pair *pair, bool parts) {
    const int *asked = judge->truth->asked;
    for (int turn = 0; turn < 2; turn++) {
        int a = pair->fault[turn], b = pair->fault[1 - turn];
        if (parts ? same_part(judge, a, asked[0]) && same_part(judge, b, asked[1])
                  : a == asked[0] && b == asked[1])
            return true;
    }
    return false;
}

/* Where two were asked for, a pair with one of them in it, or one of them alone, counts as found.
 */
static void rank_pairs(const judge *judge, const diagnose_belief *belief, row *row) {
    bool two = judge->truth->asked[1] >= 0;
    row->at[C_PAIR] = belief->pairs ? 99 : -1;
    for (size_t i = belief->pairs; two && i-- > 0;) {
        const diagnose_pair *pair = &belief->pair[i];
        bool any = true_part(judge, pair->fault[0]) || true_part(judge, pair->fault[1]);
        if (any) row->at[C_RANK] = fmin(row->at[C_RANK], pair->group);
        if (is_pair(judge, pair, false) && pair->group == 0) row->at[C_HIT] = 1;
        if (is_pair(judge, pair, true)) row->at[C_PAIR] = (double)i;
    }
}

static void rank_groups(const judge *judge, const diagnose_belief *belief, row *row) {
    int nothing = -1;
    row->at[C_RANK] = 99;
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == 0) nothing = belief->suspect[i].group;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        if (is_true(judge, suspect->fault) && suspect->group == 0) row->at[C_HIT] = 1;
        if (suspect->group == nothing && judge->truth->asked[0] != 0) continue;
        if (true_part(judge, suspect->fault))
            row->at[C_RANK] = fmin(row->at[C_RANK], suspect->group);
    }
    row->at[C_P_FIRST] = belief->group[0].probability;
    row->at[C_P_OTHER] = nothing == 0 ? 0 : belief->group[0].probability;
    rank_pairs(judge, belief, row);
}

/* Parts, each with all of its faults; nothing, not modelled and the mains stand for themselves. */
static void rank_parts(const judge *judge, const diagnose_belief *belief, row *row) {
    size_t parts = circuit_parts(judge->subject->circuit), most = 0;
    double *sum = calloc(parts + 3, sizeof *sum);
    bool *right = calloc(parts + 3, sizeof *right);
    for (size_t i = 0; i < belief->suspects; i++) {
        int index = belief->suspect[i].fault;
        int part = fault_of(judge, index)->part;
        size_t at = index < 2 ? parts + (size_t)index : part < 0 ? parts + 2 : (size_t)part;
        sum[at] += belief->suspect[i].involved;
        right[at] |=
            index == judge->truth->asked[0] || (index > 1 && index == judge->truth->asked[1]);
    }
    for (size_t p = 1; p < parts + 3; p++)
        if (sum[p] > sum[most]) most = p;
    row->at[C_PART_FIRST] = right[most];
    row->at[C_P_PART] = sum[most];
    free(sum);
    free(right);
}

typedef struct hypothesis {
    double p;
    bool right;
} hypothesis;

static int likelier(const void *a, const void *b) {
    double x = ((const hypothesis *)a)->p, y = ((const hypothesis *)b)->p;
    return (x < y) - (x > y);
}

static hypothesis *hypotheses(const judge *judge, const diagnose_belief *belief) {
    size_t n = belief->suspects + belief->pairs;
    hypothesis *all = calloc(n + 1, sizeof *all);
    for (size_t i = 0; i < belief->suspects; i++)
        all[i] =
            (hypothesis){belief->suspect[i].probability, is_true(judge, belief->suspect[i].fault)};
    for (size_t i = 0; i < belief->pairs; i++)
        all[belief->suspects + i] =
            (hypothesis){belief->pair[i].probability, is_pair(judge, &belief->pair[i], false)};
    qsort(all, n, sizeof *all, likelier);
    return all;
}

/* Squares, entropy, the truth's own; and how much of a randomised 90 % set's chance holds it:
 * hypotheses are taken in falling order, the last with the chance that makes the set 90 %. */
static void sum_faults(const judge *judge, const diagnose_belief *belief, row *row) {
    hypothesis *all = hypotheses(judge, belief);
    double before = 0;
    for (size_t i = 0; i < belief->suspects + belief->pairs; i++) {
        double p = all[i].p;
        row->at[C_SQUARES] += p * p;
        if (p > 0) row->at[C_ENTROPY] -= p * log(p);
        if (all[i].right) {
            row->at[C_P_TRUTH] += p;
            if (p > 0) row->at[C_COVER] = fmin(fmax((0.9 - before) / p, 0), 1);
            row->at[C_TOP_HIT] = row->at[C_TOP_HIT] || i == 0;
        }
        before += p;
    }
    row->at[C_P_TOP] = all[0].p;
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == 1) row->at[C_UNMODELLED] = belief->suspect[i].probability;
    free(all);
}

/* Ranks of the truth among faults by number, by prior and by how likely the readings are under
 * each (posterior over prior): the chance of a lesser one and a random part of its own. */
static void rank_uniformly(judge *judge, const diagnose_belief *belief, row *row) {
    int truth = judge->truth->asked[0];
    for (int k = 0; k < 3; k++)
        row->at[C_U_FAULT + k] = -1;
    if (truth < 0 || judge->truth->asked[1] >= 0) return;
    double own = 0, prior = fault_of(judge, truth)->prior, less[3] = {0, 0, 0};
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].fault == truth) own = belief->suspect[i].probability;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        double p = suspect->probability, of = fault_of(judge, suspect->fault)->prior;
        if (suspect->fault == truth) continue;
        bool tie = suspect->fault < truth;
        if (tie) less[0] += p;
        if (p / of < own / prior || (p / of == own / prior && tie)) less[1] += p;
        if (of < prior || (of == prior && tie)) less[2] += p;
    }
    static const column columns[3] = {C_U_FAULT, C_U_LIKELY, C_U_PRIOR};
    for (int k = 0; k < 3; k++)
        row->at[columns[k]] = less[k] + own * base_random_unit(&judge->random);
}

void judge_belief(judge *judge, const diagnose_belief *belief, evidence evidence, row *row) {
    *row = judge->base;
    row->at[C_EVIDENCE] = evidence;
    row->at[C_READINGS] = (double)belief->compares;
    row->at[C_SHOWS] = judge->truth->far[evidence != EVIDENCE_PINS];
    row->at[C_VERDICT] = belief->verdict;
    rank_groups(judge, belief, row);
    rank_parts(judge, belief, row);
    sum_faults(judge, belief, row);
    rank_uniformly(judge, belief, row);
}

/* ---- the whole chart ----------------------------------------------------------------------- */

/* One entry ten times too large, or that of another pin: what slips at a bench. */
static void spoil(judge *judge, double *shown) {
    size_t places = judge->subject->places;
    for (int tries = 0; tries < 200; tries++) {
        size_t a = (size_t)(base_random_unit(&judge->random) * (double)places);
        size_t b = (size_t)(base_random_unit(&judge->random) * (double)places);
        bool exchange = base_random_unit(&judge->random) < 0.5;
        if (!judge->subject->is_pin[a] || fabs(shown[a]) < 0.5 || fabs(shown[a]) > 290) continue;
        double other = shown[b];
        if (exchange && (b == a || !judge->subject->is_pin[b])) continue;
        if (exchange && fabs(other - shown[a]) < 0.3 * fabs(shown[a])) continue;
        if (exchange) shown[b] = shown[a];
        shown[a] = exchange ? other : 10 * shown[a];
        judge->spoilt = (int)a;
        return;
    }
}

static bool thought_wrong(const judge *judge, const diagnose_belief *belief) {
    if (judge->spoilt < 0) return false;
    const char *at = diagnose_place_at(judge->subject->engine, (size_t)judge->spoilt)->at;
    for (size_t i = 0; i < belief->compares; i++)
        if (strcmp(belief->compare[i].at, at) == 0)
            return belief->compare[i].chance_wrong > PROBABLY_WRONG;
    return false;
}

static const char *part_name(const judge *judge, int fault) {
    int part = fault < 0 ? -1 : fault_of(judge, fault)->part;
    return part < 0 ? "-" : circuit_part_at(judge->subject->circuit, (size_t)part)->name;
}

static void print_miss(const judge *judge, const diagnose_belief *belief, const row *row) {
    if (row->at[C_RANK] == 0 || row->at[C_SHOWS] < 3) return;
    printf("  %s case %.0f [%.1f] %s %s came %.0f:", kind_names[judge->truth->kind],
           row->at[C_CASE], row->at[C_SHOWS], part_name(judge, judge->truth->asked[0]), row->mode,
           row->at[C_RANK] + 1);
    for (size_t i = 0; i < 3 && i < belief->suspects; i++)
        printf(" %s %s %.2f;", belief->suspect[i].part, belief->suspect[i].what,
               belief->suspect[i].probability);
    if (belief->pairs) printf(" %s %.2f;", belief->pair[0].words, belief->pair[0].probability);
    for (size_t i = 0; i < belief->compares; i++) {
        const diagnose_compare *one = &belief->compare[i];
        if (one->chance_wrong > 0.3)
            printf(" %s=%.3g wrong %.2f,", one->at, one->read, one->chance_wrong);
    }
    printf("\n");
}

static void judge_chart(judge *judge, const double *shown, evidence evidence) {
    diagnose_readings *readings = diagnose_readings_new();
    for (size_t i = 0; i < judge->subject->places; i++)
        if (evidence == EVIDENCE_FULL || judge->subject->is_pin[i])
            judge_read(judge, i, shown[i], readings);
    diagnose_belief *belief = run(judge, readings);
    row row;
    judge_belief(judge, belief, evidence, &row);
    row.at[C_FLAGGED] = thought_wrong(judge, belief);
    if (evidence == EVIDENCE_FULL) baseline_judge(judge, shown, &row);
    if (evidence == EVIDENCE_FULL && judge->verbose) print_miss(judge, belief, &row);
    row_write(judge->to, &row);
    diagnose_belief_free(belief);
    diagnose_readings_free(readings);
}

void judge_charts(judge *judge, bool wrong, bool brief) {
    double *shown = calloc(judge->subject->places, sizeof *shown);
    for (size_t i = 0; i < judge->subject->places; i++)
        shown[i] = truth_read(judge->subject, judge->truth, i);
    judge->spoilt = -1;
    if (wrong) spoil(judge, shown);
    if (!brief) judge_chart(judge, shown, EVIDENCE_PINS);
    judge_chart(judge, shown, EVIDENCE_FULL);
    free(shown);
}

/* ---- from reading to reading --------------------------------------------------------------- */

static int place_named(const subject *subject, const char *at) {
    for (size_t i = 0; i < subject->places; i++)
        if (strcmp(diagnose_place_at(subject->engine, i)->at, at) == 0) return (int)i;
    return -1;
}

/* From the supply to the input: by falling volts. */
static int highest_left(const subject *subject, const bool *taken) {
    int best = -1;
    for (size_t i = 0; i < subject->places; i++) {
        double volts = fabs(diagnose_place_at(subject->engine, i)->healthy);
        if (taken[i] || !subject->is_pin[i]) continue;
        if (best < 0 || volts > fabs(diagnose_place_at(subject->engine, (size_t)best)->healthy))
            best = (int)i;
    }
    return best;
}

static int any_left(judge *judge, const bool *taken) {
    const subject *subject = judge->subject;
    size_t left = 0;
    for (size_t i = 0; i < subject->places; i++)
        left += !taken[i] && subject->is_pin[i];
    size_t skip = (size_t)(base_random_unit(&judge->random) * (double)left);
    for (size_t i = 0; i < subject->places; i++)
        if (!taken[i] && subject->is_pin[i] && skip-- == 0) return (int)i;
    return -1;
}

/* The most bits, whatever they cost. */
static int most_bits(const subject *subject, const diagnose_belief *belief) {
    size_t best = 0;
    for (size_t i = 1; i < belief->nexts; i++)
        if (belief->next[i].bits > belief->next[best].bits) best = i;
    return belief->nexts ? place_named(subject, belief->next[best].at) : -1;
}

static int next_place(judge *judge, evidence policy, const diagnose_belief *belief,
                      const bool *taken) {
    if (policy == EVIDENCE_STOP_FIXED) return highest_left(judge->subject, taken);
    if (policy == EVIDENCE_STOP_RANDOM) return any_left(judge, taken);
    if (policy == EVIDENCE_STOP_BITS) return most_bits(judge->subject, belief);
    return belief->nexts ? place_named(judge->subject, belief->next[0].at) : -1;
}

/* Was the first place advised where a safer one is nearly as good? */
static bool risky_advice(const diagnose_belief *belief) {
    for (size_t i = 1; i < belief->nexts; i++) {
        const diagnose_probe_next *first = &belief->next[0], *other = &belief->next[i];
        if (other->cost < first->cost &&
            other->bits / other->cost >= NEARLY * first->bits / first->cost)
            return true;
    }
    return false;
}

static double whole_cost(const subject *subject) {
    double sum = 0;
    for (size_t i = 0; i < subject->places; i++)
        sum += diagnose_place_at(subject->engine, i)->cost;
    return sum;
}

static bool is_over(const judge *judge, const diagnose_belief *belief, int taken) {
    if (belief->verdict == DIAGNOSE_SETTLED || taken == MOST_READINGS) return true;
    return belief->verdict == DIAGNOSE_HEALTHY && taken >= 8 && judge->spoilt < 0;
}

void judge_walk(judge *judge, evidence policy, bool steps) {
    subject *subject = judge->subject;
    diagnose_readings *readings = diagnose_readings_new();
    bool *taken = calloc(subject->places, sizeof *taken), over = false;
    double cost = 0, risky = 0;
    choose_by(policy);
    for (int step = 0; !over; step++) {
        diagnose_belief *belief = run(judge, readings);
        int place = next_place(judge, policy, belief, taken);
        row row;
        over = place < 0 || is_over(judge, belief, step);
        judge_belief(judge, belief, over ? policy : EVIDENCE_STEP, &row);
        row.at[C_COST] = cost;
        row.at[C_TAIL] = whole_cost(subject);
        row.at[C_RISKY] = risky;
        row.at[C_ADVICES] = step;
        if (over || (steps && step > 0)) row_write(judge->to, &row);
        risky += !over && risky_advice(belief);
        if (!over) {
            taken[place] = true;
            cost += diagnose_place_at(subject->engine, (size_t)place)->cost;
            judge_read(judge, (size_t)place, NAN, readings);
        }
        diagnose_belief_free(belief);
    }
    choose_by(EVIDENCE_STOP);
    free(taken);
    diagnose_readings_free(readings);
}
