/* The voltage chart: what a healthy amp reads, the band of good amps, and the meter's load. */
#include "service_impl.h"

/* How well a measured mains is known, one standard deviation as a part. Common practice, no source.
 */
#define MAINS_MEASURED 0.005

diagnose_meter service_printed_meter(const circuit_about *about) {
    return (diagnose_meter){.ohms = about->printed_meter_ohms,
                            .ohms_per_volt = about->printed_meter_ohms_per_volt,
                            .range = NAN};
}

/* ---- lines --------------------------------------------------------------------------------- */

/* Gives each probe of a line (where `printed`: of a printed one) the load of `meter` there. */
static void join_meter(service_places *places, const diagnose_meter *meter, bool printed) {
    for (size_t i = 0; i < places->count; i++) {
        const service_line *line = &places->line[i];
        bool joined = !line->heater && (!printed || !isnan(line->printed));
        places->probe[i].meter_ohms =
            joined ? diagnose_meter_ohms(meter, line->volts, line->source_ohms) : INFINITY;
    }
}

static bool on_chassis(const solve_probe *probe) {
    return probe->plus == probe->minus; /* reads nothing, whatever the meter */
}

/* volts and source of each line, with no meter. */
static void read_bare(diagnose_engine *engine, service_places *places) {
    diagnose_good_read(engine, places->probe, places->good, places->count);
    for (size_t i = 0; i < places->count; i++) {
        if (on_chassis(&places->probe[i])) continue;
        places->line[i].volts = places->good[i].volts;
        places->line[i].source_ohms = places->good[i].source_ohms;
    }
}

static void read_shown(diagnose_engine *engine, const diagnose_meter *meter,
                       service_places *places) {
    join_meter(places, meter, false);
    diagnose_good_read(engine, places->probe, places->good, places->count);
    for (size_t i = 0; i < places->count; i++) {
        service_line *line = &places->line[i];
        if (on_chassis(&places->probe[i])) continue;
        line->shown = places->good[i].volts;
        line->low = line->shown - 2 * places->good[i].spread;
        line->high = line->shown + 2 * places->good[i].spread;
    }
}

/* What the schematic's own meter would show where it prints a figure. */
static void read_printed(diagnose_engine *engine, const diagnose_meter *meter,
                         service_places *places) {
    join_meter(places, meter, true);
    diagnose_good_read(engine, places->probe, places->good, places->count);
    for (size_t i = 0; i < places->count; i++)
        if (!isnan(places->line[i].printed))
            places->line[i].printed_shown =
                on_chassis(&places->probe[i]) ? 0 : places->good[i].volts;
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

/* ---- the chart ----------------------------------------------------------------------------- */

static bool chart_lines(service_bench *bench, diagnose_engine *engine, service_chart *chart) {
    service_places places;
    diagnose_meter printed = service_printed_meter(circuit_about_of(bench->amp));
    if (!service_places_list(bench->system, chart->arena, &places)) return false;
    read_bare(engine, &places);
    order_supplies(&places);
    read_shown(engine, &chart->meter, &places);
    read_printed(engine, &printed, &places);
    chart->line = places.line;
    chart->lines = places.count;
    chart->tube = service_tubes_list(bench, chart->arena, &chart->tubes);
    return chart->tube && service_rectifiers_list(bench, chart);
}

static service_chart *chart_new(service_bench *bench, diagnose_engine *engine,
                                const diagnose_meter *meter) {
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
    if (chart_lines(bench, engine, chart)) return chart;
    service_chart_free(chart);
    return NULL;
}

/* What good amps read, without any fault: quick to make. */
static diagnose_engine *good_amps(const solve_system *system, const diagnose_priors *priors,
                                  double mains, base_errors *errors) {
    diagnose_options options = diagnose_defaults();
    options.faults = false;
    options.mains = mains;
    if (isfinite(mains)) options.mains_spread = MAINS_MEASURED;
    return diagnose_engine_new(system, priors, &options, errors);
}

service_chart *service_chart_new(const solve_system *system, const diagnose_priors *priors,
                                 double mains, const diagnose_meter *meter, base_errors *errors) {
    diagnose_meter usual = diagnose_defaults().meter;
    service_bench bench;
    if (service_bench_open(&bench, system, mains, errors) != BASE_OK) return NULL;
    diagnose_engine *engine = good_amps(system, priors, mains, errors);
    service_chart *chart = NULL;
    if (engine) {
        service_bench_take(&bench, diagnose_healthy_numbers(engine), diagnose_healthy(engine));
        chart = chart_new(&bench, engine, meter ? meter : &usual);
        if (!chart)
            base_errors_add(errors, BASE_MEMORY, (base_place){0},
                            "no memory left|close other programs");
    }
    diagnose_engine_free(engine);
    service_bench_close(&bench);
    return chart;
}

void service_chart_free(service_chart *chart) {
    if (chart) base_arena_free(chart->arena);
}
