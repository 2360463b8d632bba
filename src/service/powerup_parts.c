/* What is followed while an amp starts: its capacitors, rectifiers, fuses and standby switches. */
#include "powerup_impl.h"

#include <strings.h>

#define FILTER_RATING_V 100.0
#define LINES_MOST 6

/* IEC 60127-2 (from memory): a fast fuse bears four times its rating for 10 ms at least, a time-lag
 * one ten times for 20 ms. In less time the wire loses less heat: the same A2s is the most. */
#define FAST_I2T (4.0 * 4.0 * 0.010)
#define SLOW_I2T (10.0 * 10.0 * 0.020)

static bool both_known(const follower *f, const circuit_part *part) {
    for (int k = 0; k < 2; k++) {
        solve_probe probe = {.plus = part->end[k], .meter_ohms = INFINITY};
        if (part->end[k] < 0) return false;
        if (part->end[k] > 0 && !solve_probe_exists(f->system, &probe)) return false;
    }
    return true;
}

static const circuit_part *part_at(const follower *f, int index) {
    return circuit_part_at(f->amp, (size_t)index);
}

/* ---- capacitors ---- */

static void add_capacitor(follower *f, int index, const circuit_part *part) {
    int node = part->end[part->end[0] == 0 ? 1 : 0];
    f->out->capacitor[f->out->capacitors++] = (service_powerup_capacitor){
        .part = part->name,
        .node = circuit_node_at(f->amp, (size_t)node)->name,
        .index = index,
        .farads = part->value,
        .rating_v = part->volts,
        .settled_s = NAN,
        .filter = part->material == CIRCUIT_ELECTROLYTIC && !(part->volts < FILTER_RATING_V)};
}

double powerup_volts(const follower *f, size_t index) {
    const circuit_part *part = part_at(f, f->out->capacitor[index].index);
    return solve_run_volts(f->run, part->end[0]) - solve_run_volts(f->run, part->end[1]);
}

/* The nodes of the filter capacitors, each once. */
static void list_lines(follower *f) {
    int lines = 0;
    for (size_t i = 0; i < f->out->capacitors && lines < LINES_MOST; i++) {
        const service_powerup_capacitor *one = &f->out->capacitor[i];
        const circuit_part *part = part_at(f, one->index);
        int node = part->end[part->end[0] == 0 ? 1 : 0];
        bool known = !one->filter;
        for (int k = 0; k < lines; k++)
            known = known || f->line[k] == node;
        if (!known) f->line[lines++] = node;
    }
    f->line[lines] = -1;
}

/* ---- rectifiers ---- */

static void limits_of(const follower *f, const circuit_part *part,
                      service_powerup_rectifier *line) {
    line->peak_limit_a = line->dc_limit_a = line->first_cap_limit_f = line->source_limit_ohms = NAN;
    if (part->rectifier.tube < 0) return;
    const tube_type *type = part_at(f, part->rectifier.tube)->tube;
    line->type = type->name;
    line->peak_limit_a = service_limit(type, 0, TUBE_PEAK_PLATE_A, NULL);
    line->dc_limit_a = service_limit(type, 0, TUBE_DC_A, NULL);
    line->first_cap_limit_f = service_limit(type, 0, TUBE_FIRST_CAP_F, NULL);
    line->source_limit_ohms = service_limit(type, 0, TUBE_SOURCE_OHMS, NULL);
}

static void add_rectifier(follower *f, int index, const circuit_part *part) {
    service_powerup_rectifier *line = &f->out->rectifier[f->out->rectifiers];
    *line = (service_powerup_rectifier){.name = part->name};
    limits_of(f, part, line);
    f->source[f->out->rectifiers++] = index;
}

double powerup_output(const follower *f, size_t rectifier) {
    const circuit_part *part = part_at(f, f->source[rectifier]);
    return solve_run_volts(f->run, part->end[0]) - solve_run_volts(f->run, part->end[1]);
}

double powerup_amperes(const follower *f, size_t rectifier, double *side) {
    double sum = 0, most = 0;
    for (int k = 0; k < 2; k++) {
        double one = solve_run_side(f->run, f->source[rectifier], k);
        if (!isfinite(one)) continue;
        sum += one;
        most = fmax(most, one);
    }
    if (side) *side = most;
    return sum;
}

/* ---- fuses ---- */

/* The rectifier in whose leads the fuse stands, or -1. */
static int fed_through(const follower *f, int fuse) {
    for (size_t i = 0; i < f->out->rectifiers; i++) {
        const circuit_rectifier *from = &part_at(f, f->source[i])->rectifier;
        for (int k = 0; k < 4 && from->through[k] >= 0; k++)
            if (from->through[k] == fuse) return (int)i;
    }
    return -1;
}

/* Does one of its ends stand at the wall? Then the heaters' current is in it too. */
static bool at_wall(const follower *f, const circuit_part *fuse) {
    for (int k = 0; k < 2; k++) {
        const char *name =
            fuse->end[k] > 0 ? circuit_node_at(f->amp, (size_t)fuse->end[k])->name : "";
        if (strcasecmp(name, "line") == 0 || strcasecmp(name, "neutral") == 0) return true;
    }
    return false;
}

/* Does it stand between a rectifier's winding and its way back? */
static bool at_winding(const follower *f, const circuit_part *fuse) {
    for (size_t i = 0; i < f->out->rectifiers; i++) {
        int winding = part_at(f, f->source[i])->rectifier.winding;
        for (int end = 0; winding >= 0 && end < part_at(f, winding)->ends; end++) {
            int node = part_at(f, winding)->end[end];
            if (node > 0 && (fuse->end[0] == node || fuse->end[1] == node)) return true;
        }
    }
    return false;
}

