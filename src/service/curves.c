/* The plate curves of one unit of an amp's tube, with what the amp does on them: the DC load line,
 * idle, and the hyperbola of the plate's rating. */
#include "service_impl.h"

#define OUT 1e-9 /* emission of a tube that is pulled, as a part of a good one's */
#define CURVES_MOST 12
#define HEADROOM 1.25  /* of the plot over the load line's end */
#define WHOLE_LINE 4.0 /* a load line that ends within so many times idle is shown whole */

enum { POINTS = 61 };

typedef struct plotter {
    service_bench bench;
    service_curves *curves;
    const circuit_part *tube;
    const tube_unit *unit;
    int part, index; /* of the tube; of its unit */
    tube_state state;
    solve_tube idle;
    bool failed; /* no memory */
} plotter;

/* ---- where the amp is ---------------------------------------------------------------------- */

static int node_of(const plotter *plot, tube_electrode electrode) {
    int pin = plot->unit->pin[electrode];
    return pin > 0 ? plot->tube->end[pin] : -1;
}

/* The volts from plate to cathode with this unit pulled; NAN where the amp then has no point. */
static double volts_pulled(plotter *plot) {
    service_bench *bench = &plot->bench;
    double *numbers = base_arena_take(bench->arena, solve_slots(bench->system), sizeof *numbers);
    double *x = base_arena_take(bench->arena, solve_unknowns(bench->system), sizeof *x);
    int slot = solve_slot_find(bench->system, plot->part, SOLVE_EMISSION, plot->index);
    plot->failed = !numbers || !x;
    if (plot->failed || slot < 0) return NAN;
    memcpy(numbers, bench->numbers, solve_slots(bench->system) * sizeof *numbers);
    numbers[slot] *= OUT;
    solve_outcome outcome = solve_point(bench->work, numbers, bench->x, x).outcome;
    plot->failed = outcome == SOLVE_NO_MEMORY;
    if (outcome > SOLVE_CONTINUED) return NAN;
    service_bench pulled = *bench;
    pulled.numbers = numbers;
    pulled.x = x;
    return service_volts(&pulled, node_of(plot, TUBE_PLATE), node_of(plot, TUBE_CATHODE));
}

/* The source resistance seen at the plate, between idle and no current: plate load, cathode
 * resistor and the supply's own fall in series, V = V0 - I R. NAN where the tube draws nothing. */
static double source_ohms(plotter *plot) {
    double ohms = (volts_pulled(plot) - plot->idle.volts.plate) / plot->idle.plate_a;
    return isfinite(ohms) && ohms > 0 ? ohms : NAN;
}

/* The number as it stands in this amp: emission follows the heater. */
static double slot_number(const plotter *plot, solve_what what, double otherwise) {
    int slot = solve_slot_find(plot->bench.system, plot->part, what, plot->index);
    return slot < 0 ? otherwise : plot->bench.numbers[slot];
}

static void take_idle(plotter *plot) {
    service_curves *curves = plot->curves;
    double heater = plot->idle.heater_ratio, slope;
    plot->state = (tube_state){.emission = slot_number(plot, SOLVE_EMISSION, 1),
                               .screen = slot_number(plot, SOLVE_SCREEN, 1),
                               .gas = slot_number(plot, SOLVE_GAS, 0)};
    if (!isnan(heater)) plot->state.emission *= tube_heater_emission(heater, &slope);
    curves->point_v = plot->idle.volts.plate;
    curves->point_a = plot->idle.plate_a;
    curves->grid_v = plot->idle.volts.grid;
    curves->screen_v = plot->unit->kind == TUBE_PENTODE ? plot->idle.volts.screen : NAN;
    curves->inside = plot->idle.inside;
    curves->load_ohms = source_ohms(plot);
    curves->limit_w = service_limit(plot->tube->tube, plot->index, TUBE_PLATE_W, &curves->system);
}

/* ---- how large the plot is ----------------------------------------------------------------- */

static double plate_current(const plotter *plot, double plate_v, double grid_v) {
    tube_volts volts = {.plate = plate_v, .screen = plot->idle.volts.screen, .grid = grid_v};
    tube_point point;
    tube_current(plot->unit, &plot->state, &volts, &point);
    return point.plate;
}

