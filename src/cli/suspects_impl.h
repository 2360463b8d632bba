/* Private to the suspects command: what its text is made from. */
#ifndef GRIDLEAK_CLI_SUSPECTS_IMPL_H
#define GRIDLEAK_CLI_SUSPECTS_IMPL_H

#include "cli_impl.h"

void cli_suspects_text(cli *cli, const http_case *at);

/* The chart's place of that name, or -1. */
int cli_place_named(const diagnose_engine *engine, const char *at);
/* "C4 leaky, some 2M"; "nothing wrong". */
const char *cli_suspect_words(const diagnose_suspect *suspect, char *buffer, size_t size);

/* Where to put the probe and why, in words; then the socket drawn, and the words on safety. */
void cli_probe_where(cli *cli, const http_case *at, const diagnose_probe_next *next);
void cli_probe_how(cli *cli, const http_case *at, const diagnose_probe_next *next);

#endif
