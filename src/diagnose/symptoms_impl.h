/* Private to diagnose: symptoms and findings.
 *
 * Each is one more factor of a hypothesis' weight: the chance that it is told under it. Where it
 * follows from something that is computed, that is chance = false + (1 - missed - false) x how
 * likely what is computed lies beyond the limit. */
#ifndef GRIDLEAK_DIAGNOSE_SYMPTOMS_IMPL_H
#define GRIDLEAK_DIAGNOSE_SYMPTOMS_IMPL_H

#include "observe_impl.h"

typedef enum symptom_sign_of {
    SIGN_NONE,
    SIGN_HUM,     /* rms volts of hum across the speaker, beside a good amp's */
    SIGN_SIGNAL,  /* volts of a test signal there, below a good amp's */
    SIGN_SLOW,    /* a rising mode under 20 Hz beside the tremolo's */
    SIGN_QUICK,   /* a rising mode over 200 Hz */
    SIGN_TREMOLO, /* it does not start, or does not reach the output tubes */
    SIGN_SPEED,
    SIGN_CONTROL,     /* DC volts across a control */
    SIGN_HEATER,      /* part of its volts that a tube's heater gets */
    SIGN_DISSIPATION, /* a plate's or screen's watts beside its rating */
    SIGN_SUPPLY,      /* what the rectifiers give, beside a good amp's */
    SIGNS
} symptom_sign_of;
extern const char *const symptom_signs[SIGNS];
int symptom_sign(const diagnose_symptom *symptom);

/* A chance under some failures: of a sort of part, of a kind, in a mode (-1: any), of the part or
 * the very pin that the symptom names. */
typedef struct diagnose_chance {
    int sort, kind, mode;
    bool same_part, same_pin;
    double chance;
} symptom_chance;

/* clue.c: the run's clues made ready. false: no memory. Warns of those that say nothing of this
 * amp. */
bool diagnose_clues_open(diagnose_run_state *run, base_errors *errors);
/* ln of the chance of all clues at a point (NULL: something not modelled); `all`: those too that
 * must be worked out there. */
double diagnose_clues_weight(diagnose_run_state *run, diagnose_point *point, bool all);
double diagnose_told_chance(diagnose_run_state *run, const diagnose_told *told,
                            diagnose_point *point);

const diagnose_told *diagnose_told_at(const diagnose_run_state *run, size_t index);
bool diagnose_told_mute(const diagnose_told *told); /* it says nothing of this amp */

/* state.c: fields that symptoms follow from. */
size_t diagnose_state_width(const diagnose_engine *engine);
int diagnose_state_of(const diagnose_engine *engine, int part); /* where a tube's begin */
void diagnose_state_fill(diagnose_engine *engine, const double *numbers, const double *x,
                         double *field);
#define DIAGNOSE_SWING_WIDTH 5
bool diagnose_swing_fill(diagnose_engine *engine, solve_signal *signal, double *field);
bool diagnose_quick_fill(solve_signal *signal, double *field);
/* The healthy amp's tremolo; sought once. false: no memory or no solution. */
bool diagnose_tremolo_of(diagnose_engine *engine, solve_tremolo *tremolo);

#endif
