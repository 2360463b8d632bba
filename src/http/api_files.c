/* What is taken away as a file: PDFs, CSV, photos. */
#include "http_impl.h"
#include "report.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

/* ---- PDF ----------------------------------------------------------------------------------- */

static void *photo_of(void *store, const char *hash, size_t *length) {
    return job_photo(store, hash, false, length, NULL);
}

/* The chart of a phase; one that cannot be had leaves the report without it. */
static service_chart *chart_of(http_call *call, const char *phase) {
    base_errors *quiet = base_errors_new(), *told = call->errors;
    service_chart *chart = NULL;
    call->errors = quiet;
    http_amp *amp =
        quiet ? http_amp_of_job(call, strcmp(phase, "before") ? JOB_REPAIRED : JOB_FOUND) : NULL;
    diagnose_readings *readings =
        amp ? job_readings(call->server->store, call->job, phase, amp->system, quiet) : NULL;
    if (readings) {
        diagnose_meter meter =
            readings->count ? readings->reading[0].meter : diagnose_defaults().meter;
        chart = service_chart_new(amp->system, amp->priors, readings->mains, &meter, quiet);
    }
    diagnose_readings_free(readings);
    http_amp_give(call->server->amps, amp);
    call->errors = told;
    base_errors_free(quiet);
    return chart;
}

static report_paper paper_of(http_call *call, const json_t *shop) {
    const char *given = http_param(call, "paper", NULL);
    const char *paper = given ? given : json_string_value(json_object_get(shop, "paper"));
    return paper && strcasecmp(paper, "letter") == 0 ? REPORT_LETTER : REPORT_A4;
}

/* All that a report is made from; false with a complaint. Freed by let_go. */
static bool gather(http_call *call, report_given *given) {
    job_store *store = call->server->store;
    *given = (report_given){.job = job_view(store, call->job, call->errors),
                            .shop = job_shop(store, call->errors),
                            .now = http_now(call->server),
                            .photos = store,
                            .photo = photo_of};
    if (!given->job || !given->shop) return false;
    given->paper = paper_of(call, given->shop);
    given->before = chart_of(call, "before");
    given->after = chart_of(call, "after");
    return true;
}

static void let_go(report_given *given) {
    service_chart_free((service_chart *)given->before);
    service_chart_free((service_chart *)given->after);
    json_decref((json_t *)given->job);
    json_decref((json_t *)given->shop);
}

typedef void *make_pdf(const report_given *given, size_t *length, base_errors *errors);

static void answer_pdf(http_call *call, make_pdf *make, const char *name) {
    report_given given;
    size_t length = 0;
    void *bytes = gather(call, &given) ? make(&given, &length, call->errors) : NULL;
    if (bytes) http_answer_bytes(call->answer, "application/pdf", bytes, length);
    if (bytes) call->answer->name = name;
    let_go(&given);
}

void http_api_report(http_call *call) {
    answer_pdf(call, report_job, "report.pdf");
}

void http_api_invoice(http_call *call) {
    answer_pdf(call, report_invoice, "invoice.pdf");
}

static void *sheet(const service_chart *chart, const report_given *given, size_t *length,
                   base_errors *errors) {
    if (chart) return report_chart(chart, given, length, errors);
    base_errors_add(errors, BASE_UNSOLVED, (base_place){0},
                    "this amp has no chart|look at its file under /api/jobs/N/amp");
    return NULL;
}

static void *sheet_before(const report_given *given, size_t *length, base_errors *errors) {
    return sheet(given->before, given, length, errors);
}

static void *sheet_after(const report_given *given, size_t *length, base_errors *errors) {
    return sheet(given->after, given, length, errors);
}

void http_api_chart_sheet(http_call *call) {
    const char *phase = http_param_word(call, "phase", "before", "before|after");
    if (phase) answer_pdf(call, strcmp(phase, "before") ? sheet_after : sheet_before, "chart.pdf");
}

/* ---- CSV ----------------------------------------------------------------------------------- */

static char *read_whole(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    char *text = NULL;
    if (!file) return NULL;
    if (fseek(file, 0, SEEK_END) == 0 && ftell(file) >= 0) {
        *length = (size_t)ftell(file);
        rewind(file);
        text = malloc(*length + 1);
    }
    if (text && fread(text, 1, *length, file) != *length) {
        free(text);
        text = NULL;
    }
    fclose(file);
    return text;
}

/* The store writes files; this one is on its way only. */
void http_api_csv(http_call *call) {
    char folder[4096], path[4160];
    size_t length = 0;
    const char *state = call->server->options.state;
    snprintf(folder, sizeof folder, "%s/on-its-way-XXXXXX", state ? state : "/tmp");
    if (!mkdtemp(folder)) {
        base_errors_add(call->errors, BASE_FILE, (base_place){.file = folder},
                        "no folder can be made here|look at the disk: is it full?");
        return;
    }
    snprintf(path, sizeof path, "%s/readings.csv", folder);
    if (job_csv(call->server->store, call->job, path, call->errors) == BASE_OK) {
        char *text = read_whole(path, &length);
        http_answer_bytes(call->answer, "text/csv; charset=utf-8", text, length);
        call->answer->name = "readings.csv";
    }
    unlink(path);
    rmdir(folder);
}

/* ---- photos -------------------------------------------------------------------------------- */

void http_api_photo_new(http_call *call) {
    char hash[65];
    if (call->request->length == 0)
        base_errors_add(call->errors, BASE_SYNTAX, (base_place){0},
                        "the body is empty|send the bytes of a JPEG or PNG");
    else if (job_photo_add(call->server->store, call->request->body, call->request->length, hash,
                           call->errors) == BASE_OK)
        http_answer_exact(call, json_pack("{s:s}", "hash", hash));
}

void http_api_photo(http_call *call) {
    const char *small = http_param_word(call, "small", "0", "0|1");
    size_t length = 0;
    if (!small) return;
    void *bytes = job_photo(call->server->store, call->arg, *small == '1', &length, call->errors);
    if (!bytes) return;
    http_answer_bytes(call->answer, "image/jpeg", bytes, length);
    call->answer->cache = "private, max-age=31536000, immutable"; /* named by its content */
    http_answer_tag(call->answer, call->request);
}