/* The next of 1, 2, 2.5, 5, 10 times a power of ten at or above `value`. */
static double round_up(double value) {
    static const double steps[] = {1, 2, 2.5, 5, 10};
    double power = pow(10, floor(log10(value)));
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++)
        if (steps[i] * power >= value * (1 - 1e-9)) return steps[i] * power;
    return 10 * power;
}

/* A whole number of twentieths of the decade: 0..500 V, 0..120 mA. */
static double plot_end(double value) {
    double step = round_up(value) / 10;
    return step * ceil(value / step - 1e-9);
}

static double load_current(const service_curves *curves, double plate_v) {
    return curves->point_a + (curves->point_v - plate_v) / curves->load_ohms;
}

/* Where the load line meets the curve of zero grid volts: one falls and the other rises. */
static double current_at_zero_grid(const plotter *plot) {
    double low = 0, high = plot->curves->most_v;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        bool above = load_current(plot->curves, middle) > plate_current(plot, middle, 0);
        *(above ? &low : &high) = middle;
    }
    return plate_current(plot, high, 0);
}

/* The whole load line where it is not too steep; else as far as the grid can drive it. */
static double most_current(const plotter *plot) {
    const service_curves *curves = plot->curves;
    if (isnan(curves->load_ohms)) return 2 * curves->point_a;
    double top = load_current(curves, 0);
    if (top <= WHOLE_LINE * curves->point_a) return top;
    return fmax(2 * curves->point_a, current_at_zero_grid(plot));
}

static void size(plotter *plot) {
    service_curves *curves = plot->curves;
    double end = curves->point_v;
    if (!isnan(curves->load_ohms)) end += curves->point_a * curves->load_ohms;
    curves->most_v = plot_end(fmax(HEADROOM * end, 10));
    curves->most_a = plot_end(fmax(1.05 * most_current(plot), 1e-5));
}

/* ---- the curves ---------------------------------------------------------------------------- */

/* The grid volts that leave a fiftieth of the plot's current at its far end. */
static double cut_off(const plotter *plot) {
    double grid = -0.1;
    while (grid > -500 &&
           plate_current(plot, plot->curves->most_v, grid) > plot->curves->most_a / 50)
        grid *= 1.1;
    return grid;
}

static bool fill(const plotter *plot, service_curve *curve, double grid_v) {
    curve->grid_v = grid_v;
    curve->plate_a = base_arena_take(plot->curves->arena, POINTS, sizeof *curve->plate_a);
    if (!curve->plate_a) return false;
    for (size_t i = 0; i < POINTS; i++)
        curve->plate_a[i] = plate_current(plot, plot->curves->plate_v[i], grid_v);
    return true;
}

/* Closer together at low plate volts, where a pentode's knee is. */
static bool family(plotter *plot) {
    service_curves *curves = plot->curves;
    double step = round_up(-cut_off(plot) / (CURVES_MOST - 2));
    curves->plate_v = base_arena_take(curves->arena, POINTS, sizeof *curves->plate_v);
    curves->curve = base_arena_take(curves->arena, CURVES_MOST, sizeof *curves->curve);
    if (!curves->plate_v || !curves->curve) return false;
    curves->points = POINTS;
    for (size_t i = 0; i < POINTS; i++)
        curves->plate_v[i] = curves->most_v * pow((double)i / (POINTS - 1), 1.5);
    for (size_t i = 0; i < CURVES_MOST; i++) {
        if (!fill(plot, &curves->curve[i], i ? -step * (double)i : 0)) return false;
        curves->curves++;
        if (curves->curve[i].plate_a[POINTS - 1] < curves->most_a / 50) break;
    }
    return true;
}

/* ---- lines on them ------------------------------------------------------------------------- */

