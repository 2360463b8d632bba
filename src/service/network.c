/* An amp that is off: resistances between capacitors, and how these fall. */
#include "network_impl.h"

#include <lapacke.h>

#define BOARD_S 1e-10 /* siemens from each node to the chassis */
#define OPEN_OHMS 1e10
#define LEAST_OHMS 0.01
#define SCAN 240 /* instants looked at before a crossing is closed in on */

/* ---- conductances -------------------------------------------------------------------------- */

static void join(service_network *network, int a, int b, double ohms) {
    int n = (int)network->nodes;
    double g = 1 / fmax(ohms, LEAST_OHMS);
    if (a < 0 || b < 0 || a == b) return;
    if (a > 0) network->siemens[(a - 1) * n + a - 1] += g;
    if (b > 0) network->siemens[(b - 1) * n + b - 1] += g;
    if (a == 0 || b == 0) return;
    network->siemens[(a - 1) * n + b - 1] -= g;
    network->siemens[(b - 1) * n + a - 1] -= g;
}

static double number(const service_network *network, int part, solve_what what, int which) {
    int slot = solve_slot_find(network->system, part, what, which);
    return slot >= 0 ? network->numbers[slot] : OPEN_OHMS;
}

static void join_slot(service_network *network, int part, const int ends[2], int which) {
    const circuit_part *it = circuit_part_at(network->amp, (size_t)part);
    join(network, it->end[ends[0]], it->end[ends[1]], number(network, part, SOLVE_OHMS, which));
}

static void join_heater(service_network *network, int part) {
    const circuit_part *tube = circuit_part_at(network->amp, (size_t)part);
    int first, last;
    if (circuit_heater_pins(tube, &first, &last))
        join(network, tube->end[first], tube->end[last], number(network, part, SOLVE_HEATER, 0));
}

static void join_part(service_network *network, int part, int open) {
    const circuit_part *it = circuit_part_at(network->amp, (size_t)part);
    switch (it->kind) {
    case CIRCUIT_CAPACITOR:
        join(network, it->end[0], it->end[1], number(network, part, SOLVE_LEAK, 0));
        break;
    case CIRCUIT_POT:
        join_slot(network, part, (int[]){0, 1}, 0);
        join_slot(network, part, (int[]){1, 2}, 1);
        break;
    case CIRCUIT_SWITCH:
    case CIRCUIT_JACK:
        for (int way = 1; way < it->ends && part != open; way++)
            join(network, it->end[0], it->end[way], number(network, part, SOLVE_CONTACT, way));
        break;
    case CIRCUIT_WINDING:
        for (int half = 0; half < it->ends - 1; half++)
            join_slot(network, part, (int[]){half, half + 1}, half);
        break;
    case CIRCUIT_OUTPUT_TRANSFORMER:
        join_slot(network, part, (int[]){0, 1}, 0);
        join_slot(network, part, (int[]){2, 1}, 1);
        join_slot(network, part, (int[]){3, 4}, 2);
        break;
    case CIRCUIT_TUBE:
        join_heater(network, part);
        break;
    case CIRCUIT_RESISTOR:
    case CIRCUIT_INDUCTOR:
    case CIRCUIT_FUSE:
    case CIRCUIT_LAMP:
    case CIRCUIT_SPEAKER:
        join_slot(network, part, (int[]){0, 1}, 0);
        break;
    default: /* a diode stands in the way of its capacitor's volts */
        break;
    }
}

bool service_network_make(service_network *network, int open) {
    base_arena *arena = network->arena;
    size_t ports = network->ports;
    network->nodes = circuit_nodes(network->amp) - 1;
    network->siemens = base_arena_take(arena, network->nodes * network->nodes + 1, sizeof(double));
    network->farads = base_arena_take(arena, ports + 1, sizeof(double));
    network->own_ohms = base_arena_take(arena, ports + 1, sizeof(double));
    if (!network->siemens || !network->farads || !network->own_ohms) return false;
    for (size_t i = 0; i < network->nodes; i++)
        network->siemens[i * network->nodes + i] = BOARD_S;
    for (size_t i = 0; i < circuit_parts(network->amp); i++)
        join_part(network, (int)i, open);
    for (size_t k = 0; k < ports; k++) {
        int loss = solve_slot_find(network->system, network->port[k], SOLVE_ESR, 0);
        network->farads[k] = number(network, network->port[k], SOLVE_FARADS, 0);
        network->own_ohms[k] = loss >= 0 ? network->numbers[loss] : LEAST_OHMS;
    }
    return true;
}

/* ---- the fall ------------------------------------------------------------------------------ */

typedef struct solver { /* room for one fall; matrices by columns */
    double *g, *z;      /* nodes x nodes; nodes x ports */
    double *y;          /* ports x ports, then its eigenvectors */
} solver;

static const circuit_part *port_part(const service_network *network, size_t port) {
    return circuit_part_at(network->amp, (size_t)network->port[port]);
}

/* Volts between the ends of a port, of a column of node volts. */
static double between(const service_network *network, size_t port, const double *volts) {
    const int *end = port_part(network, port)->end;
    return (end[0] > 0 ? volts[end[0] - 1] : 0) - (end[1] > 0 ? volts[end[1] - 1] : 0);
}

