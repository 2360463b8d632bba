/* The two halves of gridleak practice. */
#ifndef GRIDLEAK_CLI_PRACTICE_IMPL_H
#define GRIDLEAK_CLI_PRACTICE_IMPL_H

#include "cli.h"

#include "practice.h"

/* A whole number of an option; a complaint where it is none within the limits. */
long cli_practice_number(cli *cli, cli_key key, long least, long most, long otherwise);
/* Works seeded faults without anybody, and tells the count. */
void cli_practice_worked(cli *cli, const cli_amp *amp, const diagnose_priors *priors);

#endif
