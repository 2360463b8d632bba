#include "page.h"

/* Both from the assembler file that cmake/page_table.cmake writes. */
extern const http_file cli_page_table[];
extern const size_t cli_page_count;

const http_file *cli_page(size_t *count) {
    *count = cli_page_count;
    return cli_page_table;
}
