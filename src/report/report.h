/* report: what goes home with the amp, printed: the report, the invoice, the chart sheet. */
#ifndef GRIDLEAK_REPORT_H
#define GRIDLEAK_REPORT_H

#include <jansson.h>

#include "base.h"
#include "service.h"

typedef enum report_paper { REPORT_A4, REPORT_LETTER } report_paper;

typedef struct report_given {
    const json_t *job;  /* job_view */
    const json_t *shop; /* job_shop */
    const service_chart *before,
        *after; /* charts of the amp as found and as repaired; may be NULL */
    report_paper paper;
    int64_t now;  /* the clock, given: the same bytes for the same input */
    void *photos; /* passed to `photo` */
    /* JPEG bytes of a photo by its hash, or NULL; freed by report. */
    void *(*photo)(void *photos, const char *hash, size_t *length);
} report_given;

/* PDF bytes, to be freed; NULL with a complaint. */
void *report_job(const report_given *given, size_t *length, base_errors *errors);
void *report_invoice(const report_given *given, size_t *length, base_errors *errors);
/* A chart sheet to write on at the bench: places, expected, band, room for the reading. */
void *report_chart(const service_chart *chart, const report_given *given, size_t *length,
                   base_errors *errors);

#endif
