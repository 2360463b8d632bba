/* How far the readings have got, and why the leader leads. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <string.h>

#define UNLIKE 0.1 /* chance under which a symptom does not fit the leader */
#define SETTLED 0.9
#define LEANS 0.5
#define HEALTHY 0.8
#define STILL_LEADS 0.5 /* probability that the leader keeps when any one reading is left out */
#define STRANGE_BITS 6.0

/* ---- who leads ----------------------------------------------------------------------------- */

static const diagnose_case *best_case(const diagnose_run_state *run, int label) {
    for (int i = 0; i < run->count; i++)
        if (run->cases[i].label == label) return &run->cases[i];
    return NULL;
}

/* Probability of a group when reading i had not been taken. */
static double without_reading(const diagnose_run_state *run, const int *group_of_label, int group,
                              int i) {
    double own = -INFINITY, all = -INFINITY;
    for (int k = 0; k < run->count; k++) {
        const diagnose_case *one = &run->cases[k];
        double log_weight = one->without ? one->without[i] : one->log_weight;
        all = diagnose_log_sum(all, log_weight);
        if (group_of_label[one->label] == group) own = diagnose_log_sum(own, log_weight);
    }
    return all == -INFINITY ? 0 : exp(own - all);
}

/* Does the leading group still lead with any one reading left out? If not, run->carrier names the
 * reading that it hangs on most: one reading may simply be wrong. */
static bool confirmed(diagnose_run_state *run, const int *group_of_label) {
    double least = STILL_LEADS;
    run->carrier = -1;
    for (int i = 0; i < run->given; i++) {
        double left = without_reading(run, group_of_label, 0, i);
        if (left >= least) continue;
        least = left;
        run->carrier = i;
    }
    return run->carrier < 0;
}

/* Squared distance of the readings from a case, those that it calls wrong left out, against what
 * chance allows. */
static bool fits(const diagnose_run_state *run, const diagnose_case *one) {
    if (!one || !one->exact) return true;
    double sum = 0, n = run->n;
    for (int i = 0; i < run->n; i++) {
        sum += one->gauss.e[i] * (run->y[i] - one->tangent[i]);
        if (one->wrong[i] <= 0.5) continue;
        sum -= one->gauss.e[i] * one->gauss.e[i] / one->gauss.q[i * run->n + i];
        n -= 1;
    }
    return sum <= n + STRANGE_BITS * sqrt(2 * n + 1);
}

/* A good amp of which a twin tube's halves are wired the other way round. */
static bool halves_only(const diagnose_run_state *run, int label) {
    return label < diagnose_singles(run->engine) &&
           run->engine->catalogue.fault[label].mode == DIAGNOSE_HALVES_EXCHANGED;
}

static diagnose_verdict judge(diagnose_run_state *run, const diagnose_belief *belief,
                              const int *group_of_label) {
    int leader = diagnose_leading_label(run, belief, 0);
    double p = belief->groups ? belief->group[0].probability : 0;
    bool nothing = belief->groups && (group_of_label[0] == 0 || halves_only(run, leader));
    if (run->given == 0 || p < LEANS) return DIAGNOSE_NOT_ENOUGH;
    if (leader == 1 || !fits(run, best_case(run, leader))) return DIAGNOSE_STRANGE;
    if (nothing) return p >= HEALTHY ? DIAGNOSE_HEALTHY : DIAGNOSE_NOT_ENOUGH;
    bool sure = confirmed(run, group_of_label);
    return p > SETTLED && sure ? DIAGNOSE_SETTLED : DIAGNOSE_LEANING;
}

/* ---- reasons
 * -------------------------------------------------------------------------------------- */

/* The reading that departs most from a good amp, among those that the leader explains. */
static int telling(const diagnose_run_state *run, int but) {
    double most = 2;
    int best = -1;
    for (int i = 0; i < run->given; i++) {
        const float *row = run->healthy_row[i];
        double model = diagnose_asked(run, i) ? diagnose_error_of(run, i, run->healthy[i]) : 0;
        double good = sqrt(diagnose_shared(run, i, row, i, row) + run->noise[i] + model);
        double apart = fabs(run->y[i] - run->healthy[i]) / good;
        bool explained = fabs(run->y[i] - run->predicted[i]) <= 3 * run->spread[i];
        if (i == but || !explained || apart <= most) continue;
        most = apart;
        best = i;
    }
    return best;
}

static void say_reading(base_text *text, const diagnose_compare *one) {
    char read[32], healthy[32];
    base_text_add(text, "%s reads %s where a good amp shows %s", one->at,
                  diagnose_words_compare(one, one->read, read),
                  diagnose_words_compare(one, one->healthy, healthy));
}

static void say_predicted(base_text *text, const diagnose_compare *one) {
    char shown[32];
    base_text_add(text, "%s", diagnose_words_compare(one, one->predicted, shown));
}