/* z = G^-1 A, then y = (A' z + r)^-1, both triangles. */
static bool port_admittance(const service_network *network, int held, double ohms, solver *s) {
    int n = (int)network->nodes, m = (int)network->ports;
    service_network with = *network;
    memcpy(s->g, network->siemens, (size_t)(n * n) * sizeof(double));
    with.siemens = s->g;
    if (held >= 0) {
        const int *end = port_part(network, (size_t)held)->end;
        join(&with, end[0], end[1], ohms);
    }
    memset(s->z, 0, (size_t)(n * m) * sizeof(double));
    for (int k = 0; k < m; k++) {
        const int *end = port_part(network, (size_t)k)->end;
        if (end[0] > 0) s->z[k * n + end[0] - 1] += 1;
        if (end[1] > 0) s->z[k * n + end[1] - 1] -= 1;
    }
    if (LAPACKE_dposv(LAPACK_COL_MAJOR, 'U', n, m, s->g, n, s->z, n) != 0) return false;
    for (int k = 0; k < m; k++)
        for (int j = 0; j < m; j++)
            s->y[k * m + j] =
                between(network, (size_t)j, &s->z[k * n]) + (j == k ? network->own_ohms[k] : 0);
    if (LAPACKE_dpotrf(LAPACK_COL_MAJOR, 'U', m, s->y, m) != 0) return false;
    if (LAPACKE_dpotri(LAPACK_COL_MAJOR, 'U', m, s->y, m) != 0) return false;
    for (int k = 0; k < m; k++)
        for (int j = k + 1; j < m; j++)
            s->y[k * m + j] = s->y[j * m + k];
    return true;
}

/* Volts across the resistor when the ports stand as `share` says in exponential i. The ports'
 * currents are C times rate times volts; they make the volts at the resistor. */
static double resistor_volts(const service_network *network, const service_fall *fall, int held,
                             const solver *s, size_t i) {
    double volts = 0;
    for (size_t k = 0; k < fall->ports; k++) {
        double flows = network->farads[k] * fall->rate[i] * fall->share[k * fall->ports + i];
        volts += flows * between(network, (size_t)held, &s->z[k * network->nodes]);
    }
    return volts;
}

static bool room(const service_network *network, service_fall *fall, solver *s) {
    size_t n = network->nodes, m = network->ports;
    base_arena *arena = network->arena;
    *fall = (service_fall){.ports = m,
                           .rate = base_arena_take(arena, m + 1, sizeof(double)),
                           .share = base_arena_take(arena, m * m + 1, sizeof(double)),
                           .current = base_arena_take(arena, m + 1, sizeof(double))};
    s->g = base_arena_take(arena, n * n + 1, sizeof(double));
    s->z = base_arena_take(arena, n * m + 1, sizeof(double));
    s->y = base_arena_take(arena, m * m + 1, sizeof(double));
    return fall->rate && fall->share && fall->current && s->g && s->z && s->y;
}

bool service_network_fall(const service_network *network, const double *volts, int held,
                          double ohms, service_fall *fall) {
    size_t m = network->ports;
    solver s;
    if (!room(network, fall, &s) || !port_admittance(network, held, ohms, &s)) return false;
    for (size_t k = 0; k < m; k++)
        for (size_t j = 0; j < m; j++)
            s.y[k * m + j] /= sqrt(network->farads[k] * network->farads[j]);
    if (LAPACKE_dsyev(LAPACK_COL_MAJOR, 'V', 'U', (int)m, s.y, (int)m, fall->rate) != 0)
        return false;
    for (size_t i = 0; i < m; i++) {
        double weight = 0;
        for (size_t k = 0; k < m; k++)
            weight += s.y[i * m + k] * sqrt(network->farads[k]) * volts[k];
        for (size_t k = 0; k < m; k++)
            fall->share[k * m + i] = s.y[i * m + k] / sqrt(network->farads[k]) * weight;
    }
    for (size_t i = 0; i < m && held >= 0; i++)
        fall->current[i] = resistor_volts(network, fall, held, &s, i) / ohms;
    return true;
}

double service_fall_volts(const service_fall *fall, size_t port, double seconds) {
    double sum = 0;
    for (size_t i = 0; i < fall->ports; i++)
        sum += fall->share[port * fall->ports + i] * exp(-fall->rate[i] * seconds);
    return sum;
}

static bool over(const service_fall *fall, size_t port, double volts, double seconds) {
    return fabs(service_fall_volts(fall, port, seconds)) >= volts;
}

double service_fall_seconds(const service_fall *fall, size_t port, double volts) {
    double most = SERVICE_LONGEST_S, least = 1e-5, step = pow(most / least, 1.0 / SCAN);
    int last = SCAN;
    if (over(fall, port, volts, most)) return INFINITY;
    while (last >= 0 && !over(fall, port, volts, least * pow(step, last)))
        last--;
    if (last < 0 && !over(fall, port, volts, 0)) return 0;
    double low = last < 0 ? 0 : least * pow(step, last), high = least * pow(step, last + 1);
    for (int i = 0; i < 40; i++) {
        double middle = (low + high) / 2;
        *(over(fall, port, volts, middle) ? &low : &high) = middle;
    }
    return high;
}

double service_fall_joules(const service_fall *fall, double ohms, double seconds) {
    double sum = 0;
    for (size_t i = 0; i < fall->ports; i++)
        for (size_t j = 0; j < fall->ports; j++) {
            double rate = fall->rate[i] + fall->rate[j];
            double time = rate > 0 ? -expm1(-rate * seconds) / rate : seconds;
            sum += fall->current[i] * fall->current[j] * time;
        }
    return sum * ohms;
}
