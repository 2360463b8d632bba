#ifndef GRIDLEAK_CLI_FETCH_IMPL_H
#define GRIDLEAK_CLI_FETCH_IMPL_H

#include <stddef.h>

/* The HTTP status of GET `path` at this port of loopback, 0 where nothing answers; *length gets the
 * bytes of the whole answer. */
int cli_fetch(int port, const char *path, size_t *length);

#endif
