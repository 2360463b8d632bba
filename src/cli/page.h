/* The bench page's files inside the program, from cmake/page.cmake. */
#ifndef GRIDLEAK_CLI_PAGE_H
#define GRIDLEAK_CLI_PAGE_H

#include "http.h"

/* None where the program was built without node and npm. They live as long as the program. */
const http_file *cli_page(size_t *count);

#endif
