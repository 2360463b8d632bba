/* A reading beside the band of good amps. */
#include "service_impl.h"

#define METER_PART 0.005
#define FLOOR_V 0.03

int service_verdict(const service_line *line, double volts) {
    double off = FLOOR_V + METER_PART * fabs(volts);
    if (!isfinite(volts) || isnan(line->low) || isnan(line->high)) return 2;
    return volts < line->low - off ? -1 : volts > line->high + off ? 1 : 0;
}
