/* Private to service: how the capacitors of a drain plan fall. */
#ifndef GRIDLEAK_SERVICE_DRAIN_H
#define GRIDLEAK_SERVICE_DRAIN_H

#include "service_impl.h"

/* Fills in what the rest of the amp does to the capacitors listed, and the switches that part them.
 * `numbers` by slot. false: no memory. */
bool service_drain_course(service_drain *drain, const solve_system *system, const double *numbers);

#endif
