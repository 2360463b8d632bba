/* Fuses: what they carry, which rating and speed serve, what a wrong one does.
 *
 * Times are the gates of IEC 60127-2 for cartridge fuse-links of 5 mm by 20 mm, sheets 2 and 3,
 * from memory: quick-acting F, time-lag T. Both carry 1.5 times their rating for an hour. */
#include "margins_impl.h"

#define HEADROOM 1.5 /* rating over running current; common practice, no source */
#define HOLD_T 2.0   /* I2t that a T is sure to stand, by its rating squared: 20 ms at 10 times */
#define HOLD_F 0.16  /* F: 10 ms at 4 times */
#define FAR_OVER 2.0 /* from here on a fitted rating protects little */

/* IEC 60127-1, preferred ratings (R10 series), from memory. */
static const double preferred[] = {0.032, 0.04,  0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2,
                                   0.25,  0.315, 0.4,  0.5,   0.63, 0.8, 1,     1.25, 1.6,
                                   2,     2.5,   3.15, 4,     5,    6.3, 8,     10};
#define PREFERRED (sizeof preferred / sizeof *preferred)

double service_fuse_opens_s(bool time_lag, double times) {
    static const struct {
        double times, quick, lag;
    } gates[] = {{10, 0.02, 0.3}, {4, 0.3, 3}, {2.75, 2, 10}, {2.1, 1800, 120}};
    for (size_t i = 0; i < sizeof gates / sizeof *gates; i++)
        if (times >= gates[i].times) return time_lag ? gates[i].lag : gates[i].quick;
    return INFINITY; /* between 1.5 and 2.1 nothing is promised */
}

static double rating_for(double amperes) {
    for (size_t i = 0; i < PREFERRED; i++)
        if (preferred[i] >= amperes * (1 - SERVICE_SAME)) return preferred[i];
    return preferred[PREFERRED - 1];
}

/* ---- where a fuse sits --------------------------------------------------------------------- */

static bool contact(const circuit_part *part) {
    return part->kind == CIRCUIT_FUSE || part->kind == CIRCUIT_SWITCH;
}

/* Marks the nodes that fuses and switches join to this one. */
static void joined(const circuit *amp, int node, bool *near) {
    near[node] = true;
    for (bool more = true; more;) {
        more = false;
        for (size_t i = 0; i < circuit_parts(amp); i++) {
            const circuit_part *part = circuit_part_at(amp, i);
            if (!contact(part)) continue;
            for (int end = 1; end < part->ends; end++) {
                int a = part->end[0], b = part->end[end];
                if (a < 0 || b < 0 || near[a] == near[b]) continue;
                near[a] = near[b] = more = true;
            }
        }
    }
}

typedef enum seat { SEAT_MAINS, SEAT_LEAD, SEAT_RETURN, SEAT_DC } seat;

typedef struct place { /* of a fuse: the rectifier whose pulses it carries, or -1 */
    seat seat;
    int rectifier, side; /* side 0: of every pulse */
} place;

static bool touches(const circuit_part *fuse, int node) {
    return node >= 0 && (fuse->end[0] == node || fuse->end[1] == node);
}

/* In a rectifier's AC leads, or in the way back to its winding. */
static bool at_rectifier(const circuit *amp, int fuse, int index, place *out) {
    const circuit_part *it = circuit_part_at(amp, (size_t)fuse);
    const circuit_part *part = circuit_part_at(amp, (size_t)index);
    const circuit_rectifier *from = &part->rectifier;
    for (int k = 0; k < 4 && from->through[k] >= 0; k++)
        if (from->through[k] == fuse) {
            *out = (place){SEAT_LEAD, index, from->side[k]};
            return true;
        }
    if (from->winding < 0) return false;
    const circuit_part *winding = circuit_part_at(amp, (size_t)from->winding);
    bool back = touches(it, part->end[1]) && part->end[1] > 0;
    for (int end = 0; end < winding->ends; end++)
        back = back || (winding->end[end] > 0 && touches(it, winding->end[end]));
    if (back) *out = (place){SEAT_RETURN, index, 0};
    return back;
}

