/* What symptoms follow from beyond volts: how warm, how hot, how much current, what swings. */
#include "symptoms_impl.h"

#include <math.h>

#define SLOW_HERTZ 20.0
#define QUICK_HERTZ 200.0

/* Watts beside the rating, at a plate or a screen; 0 where no rating is stated. */
static double over_rating(const tube_type *type, int unit, tube_limit limit, double watts) {
    for (size_t i = 0; i < type->ratings; i++) {
        const tube_rating *rating = &type->rating[i];
        if (rating->unit >= 0 && rating->unit != unit) continue;
        if (rating->limit[limit] > 0) return watts / rating->limit[limit];
    }
    return 0;
}

static void put_tube(const diagnose_engine *engine, const double *numbers, const double *x,
                     int part, double *field) {
    const tube_type *type = circuit_part_at(engine->bench.amp, (size_t)part)->tube;
    field[0] = NAN;
    for (int unit = 0; unit < type->units; unit++) {
        solve_tube tube;
        if (!solve_tube_at(engine->here->work, numbers, x, part, unit, &tube)) continue;
        double plate = fabs(tube.volts.plate * tube.plate_a);
        double screen = fabs(tube.volts.screen * tube.screen_a);
        if (!(tube.heater_ratio > field[0])) field[0] = tube.heater_ratio;
        field[1] = fmax(field[1], over_rating(type, unit, TUBE_PLATE_W, plate));
        field[2] = fmax(field[2], over_rating(type, unit, TUBE_SCREEN_W, screen));
    }
}

size_t diagnose_state_width(const diagnose_engine *engine) {
    size_t width = 1;
    for (size_t i = 0; i < circuit_parts(engine->bench.amp); i++)
        width += 3 * (circuit_part_at(engine->bench.amp, i)->kind == CIRCUIT_TUBE);
    return width;
}

int diagnose_state_of(const diagnose_engine *engine, int part) {
    int at = 1;
    for (int i = 0; i < part; i++)
        at += 3 * (circuit_part_at(engine->bench.amp, (size_t)i)->kind == CIRCUIT_TUBE);
    return at;
}

/* [0]: what all rectifiers give, A; then of each tube its heater's ratio and its plate's and
 * screen's watts beside their ratings. */
void diagnose_state_fill(diagnose_engine *engine, const double *numbers, const double *x,
                         double *field) {
    size_t at = 1;
    field[0] = 0;
    for (size_t i = 0; i < circuit_parts(engine->bench.amp); i++) {
        const circuit_part *part = circuit_part_at(engine->bench.amp, i);
        solve_supply supply;
        if (part->kind == CIRCUIT_RECTIFIER &&
            solve_supply_at(engine->here->work, numbers, x, (int)i, &supply))
            field[0] += fabs(supply.rms_a);
        if (part->kind != CIRCUIT_TUBE) continue;
        put_tube(engine, numbers, x, (int)i, &field[at]);
        at += 3;
    }
}

/* Of the tremolo: does it swing, its hertz, growth and reach; then how many modes rise slowly. */
bool diagnose_swing_fill(diagnose_engine *engine, solve_signal *signal, double *field) {
    const solve_tremolo *tremolo = &engine->scenes->tremolo;
    solve_mode mode[SOLVE_MODES_MOST];
    solve_swing swing;
    size_t count = 0;
    if (solve_slow_modes(signal, SLOW_HERTZ, mode, SOLVE_MODES_MOST, &count) != SOLVE_CONVERGED)
        return false;
    field[4] = 0;
    for (size_t i = 0; i < count; i++)
        field[4] += solve_mode_rises(&mode[i]) && mode[i].hertz > 0 && mode[i].hertz < SLOW_HERTZ;
    if (solve_swing_small(signal, tremolo->part, tremolo->unit, &swing) != SOLVE_CONVERGED)
        return false;
    field[0] = swing.swings;
    field[1] = swing.hertz;
    field[2] = swing.growth;
    field[3] = swing.reach;
    return true;
}

/* How many modes rise that are heard as a tone. */
bool diagnose_quick_fill(solve_signal *signal, double *field) {
    solve_mode mode[SOLVE_MODES_MOST];
    size_t count = 0;
    if (solve_modes(signal, mode, SOLVE_MODES_MOST, &count) != SOLVE_CONVERGED) return false;
    field[0] = 0;
    for (size_t i = 0; i < count; i++)
        field[0] += solve_mode_rises(&mode[i]) && mode[i].hertz > QUICK_HERTZ;
    return true;
}

bool diagnose_tremolo_of(diagnose_engine *engine, solve_tremolo *tremolo) {
    diagnose_scenes *scenes = diagnose_scenes_of(engine);
    if (!scenes) return false;
    if (!scenes->tremolo_sought) {
        solve_trial at = {scenes->signal, engine->bench.work, engine->bench.numbers,
                          engine->bench.x};
        scenes->tremolo = (solve_tremolo){.part = -1, .unit = -1};
        if (!diagnose_visit(engine, &engine->point[0])) return false;
        solve_signal_set(scenes->signal, engine->bench.work, engine->bench.numbers,
                         engine->bench.x);
        solve_tremolo_find(&at, &scenes->tremolo);
        scenes->tremolo_sought = true;
    }
    *tremolo = scenes->tremolo;
    return true;
}
