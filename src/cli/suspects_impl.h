/* Private to the suspects command: what its text and its JSON are made from. */
#ifndef GRIDLEAK_CLI_SUSPECTS_IMPL_H
#define GRIDLEAK_CLI_SUSPECTS_IMPL_H

#include "cli_impl.h"

typedef struct cli_case {
    const circuit *amp;
    const diagnose_readings *readings;
    const diagnose_engine *engine;
    const diagnose_belief *belief;
    double mains;
    bool measured; /* the mains was read at the wall */
    diagnose_meter meter;
} cli_case;

void cli_suspects_text(cli *cli, const cli_case *at);
void cli_suspects_json(cli *cli, const cli_case *at);

/* The chart's place with this probe, or -1. *sign (-1 or 1) says whether it is the other way round
 * there. */
int cli_place_of(const diagnose_engine *engine, const solve_probe *probe, int *sign);
/* What the leader of a group predicts for a reading; NAN where that is not known. */
double cli_prediction(const cli_case *at, size_t group, size_t reading);
/* The chart's place of that name, or -1. */
int cli_place_named(const diagnose_engine *engine, const char *at);
/* The leading suspect of a group: an index into belief->suspect; -1: none. */
int cli_leader(const diagnose_belief *belief, size_t group);
/* "C4 leaky, some 2M"; "nothing wrong". */
const char *cli_suspect_words(const diagnose_suspect *suspect, char *buffer, size_t size);
const char *cli_verdict_key(diagnose_verdict verdict); /* "not enough" */

/* Where to put the probe and why, in words; then the socket drawn, and the words on safety. */
void cli_probe_where(cli *cli, const cli_case *at, const diagnose_probe_next *next);
void cli_probe_how(cli *cli, const cli_case *at, const diagnose_probe_next *next);

#endif
