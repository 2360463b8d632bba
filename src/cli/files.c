#include "files.h"

/* Both from the assembler file that cmake/program.cmake writes. */
extern const cli_file cli_files_table[];
extern const size_t cli_files_count;

const cli_file *cli_files(size_t *count) {
    *count = cli_files_count;
    return cli_files_table;
}
