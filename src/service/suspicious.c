/* What looks wrong in a healthy amp as drawn: ratings passed, watts, volts, grid current, printed
 * volts that do not agree. Every one is a warning: it may be meant so. */
#include "service_impl.h"

/* Common practice, no source: printed charts are given to 20 %, and a stage whose grid draws over
 * a microampere at idle is not biased as drawn. */
#define PRINTED_AGREES 0.20
#define PRINTED_FLOOR_V 2.0
#define IDLE_GRID_A 1e-6
#define HEATER_AGREES 0.10 /* common practice, no source */
#define ROUNDING 1.002     /* a rating is not passed by the last digit of its own value */

typedef struct watch {
    service_bench bench;
    base_errors *errors;
} watch;

#define WARN(watch, place, ...)                                                                    \
    base_errors_add((watch)->errors, BASE_SUSPICIOUS, (place), __VA_ARGS__)

/* ---- tubes --------------------------------------------------------------------------------- */

static void watch_limits(watch *watch, const circuit_part *tube, int unit,
                         const double does[TUBE_LIMITS]) {
    for (size_t i = 0; i < SERVICE_LIMIT_ROWS; i++) {
        const service_limit_row *row = &service_limit_rows[i];
        const char *system = "";
        double limit = service_limit(tube->tube, unit, row->limit, &system);
        char now[32], most[32];
        if (isnan(limit) || isnan(does[row->limit]) || does[row->limit] <= limit * ROUNDING)
            continue;
        WARN(watch, tube->place, "%s %s%s%s %s %s; its %s rating is %s|%s", tube->name,
             tube->tube->name, *tube->tube->unit[unit].name ? " " : "", tube->tube->unit[unit].name,
             row->words, service_rounded(does[row->limit], row->quantity, now, sizeof now), system,
             base_value_write(limit, row->quantity, most, sizeof most), row->remedy);
    }
}

static void watch_grid(watch *watch, const circuit_part *tube, int unit, const solve_tube *at) {
    if (at->grid_a > IDLE_GRID_A)
        WARN(watch, tube->place,
             "the grid of %s %s draws %.1f uA at idle|look at its bias: the grid should sit below "
             "the cathode",
             tube->name, tube->tube->unit[unit].name, at->grid_a * 1e6);
    if (!at->inside)
        WARN(watch, tube->place,
             "%s %s idles where its curve is not known well (plate %.0f V, grid %.1f V to the "
             "cathode)|trust its currents less; look at its supply and bias",
             tube->name, tube->tube->unit[unit].name, at->volts.plate, at->volts.grid);
}

static void watch_tube(watch *watch, int part) {
    const circuit_part *tube = circuit_part_at(watch->bench.amp, (size_t)part);
    service_bench *bench = &watch->bench;
    for (int unit = 0; unit < tube->tube->units; unit++) {
        double does[TUBE_LIMITS];
        solve_tube at;
        if (tube->tube->unit[unit].kind == TUBE_DIODE) continue;
        if (!solve_tube_at(bench->work, bench->numbers, bench->x, part, unit, &at)) continue;
        service_tube_does(bench, part, unit, does);
        watch_limits(watch, tube, unit, does);
        watch_grid(watch, tube, unit, &at);
    }
}

/* One warning for all heaters that are off alike: they share their winding. */
static void watch_heaters(watch *watch, bool low) {
    service_bench *bench = &watch->bench;
    char names[256] = "";
    double worst = 1;
    base_place place = {0};
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        const circuit_part *tube = circuit_part_at(bench->amp, i);
        solve_tube at;
        if (tube->kind != CIRCUIT_TUBE ||
            !solve_tube_at(bench->work, bench->numbers, bench->x, (int)i, 0, &at))
            continue;
        double off = at.heater_ratio - 1;
        if (!(low ? off < -HEATER_AGREES : off > HEATER_AGREES)) continue;
        if (!*names) place = tube->place;
        size_t used = strlen(names);
        snprintf(names + used, sizeof names - used, "%s%s", used ? ", " : "", tube->name);
        if (fabs(off) > fabs(worst - 1)) worst = at.heater_ratio;
    }
    if (*names)
        WARN(watch, place,
             "heater volts are off by over 10 %%: %s, the worst at %.0f %% of what it is made "
             "for|look at the heater winding, the mains and the pins they join",
             names, 100 * worst);
}

/* ---- rectifiers ---------------------------------------------------------------------------- */

