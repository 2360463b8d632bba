/* The simulated meter's own state. */
#ifndef GRIDLEAK_METER_SIM_IMPL_H
#define GRIDLEAK_METER_SIM_IMPL_H

#include "meter_impl.h"

#include <pthread.h>

#define METER_SIM_WIRES 2

typedef struct meter_sim_wire { /* a thread that answers on one handle */
    struct meter_sim *sim;
    pthread_t thread;
    bool listens; /* the handle takes connections */
    int handle;
    base_random random; /* of its troubles */
} meter_sim_wire;

struct meter_sim {
    meter_sim_options options;
    atomic_uint trouble;
    atomic_bool ending;
    pthread_mutex_t lock; /* of what stands below */
    base_random random;
    double at_s, shown, pickup;
    meter_sim_wire wire[METER_SIM_WIRES];
    size_t wires;
    char pty[64];
    int pty_kept; /* the far end, held open so that the near one does not hang up; -1 */
};

#endif
