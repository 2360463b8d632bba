/* Private to service: what a substitute does to its amp. */
#ifndef GRIDLEAK_SERVICE_EFFECTS_H
#define GRIDLEAK_SERVICE_EFFECTS_H

#include "service_impl.h"

/* The words that name the can of a section ("can A"), or NULL. */
const char *service_can(const circuit_part *part);
/* Fills in `effect`, `difference` and `can` for part `index` of the bench's amp. false: no memory.
 * The bench's point is another one afterwards. */
bool service_effects(service_bench *bench, int index, service_substitute *out);

#endif
