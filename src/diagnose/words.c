/* What is wrong, in the technician's words. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <string.h>

#define BEYOND_OHMS 1.9e7 /* the range of a usual meter */

char *diagnose_words_volts(double volts, char text[24]) {
    double size = fabs(volts);
    int places = size >= 30 ? 0 : size >= 3 ? 1 : 2;
    snprintf(text, 24, "%.*f V", places, size < 0.005 ? 0 : volts);
    return text;
}

char *diagnose_value_words(double value, base_quantity unit, char *text) {
    if (!isfinite(value))
        snprintf(text, 32, "?");
    else if (unit == BASE_OHMS && value >= BEYOND_OHMS)
        snprintf(text, 32, "open");
    else
        base_value_write(base_value_round(value, 2), unit, text, 32);
    return text;
}

char *diagnose_words_compare(const diagnose_compare *compare, double value, char text[32]) {
    if (compare->plain) return diagnose_words_volts(value, text);
    return diagnose_value_words(value, compare->unit, text);
}

const char *diagnose_words_part(const diagnose_engine *engine, const diagnose_fault *fault) {
    if (fault->part >= 0) return circuit_part_at(engine->bench.amp, (size_t)fault->part)->name;
    switch (fault->mode) {
    case DIAGNOSE_NOTHING:
        return "nothing";
    case DIAGNOSE_UNMODELLED:
        return "unmodelled";
    default:
        return "mains";
    }
}

/* ---- sizes --------------------------------------------------------------------------------- */

/* A severity is known to a figure or so: the nearest value of the coarsest usual series. */
static double rounded(double value) {
    return value > 0 ? base_value_nearest(value, 12) : value;
}

static void add_ohms(base_text *text, double ohms) {
    char written[32];
    if (isfinite(ohms) && ohms > 0)
        base_text_add(text, ", some %s", base_value_write(rounded(ohms), BASE_OHMS, written, 32));
}

static void add_unit(base_text *text, const circuit_part *part, int unit) {
    if (!part || !part->tube || part->tube->units < 2 || unit < 0 || unit >= part->tube->units)
        return;
    const char *name = part->tube->unit[unit].name;
    if (name && *name) base_text_add(text, "%s ", name);
}

static void add_resistor(base_text *text, const circuit_part *part, double factor) {
    base_text_add(text, "drifted high");
    if (!isfinite(factor) || !part) return;
    char written[32];
    base_text_add(text, ", some %s instead of %s",
                  base_value_write(rounded(factor * part->value), BASE_OHMS, written, 32),
                  part->written ? part->written : "its value");
}

static void add_pin(base_text *text, const circuit_part *part, int pin) {
    base_text_add(text, "no contact at pin %d", pin);
    if (part && part->tube && pin >= 1 && pin <= part->tube->pins && part->tube->pin[pin].written)
        base_text_add(text, " (%s)", part->tube->pin[pin].written);
}

static void add_percent(base_text *text, const char *of, double part) {
    if (isfinite(part)) base_text_add(text, ", some %.0f %% of %s", 5 * round(20 * part), of);
}

/* ---- what is wrong
 * --------------------------------------------------------------------------------- */

static void add_mains(base_text *text, const diagnose_engine *engine, double factor) {
    double volts = engine->point[0].mains * factor;
    base_text_add(text, "far off");
    if (isfinite(volts)) base_text_add(text, ", some %.0f V at the wall", volts);
}

static void add_tube(base_text *text, const circuit_part *part, const diagnose_fault *fault,
                     double severity) {
    switch (fault->mode) {
    case DIAGNOSE_WEAK:
        base_text_add(text, "weak");
        add_percent(text, "its emission", severity);
        break;
    case DIAGNOSE_NO_EMISSION:
        base_text_add(text, "no emission");
        break;
    case DIAGNOSE_GASSY:
        base_text_add(text, "gassy: its grid gives current");
        break;
    case DIAGNOSE_GRID_CATHODE_SHORT:
        base_text_add(text, "grid shorted to cathode");
        break;
    case DIAGNOSE_PLATE_GRID_LEAK:
        base_text_add(text, "leak from plate to grid, in it or across its socket");
        add_ohms(text, severity);
        break;
    case DIAGNOSE_HEATER_OPEN:
        base_text_add(text, "not heated");
        break;
    case DIAGNOSE_HEATER_CATHODE_LEAK:
        base_text_add(text, "leak from heater to cathode");
        add_ohms(text, severity);
        break;
    default:
        add_pin(text, part, fault->which);
    }
}

