/* One type's YAML into a tube_type. The tables below are the format (docs/tube-curves.md). */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "tube_impl.h"

#define COUNT(table) (sizeof(table) / sizeof *(table))

/* What the file's top level gives, before its parts are read in the order of their need. */
typedef struct draft {
    tube_type type;
    base_yaml_item pins, heater, units, ratings, fit;
} draft;

/* ---- pins ---------------------------------------------------------------------------------- */

static const char *const electrodes[] = {"none",       "plate",  "screen",     "grid", "cathode",
                                         "suppressor", "heater", "heater_tap", NULL};

typedef struct pin_draft {
    int electrode;
    const char *written;
    double unit; /* from 1; 0: none or all */
} pin_draft;

static const tube_key pin_keys[] = {
    TUBE_WORD("electrode", true, pin_draft, electrode, electrodes),
    TUBE_NUMBER("unit", false, pin_draft, unit, 1, TUBE_UNITS),
    TUBE_KEY("written", true, tube_read_text, pin_draft, written),
};

/* A pin of unit `unit` (-1: of all) becomes that unit's, unless an earlier pin holds it. */
static void give_pin(tube_type *type, int number, int unit) {
    tube_electrode electrode = type->pin[number].electrode;
    if (electrode == TUBE_NONE || electrode > TUBE_SUPPRESSOR) return;
    for (int u = 0; u < type->units; u++) {
        int *pin = &type->unit[u].pin[electrode];
        if ((unit == u || unit == -1) && *pin == 0) *pin = number;
    }
}

static void read_pin(base_yaml *reader, const base_yaml_item *item, tube_type *type) {
    pin_draft pin = {0};
    char *end;
    long number = strtol(item->key, &end, 10);
    if (*end || number < 1 || number > type->pins) {
        base_yaml_complain(reader, BASE_VALUE, item->at,
                           "pin `%s` is not on this base (%s)|pins run 1 to %d", item->key,
                           type->base_name, type->pins);
        return;
    }
    tube_read_map(reader, item, pin_keys, COUNT(pin_keys), &pin);
    int unit = (int)pin.unit - 1;
    if (unit >= type->units)
        base_yaml_complain(reader, BASE_VALUE, item->at,
                           "pin %ld is of unit %d, and there are %d|"
                           "declare the unit under units",
                           number, unit + 1, type->units);
    type->pin[number] = (tube_pin){(tube_electrode)pin.electrode, unit, pin.written};
    give_pin(type, (int)number, unit);
}

/* "octal 8", "noval 9", "miniature 7": the first digit in the name. */
static int pins_on(const char *base) {
    const char *digit = base ? strpbrk(base, "789") : NULL;
    return digit ? *digit - '0' : 0;
}

static void read_pins(base_yaml *reader, draft *d) {
    base_yaml_item *items;
    d->type.pins = pins_on(d->type.base_name);
    if (d->type.pins == 0 && d->type.base_name)
        base_yaml_complain(reader, BASE_VALUE, d->pins.at,
                           "the base `%s` does not say its pins|write "
                           "octal 8, noval 9 or miniature 7",
                           d->type.base_name);
    if (d->type.pins == 0) return;
    size_t count = tube_read_items(reader, &d->pins, true, &items);
    for (size_t i = 0; i < count; i++)
        read_pin(reader, &items[i], &d->type);
}

/* ---- units --------------------------------------------------------------------------------- */

static const char *const kinds[] = {"diode", "triode", "pentode", NULL};

#define CURVE(name, low, high) TUBE_NUMBER(#name, true, tube_curve, name, low, high)
static const tube_key curve_keys[] = {
    CURVE(perveance, 1e-9, 1),    CURVE(mu, 0.5, 1e3),
    CURVE(kp, 0.1, 1e5),          CURVE(kvb, 0.1, 1e3),
    CURVE(contact, -10, 10),      CURVE(grid_perveance, 0, 1),
    CURVE(grid_contact, -10, 10), CURVE(mu_plate, 1, 1e6),
    CURVE(share, 0, 0.49),        CURVE(draw, 0, 1),
    CURVE(knee, 1e-3, 10),
};
static const size_t curve_keys_of[] = {1, 7, COUNT(curve_keys)}; /* by kind */