static void watch_supply(watch *watch, int part) {
    static const struct {
        tube_limit limit;
        base_quantity quantity;
        const char *words;
    } rows[] = {{TUBE_DC_A, BASE_AMPERES, "gives"},
                {TUBE_PEAK_PLATE_A, BASE_AMPERES, "peaks in each plate at"},
                {TUBE_PEAK_INVERSE_V, BASE_VOLTS, "has a peak inverse voltage of"},
                {TUBE_FIRST_CAP_F, BASE_FARADS, "charges a first capacitor of"}};
    service_bench *bench = &watch->bench;
    const circuit_part *drawn = circuit_part_at(bench->amp, (size_t)part);
    solve_supply supply;
    if (drawn->rectifier.tube < 0) return;
    if (!solve_supply_at(bench->work, bench->numbers, bench->x, part, &supply)) return;
    const circuit_part *tube = circuit_part_at(bench->amp, (size_t)drawn->rectifier.tube);
    double does[] = {supply.dc_a, supply.peak_a, supply.peak_inverse_v, supply.first_cap_f};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const char *system = "";
        char now[32], most[32];
        double limit = service_limit(tube->tube, 0, rows[i].limit, &system);
        if (isnan(limit) || does[i] <= limit * ROUNDING) continue;
        WARN(watch, tube->place,
             "the rectifier %s %s %s %s; its %s rating is %s|look at the first capacitor, the "
             "load and the winding",
             tube->name, tube->tube->name, rows[i].words,
             service_rounded(does[i], rows[i].quantity, now, sizeof now), system,
             base_value_write(limit, rows[i].quantity, most, sizeof most));
    }
}

/* ---- parts and printed volts --------------------------------------------------------------- */

static void watch_resistor(watch *watch, int part) {
    const circuit_part *resistor = circuit_part_at(watch->bench.amp, (size_t)part);
    service_bench *bench = &watch->bench;
    if (!isfinite(resistor->watts)) return;
    double watts = solve_part_watts(bench->system, bench->numbers, bench->x, part);
    if (watts > resistor->watts)
        WARN(watch, resistor->place,
             "%s burns %.2g W and is rated %.2g W|fit one of at least %.2g W, or look at what "
             "draws the current",
             resistor->name, watts, resistor->watts, 2 * watts);
}

static void watch_capacitor(watch *watch, int part) {
    const circuit_part *capacitor = circuit_part_at(watch->bench.amp, (size_t)part);
    if (!isfinite(capacitor->volts)) return;
    double volts = service_volts(&watch->bench, capacitor->end[0], capacitor->end[1]);
    if (fabs(volts) > capacitor->volts)
        WARN(watch, capacitor->place,
             "%s stands %.0f V and is rated %.0f V|fit one with a higher rating", capacitor->name,
             fabs(volts), capacitor->volts);
    if (capacitor->material == CIRCUIT_ELECTROLYTIC && volts < -1)
        WARN(watch, capacitor->place,
             "%s is an electrolytic and has %.0f V the wrong way round|turn it: the first end in "
             "`at` is the + end",
             capacitor->name, -volts);
}

/* Printed volts belong to the mains that the drawing assumes, and to the meter that it names. */
static void watch_printed(service_bench *bench, base_errors *errors) {
    const circuit_about *about = circuit_about_of(bench->amp);
    diagnose_meter meter = service_printed_meter(about);
    for (size_t node = 1; node < circuit_nodes(bench->amp); node++) {
        const circuit_node *at = circuit_node_at(bench->amp, node);
        solve_probe probe = {.plus = (int)node, .meter_ohms = INFINITY};
        double source = 0;
        if (isnan(at->printed) || !solve_probe_exists(bench->system, &probe)) continue;
        double volts = solve_read(bench->work, bench->numbers, bench->x, &probe, NULL, &source);
        probe.meter_ohms = diagnose_meter_ohms(&meter, volts, source);
        volts = solve_read(bench->work, bench->numbers, bench->x, &probe, NULL, NULL);
        double apart = fabs(volts - at->printed);
        if (apart <= PRINTED_FLOOR_V || apart <= PRINTED_AGREES * fabs(at->printed)) continue;
        base_errors_add(errors, BASE_SUSPICIOUS, at->place,
                        "the schematic prints %.4g V at %s; as drawn it comes to %.3g V on its "
                        "meter|look for a value misread, or a printed figure that was never right",
                        at->printed, at->name, volts);
    }
}

void service_suspicious(const solve_system *system, base_errors *errors) {
    watch watch = {.errors = errors};
    if (service_bench_open(&watch.bench, system, NAN, errors) != BASE_OK) return;
    for (size_t i = 0; i < circuit_parts(watch.bench.amp); i++) {
        circuit_kind kind = circuit_part_at(watch.bench.amp, i)->kind;
        if (kind == CIRCUIT_TUBE) watch_tube(&watch, (int)i);
        if (kind == CIRCUIT_RECTIFIER) watch_supply(&watch, (int)i);
        if (kind == CIRCUIT_RESISTOR) watch_resistor(&watch, (int)i);
        if (kind == CIRCUIT_CAPACITOR) watch_capacitor(&watch, (int)i);
    }
    watch_heaters(&watch, true);
    watch_heaters(&watch, false);
    double drawn = circuit_about_of(watch.bench.amp)->mains_drawn_volts;
    service_bench_close(&watch.bench);
    service_bench printed;
    if (service_bench_open(&printed, system, drawn, errors) != BASE_OK) return;
    watch_printed(&printed, errors);
    service_bench_close(&printed);
}