/* The load line between the plot's edges. */
static void load_line(service_curves *curves) {
    if (isnan(curves->load_ohms)) {
        for (int i = 0; i < 2; i++)
            curves->load_v[i] = curves->load_a[i] = NAN;
        return;
    }
    double top = load_current(curves, 0);
    curves->load_v[0] = 0;
    curves->load_a[0] = top;
    if (top > curves->most_a) {
        curves->load_v[0] =
            curves->point_v - (curves->most_a - curves->point_a) * curves->load_ohms;
        curves->load_a[0] = curves->most_a;
    }
    curves->load_v[1] = curves->point_v + curves->point_a * curves->load_ohms;
    curves->load_a[1] = 0;
}

static bool hyperbola(service_curves *curves) {
    curves->limit_v = base_arena_take(curves->arena, POINTS, sizeof(double));
    curves->limit_a = base_arena_take(curves->arena, POINTS, sizeof(double));
    if (!curves->limit_v || !curves->limit_a) return false;
    double first = curves->limit_w / curves->most_a;
    if (isnan(first) || first >= curves->most_v) return true;
    for (size_t i = 0; i < POINTS; i++) {
        double part = (double)i / (POINTS - 1);
        curves->limit_v[i] = first * pow(curves->most_v / first, part);
        curves->limit_a[i] = curves->limit_w / curves->limit_v[i];
    }
    curves->limits = POINTS;
    return true;
}

/* ---- the whole ----------------------------------------------------------------------------- */

static service_curves *curves_new(const plotter *plot) {
    base_arena *arena = base_arena_new();
    service_curves *curves = arena ? base_arena_take(arena, 1, sizeof *curves) : NULL;
    if (!curves) {
        base_arena_free(arena);
        return NULL;
    }
    *curves = (service_curves){.tube = plot->tube->name,
                               .type = plot->tube->tube->name,
                               .unit = plot->unit->name,
                               .arena = arena};
    return curves;
}

static bool draw(plotter *plot) {
    plot->curves = curves_new(plot);
    if (!plot->curves) return false;
    take_idle(plot);
    size(plot);
    load_line(plot->curves);
    return !plot->failed && family(plot) && hyperbola(plot->curves);
}

static base_code find_unit(plotter *plot, const circuit *amp, const char *tube, int unit,
                           base_errors *errors) {
    base_place place = {.file = circuit_about_of(amp)->file};
    plot->part = circuit_part_find(amp, tube);
    if (plot->part >= 0) plot->tube = circuit_part_at(amp, (size_t)plot->part);
    if (!plot->tube || plot->tube->kind != CIRCUIT_TUBE)
        return base_errors_add(errors, BASE_UNKNOWN, place,
                               "the amp has no tube \"%.40s\"|write it as the drawing does: V1",
                               tube);
    if (unit < 0 || unit >= plot->tube->tube->units)
        return base_errors_add(errors, BASE_UNKNOWN, place,
                               "%s has no unit %d|a %s has %d, counted from 0", plot->tube->name,
                               unit, plot->tube->tube->name, plot->tube->tube->units);
    plot->index = unit;
    plot->unit = &plot->tube->tube->unit[unit];
    if (plot->unit->kind == TUBE_DIODE)
        return base_errors_add(errors, BASE_VALUE, place,
                               "%s %s is a diode and has no grid|choose a triode or a pentode",
                               plot->tube->name, plot->unit->name);
    return BASE_OK;
}

service_curves *service_curves_of(const solve_system *system, double mains, const char *tube,
                                  int unit, base_errors *errors) {
    plotter plot = {0};
    if (find_unit(&plot, solve_circuit(system), tube, unit, errors) != BASE_OK) return NULL;
    if (service_bench_open(&plot.bench, system, mains, errors) != BASE_OK) return NULL;
    service_bench *bench = &plot.bench;
    bool placed =
        solve_tube_at(bench->work, bench->numbers, bench->x, plot.part, plot.index, &plot.idle);
    bool drawn = placed && draw(&plot);
    service_bench_close(&plot.bench);
    if (drawn) return plot.curves;
    service_curves_free(plot.curves);
    if (placed)
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    else
        base_errors_add(errors, BASE_VALUE, plot.tube->place,
                        "%s %s is not wired as a tube: no curves can be placed|join its plate, "
                        "grid and cathode in the file",
                        plot.tube->name, plot.unit->name);
    return NULL;
}

void service_curves_free(service_curves *curves) {
    if (curves) base_arena_free(curves->arena);
}