static void add_fuse(follower *f, int index, const circuit_part *part) {
    bool lead = fed_through(f, index) >= 0 || at_winding(f, part);
    bool known = both_known(f, part), wall = !known && at_wall(f, part);
    const char *where = lead && !wall ? "high voltage" : known ? "supply" : "mains";
    double rating = part->value, square = rating * rating;
    f->out->fuse[f->out->fuses] = (service_powerup_fuse){.name = part->name,
                                                         .where = where,
                                                         .rating_a = rating,
                                                         .kind = part->material,
                                                         .fast_i2t = FAST_I2T * square,
                                                         .slow_i2t = SLOW_I2T * square};
    f->fuse[f->out->fuses++] = index;
}

/* A transformer's own nodes are no DC nodes: what is in its leads carries the sides' current. */
static double lead_amperes(const follower *f, int fuse, int rectifier) {
    const circuit_rectifier *from = &part_at(f, f->source[rectifier])->rectifier;
    int side = 0;
    for (int k = 0; k < 4 && from->through[k] >= 0; k++)
        if (from->through[k] == fuse) side = from->side[k];
    double amperes = 0;
    for (int k = 0; k < 2; k++) {
        double one = solve_run_side(f->run, f->source[rectifier], k);
        if (isfinite(one) && (side == 0 || side == k + 1)) amperes += one;
    }
    return amperes;
}

double powerup_fuse_amperes(const follower *f, size_t fuse) {
    int index = f->fuse[fuse], rectifier = fed_through(f, index);
    const circuit_part *part = part_at(f, index);
    if (both_known(f, part)) {
        int slot = solve_slot_find(f->system, index, SOLVE_OHMS, 0);
        double volts =
            solve_run_volts(f->run, part->end[0]) - solve_run_volts(f->run, part->end[1]);
        return volts / f->numbers[slot];
    }
    if (rectifier >= 0 && !at_wall(f, part)) return lead_amperes(f, index, rectifier);
    solve_mains mains = solve_run_mains(f->run);
    return mains.rectifier_a + mains.heater_a;
}

/* ---- standby ---- */

static bool mentions(const char *words, const char *wanted) {
    for (; words && *words; words++)
        if (strncasecmp(words, wanted, strlen(wanted)) == 0) return true;
    return false;
}

static bool list_standby(follower *f) {
    int found = 0;
    const char *names = NULL;
    for (size_t i = 0; i < circuit_parts(f->amp); i++) {
        const circuit_part *part = circuit_part_at(f->amp, i);
        if (part->kind != CIRCUIT_SWITCH || !mentions(part->what, "standby")) continue;
        int slot = solve_slot_find(f->system, (int)i, SOLVE_CONTACT, (int)part->position);
        if (slot < 0) continue;
        f->standby[found++] = slot;
        names =
            names ? base_arena_print(f->out->arena, "%s and %s", names, part->name) : part->name;
    }
    f->standby[found] = -1;
    f->out->standby = names;
    if (found > 0) return true;
    base_errors_add(f->errors, BASE_CIRCUIT, (base_place){.file = circuit_about_of(f->amp)->file},
                    "the amp has no standby switch that is closed in the file|write `does: "
                    "standby` and `position: closed` at its switch, or leave --standby out");
    return false;
}

/* ---- all ---- */

static bool make_room(follower *f) {
    service_powerup *out = f->out;
    size_t parts = circuit_parts(f->amp) + 2;
    out->capacitor = base_arena_take(out->arena, parts, sizeof *out->capacitor);
    out->rectifier = base_arena_take(out->arena, parts, sizeof *out->rectifier);
    out->fuse = base_arena_take(out->arena, SURGE_FUSES, sizeof *out->fuse);
    f->source = base_arena_take(out->arena, parts, sizeof(int));
    f->fuse = base_arena_take(out->arena, SURGE_FUSES, sizeof(int));
    f->line = base_arena_take(out->arena, LINES_MOST + 1, sizeof(int));
    f->standby = base_arena_take(out->arena, parts, sizeof(int));
    if (f->standby) f->standby[0] = -1;
    return out->capacitor && out->rectifier && out->fuse && f->source && f->fuse && f->line &&
           f->standby;
}

static void list_parts(follower *f) {
    for (size_t i = 0; i < circuit_parts(f->amp); i++) {
        const circuit_part *part = circuit_part_at(f->amp, i);
        if (part->kind == CIRCUIT_CAPACITOR && both_known(f, part)) add_capacitor(f, (int)i, part);
        if (part->kind == CIRCUIT_RECTIFIER) add_rectifier(f, (int)i, part);
    }
    for (size_t i = 0; i < circuit_parts(f->amp) && f->out->fuses < SURGE_FUSES; i++)
        if (circuit_part_at(f->amp, i)->kind == CIRCUIT_FUSE)
            add_fuse(f, (int)i, circuit_part_at(f->amp, i));
    list_lines(f);
}

bool powerup_list(follower *f) {
    base_place place = {.file = circuit_about_of(f->amp)->file};
    if (!make_room(f)) {
        base_errors_add(f->errors, BASE_MEMORY, place, "no memory left|close other programs");
        return false;
    }
    list_parts(f);
    if (f->out->rectifiers == 0) {
        base_errors_add(f->errors, BASE_CIRCUIT, place,
                        "the amp has no rectifier, so nothing charges its capacitors|write one "
                        "under `rectifiers`, as `main: {form: full wave, by: V5, from: T1 high "
                        "voltage, out: B1}`");
        return false;
    }
    return !f->out->standby || list_standby(f);
}
