/* How the filter capacitors fall in the amp that joins them: by themselves with the tubes cold, and
 * with the resistor held to one of them. */
#include "drain_impl.h"
#include "network_impl.h"

#define EMPTY_V 1.0
#define BACK                                                                                       \
    0.15 /* what an electrolytic gives back at most, of its volts; from memory: encyclopedic       \
            tables of dielectric absorption give 10 to 15 % */
#define BACK_FILM 0.01 /* plastic film, at most; paper more. From the same */
#define BACK_PAPER 0.02
#define PULSE_J_PER_W 5.0 /* a wirewound at once; common practice, no source */

typedef struct course {
    service_drain *drain;
    service_network network;
    double *volts; /* by port, first end to second */
} course;

static bool find_ports(course *course) {
    service_drain *drain = course->drain;
    int *port = base_arena_take(drain->arena, drain->capacitors + 1, sizeof *port);
    course->volts = base_arena_take(drain->arena, drain->capacitors + 1, sizeof(double));
    if (!port || !course->volts) return false;
    for (size_t k = 0; k < drain->capacitors; k++) {
        const service_drain_capacitor *one = &drain->capacitor[k];
        port[k] = circuit_part_find(course->network.amp, one->part);
        course->volts[k] = one->volts; /* + at the first end, as polarised ones stand */
    }
    course->network.port = port;
    course->network.ports = drain->capacitors;
    return true;
}

/* The names of those that stand over 60 V once `held` alone has been drained for hold_s. */
static const char *left_over(const course *course, const service_fall *fall, size_t held) {
    const service_drain *drain = course->drain;
    char text[160] = "";
    for (size_t k = 0; k < drain->capacitors; k++) {
        size_t used = strlen(text);
        double volts = fabs(service_fall_volts(fall, k, drain->hold_s));
        if (k == held || volts <= SERVICE_ES1_DC_V) continue;
        snprintf(text + used, sizeof text - used, "%s%s", used ? ", " : "",
                 drain->capacitor[k].part);
    }
    return base_arena_text(drain->arena, text);
}

static double gives_back(const circuit_part *part, double volts) {
    if (part->material == CIRCUIT_ELECTROLYTIC) return BACK * volts;
    return (part->material == CIRCUIT_PAPER ? BACK_PAPER : BACK_FILM) * volts;
}

static bool fill_one(course *course, size_t k) {
    service_drain *drain = course->drain;
    service_drain_capacitor *one = &drain->capacitor[k];
    const circuit_part *part =
        circuit_part_at(course->network.amp, (size_t)course->network.port[k]);
    service_fall fall;
    if (!service_network_fall(&course->network, course->volts, (int)k, drain->through_ohms, &fall))
        return false;
    one->peak_a = one->volts / drain->through_ohms;
    one->held_60_s = service_fall_seconds(&fall, k, SERVICE_ES1_DC_V);
    one->held_1_s = service_fall_seconds(&fall, k, EMPTY_V);
    one->held_joules = service_fall_joules(&fall, drain->through_ohms, drain->hold_s);
    one->back_v = gives_back(part, one->volts);
    one->left = left_over(course, &fall, k);
    return one->left != NULL;
}

static bool fill(course *course) {
    service_drain *drain = course->drain;
    service_fall fall;
    if (!service_network_make(&course->network, -1) ||
        !service_network_fall(&course->network, course->volts, -1, 1, &fall))
        return false;
    for (size_t k = 0; k < drain->capacitors; k++) {
        drain->capacitor[k].self_60_s = service_fall_seconds(&fall, k, SERVICE_ES1_DC_V);
        drain->capacitor[k].self_1_s = service_fall_seconds(&fall, k, EMPTY_V);
        if (!fill_one(course, k)) return false;
    }
    return true;
}

/* Opens one switch: does draining the fullest alone now leave others that it emptied before? */
static bool try_open(course *course, int index) {
    service_drain *drain = course->drain;
    service_network open = course->network;
    service_fall fall;
    if (!service_network_make(&open, index) ||
        !service_network_fall(&open, course->volts, 0, drain->through_ohms, &fall))
        return false;
    const char *left = left_over(course, &fall, 0);
    if (!left) return false;
    if (!*left || strcmp(left, drain->capacitor[0].left) == 0) return true;
    drain->cut[drain->cuts++] = (service_drain_cut){circuit_part_at(open.amp, (size_t)index)->name,
                                                    drain->capacitor[0].part, left};
    return true;
}

bool service_drain_course(service_drain *drain, const solve_system *system, const double *numbers) {
    course course = {.drain = drain,
                     .network = {.system = system,
                                 .amp = solve_circuit(system),
                                 .numbers = numbers,
                                 .arena = drain->arena}};
    size_t parts = circuit_parts(course.network.amp);
    drain->pulse_joules = PULSE_J_PER_W * SERVICE_DRAIN_WATTS;
    drain->cut = base_arena_take(drain->arena, parts + 1, sizeof *drain->cut);
    if (!drain->cut || !find_ports(&course)) return false;
    if (drain->capacitors == 0) return true;
    if (!fill(&course)) return false;
    for (size_t i = 0; i < parts; i++)
        if (circuit_part_at(course.network.amp, i)->kind == CIRCUIT_SWITCH &&
            !try_open(&course, (int)i))
            return false;
    return true;
}
