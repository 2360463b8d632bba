/* What a substitute does to the amp: ripple and hum, corner frequencies, the rectifier's peaks, the
 * tubes' currents, the tremolo's speed; and whether the difference is heard. */
#include "effects_impl.h"

#include <complex.h>

#define EFFECTS 8
#define LOWEST_HZ 82.0   /* of a guitar in usual tuning: the open low E */
#define HEARD_CORNER 1.5 /* a corner that moves by less near the lowest note is not heard */
#define HEARD_HUM 1.4    /* 3 dB */
#define MEASURED 0.01
#define HEARD_SPEED 0.05 /* common practice, no source, like those above */

const char *service_can(const circuit_part *part) {
    return part->sits && strncasecmp(part->sits, "can", 3) == 0 ? part->sits : NULL;
}

typedef struct figures { /* of one amp */
    double ripple, hum, peak_a, corner_hz, rate;
    double current[2 * TUBE_UNITS * 16]; /* of each unit, in the order of the parts */
} figures;
#define CURRENTS (sizeof((figures){0}.current) / sizeof(double))

typedef struct effects {
    service_bench *bench;
    service_substitute *out;
    int index;
    const circuit_part *part;
    int node; /* of a capacitor: the end that is not on the chassis */
    bool filter, first;
    solve_signal *signal;
    figures side[2];
    bool no_memory;
} effects;

/* ---- figures ------------------------------------------------------------------------------- */

static void note_outcome(effects *e, solve_outcome outcome) {
    if (outcome == SOLVE_NO_MEMORY) e->no_memory = true;
}

/* Ripple at the capacitor and across the speaker, rms of all harmonics together. */
static void find_hum(effects *e, figures *out) {
    const circuit *amp = e->bench->amp;
    double complex *volts = calloc(circuit_nodes(amp), sizeof *volts);
    double ripple = 0, hum = 0;
    if (!volts) e->no_memory = true;
    for (int k = 1; k <= SOLVE_HARMONICS && volts; k++) {
        solve_outcome outcome = solve_hum(e->signal, e->bench->work, e->bench->numbers, k, volts);
        note_outcome(e, outcome);
        if (outcome != SOLVE_CONVERGED) break;
        ripple += pow(cabs(volts[e->node]), 2);
        for (size_t i = 0; i < circuit_parts(amp); i++) {
            const circuit_part *part = circuit_part_at(amp, i);
            if (part->kind != CIRCUIT_SPEAKER || part->end[0] < 0 || part->end[1] < 0) continue;
            hum += pow(cabs(volts[part->end[0]] - volts[part->end[1]]), 2);
            break;
        }
    }
    free(volts);
    out->ripple = sqrt(ripple);
    out->hum = sqrt(hum);
}

static void find_peak(effects *e, figures *out) {
    for (size_t i = 0; i < circuit_parts(e->bench->amp); i++) {
        const circuit_part *part = circuit_part_at(e->bench->amp, i);
        solve_supply supply;
        if (part->kind != CIRCUIT_RECTIFIER || (part->end[0] != e->node && part->end[1] != e->node))
            continue;
        if (!solve_supply_at(e->bench->work, e->bench->numbers, e->bench->x, (int)i, &supply))
            continue;
        out->peak_a = supply.peak_a;
        e->first = true;
    }
}

/* From a node to ground, or 0 of the chassis; NAN where no direct current flows. */
static double source_ohms(effects *e, int node) {
    solve_probe probe = {.plus = node, .meter_ohms = INFINITY};
    double ohms = NAN;
    if (node == 0) return 0;
    if (node < 0 || !solve_probe_exists(e->bench->system, &probe)) return NAN;
    solve_read(e->bench->work, e->bench->numbers, e->bench->x, &probe, NULL, &ohms);
    return ohms;
}

/* 1 / (2 pi R C), R what it meets at both ends. Not across the two at once: at no frequency at all
 * the whole amp would be in the loop, by way of its supply. */
static void find_corner(effects *e, figures *out) {
    int slot = solve_slot_find(e->bench->system, e->index, SOLVE_FARADS, 0);
    double ohms = source_ohms(e, e->part->end[0]) + source_ohms(e, e->part->end[1]);
    if (slot >= 0) out->corner_hz = 1 / (2 * M_PI * ohms * e->bench->numbers[slot]);
}

static void find_rate(effects *e, figures *out) {
    solve_trial given = {e->signal, e->bench->work, e->bench->numbers, e->bench->x};
    solve_tremolo found;
    solve_outcome outcome = solve_tremolo_quick(&given, &found);
    note_outcome(e, outcome);
    if (outcome == SOLVE_CONVERGED && found.part >= 0 && found.swing.swings)
        out->rate = found.swing.hertz;
}

