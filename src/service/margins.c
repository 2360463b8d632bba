/* How far every part is from its rating. Each row is one part, one figure, one limit. */
#include "margins_impl.h"

/* Parts of a limit from which on a figure is called close. Common practice, no source: a resistor
 * is given twice the watts that it burns. */
#define CLOSE_WATTS 0.5
#define CLOSE 0.95
#define CLOSE_FUSE 0.7
#define WARM 1.10       /* a winding over its amperes by less only runs warmer */
#define HEATER_OFF 0.10 /* common practice, no source */
#define ROUNDING 1.002
#define TALKS_W 0.1 /* an unrated resistor that burns less is not worth a line */
#define TALKS_V 25.0

typedef struct lister {
    service_bench *bench;
    service_margins *out;
    size_t room;
    bool failed;
} lister;

static const char *words(lister *list, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static const char *words(lister *list, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    const char *made = base_arena_print_list(list->out->arena, format, arguments);
    va_end(arguments);
    if (!made) list->failed = true;
    return made ? made : "";
}

static service_state state_of(const service_margin *margin, double close) {
    double over = close > 1 ? close : ROUNDING;
    if (isnan(margin->limit)) return SERVICE_UNRATED;
    if (margin->share > over) return SERVICE_OVER;
    if (close > 1) close = 1;
    return margin->share > close ? SERVICE_CLOSE : SERVICE_WELL;
}

/* Adds a row; what is not a number concerns nobody. `close`: from which share on it is close to the
 * limit; above 1, from which it is over, and close from 1 on. */
static void add(lister *list, service_margin margin, double close) {
    service_margins *out = list->out;
    if (isnan(margin.is) || out->margins == list->room) return;
    margin.share = margin.floor ? margin.limit / margin.is : margin.is / margin.limit;
    margin.state = state_of(&margin, close);
    if (!margin.by) margin.by = "";
    if (margin.state == SERVICE_WELL || !margin.remedy) margin.remedy = "";
    out->margin[out->margins++] = margin;
}

/* ---- tubes --------------------------------------------------------------------------------- */

static void add_unit(lister *list, const circuit_part *tube, int index, int unit) {
    double does[TUBE_LIMITS];
    service_tube_does(list->bench, index, unit, does);
    for (size_t i = 0; i < SERVICE_LIMIT_ROWS; i++) {
        const service_limit_row *row = &service_limit_rows[i];
        service_margin margin = {.part = tube->name,
                                 .of = tube->tube->name,
                                 .unit = tube->tube->unit[unit].name,
                                 .what = row->what,
                                 .quantity = row->quantity,
                                 .is = does[row->limit],
                                 .remedy = row->remedy};
        margin.limit = service_limit(tube->tube, unit, row->limit, &margin.by);
        if (!isnan(margin.limit)) add(list, margin, CLOSE);
    }
}

/* Both plates of a twin together, where the sheet limits them so. */
static void add_both(lister *list, const circuit_part *tube, int index) {
    service_margin margin = {.part = tube->name,
                             .of = tube->tube->name,
                             .unit = "",
                             .what = "dissipation of both plates",
                             .quantity = BASE_WATTS,
                             .remedy = service_limit_rows[1].remedy};
    margin.limit = service_limit(tube->tube, 0, TUBE_PLATE_W_BOTH, &margin.by);
    for (int unit = 0; unit < tube->tube->units; unit++) {
        double does[TUBE_LIMITS];
        service_tube_does(list->bench, index, unit, does);
        margin.is += isnan(does[TUBE_PLATE_W]) ? 0 : does[TUBE_PLATE_W];
    }
    if (!isnan(margin.limit)) add(list, margin, CLOSE);
}

/* Its heater, 10 % up or down. */
static void add_heater(lister *list, const circuit_part *tube, int index) {
    service_bench *bench = list->bench;
    solve_tube at;
    if (!solve_tube_at(bench->work, bench->numbers, bench->x, index, 0, &at)) return;
    bool low = at.heater_ratio < 1;
    double rated = tube->tube->heater_v;
    add(list,
        (service_margin){.part = tube->name,
                         .of = tube->tube->name,
                         .unit = "",
                         .what = "heater",
                         .quantity = BASE_VOLTS,
                         .is = at.heater_ratio * rated,
                         .limit = rated * (low ? 1 - HEATER_OFF : 1 + HEATER_OFF),
                         .floor = low,
                         .by = "common practice",
                         .remedy = low ? "measure the mains and the volts at its pins; clean them"
                                       : "the mains or the winding is too high for it; `gridleak "
                                         "mains` computes the remedy"},
        CLOSE);
}

static void add_tube(lister *list, int index) {
    const circuit_part *tube = circuit_part_at(list->bench->amp, (size_t)index);
    for (int unit = 0; unit < tube->tube->units; unit++)
        if (tube->tube->unit[unit].kind != TUBE_DIODE) add_unit(list, tube, index, unit);
    if (tube->tube->unit[0].kind != TUBE_DIODE) add_both(list, tube, index);
    add_heater(list, tube, index);
}

/* ---- rectifiers ---------------------------------------------------------------------------- */

static void add_rectifier_rows(lister *list, service_margin margin, const tube_type *type,
                               const solve_supply *supply) {
    bool choke = supply->first_cap_f == 0;
    const struct {
        tube_limit limit;
        base_quantity quantity;
        double is;
        const char *what, *remedy;
    } rows[] = {{TUBE_DC_A, BASE_AMPERES, supply->dc_a, "direct current", "look at what draws it"},
                {TUBE_PEAK_PLATE_A, BASE_AMPERES, supply->peak_a, "peak current in each plate",
                 "a smaller first capacitor, or a resistor in each plate lead"},
                {TUBE_PEAK_INVERSE_V, BASE_VOLTS, supply->peak_inverse_v, "peak inverse volts",
                 "another rectifier type, or lower winding volts"},
                {choke ? TUBE_AC_V_CHOKE_INPUT : TUBE_AC_V_CAP_INPUT, BASE_VOLTS, supply->ac_v[0],
                 choke ? "AC volts per plate, choke input" : "AC volts per plate, capacitor input",
                 "another rectifier type, or lower winding volts"},
                {TUBE_FIRST_CAP_F, BASE_FARADS, choke ? NAN : supply->first_cap_f,
                 "first capacitor", "a smaller first capacitor"},
                {TUBE_SOURCE_OHMS, BASE_OHMS, choke ? NAN : supply->source_ohms[0],
                 "resistance in each plate's supply, at least", "a resistor in each plate lead"}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        margin.what = rows[i].what;
        margin.quantity = rows[i].quantity;
        margin.is = rows[i].is;
        margin.remedy = rows[i].remedy;
        margin.floor = rows[i].limit == TUBE_SOURCE_OHMS;
        margin.limit = service_limit(type, 0, rows[i].limit, &margin.by);
        if (!isnan(margin.limit)) add(list, margin, CLOSE);
    }
}

/* Diodes: their rating is not on the drawing, so what they must stand is told. */
static void add_diodes(lister *list, const circuit_part *part, const solve_supply *supply) {
    add(list,
        (service_margin){.part = part->name,
                         .of = circuit_material_name(part->material),
                         .unit = "",
                         .what = "peak inverse volts",
                         .quantity = BASE_VOLTS,
                         .is = supply->peak_inverse_v,
                         .limit = NAN,
                         .remedy = words(list,
                                         "no rating is given for its diodes: read it off them; "
                                         "they need at least %.0f V, half as much again for the "
                                         "mains' spikes",
                                         1.5 * supply->peak_inverse_v)},
        CLOSE);
}

static void add_rectifier(lister *list, int index) {
    service_bench *bench = list->bench;
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    solve_supply supply;
    if (!solve_supply_at(bench->work, bench->numbers, bench->x, index, &supply)) return;
    if (part->rectifier.tube < 0) return add_diodes(list, part, &supply);
    const circuit_part *tube = circuit_part_at(bench->amp, (size_t)part->rectifier.tube);
    service_margin margin = {.part = tube->name, .of = tube->tube->name, .unit = ""};
    add_rectifier_rows(list, margin, tube->tube, &supply);
}

/* ---- resistors and capacitors -------------------------------------------------------------- */

static void add_resistor(lister *list, int index) {
    service_bench *bench = list->bench;
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    double burns = solve_part_watts(bench->system, bench->numbers, bench->x, index);
    double fit = service_stock_watts(burns / CLOSE_WATTS);
    bool given = isfinite(part->watts);
    if (!given && burns < TALKS_W) return;
    char size[32];
    if (isnan(fit))
        snprintf(size, sizeof size, "over 50 W: look at why");
    else
        snprintf(size, sizeof size, "%.3g W", fit);
    add(list,
        (service_margin){.part = part->name,
                         .of = part->written ? part->written : "",
                         .unit = "",
                         .what = "watts",
                         .quantity = BASE_WATTS,
                         .is = burns,
                         .limit = given ? part->watts : NAN,
                         .by = "its rating",
                         .remedy = given ? words(list, "fit one of %s", size)
                                         : words(list,
                                                 "no watts are given, so that what it may burn is "
                                                 "not known: it wants %s",
                                                 size)},
        CLOSE_WATTS);
}

static void add_volts(lister *list, const circuit_part *part, const char *what,
                      service_moment moment, double volts) {
    double fit = service_stock_volts(part->material, volts);
    bool given = isfinite(part->volts);
    if ((!given && volts < TALKS_V) || isnan(volts)) return;
    char size[48];
    if (isnan(fit))
        snprintf(size, sizeof size, "two in series: no single one is made for it");
    else
        snprintf(size, sizeof size, "%.0f V or more", fit);
    add(list,
        (service_margin){.part = part->name,
                         .of = part->written ? part->written : "",
                         .unit = "",
                         .what = what,
                         .moment = moment,
                         .quantity = BASE_VOLTS,
                         .is = volts,
                         .limit = given ? part->volts : NAN,
                         .by = "its rating",
                         .remedy = given ? words(list, "fit %s", size)
                                         : words(list,
                                                 "no volts are given, so that what it may stand is "
                                                 "not known: it wants %s",
                                                 size)},
        CLOSE);
}

/* Idle, while the tubes are cold, and the worse of both on 110 % of the mains. */
static void add_capacitor(lister *list, int index, const service_worst *worst) {
    service_bench *bench = list->bench;
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    const char *cold = worst->in_time ? "volts at power-up" : "volts with cold tubes";
    add_volts(list, part, "volts at idle", SERVICE_RUNNING,
              fabs(service_volts(bench, part->end[0], part->end[1])));
    add_volts(list, part, cold, SERVICE_COLD, fabs(worst->cold[index]));
    if (worst->high)
        add_volts(list, part, "volts on 110 % mains", SERVICE_HIGH_MAINS, fabs(worst->high[index]));
}

/* ---- transformer and fuses ----------------------------------------------------------------- */

static void add_winding(lister *list, int index, double mains) {
    const circuit_part *part = circuit_part_at(list->bench->amp, (size_t)index);
    if (part->winding.primary) return;
    service_load load = service_winding_load(list->bench, index, mains);
    if (load.rms_a < 1e-4) return;
    add(list,
        (service_margin){.part = part->name,
                         .of = "",
                         .unit = "",
                         .what = "current, rms",
                         .quantity = BASE_AMPERES,
                         .is = load.rms_a,
                         .limit = part->value,
                         .by = "its rating",
                         .remedy = isnan(part->value)
                                       ? "no amperes are given for it: judge it by its heat after "
                                         "an hour"
                                       : "look at what draws the current; a hot transformer dies"},
        WARM);
}

static void add_fuse(lister *list, int index) {
    const circuit_part *part = circuit_part_at(list->bench->amp, (size_t)index);
    double amperes = service_fuse_current(list->bench, index);
    add(list,
        (service_margin){.part = part->name,
                         .of = part->written ? part->written : "",
                         .unit = "",
                         .what = "current, rms",
                         .quantity = BASE_AMPERES,
                         .is = amperes,
                         .limit = part->value,
                         .by = "its rating",
                         .remedy = isnan(part->value)
                                       ? "no amperes are given: `gridleak fuse` finds them"
                                       : "`gridleak fuse` finds the right one; find out first what "
                                         "draws the current"},
        CLOSE_FUSE);
}

/* ---- the list ------------------------------------------------------------------------------ */

static void add_part(lister *list, int index, const service_worst *worst) {
    double mains = service_mains_of(list->bench);
    switch (circuit_part_at(list->bench->amp, (size_t)index)->kind) {
    case CIRCUIT_TUBE:
        add_tube(list, index);
        break;
    case CIRCUIT_RECTIFIER:
        add_rectifier(list, index);
        break;
    case CIRCUIT_RESISTOR:
        add_resistor(list, index);
        break;
    case CIRCUIT_CAPACITOR:
        add_capacitor(list, index, worst);
        break;
    case CIRCUIT_WINDING:
        add_winding(list, index, mains);
        break;
    case CIRCUIT_FUSE:
        add_fuse(list, index);
        break;
    default:
        break;
    }
}

/* Those over come first, then those close, those with no rating, the rest; what is so all the time
 * before what is so at power-up or on a high mains; each by how far. */
static int by_trouble(const void *a, const void *b) {
    const service_margin *one = a, *other = b;
    if (one->state != other->state) return (int)other->state - (int)one->state;
    if (one->moment != other->moment && one->state >= SERVICE_CLOSE)
        return (int)one->moment - (int)other->moment;
    if (one->share != other->share && !isnan(one->share) && !isnan(other->share))
        return one->share < other->share ? 1 : -1;
    int names = strcmp(one->part, other->part), units = strcmp(one->unit, other->unit);
    return names ? names : units ? units : strcmp(one->what, other->what);
}

bool service_margins_fill(service_bench *bench, const service_worst *worst,
                          service_margins *margins) {
    size_t parts = circuit_parts(bench->amp);
    lister list = {.bench = bench, .out = margins, .room = parts * 32};
    margins->mains_v = service_mains_of(bench);
    margins->amp = circuit_about_of(bench->amp)->name;
    margins->margin = base_arena_take(margins->arena, list.room + 1, sizeof *margins->margin);
    if (!margins->margin) return false;
    for (size_t i = 0; i < parts; i++)
        add_part(&list, (int)i, worst);
    qsort(margins->margin, margins->margins, sizeof *margins->margin, by_trouble);
    return !list.failed;
}
