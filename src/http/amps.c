/* The amps that are open: read once, kept while they are asked for, the least used let go first. */
#include "amps_impl.h"

#include <math.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#define OPEN 12

struct http_amps {
    pthread_mutex_t lock;
    const tube_library *tubes;
    const diagnose_priors *priors;
    http_amp_kept *amp[OPEN];
    uint64_t uses;
};

bool http_same_number(double a, double b) {
    return a == b || (isnan(a) && isnan(b));
}

bool http_same_meter(const diagnose_meter *a, const diagnose_meter *b) {
    return http_same_number(a->ohms, b->ohms) &&
           http_same_number(a->ohms_per_volt, b->ohms_per_volt) &&
           http_same_number(a->range, b->range) && http_same_number(a->accuracy, b->accuracy);
}

/* ---- one amp ------------------------------------------------------------------------------- */

static void amp_free(http_amp_kept *kept) {
    if (!kept) return;
    for (int i = 0; i < CHARTS; i++)
        service_chart_free(kept->chart[i].chart);
    for (int i = 0; i < ENGINES; i++)
        http_engine_forget(&kept->engine[i]);
    solve_system_free(kept->open.system);
    circuit_free(kept->open.amp);
    pthread_mutex_destroy(&kept->chart_lock);
    pthread_mutex_destroy(&kept->engine_lock);
    free(kept->line);
    free(kept->name);
    free(kept);
}

static http_amp_kept *amp_new(const tube_library *tubes, const char *name, const char *text,
                              base_errors *errors) {
    http_amp_kept *kept = calloc(1, sizeof *kept);
    if (kept) {
        pthread_mutex_init(&kept->chart_lock, NULL);
        pthread_mutex_init(&kept->engine_lock, NULL);
        kept->users = 1;
        kept->name = strdup(name);
    }
    if (kept && kept->name)
        kept->open.amp = circuit_read(kept->name, text, strlen(text), tubes, errors);
    else
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    if (kept && kept->open.amp) kept->open.system = solve_system_new(kept->open.amp, errors);
    if (kept && kept->open.system) return kept;
    amp_free(kept);
    return NULL;
}

/* ---- all of them --------------------------------------------------------------------------- */

http_amps *http_amps_new(const tube_library *tubes, const diagnose_priors *priors) {
    http_amps *amps = calloc(1, sizeof *amps);
    if (!amps) return NULL;
    pthread_mutex_init(&amps->lock, NULL);
    amps->tubes = tubes;
    amps->priors = priors;
    return amps;
}

void http_amps_free(http_amps *amps) {
    if (!amps) return;
    for (int i = 0; i < OPEN; i++)
        amp_free(amps->amp[i]);
    pthread_mutex_destroy(&amps->lock);
    free(amps);
}

/* With the lock held: the amp of this hash, one user more. */
static http_amp_kept *find(http_amps *amps, const unsigned char hash[32]) {
    for (int i = 0; i < OPEN; i++) {
        http_amp_kept *kept = amps->amp[i];
        if (!kept || memcmp(kept->hash, hash, 32) != 0) continue;
        kept->users++;
        kept->used = ++amps->uses;
        return kept;
    }
    return NULL;
}

/* With the lock held: a place that is free, or whose amp nobody uses; -1: all are in use. */
static int place_for_one(const http_amps *amps) {
    int best = -1;
    for (int i = 0; i < OPEN; i++) {
        const http_amp_kept *kept = amps->amp[i];
        if (!kept) return i;
        if (kept->users == 0 && (best < 0 || kept->used < amps->amp[best]->used)) best = i;
    }
    return best;
}

/* With the lock held. Another thread may have read the same text meanwhile: then that one stays. */
static http_amp_kept *enlist(http_amps *amps, http_amp_kept *kept) {
    http_amp_kept *other = find(amps, kept->hash);
    int place = other ? -1 : place_for_one(amps);
    if (other) {
        amp_free(kept);
        return other;
    }
    if (place < 0) return kept; /* freed when it is given back */
    amp_free(amps->amp[place]);
    amps->amp[place] = kept;
    kept->listed = true;
    kept->used = ++amps->uses;
    return kept;
}

