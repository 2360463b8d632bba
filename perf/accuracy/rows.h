/* rows: one line of figures for each belief that was judged. Kept as comma-separated text, so that
 * a run can be taken up again, added to by other processes, and looked at with other tools. */
#ifndef GRIDLEAK_PERF_ROWS_H
#define GRIDLEAK_PERF_ROWS_H

#include <stdbool.h>
#include <stdio.h>

typedef enum evidence {
    EVIDENCE_PINS, /* the whole chart of the pins */
    EVIDENCE_FULL, /* and of the differences across parts */
    EVIDENCE_STEP, /* the readings so far, of those that the program proposes */
    EVIDENCE_STOP, /* where it stops: proposed as it is */
    EVIDENCE_STOP_EDGES,
    EVIDENCE_STOP_MIXED,
    EVIDENCE_STOP_BITS,
    EVIDENCE_STOP_FIXED,
    EVIDENCE_STOP_RANDOM,
    EVIDENCES
} evidence;
extern const char *const evidence_names[EVIDENCES];

typedef enum column {
    C_SEED,
    C_VARIATION,
    C_CASE,
    C_KIND,
    C_EVIDENCE,
    C_READINGS,
    C_FAULT,      /* of the catalogue; -1: none of it */
    C_SECOND,     /* the other of two that are to be found; -1: one */
    C_SHOWS,      /* deviations of this chart from good amps */
    C_P_FIRST,    /* of the first group */
    C_HIT,        /* the true fault stands in it */
    C_P_OTHER,    /* of the first group, or 0 where it holds nothing wrong */
    C_RANK,       /* of the first group with the true part; 99: none */
    C_P_TRUTH,    /* of the true fault */
    C_P_TOP,      /* of the likeliest fault */
    C_TOP_HIT,    /* it is the true one */
    C_PART_FIRST, /* the true part is likelier than any other */
    C_P_PART,     /* of the likeliest part */
    C_SQUARES,    /* sum of squares of all faults' probabilities */
    C_ENTROPY,    /* nats, over faults */
    C_COVER,      /* expected share of randomised 90 % sets that hold the truth */
    C_UNMODELLED,
    C_VERDICT,
    C_COST,
    C_TAIL,    /* cost of taking the whole chart */
    C_FLAGGED, /* the wrong entry was thought wrong */
    C_RISKY,   /* advices of a riskier probe, a safer one being nearly as good */
    C_ADVICES,
    C_U_FAULT, /* randomised ranks, uniform where the posterior is right */
    C_U_LIKELY,
    C_U_PRIOR,
    C_HABIT, /* the part nearest the largest deviation is the true one */
    C_DICTIONARY,
    C_PRIOR_FIRST,
    C_PAIR, /* rank of the true pair; -1: not offered */
    C_SECONDS,
    COLUMNS
} column;
extern const char *const column_names[COLUMNS];

typedef struct row {
    char truth[8], amp[32], mode[32]; /* "own" or "other"; the amp; the true fault's mode */
    double at[COLUMNS];
} row;

void row_write(FILE *to, const row *row);
void rows_head(FILE *to);
typedef struct rows {
    row *row;
    size_t count, room;
} rows;
bool rows_read(rows *rows, const char *file); /* adds to them; false: no such file */
void rows_free(rows *rows);

#endif
