/* A place that inference proposes, as a point for the guide. */
#include "practice.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#define HIGH_V 60.0 /* ES1 of IEC 62368-1 */

void practice_point(const diagnose_engine *engine, const diagnose_probe_next *next,
                    meter_point *point) {
    *point =
        (meter_point){.bits = next->bits, .cost = next->cost, .expected_v = NAN, .spread_v = NAN};
    snprintf(point->at, sizeof point->at, "%s", next->at);
    snprintf(point->why, sizeof point->why, "%s", next->why ? next->why : "");
    bool heater = strcmp(next->quantity, "AC volts") == 0;
    for (size_t i = 0; i < diagnose_places(engine); i++) {
        const diagnose_place *place = diagnose_place_at(engine, i);
        if (strcasecmp(place->at, next->at) != 0) continue;
        point->expected_v = place->healthy;
        point->spread_v = place->spread;
        break;
    }
    /* Where nothing is known, or across a part, either end may stand high. */
    bool low = fabs(point->expected_v) < HIGH_V && strchr(next->at, '.') && !strchr(next->at, '-');
    point->kind = heater ? METER_HEATER : low ? METER_LOW : METER_HIGH;
}
