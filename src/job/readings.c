/* A job's readings as inference wants them, and the shop's own particulars. */
#include "job_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static base_code read_one(const job_stored *fact, const solve_system *system,
                          diagnose_readings *readings, base_errors *errors) {
    const char *written = job_text_of(fact->body, "written"),
               *meter = job_text_of(fact->body, "meter");
    char text[192], figure[32];
    diagnose_meter read;
    snprintf(figure, sizeof figure, "%.10g", job_number_of(fact->body, "volts"));
    snprintf(text, sizeof text, "%.60s=%.100s", job_text_of(fact->body, "at"),
             *written ? written : figure);
    if (*meter && diagnose_meter_read(meter, JOB_NOWHERE, &read, errors) != BASE_OK)
        return BASE_SYNTAX;
    return diagnose_readings_add(readings, system, text, *meter ? &read : NULL, errors);
}

static base_code test_one(const job_stored *fact, const solve_system *system,
                          diagnose_readings *readings, base_errors *errors) {
    const char *meter = job_text_of(fact->body, "meter");
    diagnose_meter read;
    char text[320];
    snprintf(text, sizeof text, "%.200s=%.100s", job_text_of(fact->body, "at"),
             job_text_of(fact->body, "value"));
    if (*meter && diagnose_meter_read(meter, JOB_NOWHERE, &read, errors) != BASE_OK)
        return BASE_SYNTAX;
    return diagnose_readings_add(readings, system, text, *meter ? &read : NULL, errors);
}

base_code job_tell(const job_stored *fact, const solve_system *system, diagnose_readings *readings,
                   base_errors *errors) {
    if (job_is(fact, "reading")) return read_one(fact, system, readings, errors);
    if (job_is(fact, "test")) return test_one(fact, system, readings, errors);
    return diagnose_readings_tell(readings, system, job_text_of(fact->body, "said"), JOB_NOWHERE,
                                  errors);
}

/* A reading at a place that this amp no longer has is left out with a warning; the rest counts. */
static base_code read_or_warn(const job_stored *fact, const solve_system *system,
                              diagnose_readings *readings, base_errors *errors) {
    base_errors *own = base_errors_new();
    if (!own) return job_no_memory(errors);
    base_code code = job_tell(fact, system, readings, own);
    for (size_t i = 0; i < base_errors_count(own); i++) {
        const base_error *error = base_errors_at(own, i);
        base_errors_add(errors, error->code == BASE_MEMORY ? BASE_MEMORY : BASE_SUSPICIOUS,
                        JOB_NOWHERE, "%s%s|%s",
                        code == BASE_OK ? "" : "a reading is left out: ", error->cause,
                        error->remedy);
    }
    base_errors_free(own);
    return code == BASE_MEMORY ? BASE_MEMORY : BASE_OK;
}

/* What the wall gave: with the readings of this phase, else when the amp was last switched on. */
static double mains_of(const job_record *record, const char *phase) {
    double mains = NAN;
    for (size_t i = 0; i < record->count; i++)
        if (job_is(&record->fact[i], "power") && job_stands(&record->fact[i]) &&
            isfinite(job_number_of(record->fact[i].body, "mains")))
            mains = job_number_of(record->fact[i].body, "mains");
    for (size_t i = 0; i < record->count; i++)
        if (job_tells(record, i, phase) && isfinite(job_number_of(record->fact[i].body, "mains")))
            mains = job_number_of(record->fact[i].body, "mains");
    return mains;
}

static base_code read_all(const job_record *record, const char *phase, const solve_system *system,
                          diagnose_readings *readings, base_errors *errors) {
    base_code code = BASE_OK;
    for (size_t i = 0; i < record->count && code == BASE_OK; i++)
        if (job_tells(record, i, phase))
            code = read_or_warn(&record->fact[i], system, readings, errors);
    readings->mains = mains_of(record, phase);
    return code;
}

static bool phase_is(const char *phase, base_errors *errors) {
    if (strcmp(phase, "before") == 0 || strcmp(phase, "after") == 0) return true;
    base_errors_add(errors, BASE_VALUE, JOB_NOWHERE,
                    "`%.40s` is no phase of a job|say before or after", phase);
    return false;
}

diagnose_readings *job_readings(job_store *store, int64_t job, const char *phase,
                                const solve_system *system, base_errors *errors) {
    job_record record;
    if (!phase_is(phase, errors)) return NULL;
    job_lock(store);
    base_code code = job_record_load(store, job, &record, errors);
    job_unlock(store);
    if (code != BASE_OK) return NULL;
    diagnose_readings *readings = diagnose_readings_new();
    code = readings ? read_all(&record, phase, system, readings, errors) : job_no_memory(errors);
    job_record_free(&record);
    if (code == BASE_OK) return readings;
    diagnose_readings_free(readings);
    return NULL;
}