static bool at_wall(const circuit *amp, const circuit_part *fuse) {
    static const char *const names[] = {"line", "neutral"};
    bool *near = calloc(circuit_nodes(amp), sizeof *near), found = false;
    if (!near || fuse->end[0] < 0 || fuse->end[1] < 0) {
        free(near);
        return true;
    }
    /* From both ends, without the chassis: it joins everything. */
    for (int end = 0; end < 2; end++)
        if (fuse->end[end] > 0) joined(amp, fuse->end[end], near);
    for (size_t node = 1; node < circuit_nodes(amp) && !found; node++)
        for (int k = 0; k < 2; k++)
            found = found ||
                    (near[node] && strcasecmp(circuit_node_at(amp, node)->name, names[k]) == 0);
    free(near);
    return found;
}

static bool heats_at(const circuit *amp, int node) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *tube = circuit_part_at(amp, i);
        int first, last;
        if (tube->kind == CIRCUIT_TUBE && circuit_heater_pins(tube, &first, &last) &&
            (tube->end[first] == node || tube->end[last] == node))
            return true;
    }
    return false;
}

/* No transformer: from the common negative back to the mains, with the heater string not behind it,
 * a fuse carries the rectifier's pulses alone. */
static bool in_return(const circuit *amp, const circuit_part *fuse, place *out) {
    if (!touches(fuse, 0) || heats_at(amp, 0)) return false;
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_RECTIFIER || part->rectifier.winding >= 0) continue;
        *out = (place){SEAT_RETURN, (int)i, 0};
        return true;
    }
    return false;
}

static place place_of(const service_bench *bench, int index) {
    const circuit_part *fuse = circuit_part_at(bench->amp, (size_t)index);
    place found = {SEAT_DC, -1, 0};
    if (in_return(bench->amp, fuse, &found)) return found;
    if (at_wall(bench->amp, fuse)) return (place){SEAT_MAINS, -1, 0};
    for (size_t i = 0; i < circuit_parts(bench->amp); i++)
        if (circuit_part_at(bench->amp, i)->kind == CIRCUIT_RECTIFIER &&
            at_rectifier(bench->amp, index, (int)i, &found))
            return found;
    return found;
}

/* ---- currents ------------------------------------------------------------------------------ */

static double pulses_rms(service_bench *bench, const place *at) {
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)at->rectifier);
    solve_supply supply;
    if (!solve_supply_at(bench->work, bench->numbers, bench->x, at->rectifier, &supply)) return NAN;
    bool all = part->rectifier.form != CIRCUIT_HALF_WAVE && at->side == 0;
    return supply.rms_a * (all ? sqrt(2) : 1);
}

static double direct(const service_bench *bench, int index) {
    int slot = solve_slot_find(bench->system, index, SOLVE_OHMS, 0);
    double watts = solve_part_watts(bench->system, bench->numbers, bench->x, index);
    return slot >= 0 ? sqrt(watts / bench->numbers[slot]) : NAN;
}

static double current(service_bench *bench, const place *at, int index) {
    if (at->seat == SEAT_MAINS) return service_wall_load(bench).rms_a;
    return at->rectifier >= 0 ? pulses_rms(bench, at) : direct(bench, index);
}

double service_fuse_current(service_bench *bench, int fuse) {
    place at = place_of(bench, fuse);
    return current(bench, &at, fuse);
}

/* The charge of the first filter through the winding's ohms alone: the peak E / R, and half of
 * C E^2 burnt in R, so that I2t = C E^2 / 2 R. A tube rectifier that warms slowly spares both. */
static void inrush(service_bench *bench, const place *at, service_fuse *fuse) {
    solve_supply supply, most = {0};
    fuse->inrush_a = fuse->inrush_a2s = fuse->fault_a = NAN;
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        bool own = at->seat == SEAT_MAINS || (int)i == at->rectifier;
        if (own && circuit_part_at(bench->amp, i)->kind == CIRCUIT_RECTIFIER &&
            solve_supply_at(bench->work, bench->numbers, bench->x, (int)i, &supply) &&
            fabs(supply.ac_v[0]) > fabs(most.ac_v[0]))
            most = supply;
    }
    if (!(most.ac_v[0] > 0)) return;
    double turns = at->seat == SEAT_MAINS ? most.ac_v[0] / service_mains_of(bench) : 1;
    double peak = sqrt(2) * most.ac_v[0] / most.source_ohms[0];
    fuse->fault_a = most.ac_v[0] / most.source_ohms[0] * turns;
    if (most.first_cap_f == 0) return;
    fuse->inrush_a = peak * turns;
    fuse->inrush_a2s =
        most.first_cap_f * most.ac_v[0] * most.ac_v[0] / most.source_ohms[0] * turns * turns;
}

