/* The data folder inside the program, so that one binary works from any folder. */
#ifndef GRIDLEAK_CLI_FILES_H
#define GRIDLEAK_CLI_FILES_H

#include <stddef.h>

typedef struct cli_file {
    const char *name; /* below data/: "tubes/12AX7.yaml" */
    const char *data; /* 0-ended, the 0 not counted */
    size_t length;
} cli_file;

/* All of them, sorted by name; they live as long as the program. */
const cli_file *cli_files(size_t *count);

#endif
