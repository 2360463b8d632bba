/* Private to the program: what its own files share. */
#ifndef GRIDLEAK_CLI_IMPL_H
#define GRIDLEAK_CLI_IMPL_H

#include "cli.h"
#include "files.h"

/* An amp of the library by name or unique beginning; NULL with a complaint. */
const cli_file *cli_library_amp(cli *cli, const char *name);
bool cli_library_has(const char *name); /* an amp of that very name */

/* An amp solved and linearised, for response and tremolo. */
typedef struct cli_signal {
    cli_amp amp;
    solve_work *work;
    solve_signal *signal;
    double *numbers, *x; /* the healthy amp's numbers on the mains given, to be changed at will */
} cli_signal;
/* Opens AMP. false with complaints; close it in any case. */
bool cli_signal_open(cli *cli, const char *name, cli_signal *at);
/* Solves and linearises with `numbers`. false with a complaint. */
bool cli_signal_solve(cli *cli, cli_signal *at);
void cli_signal_close(cli_signal *at);
bool cli_no_memory(cli *cli); /* complains; false */

#endif
