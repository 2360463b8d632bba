/* What the commands that serve a page have in common. */
#ifndef GRIDLEAK_CLI_SERVING_IMPL_H
#define GRIDLEAK_CLI_SERVING_IMPL_H

#include <stdbool.h>

bool cli_has_desktop(void);
/* Best effort: without a browser the address is on the screen. */
void cli_open_browser(const char *address);
/* From here on Ctrl-C and its like only end the waiting. */
void cli_catch_signals(void);
/* True when the end has come within a second. */
bool cli_ended(void);

#endif
