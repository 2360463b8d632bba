/* What the power transformer gives: heaters, rectifiers, and the current that it takes at the wall.
 * The transformer's own magnetising current and iron losses are not on any drawing and not counted.
 */
#include "service_impl.h"

static bool is_end(const circuit_part *winding, int node) {
    for (int end = 0; end < winding->ends; end++)
        if (winding->end[end] == node) return true;
    return false;
}

/* Watts in a heater, tube or lamp that stands across this winding; 0: it does not. */
static double heater_watts(service_bench *bench, const circuit_part *winding, int index) {
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    int first, last;
    solve_tube at;
    if (part->kind == CIRCUIT_LAMP && is_end(winding, part->end[0]) &&
        is_end(winding, part->end[1]))
        return part->watts;
    if (part->kind != CIRCUIT_TUBE || !circuit_heater_pins(part, &first, &last)) return 0;
    if (!is_end(winding, part->end[first]) || !is_end(winding, part->end[last])) return 0;
    if (!solve_tube_at(bench->work, bench->numbers, bench->x, index, 0, &at)) return 0;
    double ratio = isnan(at.heater_ratio) ? 1 : at.heater_ratio;
    return ratio * ratio * part->tube->heater_v * part->tube->heater_a;
}

/* The drop of a vacuum diode at the current that its watts go by; of silicon 0.7 V. */
static double diode_drop(const service_bench *bench, const circuit_rectifier *from,
                         const solve_supply *supply) {
    if (from->tube < 0 || supply->dc_a <= 0) return 0.7;
    const tube_type *type = circuit_part_at(bench->amp, (size_t)from->tube)->tube;
    double sides = from->form == CIRCUIT_HALF_WAVE ? 1 : 2;
    double flows = sides * supply->rms_a * supply->rms_a / supply->dc_a;
    return pow(flows / type->unit[0].curve.perveance, 2.0 / 3);
}

/* Half cycles in which the winding's whole lead carries current. */
static double pulses(circuit_form form) {
    return form == CIRCUIT_HALF_WAVE ? 1 : 2;
}

static void add_rectifier(service_bench *bench, int index, double mains, service_load *load) {
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    solve_supply supply;
    if (!solve_supply_at(bench->work, bench->numbers, bench->x, index, &supply)) return;
    double passes = pulses(part->rectifier.form), rms = supply.rms_a;
    double all = passes * rms * rms; /* square of the current in all pulses together */
    bool centre = part->rectifier.form == CIRCUIT_FULL_WAVE;
    load->rms_a = fmax(load->rms_a, centre ? rms : sqrt(all));
    load->watts += fabs(supply.dc_v) * supply.dc_a + all * supply.source_ohms[0] +
                   supply.dc_a * diode_drop(bench, &part->rectifier, &supply);
    double reflected = supply.ac_v[0] / mains;
    double direct = passes == 1 ? supply.dc_a : 0; /* no transformer passes it */
    load->square += fmax(all - direct * direct, 0) * reflected * reflected;
}

service_load service_winding_load(service_bench *bench, int index, double mains) {
    const circuit_part *winding = circuit_part_at(bench->amp, (size_t)index);
    service_load load = {0};
    double warm = 0;
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        warm += heater_watts(bench, winding, (int)i);
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.winding == index)
            add_rectifier(bench, (int)i, mains, &load);
    }
    double volts = winding->winding.volts[0] + winding->winding.volts[1];
    load.heater_w = warm;
    load.watts += warm;
    load.rms_a = sqrt(load.rms_a * load.rms_a + warm * warm / (volts * volts));
    return load;
}

/* No transformer: the string and the rectifier hang on the mains itself. */
static void add_string(service_bench *bench, double mains, service_load *load) {
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        solve_tube at;
        if (part->kind == CIRCUIT_RECTIFIER && part->rectifier.winding < 0)
            add_rectifier(bench, (int)i, mains, load);
        if (part->kind != CIRCUIT_TUBE ||
            !solve_tube_at(bench->work, bench->numbers, bench->x, (int)i, 0, &at) ||
            isnan(at.heater_ratio))
            continue;
        double watts = mains * at.heater_ratio * part->tube->heater_a;
        load->heater_w = fmax(load->heater_w, watts); /* one string: one current */
    }
}

service_load service_wall_load(service_bench *bench) {
    int slot = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    double mains = slot >= 0 ? bench->numbers[slot] : NAN;
    service_load load = {.volts = mains};
    bool transformer = false;
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        if (part->kind != CIRCUIT_WINDING || part->winding.primary) continue;
        service_load one = service_winding_load(bench, (int)i, mains);
        load.watts += one.watts;
        load.heater_w += one.heater_w;
        load.square += one.square;
        transformer = true;
    }
    if (!transformer) {
        add_string(bench, mains, &load);
        load.watts += load.heater_w;
    }
    /* In phase: all the watts. The pulses' harmonics come on top, at right angles. */
    double in_phase = load.watts / mains, pulse = (load.watts - load.heater_w) / mains;
    load.rms_a = sqrt(in_phase * in_phase + fmax(load.square - pulse * pulse, 0));
    return load;
}
