/* Private to the program: what its own files share. */
#ifndef GRIDLEAK_CLI_IMPL_H
#define GRIDLEAK_CLI_IMPL_H

#include "cli.h"
#include "files.h"

/* An amp of the library by name or unique beginning; NULL with a complaint. */
const cli_file *cli_library_amp(cli *cli, const char *name);
bool cli_library_has(const char *name); /* an amp of that very name */
/* "V2 6V6GT", "C8 16u" */
void cli_margin_name(const service_margin *margin, char *text, size_t size);

#endif
