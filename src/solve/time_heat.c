/* Heaters in time: how far each cathode has warmed. */
#include <math.h>
#include <string.h>

#include "time_impl.h"

/* Seconds until a cathode gives half of its emission, its heater on the rated volts from cold. The
 * manuals give no such figure but for the series-string types, which are made for 11 s (from
 * memory); these are what is seen on the bench: common practice, no source. */
#define FILAMENT_S 1.2
#define RECTIFIER_S 12.0
#define SMALL_S 8.0
#define POWER_S 11.0
#define POWER_HEATER_W 2.6
#define HALF_AT 0.7 /* of the rated current: tube_heater_emission */

/* A cold heater has a sixth of its hot ohms, and its wire is hot long before the cathode that it
 * warms. Common practice, no source. */
#define COLD_PART (1.0 / 6)
#define WIRE_S 1.5

/* A filament that is its own cathode; the 5AR4's cathode is only joined to one. */
static bool is_filament(const tube_type *type) {
    if (!type->direct) return false;
    for (int pin = 1; pin <= type->pins; pin++)
        if (type->pin[pin].electrode == TUBE_CATHODE)
            return type->pin[pin].written && strstr(type->pin[pin].written, "filament");
    return false;
}

static double lag_of(const tube_type *type, bool rectifier) {
    double half = SMALL_S;
    if (is_filament(type))
        half = FILAMENT_S;
    else if (rectifier)
        half = RECTIFIER_S;
    else if (type->heater_v * type->heater_a > POWER_HEATER_W)
        half = POWER_S;
    return half / -log(1 - HALF_AT);
}

static const circuit_part *part_of(const solve_run *run, int index) {
    return circuit_part_at(run->system->amp, (size_t)index);
}

/* Those of units first, then those of rectifiers; lag 0: no tube. */
void time_heats_make(solve_run *run) {
    const solve_system *system = run->system;
    time_heat *heat = run->heat;
    for (size_t i = 0; i < system->units; i++, heat++) {
        heat->heat = system->unit[i].heat;
        heat->lag = lag_of(part_of(run, system->unit[i].part)->tube, false);
    }
    for (size_t i = 0; i < system->cycles; i++, heat++) {
        int tube = part_of(run, system->cycle[i].part)->rectifier.tube;
        heat->heat = system->cycle[i].heat;
        heat->lag = tube < 0 ? 0 : lag_of(part_of(run, tube)->tube, true);
    }
}

/* ---- the heater layer ---- */

/* Its volts are a linear matter, and no other volts enter: solved alone. */
static bool solve_layer(solve_run *run) {
    const solve_system *system = run->system;
    solve_work *work = run->work;
    solve_fix(work, run->numbers);
    memcpy(work->value, work->fixed, ((size_t)system->nonzeros + 1) * sizeof *work->value);
    memset(work->step, 0, (size_t)system->unknowns * sizeof *work->step);
    for (size_t i = 0; i < system->branches; i++) {
        const solve_branch *branch = &system->branch[i];
        double current = work->emf[i] * work->siemens[i];
        if (branch->a >= 0) work->step[branch->a] += current;
        if (branch->b >= 0) work->step[branch->b] -= current;
    }
    if (!solve_factor(work, true)) return false;
    klu_solve(system->symbolic, work->numeric, system->unknowns, 1, work->step, &work->common);
    return true;
}

/* Watts in all heaters, lamps and resistors of the layer. */
static double layer_watts(const solve_run *run) {
    const solve_work *work = run->work;
    double watts = 0;
    for (size_t i = 0; i < run->system->branches; i++) {
        const solve_branch *branch = &run->system->branch[i];
        if (!branch->heater || branch->source) continue;
        double volts = solve_at(work->step, branch->a) - solve_at(work->step, branch->b);
        watts += volts * volts * work->siemens[i];
    }
    return watts;
}

solve_outcome time_heats_aim(solve_run *run) {
    size_t heats = run->system->units + run->system->cycles;
    for (size_t i = 0; i < heats; i++)
        run->heat[i].start = time_heat_now(run, &run->heat[i], run->seconds);
    if (!solve_layer(run))
        return run->work->common.status == KLU_OUT_OF_MEMORY ? SOLVE_NO_MEMORY : SOLVE_SINGULAR;
    bool on = run->numbers[run->system->mains] > 0;
    run->since = run->seconds;
    run->settled = false;
    run->heater_w = layer_watts(run);
    for (size_t i = 0; i < heats; i++) {
        time_heat *heat = &run->heat[i];
        bool drawn = heat->heat.branches > 0;
        heat->target = drawn ? solve_heat_ratio(run->work, &heat->heat, run->work->step) : on;
    }
    return SOLVE_CONVERGED;
}

void time_heats_start(solve_run *run, bool hot) {
    size_t heats = run->system->units + run->system->cycles;
    for (size_t i = 0; i < heats; i++)
        run->heat[i].start = hot ? run->heat[i].target : 0;
    run->settled = false;
}

/* ---- now ---- */

double time_heat_now(const solve_run *run, const time_heat *heat, double seconds) {
    if (!(heat->lag > 0)) return 1;
    double left = exp(-(seconds - run->since) / heat->lag);
    return heat->target + (heat->start - heat->target) * left;
}

#define SETTLED_LAGS 40 /* after so many nothing is left that a double could show */

void time_emissions_at(solve_run *run, double seconds) {
    const solve_system *system = run->system;
    if (run->settled) return;
    run->settled = true;
    for (size_t i = 0; i < system->units + system->cycles; i++) {
        double slope, warm = 1;
        bool there = run->heat[i].start == run->heat[i].target;
        if (run->heat[i].lag > 0 && !there)
            run->settled &= seconds - run->since > SETTLED_LAGS * run->heat[i].lag;
        if (run->heat[i].lag > 0)
            warm = tube_heater_emission(time_heat_now(run, &run->heat[i], seconds), &slope);
        bool unit = i < system->units;
        run->emission[i] = unit ? run->numbers[system->unit[i].emission] * warm : warm;
    }
}

/* ---- what the heaters draw ---- */

static double primary_ohms(const solve_run *run) {
    for (size_t i = 0; i < run->system->slots; i++) {
        const solve_slot *slot = &run->system->slot[i];
        if (slot->part < 0 || slot->what != SOLVE_OHMS) continue;
        const circuit_part *part = part_of(run, slot->part);
        if (part->kind == CIRCUIT_WINDING && part->winding.primary) return run->numbers[i];
    }
    return 0;
}

/* The heaters' ohms as the mains sees them; the primary's stay as they are. */
double time_heater_amperes(const solve_run *run, double volts) {
    double rms = run->numbers[run->system->mains];
    if (!(run->heater_w > 0) || !(rms > 0)) return 0;
    double ohms = rms * rms / run->heater_w, copper = fmin(primary_ohms(run), 0.9 * ohms);
    double wire = run->started_hot ? 1 : 1 - exp(-run->seconds / WIRE_S);
    double part = COLD_PART + (1 - COLD_PART) * wire;
    return volts / ((ohms - copper) * part + copper);
}

double solve_run_warmth(const solve_run *run, int part) {
    const solve_system *system = run->system;
    for (size_t i = 0; i < system->units + system->cycles; i++) {
        bool unit = i < system->units;
        int owner = unit ? system->unit[i].part
                         : part_of(run, system->cycle[i - system->units].part)->rectifier.tube;
        if (owner == part && part >= 0) return time_heat_now(run, &run->heat[i], run->seconds);
    }
    return NAN;
}
