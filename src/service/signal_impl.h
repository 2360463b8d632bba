/* Private to service: a healthy amp solved and linearised, its controls where they are asked to
 * be. */
#ifndef GRIDLEAK_SERVICE_SIGNAL_IMPL_H
#define GRIDLEAK_SERVICE_SIGNAL_IMPL_H

#include "service_impl.h"

typedef struct service_signal {
    service_bench bench;
    solve_signal *signal;
} service_signal;

/* `jack`: the one with a plug in it, or -1. On failure adds a complaint and leaves nothing to
 * close. */
base_code service_signal_open(service_signal *at, const solve_system *system,
                              const service_stand *stand, int jack, base_errors *errors);
void service_signal_close(service_signal *at);
solve_trial service_signal_trial(const service_signal *at);

/* What can be turned in the signal's path, as it stands; false: no memory. */
bool service_controls_list(const solve_system *system, const service_stand *stand,
                           base_arena *arena, service_control **control, size_t *controls);

/* "22n, phase shift"; NULL: no memory. */
const char *service_about(base_arena *arena, const circuit_part *part);
/* BASE_MEMORY, or that `what` could not be found. */
base_code service_unsolved(const circuit *amp, solve_outcome outcome, const char *what,
                           base_errors *errors);

#endif
