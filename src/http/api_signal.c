/* An amp's signals: gain and phase, hum, the tremolo; its controls where the query has them. */
#include "http_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PER_OCTAVE 8 /* points of a sweep: a smooth curve on a screen */
#define TURNS_MOST 24

typedef struct stand { /* what the query says of the controls */
    service_stand is;
    service_turn turn[TURNS_MOST];
    char text[512];
} stand;

/* "P1:7,P2:3.5,S3:0" in ?turn=. */
static bool read_turns(http_call *call, stand *at) {
    char *next = at->text;
    snprintf(at->text, sizeof at->text, "%s", http_param(call, "turn", ""));
    while (next && *next && at->is.turns < TURNS_MOST) {
        char *own = next, *end = NULL;
        if ((next = strchr(own, ','))) *next++ = 0;
        char *colon = strchr(own, ':');
        double position = colon ? strtod(colon + 1, &end) : NAN;
        if (!colon || end == colon + 1 || *end) {
            base_errors_add(call->errors, BASE_VALUE, (base_place){.file = "turn"},
                            "`%.40s` turns nothing|write a control and its position: P1:7", own);
            return false;
        }
        *colon = 0;
        at->turn[at->is.turns++] = (service_turn){own, position};
    }
    return true;
}

static bool number_param(http_call *call, const char *key, base_quantity quantity,
                         const double range[2], double *value) {
    const char *text = http_param(call, key, NULL);
    base_place place = {.file = key};
    if (!text) return true;
    if (base_value_read(text, quantity, place, value, call->errors) != BASE_OK) return false;
    if (*value >= range[0] && *value <= range[1]) return true;
    base_errors_add(call->errors, BASE_VALUE, place,
                    "`%.40s` makes no sense here|give a number from %g to %g", text, range[0],
                    range[1]);
    return false;
}

static bool read_stand(http_call *call, stand *at) {
    *at = (stand){.is = {.mains = NAN}};
    at->is.turn = at->turn;
    return read_turns(call, at) &&
           number_param(call, "mains", BASE_VOLTS, (double[2]){50, 300}, &at->is.mains);
}

static bool read_ask(http_call *call, const stand *at, service_response_ask *ask) {
    static const double band[2] = {0.1, 1e6};
    *ask = (service_response_ask){.stand = at->is,
                                  .from = {http_param(call, "from", NULL), "from"},
                                  .to = {http_param(call, "to", NULL), "to"},
                                  .hertz = 1000,
                                  .low = 20,
                                  .high = 20e3,
                                  .per_octave = PER_OCTAVE,
                                  .scope = {.node = -1, .ohms = INFINITY}};
    if (!number_param(call, "at", BASE_HERTZ, band, &ask->hertz) ||
        !number_param(call, "low", BASE_HERTZ, band, &ask->low) ||
        !number_param(call, "high", BASE_HERTZ, band, &ask->high))
        return false;
    if (ask->low < ask->high) return true;
    base_errors_add(call->errors, BASE_VALUE, (base_place){.file = "low"},
                    "the sweep goes downwards|give a `low` under `high`");
    return false;
}

void http_api_response(http_call *call) {
    stand at;
    service_response_ask ask;
    if (!read_stand(call, &at) || !read_ask(call, &at, &ask)) return;
    http_amp *amp = http_amp_named(call, call->arg);
    service_response *found = amp ? service_response_of(amp->system, &ask, call->errors) : NULL;
    if (found) http_answer_computed(call, http_json_response(found));
    service_response_free(found);
    http_amp_give(call->server->amps, amp);
}

void http_api_hum(http_call *call) {
    stand at;
    if (!read_stand(call, &at)) return;
    http_amp *amp = http_amp_named(call, call->arg);
    service_hum *found = amp ? service_hum_of(amp->system, &at.is, call->errors) : NULL;
    if (found) http_answer_computed(call, http_json_hum(found));
    service_hum_free(found);
    http_amp_give(call->server->amps, amp);
}

void http_api_tremolo(http_call *call) {
    stand at;
    if (!read_stand(call, &at)) return;
    http_amp *amp = http_amp_named(call, call->arg);
    service_tremolo *found = amp ? service_tremolo_of(amp->system, &at.is, call->errors) : NULL;
    if (found) http_answer_computed(call, http_json_tremolo(found));
    service_tremolo_free(found);
    http_amp_give(call->server->amps, amp);
}
