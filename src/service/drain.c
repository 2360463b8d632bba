/* Emptying the filter capacitors: what they hold, how long it takes, what to do in which order. */
#include "drain_impl.h"
#include "standing_impl.h"

#define LEAST_HOLD_S 5.0 /* common practice, no source */
#define FILTER_RATING_V 100.0
#define FILTER_F 1e-6

typedef struct planner {
    service_bench bench;
    const solve_system *system;
    service_drain *drain;
    double *standing; /* volts by part */
    bool on_mains;    /* no power transformer: the ground node is not the chassis for sure */
} planner;

/* ---- which capacitors, and what they hold -------------------------------------------------- */

static bool filter(const circuit_part *part, double volts) {
    if (part->kind != CIRCUIT_CAPACITOR || part->end[0] < 0 || part->end[1] < 0) return false;
    bool charged = fabs(volts) > SERVICE_ES1_DC_V;
    if (part->material == CIRCUIT_ELECTROLYTIC) return charged || part->volts >= FILTER_RATING_V;
    return charged && part->value >= FILTER_F;
}

/* Seconds for a capacitor of tau = R C to fall from `from` to `to` volts: V = V0 exp(-t / RC). */
static double seconds(double tau, double from, double to) {
    return from > to ? tau * log(from / to) : 0;
}

static service_drain_capacitor hold(const planner *plan, const circuit_part *part, double volts) {
    const circuit *amp = plan->bench.amp;
    bool second = part->end[0] == 0; /* + on the chassis: the probe goes to the other end */
    int node = part->end[second ? 1 : 0], other = part->end[second ? 0 : 1];
    double high = fabs(volts), tau = plan->drain->through_ohms * part->value;
    return (service_drain_capacitor){.part = part->name,
                                     .node = circuit_node_at(amp, (size_t)node)->name,
                                     .other = circuit_node_at(amp, (size_t)other)->name,
                                     .negative = second,
                                     .farads = part->value,
                                     .rating_v = part->volts,
                                     .volts = high,
                                     .joules = part->value * high * high / 2,
                                     .seconds_to_60 = seconds(tau, high, SERVICE_ES1_DC_V),
                                     .seconds_to_1 = seconds(tau, high, 1),
                                     .peak_watts = high * high / plan->drain->through_ohms};
}

static int falling(const void *a, const void *b) {
    const service_drain_capacitor *one = a, *other = b;
    if (one->volts != other->volts) return one->volts < other->volts ? 1 : -1;
    return strcmp(one->part, other->part);
}

static bool list(planner *plan) {
    service_drain *drain = plan->drain;
    size_t parts = circuit_parts(plan->bench.amp);
    double farads = 0, highest = 0;
    drain->capacitor = base_arena_take(drain->arena, parts + 1, sizeof *drain->capacitor);
    if (!drain->capacitor) return false;
    for (size_t i = 0; i < parts; i++) {
        const circuit_part *part = circuit_part_at(plan->bench.amp, i);
        if (!filter(part, plan->standing[i])) continue;
        service_drain_capacitor one = hold(plan, part, plan->standing[i]);
        drain->capacitor[drain->capacitors++] = one;
        drain->joules += one.joules;
        farads += one.farads;
        highest = fmax(highest, one.volts);
    }
    qsort(drain->capacitor, drain->capacitors, sizeof *drain->capacitor, falling);
    drain->hold_s = fmax(LEAST_HOLD_S, 10 * seconds(drain->through_ohms * farads, highest, 1));
    drain->hold_s = ceil(drain->hold_s);
    return true;
}

/* ---- the procedure ------------------------------------------------------------------------- */

/* Adds one step; does nothing once memory has run out (the text stays NULL and is seen at the end).
 */
