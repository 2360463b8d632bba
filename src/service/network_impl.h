/* Private to service: an amp that is off and its tubes cold, as resistances between capacitors.
 *
 * Nothing but resistance is left then, so that the capacitors fall as a sum of exponentials. With G
 * the conductances between the nodes, A the ends of the capacitors, r their own ohms:
 *   Y = (A' G^-1 A + r)^-1,  C dv/dt = -Y v,
 * and with the eigenvalues of the symmetric C^-1/2 Y C^-1/2 every time is had in closed form. */
#ifndef GRIDLEAK_SERVICE_NETWORK_H
#define GRIDLEAK_SERVICE_NETWORK_H

#include "service_impl.h"

typedef struct service_network {
    const solve_system *system;
    const circuit *amp;
    const double *numbers;
    size_t nodes, ports;
    const int *port; /* circuit parts: the capacitors that hold */
    double *farads, *own_ohms;
    double *siemens; /* nodes x nodes, by columns; node 0 left out */
    base_arena *arena;
} service_network;

/* How they fall from `volts`, with a resistor of `ohms` across the ends of port `held` (-1: none).
 */
typedef struct service_fall {
    size_t ports;
    double *rate;    /* 1/s, rising */
    double *share;   /* share[k * ports + i]: volts of port k in the i-th exponential */
    double *current; /* A through the resistor in the i-th, or 0 */
} service_fall;

/* Of the amp's numbers with the ports given, switch `open` (a part, or -1) opened. false: no
 * memory. */
bool service_network_make(service_network *network, int open);
/* false: no memory. */
bool service_network_fall(const service_network *network, const double *volts, int held,
                          double ohms, service_fall *fall);
double service_fall_volts(const service_fall *fall, size_t port, double seconds);
/* When the port is under `volts` for good; INFINITY: not within SERVICE_LONGEST_S. */
#define SERVICE_LONGEST_S 86400.0
double service_fall_seconds(const service_fall *fall, size_t port, double volts);
/* Joules into the resistor up to `seconds`. */
double service_fall_joules(const service_fall *fall, double ohms, double seconds);

#endif