#define RANGE(name, low, high)                                                                     \
    { #name, true, tube_read_range, offsetof(tube_region, name), low, high, NULL }
static const tube_key region_keys[] = {
    RANGE(plate_v, 0, 1e4),
    RANGE(plate_a, 0, 10),
    RANGE(grid_v, -1e3, 10),
    RANGE(screen_v, 0, 1e4),
};
static const size_t region_keys_of[] = {2, 3, COUNT(region_keys)};

typedef struct unit_draft {
    tube_unit unit;
    int kind;
    base_yaml_item curve, region;
} unit_draft;

#define UNIT(name, needed, low, high) TUBE_NUMBER(#name, needed, unit_draft, unit.name, low, high)
static const tube_key unit_keys[] = {
    TUBE_KEY("name", false, tube_read_text, unit_draft, unit.name),
    TUBE_WORD("kind", true, unit_draft, kind, kinds),
    UNIT(spread, true, 0, 2),
    UNIT(screen_spread, false, 0, 2),
    UNIT(cgk, false, 0, 1e-9),
    UNIT(cgp, false, 0, 1e-9),
    UNIT(cpk, false, 0, 1e-9),
    TUBE_KEY("curve", true, tube_read_later, unit_draft, curve),
    TUBE_KEY("region", true, tube_read_later, unit_draft, region),
};

static void read_unit(base_yaml *reader, const base_yaml_item *item, tube_unit *unit) {
    unit_draft u = {.unit.name = ""};
    tube_read_map(reader, item, unit_keys, COUNT(unit_keys), &u);
    if (!u.curve.value || !u.region.value) return;
    u.unit.kind = (tube_kind)u.kind;
    tube_read_map(reader, &u.curve, curve_keys, curve_keys_of[u.kind], &u.unit.curve);
    tube_read_map(reader, &u.region, region_keys, region_keys_of[u.kind], &u.unit.region);
    *unit = u.unit;
}

static void read_units(base_yaml *reader, draft *d) {
    base_yaml_item *items;
    size_t count = tube_read_items(reader, &d->units, false, &items);
    if (count < 1 || count > TUBE_UNITS)
        base_yaml_complain(reader, BASE_VALUE, d->units.at, "a bulb of %zu units|1 to %d can be",
                           count, TUBE_UNITS);
    for (size_t i = 0; i < count && i < TUBE_UNITS; i++) {
        read_unit(reader, &items[i], &d->type.unit[i]);
        d->type.units++;
    }
}

/* Each unit needs a pin for each of its electrodes. */
static void check_pins(base_yaml *reader, const draft *d) {
    static const bool needs[][TUBE_SUPPRESSOR + 1] = {
        [TUBE_DIODE] = {[TUBE_PLATE] = true, [TUBE_CATHODE] = true},
        [TUBE_TRIODE] = {[TUBE_PLATE] = true, [TUBE_CATHODE] = true, [TUBE_GRID] = true},
        [TUBE_PENTODE] =
            {[TUBE_PLATE] = true, [TUBE_CATHODE] = true, [TUBE_GRID] = true, [TUBE_SCREEN] = true},
    };
    for (int u = 0; u < d->type.units; u++)
        for (int e = TUBE_PLATE; e <= TUBE_SUPPRESSOR; e++)
            if (needs[d->type.unit[u].kind][e] && d->type.unit[u].pin[e] == 0)
                base_yaml_complain(reader, BASE_VALUE, d->pins.at,
                                   "unit %d has no pin for its %s|give it one under pins", u + 1,
                                   electrodes[e]);
}

/* ---- ratings ------------------------------------------------------------------------------- */

typedef struct limit_draft {
    double value;
    const char *source;
} limit_draft;

typedef struct rating_draft {
    const char *system;
    double unit;
    base_yaml_item limit[TUBE_LIMITS];
} rating_draft;

static const tube_key limit_keys[] = {
    TUBE_NUMBER("value", true, limit_draft, value, 1e-9, 1e9),
    TUBE_KEY("source", true, tube_read_text, limit_draft, source),
};

#define LIMIT(name, limit_name)                                                                    \
    TUBE_KEY(name, false, tube_read_later, rating_draft, limit[limit_name])
static const tube_key rating_keys[] = {
    TUBE_KEY("system", true, tube_read_text, rating_draft, system),
    TUBE_NUMBER("unit", false, rating_draft, unit, 1, TUBE_UNITS),
    LIMIT("plate_v", TUBE_PLATE_V),
    LIMIT("plate_w", TUBE_PLATE_W),
    LIMIT("plate_w_both", TUBE_PLATE_W_BOTH),
    LIMIT("screen_v", TUBE_SCREEN_V),
    LIMIT("screen_w", TUBE_SCREEN_W),
    LIMIT("cathode_a", TUBE_CATHODE_A),
    LIMIT("heater_cathode_v", TUBE_HEATER_CATHODE_V),
    LIMIT("grid_ohms_fixed", TUBE_GRID_OHMS_FIXED),
    LIMIT("grid_ohms_cathode", TUBE_GRID_OHMS_CATHODE),
    LIMIT("peak_inverse_v", TUBE_PEAK_INVERSE_V),
    LIMIT("ac_v_cap_input", TUBE_AC_V_CAP_INPUT),
    LIMIT("ac_v_choke_input", TUBE_AC_V_CHOKE_INPUT),
    LIMIT("dc_a", TUBE_DC_A),
    LIMIT("peak_plate_a", TUBE_PEAK_PLATE_A),
    LIMIT("first_cap_f", TUBE_FIRST_CAP_F),
    LIMIT("source_ohms", TUBE_SOURCE_OHMS),
};

static void read_rating(base_yaml *reader, const base_yaml_item *item, tube_rating *rating) {
    rating_draft r = {0};
    tube_read_map(reader, item, rating_keys, COUNT(rating_keys), &r);
    rating->system = r.system ? r.system : "";
    rating->unit = (int)r.unit - 1;
    for (int i = 0; i < TUBE_LIMITS; i++) {
        limit_draft limit = {NAN, NULL};
        if (r.limit[i].value)
            tube_read_map(reader, &r.limit[i], limit_keys, COUNT(limit_keys), &limit);
        rating->limit[i] = limit.value;
        rating->source[i] = limit.source;
    }
}

size_t tube_read_ratings(base_yaml *reader, const base_yaml_item *item,
                         const tube_rating **ratings) {
    base_yaml_item *items;
    size_t count = tube_read_items(reader, item, false, &items);
    tube_rating *rating = base_yaml_take(reader, count + 1, sizeof *rating);
    *ratings = rating;
    for (size_t i = 0; rating && i < count; i++)
        read_rating(reader, &items[i], &rating[i]);
    return rating ? count : 0;
}

/* ---- fit ----------------------------------------------------------------------------------- */

typedef struct fit_draft {
    tube_fit fit;
    double unit;
    base_yaml_item published, fitted;
} fit_draft;

/* plate A, screen A, mu, rp, gm, in this order in a double[5] */
#define FIGURE(name, place, high)                                                                  \
    { name, false, tube_read_number, (place) * sizeof(double), 0, high, NULL }
static const tube_key figure_keys[] = {
    FIGURE("plate_a", 0, 100), FIGURE("screen_a", 1, 100), FIGURE("mu", 2, 1e6),
    FIGURE("rp", 3, 1e12),     FIGURE("gm", 4, 100),
};

#define FIT(name, needed, read) TUBE_KEY(#name, needed, read, fit_draft, fit.name)
#define FIT_NUMBER(name, needed, low, high)                                                        \
    TUBE_NUMBER(#name, needed, fit_draft, fit.name, low, high)
static const tube_key fit_keys[] = {
    FIT(name, true, tube_read_text),
    TUBE_NUMBER("unit", false, fit_draft, unit, 1, TUBE_UNITS),
    FIT(triode, false, tube_read_yes),
    FIT_NUMBER(plate_v, true, 0, 1e4),
    FIT_NUMBER(screen_v, false, 0, 1e4),
    FIT_NUMBER(grid_v, false, -1e3, 1e3),
    TUBE_KEY("published", true, tube_read_later, fit_draft, published),
    TUBE_KEY("fitted", true, tube_read_later, fit_draft, fitted),
    FIT(source, true, tube_read_text),
    FIT(confidence, true, tube_read_text),
    FIT(exception, false, tube_read_text),
};

static void read_fit(base_yaml *reader, const base_yaml_item *item, tube_fit *fit) {
    fit_draft f = {.fit.screen_v = NAN, .fit.grid_v = NAN};
    for (int i = 0; i < 5; i++)
        f.fit.published[i] = f.fit.fitted[i] = NAN;
    tube_read_map(reader, item, fit_keys, COUNT(fit_keys), &f);
    if (f.published.value)
        tube_read_map(reader, &f.published, figure_keys, COUNT(figure_keys), f.fit.published);
    if (f.fitted.value)
        tube_read_map(reader, &f.fitted, figure_keys, COUNT(figure_keys), f.fit.fitted);
    *fit = f.fit;
    fit->unit = (int)f.unit - 1;
}

static void read_fits(base_yaml *reader, draft *d) {
    base_yaml_item *items;
    size_t count = tube_read_items(reader, &d->fit, false, &items);
    tube_fit *fit = base_yaml_take(reader, count + 1, sizeof *fit);
    if (!fit) return;
    for (size_t i = 0; i < count; i++)
        read_fit(reader, &items[i], &fit[i]);
    d->type.fit = fit;
    d->type.fits = count;
}

/* ---- the whole ----------------------------------------------------------------------------- */

static const tube_key heater_keys[] = {
    TUBE_NUMBER("volts", true, tube_type, heater_v, 0.5, 200),
    TUBE_NUMBER("amps", true, tube_type, heater_a, 0.01, 20),
    TUBE_KEY("source", true, tube_read_text, tube_type, heater_source),
};

#define TEXT(key, name, needed, read) TUBE_KEY(key, needed, read, draft, type.name)
#define PART(name) TUBE_KEY(#name, true, tube_read_later, draft, name)
static const tube_key type_keys[] = {
    TEXT("type", name, true, tube_read_text),
    TEXT("also", also, false, tube_read_texts),
    TEXT("class", class_name, true, tube_read_text),
    TEXT("base", base_name, true, tube_read_text),
    TEXT("basing", basing, true, tube_read_text),
    TEXT("pins_source", pins_source, true, tube_read_text),
    TEXT("direct", direct, false, tube_read_yes),
    TEXT("notes", notes, false, tube_read_texts),
    PART(pins),
    PART(heater),
    PART(units),
    PART(ratings),
    PART(fit),
};

/* The parts, once the top level gave all of them. */
static void read_parts(base_yaml *reader, draft *d) {
    read_units(reader, d);
    read_pins(reader, d);
    if (reader->worst == BASE_OK) check_pins(reader, d);
    tube_read_map(reader, &d->heater, heater_keys, COUNT(heater_keys), &d->type);
    d->type.ratings = tube_read_ratings(reader, &d->ratings, &d->type.rating);
    read_fits(reader, d);
}

tube_type *tube_type_read(base_yaml *reader, const char *text, size_t length) {
    static const base_yaml_kind kind = {"tube types", "tube type", "`type:` and the tube's name"};
    static const char *const none[] = {NULL};
    draft d = {.type = {.also = none, .notes = none}};
    base_yaml_item root;
    reader->kind = &kind;
    if (base_yaml_open(reader, text, length, &root))
        tube_read_map(reader, &root, type_keys, COUNT(type_keys), &d);
    if (reader->worst == BASE_OK) read_parts(reader, &d);
    base_yaml_close(reader);
    tube_type *type = reader->worst == BASE_OK ? base_yaml_take(reader, 1, sizeof *type) : NULL;
    if (type) *type = d.type;
    return type;
}