/* ---- words --------------------------------------------------------------------------------- */

typedef struct teller {
    service_bench *bench;
    service_fuses *out;
    bool transformer; /* it feeds the amp */
    bool failed;
} teller;

static const char *print(teller *tell, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static const char *print(teller *tell, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    const char *made = base_arena_print_list(tell->out->arena, format, arguments);
    va_end(arguments);
    if (!made) tell->failed = true;
    return made ? made : "";
}

typedef struct amount {
    char text[32];
} amount;
static amount amperes(double value) {
    amount made;
    service_rounded(value, BASE_AMPERES, made.text, sizeof made.text);
    return made;
}

static amount duration(double seconds) {
    amount made;
    if (seconds >= 3600)
        snprintf(made.text, sizeof made.text, "no time that is promised");
    else if (seconds >= 60)
        snprintf(made.text, sizeof made.text, "%.0f minutes", seconds / 60);
    else
        snprintf(made.text, sizeof made.text, "%.3g s", seconds);
    return made;
}

static const char *why(teller *tell, const service_fuse *fuse, bool core) {
    amount runs = amperes(fuse->running_a), right = amperes(fuse->right_a);
    const char *speed =
        core ? "Time-lag: at switch-on the transformer's core, cold heaters and empty filters draw "
               "many times the running current for a few cycles. The core's own magnetising "
               "current is on no drawing: if the right one opens at idle with all tubes pulled, "
               "measure it."
        : fuse->time_lag ? "Time-lag: the filters charge through it."
                         : "Quick-acting: nothing surges here that it could not stand.";
    return print(tell,
                 "It carries %s while the amp runs; %s is the next preferred rating from 1.5 times "
                 "that. %s",
                 runs.text, right.text, speed);
}

/* What a fitted fuse does with a shorted filter behind it. */
static const char *in_a_fault(teller *tell, const service_fuse *fuse) {
    if (isnan(fuse->fault_a) || isnan(fuse->fitted_a)) return "";
    double times = fuse->fault_a / fuse->fitted_a;
    bool lag = fuse->fitted != CIRCUIT_QUICK;
    double opens = service_fuse_opens_s(lag, times);
    if (isinf(opens))
        return print(tell,
                     " Into a shorted first filter flow %s, %.2g times its rating: it may "
                     "never open, while the winding and the rectifier burn.",
                     amperes(fuse->fault_a).text, times);
    return print(tell, " Into a shorted first filter flow %s: it opens within %s.",
                 amperes(fuse->fault_a).text, duration(opens).text);
}

static const char *wrong(teller *tell, const service_fuse *fuse) {
    double fitted = fuse->fitted_a;
    if (!fuse->part) return "The drawing has no mains fuse: fit one before anything else.";
    if (isnan(fitted))
        return "Its rating is not given: read it off the cap and the amp's label, and compare. "
               "Until then nobody knows whether it protects.";
    const char *fault = in_a_fault(tell, fuse);
    if (fitted > FAR_OVER * fuse->right_a)
        return print(tell,
                     "The one fitted, %s, is too large: it carries %s for an hour, %.2g times "
                     "what flows there.%s",
                     amperes(fitted).text, amperes(1.5 * fitted).text,
                     1.5 * fitted / fuse->running_a, fault);
    if (fitted < fuse->running_a)
        return print(tell,
                     "The one fitted, %s, is too small: %s flow there, and it opens sooner "
                     "or later with nothing wrong.%s",
                     amperes(fitted).text, amperes(fuse->running_a).text, fault);
    if (fuse->time_lag && fuse->fitted == CIRCUIT_QUICK)
        return print(tell,
                     "The one fitted is quick-acting: it opens at switch-on now and then with "
                     "nothing wrong, and tempts the next hand to a larger one.%s",
                     fault);
    if (fuse->fitted == CIRCUIT_UNSTATED)
        return print(tell, "Its speed is not given: look at its cap for a T or an F.%s", fault);
    return "";
}

static void finish(teller *tell, service_fuse *fuse, seat seat) {
    bool core = seat == SEAT_MAINS && tell->transformer;
    fuse->right_a = rating_for(HEADROOM * fuse->running_a);
    fuse->time_lag = core || fuse->inrush_a2s > HOLD_F * pow(fuse->right_a, 2);
    fuse->right = print(tell, "%s %s (%s)", fuse->time_lag ? "T" : "F", amperes(fuse->right_a).text,
                        fuse->time_lag ? "time-lag" : "quick-acting");
    fuse->why = why(tell, fuse, core);
    if (fuse->time_lag && fuse->inrush_a2s > HOLD_T * pow(fuse->right_a, 2))
        fuse->why = print(tell,
                          "%s The charge of the filters comes to as much as %.2g A2s, more "
                          "than a T of this rating is sure to stand: if it opens at "
                          "switch-on, take the next one up.",
                          fuse->why, fuse->inrush_a2s);
    fuse->wrong = wrong(tell, fuse);
}

static bool has_transformer(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++)
        if (circuit_part_at(amp, i)->kind == CIRCUIT_WINDING) return true;
    return false;
}