http_amp *http_amp_take(http_amps *amps, const char *name, const char *text, base_errors *errors) {
    unsigned char hash[32];
    crypto_generichash(hash, sizeof hash, (const unsigned char *)text, strlen(text), NULL, 0);
    pthread_mutex_lock(&amps->lock);
    http_amp_kept *kept = find(amps, hash);
    pthread_mutex_unlock(&amps->lock);
    if (kept) return &kept->open;
    kept = amp_new(amps->tubes, name, text, errors);
    if (kept) kept->open.priors = amps->priors;
    if (!kept) return NULL;
    memcpy(kept->hash, hash, sizeof hash);
    pthread_mutex_lock(&amps->lock);
    kept = enlist(amps, kept);
    pthread_mutex_unlock(&amps->lock);
    return &kept->open;
}

void http_amp_give(http_amps *amps, http_amp *amp) {
    http_amp_kept *kept = (http_amp_kept *)amp;
    if (!amp) return;
    pthread_mutex_lock(&amps->lock);
    bool last = --kept->users == 0 && !kept->listed;
    pthread_mutex_unlock(&amps->lock);
    if (last) amp_free(kept);
}

http_amp *http_amp_of_job(http_call *call, job_amp which) {
    char *text = job_amp_text(call->server->store, call->job, which, call->errors);
    http_amp *amp =
        text ? http_amp_take(call->server->amps, "the job's amp", text, call->errors) : NULL;
    free(text);
    return amp;
}

bool http_amp_live(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.winding < 0) return true;
    }
    return false;
}

/* ---- charts -------------------------------------------------------------------------------- */

static bool is_chart(const http_kept_chart *kept, double mains, const diagnose_meter *meter) {
    return kept->chart && http_same_number(kept->mains, mains) &&
           http_same_meter(&kept->meter, meter);
}

static http_kept_chart *least_used(http_amp_kept *kept) {
    http_kept_chart *least = &kept->chart[0];
    for (int i = 1; i < CHARTS; i++)
        if (kept->chart[i].used < least->used) least = &kept->chart[i];
    return least;
}

/* The probe of each line; they are the same in every chart of one amp. */
static bool find_lines(http_amp_kept *kept, const service_chart *chart, base_errors *errors) {
    if (kept->line) return true;
    kept->line = calloc(chart->lines + 1, sizeof *kept->line);
    for (size_t i = 0; kept->line && i < chart->lines; i++) {
        solve_probe *probe = &kept->line[i];
        if (diagnose_probe_read(kept->open.system, chart->line[i].at, (base_place){0}, probe,
                                NULL) != BASE_OK)
            *probe = (solve_probe){.plus = -1, .minus = -1};
        probe->heater = chart->line[i].heater;
    }
    kept->lines = kept->line ? chart->lines : 0;
    if (!kept->line)
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    return kept->line != NULL;
}

static http_kept_chart *chart_of(http_amp_kept *kept, double mains, const diagnose_meter *meter,
                                 base_errors *errors) {
    for (int i = 0; i < CHARTS; i++)
        if (is_chart(&kept->chart[i], mains, meter)) return &kept->chart[i];
    service_chart *chart =
        service_chart_new(kept->open.system, kept->open.priors, mains, meter, errors);
    if (!chart || !find_lines(kept, chart, errors)) {
        service_chart_free(chart);
        return NULL;
    }
    http_kept_chart *place = least_used(kept);
    service_chart_free(place->chart);
    *place = (http_kept_chart){.chart = chart, .mains = mains, .meter = *meter};
    return place;
}

const service_chart *http_chart(http_amp *amp, double mains, const diagnose_meter *meter,
                                base_errors *errors) {
    http_amp_kept *kept = (http_amp_kept *)amp;
    pthread_mutex_lock(&kept->chart_lock);
    http_kept_chart *chart = chart_of(kept, mains, meter, errors);
    if (chart) {
        chart->used = ++kept->uses;
        return chart->chart;
    }
    pthread_mutex_unlock(&kept->chart_lock);
    return NULL;
}

void http_chart_done(http_amp *amp) {
    pthread_mutex_unlock(&((http_amp_kept *)amp)->chart_lock);
}

int http_chart_line(const http_amp *amp, const solve_probe *probe, int *sign) {
    const http_amp_kept *kept = (const http_amp_kept *)amp;
    for (size_t i = 0; i < kept->lines; i++) {
        const solve_probe *known = &kept->line[i];
        bool same = known->plus == probe->plus && known->minus == probe->minus;
        bool turned = known->plus == probe->minus && known->minus == probe->plus;
        if (known->heater != probe->heater || !(same || turned)) continue;
        *sign = same ? 1 : -1;
        return (int)i;
    }
    return -1;
}
