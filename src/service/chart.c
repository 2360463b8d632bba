/* The voltage chart: what a healthy amp reads, the band of good amps, and the meter's load. */
#include "service_impl.h"

/* How well the mains is known, one standard deviation as a part: measured at the wall, or taken
 * from the file. Common practice, no source. */
#define MAINS_MEASURED 0.005
#define MAINS_UNKNOWN 0.03

/* ---- meters --------------------------------------------------------------------------------- */

static double as_shown(double volts, double source_ohms, double meter_ohms) {
    return volts * meter_ohms / (meter_ohms + source_ohms);
}

/* The hand starts on the highest range and turns down while the next one holds what is shown. */
double service_meter_ohms(const diagnose_meter *meter, double volts, double source_ohms) {
    static const double ranges[] = {1000, 300, 100, 30, 10, 3};
    if (isfinite(meter->ohms)) return meter->ohms;
    if (!(meter->ohms_per_volt > 0)) return INFINITY;
    if (isfinite(meter->range)) return meter->ohms_per_volt * meter->range;
    double ohms = meter->ohms_per_volt * ranges[0];
    for (size_t i = 1; i < sizeof ranges / sizeof *ranges; i++) {
        if (fabs(as_shown(volts, source_ohms, ohms)) > ranges[i]) break;
        ohms = meter->ohms_per_volt * ranges[i];
    }
    return ohms;
}

diagnose_meter service_printed_meter(const circuit_about *about) {
    return (diagnose_meter){.ohms = about->printed_meter_ohms,
                            .ohms_per_volt = about->printed_meter_ohms_per_volt,
                            .range = NAN};
}

/* ---- one line ------------------------------------------------------------------------------- */

static double two_sigma(const service_bench *bench) {
    double sum = 0;
    for (size_t i = 0; i < solve_slots(bench->system); i++) {
        double part = bench->gradient[i] * bench->spread[i];
        sum += part * part;
    }
    return 2 * sqrt(sum);
}

/* volts, source, and the half width of the band (kept in `high` until `shown` is known). */
static void predict(service_bench *bench, const diagnose_meter *meter, service_line *line,
                    solve_probe *probe) {
    if (probe->plus == probe->minus) return; /* a pin on the chassis reads nothing */
    line->volts =
        solve_read(bench->work, bench->numbers, bench->x, probe, NULL, &line->source_ohms);
    if (!probe->heater)
        probe->meter_ohms = service_meter_ohms(meter, line->volts, line->source_ohms);
    line->shown = solve_read(bench->work, bench->numbers, bench->x, probe, bench->gradient, NULL);
    line->high = two_sigma(bench);
}

/* The reading with the meter truly joined; the linear one where the loaded amp has no point. */
static double shown_by(service_bench *bench, const solve_probe *probe, double linear) {
    if (probe->heater || !isfinite(probe->meter_ohms)) return linear;
    double loaded = solve_read_loaded(bench->work, bench->numbers, bench->x, probe);
    return isnan(loaded) ? linear : loaded;
}

static void load(service_bench *bench, const diagnose_meter *printed, service_line *line,
                 const solve_probe *probe) {
    double half = line->high;
    if (probe->plus != probe->minus) line->shown = shown_by(bench, probe, line->shown);
    line->low = line->shown - half;
    line->high = line->shown + half;
    if (isnan(line->printed)) return;
    solve_probe theirs = *probe;
    theirs.meter_ohms = service_meter_ohms(printed, line->volts, line->source_ohms);
    double linear = isfinite(theirs.meter_ohms)
                        ? as_shown(line->volts, line->source_ohms, theirs.meter_ohms)
                        : line->volts;
    line->printed_shown = shown_by(bench, &theirs, linear);
}

static bool supply_below(const service_line *line, const service_line *next) {
    return strcmp(line->what, "supply") == 0 && strcmp(next->what, "supply") == 0 &&
           fabs(line->volts) < fabs(next->volts);
}

/* The supply nodes along the chain, from the rectifier on: a file names them in any order. */
static void order_supplies(service_places *places) {
    for (size_t i = 1; i < places->count; i++)
        for (size_t k = i; k > 0 && supply_below(&places->line[k - 1], &places->line[k]); k--) {
            service_line line = places->line[k];
            solve_probe probe = places->probe[k];
            places->line[k] = places->line[k - 1];
            places->probe[k] = places->probe[k - 1];
            places->line[k - 1] = line;
            places->probe[k - 1] = probe;
        }
}

/* ---- the chart ------------------------------------------------------------------------------ */

static bool chart_lines(service_bench *bench, service_chart *chart) {
    service_places places;
    diagnose_meter printed = service_printed_meter(circuit_about_of(bench->amp));
    if (!service_places_list(bench->system, chart->arena, &places)) return false;
    /* Linear readings first: a loaded one solves anew and leaves other factors in the work. */
    for (size_t i = 0; i < places.count; i++)
        predict(bench, &chart->meter, &places.line[i], &places.probe[i]);
    order_supplies(&places);
    if (!service_tubes_list(bench, chart) || !service_rectifiers_list(bench, chart)) return false;
    for (size_t i = 0; i < places.count; i++)
        load(bench, &printed, &places.line[i], &places.probe[i]);
    chart->line = places.line;
    chart->lines = places.count;
    return true;
}

static service_chart *chart_new(service_bench *bench, const diagnose_meter *meter) {
    base_arena *arena = base_arena_new();
    service_chart *chart = arena ? base_arena_take(arena, 1, sizeof *chart) : NULL;
    if (!chart) {
        base_arena_free(arena);
        return NULL;
    }
    const circuit_about *about = circuit_about_of(bench->amp);
    int mains = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    *chart = (service_chart){.amp = about->name,
                             .mains_v = mains >= 0 ? bench->numbers[mains] : about->mains_volts,
                             .mains_hz = about->mains_hertz,
                             .meter = *meter,
                             .result = bench->result,
                             .arena = arena};
    if (chart_lines(bench, chart)) return chart;
    service_chart_free(chart);
    return NULL;
}

service_chart *service_chart_new(const solve_system *system, double mains,
                                 const diagnose_meter *meter, base_errors *errors) {
    static const diagnose_meter usual = {
        .ohms = 10e6, .ohms_per_volt = NAN, .range = NAN, .accuracy = 0.005};
    double spread = isfinite(mains) ? MAINS_MEASURED : MAINS_UNKNOWN;
    service_bench bench;
    if (service_bench_open(&bench, system, mains, spread, errors) != BASE_OK) return NULL;
    service_chart *chart = chart_new(&bench, meter ? meter : &usual);
    service_bench_close(&bench);
    if (!chart)
        base_errors_add(errors, BASE_MEMORY, (base_place){0},
                        "no memory left|close other programs");
    return chart;
}

void service_chart_free(service_chart *chart) {
    if (chart) base_arena_free(chart->arena);
}
