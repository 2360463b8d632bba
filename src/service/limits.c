/* What a tube does at the point, by the limits that its sheet may state. */
#include "service_impl.h"

#define BIAS "look at the bias: cathode resistor, bias supply, grid leak"
#define LEAK "a smaller grid leak keeps a gassy tube from running away"
const service_limit_row service_limit_rows[SERVICE_LIMIT_ROWS] = {
    {TUBE_PLATE_V, BASE_VOLTS, "plate volts", "has on its plate",
     "look at the supply and the cathode resistor"},
    {TUBE_PLATE_W, BASE_WATTS, "plate dissipation", "burns on its plate", BIAS},
    {TUBE_SCREEN_V, BASE_VOLTS, "screen volts", "has on its screen",
     "look at what feeds the screen"},
    {TUBE_SCREEN_W, BASE_WATTS, "screen dissipation", "burns on its screen",
     "look at the screen resistor"},
    {TUBE_CATHODE_A, BASE_AMPERES, "cathode current", "draws through its cathode", BIAS},
    {TUBE_HEATER_CATHODE_V, BASE_VOLTS, "heater to cathode", "has between heater and cathode",
     "look at where the heater winding is tied"},
    {TUBE_GRID_OHMS_FIXED, BASE_OHMS, "grid circuit, fixed bias",
     "has in its grid circuit (fixed bias)", LEAK},
    {TUBE_GRID_OHMS_CATHODE, BASE_OHMS, "grid circuit, cathode bias",
     "has in its grid circuit (cathode bias)", LEAK},
};

const char *service_rounded(double value, base_quantity quantity, char *buffer, size_t size) {
    snprintf(buffer, size, "%.3g", value);
    return base_value_write(strtod(buffer, NULL), quantity, buffer, size);
}

/* The source resistance at a grid's pin; NAN for a grid that no DC path reaches. */
static double grid_ohms(service_bench *bench, const circuit_part *tube, int unit) {
    int pin = tube->tube->unit[unit].pin[TUBE_GRID];
    double ohms = NAN;
    if (pin <= 0 || tube->end[pin] <= 0) return NAN;
    solve_probe probe = {.plus = tube->end[pin], .meter_ohms = INFINITY};
    if (!solve_probe_exists(bench->system, &probe)) return NAN;
    solve_read(bench->work, bench->numbers, bench->x, &probe, NULL, &ohms);
    return ohms;
}

static double heater_cathode_v(service_bench *bench, const circuit_part *tube, double cathode_v) {
    for (int pin = 1; pin <= tube->tube->pins; pin++) {
        solve_probe probe = {.plus = tube->end[pin], .meter_ohms = INFINITY};
        if (tube->tube->pin[pin].electrode != TUBE_HEATER || probe.plus < 0) continue;
        if (probe.plus == 0) return fabs(cathode_v);
        if (!solve_probe_exists(bench->system, &probe)) continue;
        return fabs(cathode_v - service_volts(bench, probe.plus, 0));
    }
    return NAN;
}

void service_tube_does(service_bench *bench, int part, int unit, double does[TUBE_LIMITS]) {
    const circuit_part *tube = circuit_part_at(bench->amp, (size_t)part);
    solve_tube at;
    for (int i = 0; i < TUBE_LIMITS; i++)
        does[i] = NAN;
    if (!solve_tube_at(bench->work, bench->numbers, bench->x, part, unit, &at)) return;
    does[TUBE_PLATE_V] = at.volts.plate;
    does[TUBE_PLATE_W] = at.volts.plate * at.plate_a;
    does[TUBE_CATHODE_A] = at.plate_a + at.screen_a;
    does[TUBE_HEATER_CATHODE_V] = heater_cathode_v(bench, tube, at.cathode_v);
    if (tube->tube->unit[unit].kind == TUBE_PENTODE) {
        does[TUBE_SCREEN_V] = at.volts.screen;
        does[TUBE_SCREEN_W] = at.volts.screen * at.screen_a;
    }
    /* A cathode within a volt of the chassis has no bias of its own. */
    bool fixed = fabs(at.cathode_v) < 1;
    does[fixed ? TUBE_GRID_OHMS_FIXED : TUBE_GRID_OHMS_CATHODE] = grid_ohms(bench, tube, unit);
}
