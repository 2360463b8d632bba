/* Private to service: what capacitors are charged to at the worst moment of an amp's day. */
#ifndef GRIDLEAK_SERVICE_STANDING_H
#define GRIDLEAK_SERVICE_STANDING_H

#include "service_impl.h"

/* By part: the volts from the first end to the second of each capacitor, with the tubes hot or with
 * their heaters still cold, whichever is more; 0 for other parts. The bench must be open and stays
 * at its hot point; `work` then holds other factors. NULL: no memory. */
double *service_standing(service_bench *bench, base_arena *arena);

#endif