static void find_currents(effects *e, figures *out) {
    size_t count = 0;
    for (size_t i = 0; i < circuit_parts(e->bench->amp); i++) {
        const circuit_part *part = circuit_part_at(e->bench->amp, i);
        for (int unit = 0; part->kind == CIRCUIT_TUBE && unit < part->tube->units; unit++) {
            solve_tube at;
            if (count == CURRENTS || part->tube->unit[unit].kind == TUBE_DIODE) continue;
            bool there =
                solve_tube_at(e->bench->work, e->bench->numbers, e->bench->x, (int)i, unit, &at);
            out->current[count++] = there ? at.plate_a : 0;
        }
    }
}

static void find(effects *e, figures *out) {
    service_bench *bench = e->bench;
    *out = (figures){NAN, NAN, NAN, NAN, NAN, {0}};
    solve_outcome outcome = solve_point(bench->work, bench->numbers, bench->x, bench->x).outcome;
    note_outcome(e, outcome);
    if (outcome > SOLVE_CONTINUED) return;
    solve_signal_set(e->signal, bench->work, bench->numbers, bench->x);
    if (e->part->kind == CIRCUIT_CAPACITOR) {
        find_peak(e, out);
        if (!e->filter) find_corner(e, out);
        if (e->filter) find_hum(e, out);
        if (!e->filter) find_rate(e, out);
    } else {
        find_currents(e, out);
    }
}

/* ---- the choice in the old one's place ----------------------------------------------------- */

static void change(effects *e, solve_what what, int which, double factor) {
    int slot = solve_slot_find(e->bench->system, e->index, what, which);
    if (slot >= 0) e->bench->numbers[slot] *= factor;
}

static void put_in(effects *e) {
    double factor = e->out->choice[0].value / e->part->value;
    if (e->part->kind == CIRCUIT_CAPACITOR) {
        if (strstr(e->out->choice[0].text, "two in series")) factor /= 2;
        change(e, SOLVE_FARADS, 0, factor);
        change(e, SOLVE_ESR, 0, 1 / factor);
    } else {
        change(e, SOLVE_OHMS, 0, factor);
        change(e, SOLVE_OHMS, 1, factor);
    }
}

/* ---- words --------------------------------------------------------------------------------- */

static const char *print(effects *e, const char *format, ...) __attribute__((format(printf, 2, 3)));
static const char *print(effects *e, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    const char *made = base_arena_print_list(e->out->arena, format, arguments);
    va_end(arguments);
    if (!made) e->no_memory = true;
    return made ? made : "";
}

static void add(effects *e, const char *what, base_quantity quantity, double before, double after) {
    if (isfinite(before) && isfinite(after) && e->out->effects < EFFECTS)
        e->out->effect[e->out->effects++] = (service_effect){what, quantity, before, after};
}

static double ratio(double a, double b) {
    return isfinite(a) && isfinite(b) && a > 0 && b > 0 ? fmax(a, b) / fmin(a, b) : 1;
}

static const char *tell_filter(effects *e) {
    figures *a = &e->side[0], *b = &e->side[1];
    const char *node = circuit_node_at(e->bench->amp, (size_t)e->node)->name;
    add(e, print(e, "ripple at %s, rms", node), BASE_VOLTS, a->ripple, b->ripple);
    add(e, "hum at the speaker from it, rms", BASE_VOLTS, a->hum, b->hum);
    if (e->first) add(e, "peak in each plate or diode", BASE_AMPERES, a->peak_a, b->peak_a);
    const char *inrush =
        e->out->old.plus_grounded ? print(e, " The bias takes %.0f %% as long to come up.",
                                          100 * e->out->choice[0].value / e->part->value)
        : e->first                ? print(e,
                                          " As it charges, the surge lasts %.0f %% as long: see `gridleak "
                                                         "powerup`.",
                                          100 * e->out->choice[0].value / e->part->value)
                                  : "";
    if (ratio(a->hum, b->hum) >= HEARD_HUM)
        return print(e, "The hum changes by %.0f dB: it can be heard.%s",
                     20 * log10(b->hum / a->hum), inrush);
    if (ratio(a->ripple, b->ripple) > 1 + MEASURED)
        return print(e, "The ripple can be measured; nobody hears it.%s", inrush);
    return print(e, "No difference in ripple or hum.%s", inrush);
}

