/* report: tables and marks from rows. */
#ifndef GRIDLEAK_PERF_REPORT_H
#define GRIDLEAK_PERF_REPORT_H

#include "rows.h"

/* Prints what the rows tell; `sbc`: simulation-based calibration alone. */
void report_print(const rows *rows, bool sbc);

#endif