static void say_leader(base_text *text, const diagnose_run_state *run,
                       const diagnose_belief *belief) {
    const char *leader = diagnose_label_words(run, belief, diagnose_leading_label(run, belief, 0));
    int first = telling(run, -1), second = telling(run, first);
    if (first < 0) {
        base_text_add(text, "No single reading is far off, but together they fit %s best.", leader);
        return;
    }
    say_reading(text, &belief->compare[first]);
    if (second >= 0) {
        base_text_add(text, ", and ");
        say_reading(text, &belief->compare[second]);
    }
    base_text_add(text, ". With %s, %s would show ", leader, belief->compare[first].at);
    say_predicted(text, &belief->compare[first]);
    if (second >= 0) {
        base_text_add(text, " and %s ", belief->compare[second].at);
        say_predicted(text, &belief->compare[second]);
    }
    base_text_add(text, ".");
}

/* Two things, one of which may be halves that are exchanged: then only one is wrong. */
static void say_two(base_text *text, const diagnose_run_state *run, const diagnose_belief *belief) {
    int pair = diagnose_leading_pair(belief, 0);
    if (pair < 0) return;
    const diagnose_pair *two = &belief->pair[pair];
    for (int k = 0; k < 2; k++)
        if (halves_only(run, two->fault[k])) {
            base_text_add(text, "%s is %s. What is wrong: %s %s. ", two->part[k], two->what[k],
                          two->part[1 - k], two->what[1 - k]);
            return;
        }
    base_text_add(text, "Two things are wrong: %s. No one fault gives these readings. ",
                  two->words);
}

#define ODD 3        /* readings that are named */
#define ODD_FROM 9.0 /* squared deviations from what the others lead to expect */

/* How far each reading lies from what the others lead to expect under the best case: those that
 * disagree most are named. */
static void say_odd(base_text *text, const diagnose_run_state *run, const diagnose_belief *belief) {
    const diagnose_case *best = NULL;
    int named[ODD], count = 0;
    for (int k = 0; k < run->count && !best; k++)
        if (run->cases[k].exact) best = &run->cases[k];
    while (best && count < ODD) {
        double most = ODD_FROM;
        int worst = -1;
        for (int i = 0; i < run->given; i++) {
            double e = best->gauss.e[i], far = e * e / best->gauss.q[i * run->n + i];
            bool known = false;
            for (int k = 0; k < count; k++)
                known |= named[k] == i;
            if (known || far <= most) continue;
            most = far;
            worst = i;
        }
        if (worst < 0) break;
        base_text_add(text, "%s%s", count ? ", " : " The readings that fit the others least: ",
                      belief->compare[worst].at);
        named[count++] = worst;
    }
    base_text_add(text, count ? ". Take them again." : " Take the odd readings again.");
}

static void say_reason(base_text *text, const diagnose_run_state *run,
                       const diagnose_belief *belief) {
    switch (belief->verdict) {
    case DIAGNOSE_HEALTHY:
        if (halves_only(run, diagnose_leading_label(run, belief, 0)))
            base_text_add(
                text, "%s. ",
                diagnose_label_words(run, belief, diagnose_leading_label(run, belief, 0)));
        base_text_add(text, "All readings lie where a good amp's would.");
        if (run->asks == 0)
            base_text_add(text, " DC readings do not show "
                                "open capacitors, weak rectifiers or bad contacts that carry only "
                                "signal.");
        break;
    case DIAGNOSE_STRANGE:
        base_text_add(text, "The readings fit no fault in the catalogue, and no two of them. A "
                            "wiring mistake, more faults at once, or an amp that differs from its "
                            "drawing would do this.");
        say_odd(text, run, belief);
        break;
    case DIAGNOSE_NOT_ENOUGH:
        base_text_add(text, run->given   ? "These readings are not enough to name a part."
                            : run->tolds ? "Symptoms alone do not name a part."
                                         : "No readings yet.");
        if (run->given == 0 || diagnose_leading_label(run, belief, 0) == 0) break;
        base_text_add(text, " ");
        say_leader(text, run, belief);
        break;
    default:
        say_two(text, run, belief);
        say_leader(text, run, belief);
        if (belief->verdict == DIAGNOSE_LEANING)
            base_text_add(text, " One further reading should confirm it.");
    }
}

/* Symptoms and findings that would hardly be told if the leader were to blame. */
static void say_unlike(base_text *text, const diagnose_belief *belief) {
    int told = 0;
    for (size_t i = 0; i < belief->heards; i++) {
        const diagnose_heard *one = &belief->heard[i];
        if (!(one->by_leader < UNLIKE)) continue;
        base_text_add(text, "%s\"%s\"", told == 0 ? " But " : " and ", one->said);
        told++;
    }
    if (told)
        base_text_add(text, " %s not fit this: ask again, or look for a second fault.",
                      told > 1 ? "do" : "does");
}

bool diagnose_judge(diagnose_run_state *run, diagnose_belief *belief, const int *group_of_label) {
    belief->verdict = judge(run, belief, group_of_label);
    base_text text;
    base_text_init(&text, 4000);
    say_reason(&text, run, belief);
    if (belief->verdict == DIAGNOSE_LEANING || belief->verdict == DIAGNOSE_SETTLED)
        say_unlike(&text, belief);
    belief->reason = text.failed ? NULL : base_arena_text(belief->arena, text.data);
    base_text_free(&text);
    return belief->reason != NULL;
}
