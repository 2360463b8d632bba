/* Reads data/figures/TYPE.yaml: units in the trade's writing (mA, umho), points for one or two
 * tubes, on a fixed grid or on a cathode resistor. */
#include <math.h>
#include <string.h>

#include "tubefit.h"

#define COUNT(table) (sizeof(table) / sizeof *(table))

typedef struct point_draft {
    const char *name, *source, *confidence, *exception;
    bool triode_connected;
    double unit, tubes, plate_v, screen_v, grid_v, rk_ohm, plate_ma, screen_ma, mu, mu_g1g2, rp_ohm,
        gm_umho, load_ohm, load_pp_ohm, power_w;
} point_draft;

#define WORD(name, needed) TUBE_KEY(#name, needed, tube_read_text, point_draft, name)
#define NUMBER(name, needed, low, high) TUBE_NUMBER(#name, needed, point_draft, name, low, high)
static const tube_key point_keys[] = {
    WORD(name, true),
    WORD(source, true),
    WORD(confidence, true),
    WORD(exception, false),
    TUBE_KEY("triode_connected", false, tube_read_yes, point_draft, triode_connected),
    NUMBER(unit, false, 1, TUBE_UNITS),
    NUMBER(tubes, false, 1, 2),
    NUMBER(plate_v, true, 1, 2000),
    NUMBER(screen_v, false, 1, 1000),
    NUMBER(grid_v, false, -200, 0),
    NUMBER(rk_ohm, false, 1, 1e5),
    NUMBER(plate_ma, true, 1e-3, 1e3),
    NUMBER(screen_ma, false, 1e-3, 1e3),
    NUMBER(mu, false, 1, 200),
    NUMBER(mu_g1g2, false, 1, 200),
    NUMBER(rp_ohm, false, 100, 1e7),
    NUMBER(gm_umho, false, 10, 1e5),
    NUMBER(load_ohm, false, 100, 1e6),
    NUMBER(load_pp_ohm, false, 100, 1e6),
    NUMBER(power_w, false, 0.01, 200),
};

typedef struct unit_draft {
    const char *name;
    int kind, family;
    double spread, screen_spread;
} unit_draft;

static const char *const kinds[] = {"diode", "triode", "pentode", NULL};
static const char *const families[] = {"triode",    "small pentode", "power pentode",
                                       "rectifier", "signal diode",  NULL};

static const tube_key unit_keys[] = {
    TUBE_KEY("name", false, tube_read_text, unit_draft, name),
    TUBE_WORD("kind", true, unit_draft, kind, kinds),
    TUBE_WORD("family", true, unit_draft, family, families),
    TUBE_NUMBER("spread", true, unit_draft, spread, 0, 2),
    TUBE_NUMBER("screen_spread", false, unit_draft, screen_spread, 0, 2),
};

/* The file's top level. What the type takes over as it stands is only kept as text. */
typedef struct file_draft {
    const char *type;
    base_yaml_item ratings, units, points, rest;
} file_draft;

#define KEPT(name) TUBE_KEY(name, false, tube_read_later, file_draft, rest)
static const tube_key file_keys[] = {
    TUBE_KEY("type", true, tube_read_text, file_draft, type),
    TUBE_KEY("ratings", true, tube_read_later, file_draft, ratings),
    TUBE_KEY("units", true, tube_read_later, file_draft, units),
    TUBE_KEY("points", true, tube_read_later, file_draft, points),
    KEPT("also"),
    KEPT("class"),
    KEPT("base"),
    KEPT("basing"),
    KEPT("pins"),
    KEPT("pins_source"),
    KEPT("heater"),
    KEPT("direct"),
    KEPT("notes"),
};

static void read_unit(base_yaml *reader, const base_yaml_item *item, figures *f) {
    unit_draft u = {.name = ""};
    tube_read_map(reader, item, unit_keys, COUNT(unit_keys), &u);
    f->family[f->units] = (family)u.family;
    f->unit[f->units++] = (tube_unit){.name = u.name,
                                      .kind = (tube_kind)u.kind,
                                      .spread = u.spread,
                                      .screen_spread = u.screen_spread};
}

static double or_nan(double figure) {
    return figure > 0 ? figure : NAN;
}