/* ---- all of them --------------------------------------------------------------------------- */

static bool add(teller *tell, int index) {
    static const char *const seats[] = {"mains", "high voltage", "high voltage", "direct current"};
    place at = index < 0 ? (place){SEAT_MAINS, -1, 0} : place_of(tell->bench, index);
    const circuit_part *part = index < 0 ? NULL : circuit_part_at(tell->bench->amp, (size_t)index);
    service_fuse fuse = {.part = part ? part->name : NULL,
                         .where = seats[at.seat],
                         .running_a = current(tell->bench, &at, index),
                         .cold_a = NAN,
                         .cold_a2s = NAN,
                         .fitted_a = part ? part->value : NAN,
                         .fitted = part ? part->material : CIRCUIT_UNSTATED};
    inrush(tell->bench, &at, &fuse);
    if (isnan(fuse.running_a)) return false;
    finish(tell, &fuse, at.seat);
    tell->out->fuse[tell->out->fuses++] = fuse;
    return at.seat == SEAT_MAINS;
}

/* What surges through each when the amp is followed from cold. */
static void follow(teller *tell) {
    service_powerup *powerup = service_follow(tell->bench);
    for (size_t i = 0; powerup && i < powerup->fuses; i++)
        for (size_t k = 0; k < tell->out->fuses; k++) {
            service_fuse *fuse = &tell->out->fuse[k];
            if (!fuse->part || strcmp(fuse->part, powerup->fuse[i].name) != 0) continue;
            fuse->cold_a = powerup->fuse[i].peak_a;
            fuse->cold_a2s = powerup->fuse[i].tenth_i2t;
        }
    service_powerup_free(powerup);
}

static bool list(teller *tell) {
    size_t parts = circuit_parts(tell->bench->amp);
    bool at_mains = false;
    tell->out->fuse = base_arena_take(tell->out->arena, parts + 1, sizeof *tell->out->fuse);
    if (!tell->out->fuse) return false;
    for (size_t i = 0; i < parts; i++)
        if (circuit_part_at(tell->bench->amp, i)->kind == CIRCUIT_FUSE)
            at_mains = add(tell, (int)i) || at_mains;
    if (!at_mains) add(tell, -1);
    return !tell->failed;
}

service_fuses *service_fuses_new(const solve_system *system, double mains, bool in_time,
                                 base_errors *errors) {
    base_arena *arena = base_arena_new();
    service_fuses *fuses = arena ? base_arena_take(arena, 1, sizeof *fuses) : NULL;
    service_bench bench;
    bool whole = false;
    if (!fuses) {
        service_no_memory(errors);
    } else if (service_bench_open(&bench, system, mains, errors) == BASE_OK) {
        teller tell = {&bench, fuses, has_transformer(bench.amp), false};
        fuses->arena = arena;
        fuses->amp = circuit_about_of(bench.amp)->name;
        fuses->mains_v = service_mains_of(&bench);
        whole = list(&tell);
        if (whole && in_time) follow(&tell);
        service_bench_close(&bench);
        if (!whole) service_no_memory(errors);
    }
    if (whole) return fuses;
    base_arena_free(arena);
    return NULL;
}

void service_fuses_free(service_fuses *fuses) {
    if (fuses) base_arena_free(fuses->arena);
}
