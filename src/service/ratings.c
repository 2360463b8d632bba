/* What the published ratings allow, and what each tube and rectifier does at the point. */
#include "service_impl.h"

/* ---- ratings ------------------------------------------------------------------------------- */

static bool states(const tube_rating *rating, int unit, tube_limit limit) {
    return (rating->unit == -1 || rating->unit == unit) && !isnan(rating->limit[limit]);
}

static const tube_rating *first_of(const tube_type *type, int unit, tube_limit limit,
                                   const char *system) {
    for (size_t i = 0; i < type->ratings; i++)
        if (states(&type->rating[i], unit, limit) && strcmp(type->rating[i].system, system) == 0)
            return &type->rating[i];
    return NULL;
}

int service_ratings_of(const tube_type *type, int unit, tube_limit limit,
                       const tube_rating *found[2]) {
    static const char *const order[] = {"design-maximum", "design-centre", "absolute"};
    int count = 0;
    for (size_t i = 0; i < sizeof order / sizeof *order && count < 2; i++) {
        const tube_rating *rating = first_of(type, unit, limit, order[i]);
        if (rating) found[count++] = rating;
    }
    return count;
}

double service_limit(const tube_type *type, int unit, tube_limit limit, const char **system) {
    const tube_rating *found[2];
    if (service_ratings_of(type, unit, limit, found) == 0) return NAN;
    if (system) *system = found[0]->system;
    return found[0]->limit[limit];
}

/* ---- tubes --------------------------------------------------------------------------------- */

static void rate(service_tube *tube, const tube_type *type, int unit) {
    const tube_rating *found[2];
    tube->ratings = service_ratings_of(type, unit, TUBE_PLATE_W, found);
    for (int i = 0; i < tube->ratings; i++)
        tube->rating[i] = (service_rating){.system = found[i]->system,
                                           .source = found[i]->source[TUBE_PLATE_W],
                                           .plate_w = found[i]->limit[TUBE_PLATE_W],
                                           .screen_w = found[i]->limit[TUBE_SCREEN_W]};
}

static bool tube_line(service_bench *bench, int part, int unit, service_tube *tube) {
    const circuit_part *drawn = circuit_part_at(bench->amp, (size_t)part);
    const tube_unit *curve = &drawn->tube->unit[unit];
    solve_tube at;
    if (curve->kind == TUBE_DIODE) return false;
    if (!solve_tube_at(bench->work, bench->numbers, bench->x, part, unit, &at)) return false;
    bool screen = curve->kind == TUBE_PENTODE;
    *tube = (service_tube){.tube = drawn->name,
                           .type = drawn->tube->name,
                           .unit = curve->name,
                           .does = drawn->what,
                           .part = part,
                           .plate_v = at.cathode_v + at.volts.plate,
                           .screen_v = screen ? at.cathode_v + at.volts.screen : NAN,
                           .grid_v = at.cathode_v + at.volts.grid,
                           .cathode_v = at.cathode_v,
                           .plate_a = at.plate_a,
                           .screen_a = screen ? at.screen_a : 0,
                           .plate_w = at.volts.plate * at.plate_a,
                           .screen_w = screen ? at.volts.screen * at.screen_a : 0,
                           .heater_ratio = at.heater_ratio,
                           .inside = at.inside};
    tube->cathode_a = tube->plate_a + tube->screen_a + at.grid_a;
    rate(tube, drawn->tube, unit);
    return true;
}

service_tube *service_tubes_list(service_bench *bench, base_arena *arena, size_t *count) {
    size_t parts = circuit_parts(bench->amp), room = 0;
    *count = 0;
    for (size_t i = 0; i < parts; i++)
        if (circuit_part_at(bench->amp, i)->kind == CIRCUIT_TUBE) room += TUBE_UNITS;
    service_tube *tube = base_arena_take(arena, room + 1, sizeof *tube);
    for (size_t i = 0; tube && i < parts; i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        for (int unit = 0; part->kind == CIRCUIT_TUBE && unit < part->tube->units; unit++)
            if (tube_line(bench, (int)i, unit, &tube[*count])) ++*count;
    }
    return tube;
}

/* ---- rectifiers ---------------------------------------------------------------------------- */

bool service_rectifiers_list(service_bench *bench, service_chart *chart) {
    size_t parts = circuit_parts(bench->amp);
    chart->rectifier = base_arena_take(chart->arena, parts + 1, sizeof *chart->rectifier);
    if (!chart->rectifier) return false;
    for (size_t i = 0; i < parts; i++) {
        const circuit_part *part = circuit_part_at(bench->amp, i);
        service_rectifier *line = &chart->rectifier[chart->rectifiers];
        if (part->kind != CIRCUIT_RECTIFIER ||
            !solve_supply_at(bench->work, bench->numbers, bench->x, (int)i, &line->supply))
            continue;
        line->name = part->name;
        line->dc_limit_a = line->peak_limit_a = NAN;
        line->inverse_limit_v = line->first_cap_limit_f = NAN;
        chart->rectifiers++;
        if (part->rectifier.tube < 0) continue;
        const circuit_part *tube = circuit_part_at(bench->amp, (size_t)part->rectifier.tube);
        line->name = tube->name;
        line->dc_limit_a = service_limit(tube->tube, 0, TUBE_DC_A, NULL);
        line->peak_limit_a = service_limit(tube->tube, 0, TUBE_PEAK_PLATE_A, NULL);
        line->inverse_limit_v = service_limit(tube->tube, 0, TUBE_PEAK_INVERSE_V, NULL);
        line->first_cap_limit_f = service_limit(tube->tube, 0, TUBE_FIRST_CAP_F, NULL);
    }
    return true;
}
