/* subject: one amp (of the library, or a random variation of one), its engine, and cases of it
 * whose truth is known. The truth is either the engine's own generative model (own.c) or another's
 * world (other.c). */
#ifndef GRIDLEAK_PERF_SUBJECT_H
#define GRIDLEAK_PERF_SUBJECT_H

#include "diagnose.h"
#include "world.h"

typedef enum kind {
    KIND_SINGLE,  /* one fault of the catalogue as often as the priors say; nothing wrong too */
    KIND_HEALTHY, /* nothing wrong, but aged */
    KIND_OUTSIDE, /* a fault that the catalogue does not have */
    KIND_ENTRY,   /* as single; one entry ten times too large, or two pins exchanged */
    KIND_PAIR,    /* two faults */
    KINDS
} kind;
extern const char *const kind_names[KINDS];

typedef struct subject {
    const char *name;
    int variation;
    bool own;
    tube_library *tubes; /* borrowed */
    circuit *circuit;
    solve_system *system;
    diagnose_engine *engine;
    world *world;
    size_t places;
    size_t pins;        /* places that are no difference across a part; they come in order */
    bool *is_pin;       /* by place */
    double *shown;      /* by place: the drawing as it is, in the truth's own terms */
    double *good[2];    /* factored covariance of good amps: of the pins; of all places */
    struct own *of_own; /* own.c */
} subject;

typedef struct truth {
    kind kind;
    int fault[2]; /* of the catalogue; -1 */
    int asked[2]; /* the same without what adds nothing to the other's chart: what is to be found */
    char what[80];
    double far[2]; /* deviations of the chart from good amps: the pins, all places */
    double *volts, *by_mains, *error; /* by place: clean; slope by ln(mains); model's own */
    bool solved;
    double wander, wander_sd; /* of the mains, another's: it drifts from reading to reading */
    double gain, offset;      /* of the meter, another's */
    bool mains_set;           /* the fault sets the mains: it does not wander (own) */
    base_random random;
    double wider; /* own, not modelled: how many times as far out; 0 otherwise */
} truth;

typedef struct subject_options {
    const char *file, *text;
    size_t length;
    tube_library *tubes;
    const diagnose_priors *priors;
    bool own, chart;
    int variation;
    uint64_t seed;
    int draws; /* of good amps, to learn what shows; 0: 300 */
} subject_options;
/* NULL: this variation is no amp that can be solved. */
subject *subject_open(const subject_options *options);
void subject_close(subject *subject);

/* Case `number` of this subject: the same for the same seed, whatever else is run. */
truth *truth_make(subject *subject, kind kind, uint64_t seed, long number);
void truth_free(truth *truth);
/* What the meter shows at a place now. */
double truth_read(subject *subject, truth *truth, size_t place);
double truth_digit(double volts);

/* ---- own.c, other.c ------------------------------------------------------------------------ */

bool own_open(subject *subject);
void own_close(subject *subject);
/* Clean volts of a good amp at random, or of the drawing as it is, with these faults in. */
bool own_solve(subject *subject, truth *truth, bool random);
bool other_solve(subject *subject, truth *truth, bool random);
double own_pairs(const subject *subject); /* weight of a pair against its priors' product, twice */
double own_noise(subject *subject, truth *truth, size_t place);

#endif