static const char *tell_signal(effects *e) {
    figures *a = &e->side[0], *b = &e->side[1];
    add(e, "corner frequency", BASE_HERTZ, a->corner_hz, b->corner_hz);
    add(e, "tremolo, swings a second", BASE_NUMBER, a->rate, b->rate);
    if (ratio(a->rate, b->rate) > 1 + HEARD_SPEED)
        return "The tremolo's speed changes enough to be noticed.";
    double highest = fmax(a->corner_hz, b->corner_hz), moved = ratio(a->corner_hz, b->corner_hz);
    if (moved <= 1 + MEASURED) return "No difference.";
    if (highest < LOWEST_HZ / 2)
        return "It can be measured; the corner stays an octave and more under the lowest note, so "
               "nobody hears it.";
    if (moved < HEARD_CORNER) return "It can be measured; it is hardly heard.";
    return "The corner moves within the notes: it can be heard.";
}

/* The unit whose current changes most. */
static const char *tell_resistor(effects *e) {
    double most = 0;
    size_t count = 0;
    for (size_t i = 0; i < circuit_parts(e->bench->amp); i++) {
        const circuit_part *part = circuit_part_at(e->bench->amp, i);
        for (int unit = 0; part->kind == CIRCUIT_TUBE && unit < part->tube->units; unit++) {
            if (count == CURRENTS || part->tube->unit[unit].kind == TUBE_DIODE) continue;
            double a = e->side[0].current[count], b = e->side[1].current[count];
            count++;
            if (!(ratio(a, b) - 1 > most)) continue;
            most = ratio(a, b) - 1;
            e->out->effects = 0;
            add(e,
                print(e, "plate current of %s%s%s", part->name,
                      *part->tube->unit[unit].name ? ", " : "", part->tube->unit[unit].name),
                BASE_AMPERES, a, b);
        }
    }
    if (most <= MEASURED) e->out->effects = 0;
    if (most <= MEASURED)
        return e->part->material == CIRCUIT_CARBON_COMPOSITION
                   ? "No difference at idle; film hisses less than carbon composition."
                   : "No difference at idle.";
    return most > 0.1 ? "An idle current changes by over a tenth: read it afterwards."
                      : "It can be measured, within what the tubes differ by; nobody hears it.";
}

/* ---- the whole ----------------------------------------------------------------------------- */

static bool list_can(effects *e) {
    const char *can = service_can(e->part);
    char text[128] = "";
    for (size_t i = 0; can && i < circuit_parts(e->bench->amp); i++) {
        const circuit_part *other = circuit_part_at(e->bench->amp, i);
        size_t used = strlen(text);
        if (other == e->part || !service_can(other) || strcasecmp(service_can(other), can) != 0)
            continue;
        snprintf(text + used, sizeof text - used, "%s%s", used ? ", " : "", other->name);
    }
    e->out->can = base_arena_text(e->out->arena, text);
    return e->out->can != NULL;
}

static bool has_effects(const effects *e) {
    circuit_kind kind = e->part->kind;
    if (e->out->choices == 0 || !(e->out->choice[0].value > 0) || !(e->part->value > 0))
        return false;
    return kind == CIRCUIT_CAPACITOR || kind == CIRCUIT_RESISTOR || kind == CIRCUIT_POT;
}

static bool prepare(effects *e) {
    size_t nodes = circuit_nodes(e->bench->amp);
    bool *supply = base_arena_take(e->out->arena, nodes, sizeof *supply);
    e->out->effect = base_arena_take(e->out->arena, EFFECTS, sizeof *e->out->effect);
    e->signal = solve_signal_new(e->bench->system);
    if (!supply || !e->out->effect || !e->signal) return false;
    e->node = e->part->end[0] > 0 ? e->part->end[0] : e->part->end[1];
    if (!diagnose_supply_nodes(e->bench->amp, supply)) return false;
    e->filter = e->part->kind == CIRCUIT_CAPACITOR && e->node > 0 && supply[e->node] &&
                (e->part->end[0] == 0 || e->part->end[1] == 0);
    return true;
}

bool service_effects(service_bench *bench, int index, service_substitute *out) {
    effects e = {.bench = bench,
                 .out = out,
                 .index = index,
                 .part = circuit_part_at(bench->amp, (size_t)index)};
    if (!list_can(&e)) return false;
    if (!has_effects(&e)) return true;
    bool made = prepare(&e);
    if (made) {
        find(&e, &e.side[0]);
        put_in(&e);
        find(&e, &e.side[1]);
        out->difference = e.part->kind != CIRCUIT_CAPACITOR ? tell_resistor(&e)
                          : e.filter                        ? tell_filter(&e)
                                                            : tell_signal(&e);
    }
    solve_signal_free(e.signal);
    return made && !e.no_memory;
}