static void step(service_drain *drain, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static void step(service_drain *drain, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    drain->step[drain->steps++] = base_arena_print_list(drain->arena, format, arguments);
    va_end(arguments);
}

/* "C8, C9 and C10", as many as fit. */
static void names(const service_drain *drain, char *text, size_t size) {
    size_t used = 0;
    for (size_t i = 0; i < drain->capacitors && used < size; i++) {
        const char *before = i == 0 ? "" : i + 1 == drain->capacitors ? " and " : ", ";
        used +=
            (size_t)snprintf(text + used, size - used, "%s%s", before, drain->capacitor[i].part);
    }
}

static void steps_before(service_drain *drain, const char *black) {
    step(drain, "Switch off and pull the mains plug out of the wall. Lay it where you can see it. "
                "The switch alone is not enough.");
    step(drain, "If there is a standby switch, set it to play, so that it cuts no capacitor off.");
    step(drain,
         "Set the meter to DC volts, its highest range, and clip the black lead to %s. Prove the "
         "meter on a battery or another source that you know.",
         black);
    step(drain,
         "From here on use one hand and keep the other off the chassis. Shoes on, dry hands, "
         "no rings. Stop if you are unsure.");
}

/* A capacitor between two nodes that are not the chassis is measured across itself. */
static void steps_measure(service_drain *drain, const char *all) {
    step(drain,
         "Measure %s at the end that is not on the chassis, and write down what you read. A "
         "reading near zero can also mean a lead that has come off: look at the clip before you "
         "believe it.",
         all);
    for (size_t i = 0; i < drain->capacitors; i++) {
        const service_drain_capacitor *one = &drain->capacitor[i];
        if (strcmp(one->other, "ground") != 0)
            step(drain,
                 "%s stands between %s and %s: measure it, and later hold the resistor to it, "
                 "across "
                 "its own two ends.",
                 one->part, one->node, one->other);
    }
}

static void steps_empty(service_drain *drain, const char *all, const char *black) {
    const service_drain_capacitor *first = &drain->capacitor[0];
    char ohms[32];
    base_value_write(drain->through_ohms, BASE_OHMS, ohms, sizeof ohms);
    step(drain,
         "Take a wirewound resistor of %s, 5 W or more, with insulated leads. Clip one end to "
         "%s first, then touch the other to %s in turn, %.0f seconds each. Never a bare "
         "screwdriver: %s alone can hold %.2g J and gives %.3g W into the resistor at the first "
         "instant.",
         ohms, black, all, drain->hold_s, first->part, first->joules, first->peak_watts);
    for (size_t i = 0; i < drain->capacitors; i++)
        if (*drain->capacitor[i].left)
            step(drain, "The resistor at %s does not reach %s: touch each of them.",
                 drain->capacitor[i].part, drain->capacitor[i].left);
    for (size_t i = 0; i < drain->cuts; i++)
        step(drain,
             "With %s open the resistor at %s does not reach %s: a switch, a blown resistor or a "
             "broken joint leaves a capacitor charged. Each + must be touched.",
             drain->cut[i].part, drain->cut[i].from, drain->cut[i].left);
    step(drain, "Go round a second time: a capacitor behind a dropping resistor fills the one in "
                "front of it again.");
}

static void steps_after(service_drain *drain, const char *all) {
    step(drain,
         "Take the resistor off and measure %s again, then once more after a minute: an "
         "electrolytic wins back some of its charge, as much as %.0f V here in the worst case. "
         "Record each reading.",
         all, drain->capacitor[0].back_v);
    step(drain,
         "Only a reading counts. Each must be under %d V DC before a hand goes in; near zero is "
         "the aim. If one stays up, stop and find out why.",
         SERVICE_ES1_DC_V);
    step(drain, "Leave the resistor clipped on while you work, and take it off before the power "
                "comes back. After each power-up begin again.");
    step(drain, "Local electrical codes and licensed practice come first.");
}

static bool procedure(planner *plan) {
    service_drain *drain = plan->drain;
    char all[256] = "";
    size_t room = 16 + 2 * drain->capacitors + drain->cuts;
    drain->step = base_arena_take(drain->arena, room, sizeof *drain->step);
    if (!drain->step) return false;
    names(drain, all, sizeof all);
    const char *black =
        plan->on_mains ? "the common negative (`ground` in the file)" : "the chassis";
    steps_before(drain, black);
    if (drain->capacitors > 0) {
        steps_measure(drain, all);
        steps_empty(drain, all, black);
        steps_after(drain, all);
    } else {
        step(drain, "The file names no filter capacitor. That does not mean that there is none: "
                    "look for them in the amp and measure each.");
    }
    for (size_t i = 0; i < drain->steps; i++)
        if (!drain->step[i]) return false;
    return true;
}

/* ---- the plan ------------------------------------------------------------------------------ */

static bool fed_by_mains(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.winding < 0) return true;
    }
    return false;
}

