/* cases: amps drawn as diagnose believes them to be, and its answer beside the reference's. */
#ifndef GRIDLEAK_PERF_CASES_H
#define GRIDLEAK_PERF_CASES_H

#include "posterior.h"

typedef struct case_amp {
    const char *name;
    tube_library *tubes;
    circuit *circuit;
    solve_system *system;
    diagnose_engine *engine;
    model_amp *model;
    base_random random;
} case_amp;

/* `text`: of an amp file. The program ends where it is not one. */
void case_open(case_amp *amp, const char *name, const char *text, uint64_t seed);
void case_close(case_amp *amp);

typedef struct case_drawn {
    int fault;   /* catalogue index of the truth */
    double cell; /* its severity in cells of the grid */
    diagnose_readings *readings;
} case_drawn;
/* A fault by its prior, or (`shown`) one of those that move a reading of the chart by over three
 * deviations; a severity and a good amp's latents; readings at `most` places or fewer, noise and
 * wrong ones among them. */
case_drawn case_draw(case_amp *amp, bool shown, int most);

typedef struct case_result {
    double suspects, groups;  /* total variation between diagnose and the reference */
    double says[2], limit[2]; /* largest probability by diagnose and by the reference: of a suspect,
                                 of a group */
    bool hit[2], could[2];    /* is the truth there, by diagnose and by the reference */
    int worst;                /* fault whose probability differs most */
    double worst_says, worst_is; /* by diagnose, by the reference */
    posterior *posterior;
    double *probability; /* by catalogue index, of diagnose */
} case_result;
/* Takes the posterior over. */
case_result case_judge(case_amp *amp, const case_drawn *drawn, posterior *posterior);
void case_free(case_drawn *drawn, case_result *result);
/* "C4 leaky" */
void case_fault_name(const case_amp *amp, int fault, char text[80]);

#endif