/* The point per tube and in SI units. On a cathode resistor the grid is below the cathode by the
 * published current of all tubes through it. */
static tube_fit point_of(const point_draft *p) {
    double all_ma = p->plate_ma + p->screen_ma;
    return (tube_fit){
        .name = p->name,
        .unit = (int)p->unit - 1,
        .triode = p->triode_connected,
        .plate_v = p->plate_v,
        .screen_v = p->triode_connected ? p->plate_v : or_nan(p->screen_v),
        .grid_v = p->rk_ohm > 0 ? -p->rk_ohm * all_ma * 1e-3 : p->grid_v,
        .published = {p->plate_ma * 1e-3 / p->tubes, or_nan(p->screen_ma * 1e-3 / p->tubes),
                      or_nan(p->mu + p->mu_g1g2), or_nan(p->rp_ohm), or_nan(p->gm_umho * 1e-6)},
        .fitted = {NAN, NAN, NAN, NAN, NAN},
        .source = p->source,
        .confidence = p->confidence,
        .exception = p->exception,
    };
}

/* Full power P into the load gives the swing's amplitude: sqrt(2 P R) of one tube; of a pair, each
 * side works into a quarter of the plate-to-plate load and the other side is cut off. */
static swing swing_of(const point_draft *p) {
    if (!(p->power_w > 0) || p->triode_connected) return (swing){NAN, NAN};
    double r = p->load_ohm > 0 ? p->load_ohm : p->load_pp_ohm / 4;
    double amplitude = sqrt(2 * p->power_w * r);
    double idle = p->load_ohm > 0 ? p->plate_ma * 1e-3 : 0;
    return (swing){p->plate_v - amplitude, idle + amplitude / r};
}

static void read_points(base_yaml *reader, const base_yaml_item *item, figures *f) {
    base_yaml_item *items;
    size_t count = tube_read_items(reader, item, false, &items);
    f->point = base_yaml_take(reader, count + 1, sizeof *f->point);
    f->swing = base_yaml_take(reader, count + 1, sizeof *f->swing);
    if (!f->point || !f->swing) return;
    for (size_t i = 0; i < count; i++) {
        point_draft p = {.tubes = 1};
        tube_read_map(reader, &items[i], point_keys, COUNT(point_keys), &p);
        f->point[i] = point_of(&p);
        f->swing[i] = swing_of(&p);
    }
    f->points = count;
}

/* The text of all top-level keys but units and points, `notes` (when asked) or the others. */
static const char *kept_text(base_yaml *reader, const char *text, bool notes) {
    char *kept = base_yaml_take(reader, strlen(text) + 1, 1), *to = kept;
    bool keep = false;
    while (kept && *text) {
        const char *end = strchr(text, '\n');
        size_t length = end ? (size_t)(end - text) + 1 : strlen(text);
        if (!strchr(" -#", *text)) {
            bool is_notes = strncmp(text, "notes:", 6) == 0;
            keep = strncmp(text, "units:", 6) && strncmp(text, "points:", 7) && is_notes == notes;
        }
        if (keep) {
            memcpy(to, text, length);
            to += length;
        }
        text += length;
    }
    return kept;
}

bool figures_read(base_yaml *reader, const char *text, size_t length, figures *out) {
    static const base_yaml_kind kind = {"figures", "tube type", "`type:` and the tube's name"};
    file_draft d = {0};
    base_yaml_item root, *units;
    reader->kind = &kind;
    if (base_yaml_open(reader, text, length, &root))
        tube_read_map(reader, &root, file_keys, COUNT(file_keys), &d);
    if (reader->worst == BASE_OK) {
        size_t count = tube_read_items(reader, &d.units, false, &units);
        for (size_t i = 0; i < count && i < TUBE_UNITS; i++)
            read_unit(reader, &units[i], out);
        out->ratings = tube_read_ratings(reader, &d.ratings, &out->rating);
        read_points(reader, &d.points, out);
        out->type = d.type;
        out->head = kept_text(reader, text, false);
        out->notes = kept_text(reader, text, true);
    }
    base_yaml_close(reader);
    return reader->worst == BASE_OK;
}

bool figures_of_unit(const tube_fit *point, int unit) {
    return point->unit == unit || point->unit == -1;
}