static service_drain *drain_new(double ohms) {
    base_arena *arena = base_arena_new();
    service_drain *drain = arena ? base_arena_take(arena, 1, sizeof *drain) : NULL;
    if (!drain) {
        base_arena_free(arena);
        return NULL;
    }
    *drain = (service_drain){.arena = arena, .through_ohms = ohms};
    return drain;
}

#define ON_MAINS                                                                                   \
    "This amp has no power transformer: its common negative is joined to the mains, and its "      \
    "chassis can be live even with the switch off. Work on it from an isolation transformer, and " \
    "only unplugged when hands go in."
#define UNSOLVED                                                                                   \
    "The amp as written has no operating point, so what its capacitors hold is not known: the "    \
    "figures take each at its rating."

static const char *warning(bool on_mains, bool solved) {
    if (on_mains) return solved ? ON_MAINS : ON_MAINS " " UNSOLVED;
    return solved ? NULL : UNSOLVED;
}

/* What each capacitor is made for, where the amp gives no better. */
static double *ratings(const circuit *amp, base_arena *arena) {
    double *volts = base_arena_take(arena, circuit_parts(amp) + 1, sizeof *volts);
    for (size_t i = 0; volts && i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_CAPACITOR && isfinite(part->volts)) volts[i] = part->volts;
    }
    return volts;
}

static bool plan_all(planner *plan, bool solved) {
    base_arena *arena = plan->drain->arena;
    plan->on_mains = fed_by_mains(plan->bench.amp);
    plan->drain->warning = warning(plan->on_mains, solved);
    plan->standing =
        solved ? service_standing(&plan->bench, arena) : ratings(plan->bench.amp, arena);
    const double *numbers = solved ? plan->bench.numbers : solve_nominal(plan->system);
    return plan->standing && list(plan) &&
           service_drain_course(plan->drain, plan->system, numbers) && procedure(plan);
}

static bool allowed(double ohms, base_errors *errors) {
    if (ohms >= SERVICE_DRAIN_LEAST && ohms <= SERVICE_DRAIN_MOST) return true;
    base_errors_add(errors, BASE_VALUE, (base_place){0},
                    "a drain resistor of %.4g ohm is no good: too small sparks, too large takes "
                    "long|take one of 100 ohm to 1 kohm",
                    ohms);
    return false;
}

service_drain *service_drain_new(const solve_system *system, double mains, double ohms,
                                 base_errors *errors) {
    planner plan = {.system = system};
    if (isnan(ohms)) ohms = SERVICE_DRAIN_OHMS;
    if (!allowed(ohms, errors)) return NULL;
    base_code code = service_bench_open(&plan.bench, system, mains, errors);
    if (code != BASE_OK && code != BASE_UNSOLVED) return NULL;
    plan.bench.amp = solve_circuit(system);
    plan.drain = drain_new(ohms);
    bool whole = plan.drain && plan_all(&plan, code == BASE_OK);
    service_bench_close(&plan.bench);
    if (whole) return plan.drain;
    service_drain_free(plan.drain);
    base_errors_add(errors, BASE_MEMORY, (base_place){0}, "no memory left|close other programs");
    return NULL;
}

void service_drain_free(service_drain *drain) {
    if (drain) base_arena_free(drain->arena);
}
