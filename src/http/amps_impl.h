/* Between amps.c and suspects.c: what is kept of one amp. */
#ifndef GRIDLEAK_HTTP_AMPS_IMPL_H
#define GRIDLEAK_HTTP_AMPS_IMPL_H

#include "http_impl.h"

#define CHARTS 6
#define ENGINES 3
#define LISTS 4

typedef struct http_kept_chart {
    service_chart *chart; /* NULL: free */
    double mains;         /* as asked for: NAN where not measured */
    diagnose_meter meter;
    uint64_t used;
} http_kept_chart;

typedef struct http_kept_list { /* one answer to "who is to blame" */
    char *question, *answer;
    uint64_t used;
} http_kept_list;

typedef struct http_kept_engine {
    diagnose_engine *engine; /* NULL: free */
    double *prior;           /* as made */
    double mains;            /* to a volt; NAN: not measured */
    diagnose_meter meter;
    uint64_t used;
    http_kept_list list[LISTS];
} http_kept_engine;

typedef struct http_amp_kept {
    http_amp open; /* first: the others know only this */
    unsigned char hash[32];
    char *name;
    int users;
    bool listed;
    uint64_t used;
    pthread_mutex_t chart_lock, engine_lock;
    http_kept_chart chart[CHARTS];
    solve_probe *line; /* by line of every chart of this amp */
    size_t lines;
    http_kept_engine engine[ENGINES];
    uint64_t uses; /* of charts; of engines and lists */
    uint64_t turns;
} http_amp_kept;

bool http_same_number(double a, double b); /* NAN is NAN */
bool http_same_meter(const diagnose_meter *a, const diagnose_meter *b);
void http_engine_forget(http_kept_engine *engine);

#endif
