/* The meter on the bench and who is led by it: one meter, one guide, for all windows.
 *
 *   live.c        the meter's samples come in here, on its own thread
 *   live_guide.c  a reading taken: recorded, the suspects weighed, the next point given
 *   live_json.c   all of it as JSON */
#ifndef GRIDLEAK_HTTP_LIVE_IMPL_H
#define GRIDLEAK_HTTP_LIVE_IMPL_H

#include "http_impl.h"

#include "meter.h"
#include "practice.h"

typedef enum http_lead { HTTP_LEAD_NONE, HTTP_LEAD_PROBE, HTTP_LEAD_DRAIN } http_lead;

#define HTTP_STREAM 60 /* samples kept with a reading */

typedef struct http_captured { /* a reading on its way to the store */
    char at[METER_AT], written[32], device[96];
    double volts, spread_v, range_v, ohms;
    bool by_hand, typed, drain;
    meter_sample stream[HTTP_STREAM];
    size_t samples;
    double s; /* when it was taken */
} http_captured;

#define HTTP_READ 32 /* places that are remembered */

struct http_live {
    http_server *server;
    pthread_mutex_t changing; /* held while a meter is connected or let go */
    meter *meter;             /* changes only with both locks held */
    pthread_mutex_t lock;     /* of what stands below */
    meter_now now;
    double told_s;
    http_lead lead;
    int64_t job;
    char phase[8];
    unsigned turn; /* grows when somebody starts or stops: work begun before is thrown away */
    unsigned seq;  /* of what is told */
    meter_guide guide;
    meter_point before;             /* where the last reading was taken: for going back */
    char read[HTTP_READ][METER_AT]; /* where readings were taken since it began, the last of them */
    unsigned reads;                 /* in all */
    char verdict[16], leader[64], what[96], reason[300], trouble[300];
    double chance;
    int64_t fact; /* the last reading recorded; 0: none to take back */
    double taken_v;
    double step_ms; /* from the last reading taken to the next point */
    meter_drain drain;
    char drain_at[METER_AT];
    double through;
    int64_t drain_fact;
};

/* With the lock held. */
void http_live_tell_guide(http_live *live);
json_t *http_live_meter_json(const http_live *live);
json_t *http_live_guide_json(const http_live *live);
/* Records what was taken and finds the next point, in a worker thread. */
void http_live_go_on(http_live *live, const http_captured *captured);
void http_live_capture(http_live *live, http_captured *captured);
/* Without it: takes the last reading back, then offers its point again. */
void http_live_go_back(http_live *live);

#endif