static const char *half_of(const diagnose_fault *fault, const circuit_part *part) {
    bool halves =
        part && (part->kind == CIRCUIT_OUTPUT_TRANSFORMER ? part->end[2] >= 0 : part->ends > 2);
    if (!halves) return "";
    return fault->which == 0 ? " in its first half" : " in its second half";
}

static void add_part(base_text *text, const circuit_part *part, const diagnose_fault *fault,
                     double severity) {
    switch (fault->mode) {
    case DIAGNOSE_OPEN:
        base_text_add(text, "open%s", half_of(fault, part));
        break;
    case DIAGNOSE_HIGH:
        add_resistor(text, part, severity);
        break;
    case DIAGNOSE_LEAKY:
        base_text_add(text, "leaky");
        add_ohms(text, severity);
        break;
    case DIAGNOSE_HIGH_ESR:
        base_text_add(text, "high in series resistance (ESR)");
        add_ohms(text, severity);
        break;
    case DIAGNOSE_TURNS_SHORTED:
        base_text_add(text, "shorted turns%s", half_of(fault, part));
        break;
    case DIAGNOSE_TRACK_OPEN:
        base_text_add(text, "track open on its %s side", fault->which == 0 ? "low" : "high");
        break;
    case DIAGNOSE_WIPER_OPEN:
        base_text_add(text, "wiper not touching");
        break;
    case DIAGNOSE_CONTACT_OPEN:
        base_text_add(text, "contact not closing");
        break;
    case DIAGNOSE_SUPPLY_MISSING:
        base_text_add(text, "gives nothing");
        break;
    default:
        base_text_add(text, "%s", diagnose_mode_name(fault->mode));
    }
}

static void add_what(base_text *text, const diagnose_engine *engine, const diagnose_fault *fault,
                     double severity) {
    const circuit_part *part =
        fault->part < 0 ? NULL : circuit_part_at(engine->bench.amp, (size_t)fault->part);
    bool of_tube = fault->mode >= DIAGNOSE_WEAK && fault->mode <= DIAGNOSE_PIN_OPEN;
    if (fault->mode == DIAGNOSE_NOTHING)
        base_text_add(text, "nothing wrong that a DC reading shows");
    else if (fault->mode == DIAGNOSE_UNMODELLED)
        base_text_add(text, "something that is not in the catalogue");
    else if (fault->mode == DIAGNOSE_MAINS_OFF)
        add_mains(text, engine, severity);
    else if (fault->mode >= DIAGNOSE_MISWIRED)
        base_text_add(text, "%s", diagnose_wiring_words(engine, fault->which));
    else if (of_tube) {
        bool unit = fault->mode != DIAGNOSE_PIN_OPEN && fault->mode != DIAGNOSE_HEATER_OPEN;
        if (unit) add_unit(text, part, fault->which);
        add_tube(text, part, fault, severity);
    } else {
        add_part(text, part, fault, severity);
    }
}

static const char *keep(base_text *text, base_arena *arena) {
    const char *kept = text->failed ? NULL : base_arena_text(arena, text->data);
    base_text_free(text);
    return kept;
}

const char *diagnose_words_what(const diagnose_engine *engine, const diagnose_fault *fault,
                                double severity, base_arena *arena) {
    base_text text;
    base_text_init(&text, 1000);
    add_what(&text, engine, fault, severity);
    return keep(&text, arena);
}

const char *diagnose_words_with(const diagnose_engine *engine, const diagnose_fault *fault,
                                base_arena *arena) {
    if (fault->mode == DIAGNOSE_NOTHING) return base_arena_text(arena, "in a good amp");
    if (fault->mode == DIAGNOSE_UNMODELLED) return base_arena_text(arena, "with something else");
    base_text text;
    base_text_init(&text, 1000);
    base_text_add(&text, "with %s ", diagnose_words_part(engine, fault));
    add_what(&text, engine, fault, NAN);
    return keep(&text, arena);
}
