/* Powerup: an amp followed from the switch to rest, and off again. */
#include "powerup_impl.h"

#define SETTLED 0.05 /* of the volts at rest */
#define PHASES 12    /* instants of the mains at which the switch is tried */
#define SCAN_S 0.1
#define TOLERANCE                                                                                  \
    1e-4 /* of the long way from cold to rest; the surge and rest are followed finely */
#define OFF_LOOK_S 0.2

/* ---- looking ---- */

/* Within the last `span` seconds before it is switched off? */
static bool at_rest(const follower *f, double seconds, double span) {
    return seconds > f->out->on_s - span + 1e-9 && seconds <= f->out->on_s;
}

static void look_at_capacitor(follower *f, size_t i, double seconds, double span) {
    service_powerup_capacitor *one = &f->out->capacitor[i];
    double volts = powerup_volts(f, i), mean = (volts + f->last_v[i]) / 2;
    f->last_v[i] = volts;
    if (fabs(volts) > fabs(one->peak_v)) one->peak_v = volts, one->peak_s = seconds;
    one->reverse_v = fmax(one->reverse_v, -volts);
    f->cycle_sum[i] += span * mean;
    if (at_rest(f, seconds, REST_S)) f->rest_sum[i] += span * mean;
    if (seconds > f->out->on_s && fabs(volts) > SERVICE_ES1_DC_V) one->off_60_s = seconds;
    if (!at_rest(f, seconds, REST_CYCLES / f->hertz)) return;
    f->rest_low[i] = fmin(f->rest_low[i], volts);
    f->rest_high[i] = fmax(f->rest_high[i], volts);
}

static void look_at_outputs(follower *f, double seconds, double span) {
    for (size_t i = 0; i < f->out->rectifiers; i++) {
        double volts = powerup_output(f, i), mean = (volts + f->last_out[i]) / 2;
        f->last_out[i] = volts;
        if (at_rest(f, seconds, REST_S)) f->rest_out[i] += span * mean;
    }
    if (at_rest(f, seconds, REST_S)) f->rest_s += span;
}

static void look_at_currents(follower *f, double seconds, double span) {
    service_powerup *out = f->out;
    bool fine = at_rest(f, seconds, REST_CYCLES / f->hertz);
    if (fine) f->fine_s += span;
    for (size_t i = 0; i < out->rectifiers; i++) {
        service_powerup_rectifier *one = &out->rectifier[i];
        double side, all = powerup_amperes(f, i, &side);
        if (side > one->peak_a) one->peak_a = side, one->peak_s = seconds;
        if (!fine) continue;
        one->working_peak_a = fmax(one->working_peak_a, side);
        double first = solve_run_side(f->run, f->source[i], 0);
        f->side_square[i] += span * first * first;
        f->sum_a[i] += span * all;
    }
    for (size_t i = 0; fine && i < out->fuses; i++) {
        double amperes = powerup_fuse_amperes(f, i);
        f->fuse_square[i] += span * amperes * amperes;
    }
}

/* A cycle of the mains is over: its means are kept. */
static void end_cycle(follower *f) {
    size_t many = f->out->capacitors;
    if (f->cycles < f->cycle_room)
        for (size_t i = 0; i < many; i++)
            f->mean[f->cycles * many + i] = (float)(f->cycle_sum[i] / f->cycle_s);
    f->cycles++;
    memset(f->cycle_sum, 0, many * sizeof *f->cycle_sum);
    f->cycle_s = 0;
}

static bool look(void *own, const solve_run *run) {
    follower *f = own;
    double seconds = solve_run_seconds(run), span = seconds - f->last;
    f->last = seconds;
    f->cycle_s += span;
    for (size_t i = 0; i < f->out->capacitors; i++)
        look_at_capacitor(f, i, seconds, span);
    look_at_outputs(f, seconds, span);
    if (seconds <= f->out->on_s) look_at_currents(f, seconds, span);
    powerup_draw(f);
    if (seconds * f->hertz >= (double)(f->cycles + 1) - 1e-6 && seconds <= f->out->on_s)
        end_cycle(f);
    return true;
}

/* ---- running ---- */

static bool failed(follower *f, solve_outcome outcome) {
    base_place place = {.file = circuit_about_of(f->amp)->file};
    if (outcome == SOLVE_NO_MEMORY)
        base_errors_add(f->errors, BASE_MEMORY, place, "no memory left|close other programs");
    else
        base_errors_add(f->errors, BASE_UNSOLVED, place,
                        "the amp could not be followed from the switch on: %s at %.3g s|look at "
                        "the supply in the file: gridleak check says what is odd",
                        solve_outcome_text(outcome), solve_run_seconds(f->run));
    return false;
}

/* On to `seconds` with a look at least every `span`. */
static solve_outcome finely(follower *f, double seconds, double span, solve_look *look) {
    solve_outcome outcome = SOLVE_CONVERGED;
    double from = solve_run_seconds(f->run);
    for (double n = 1; outcome == SOLVE_CONVERGED && from + n * span < seconds; n++)
        outcome = solve_run_to(f->run, from + n * span, look, f);
    return outcome == SOLVE_CONVERGED ? solve_run_to(f->run, seconds, look, f) : outcome;
}

/* From cycle to cycle, so that each one's mean can be told from the next. */
static solve_outcome freely(follower *f, double seconds) {
    return finely(f, seconds, 1 / f->hertz, look);
}

static solve_outcome follow(follower *f, const solve_course *course) {
    const service_powerup *out = f->out;
    double fine = 1 / (FINE_PER_CYCLE * f->hertz);
    double first = ceil(START_S * f->hertz) / f->hertz;
    double last = out->on_s - REST_S;
    solve_outcome outcome = solve_run_start(f->run, course, NULL);
    if (outcome == SOLVE_CONVERGED) outcome = finely(f, first, fine, look);
    if (outcome == SOLVE_CONVERGED) outcome = freely(f, last);
    if (outcome == SOLVE_CONVERGED) outcome = finely(f, out->on_s, fine, look);
    return outcome == SOLVE_CONVERGED ? finely(f, out->off_s, OFF_LOOK_S, look) : outcome;
}

static bool follow_all(follower *f) {
    service_powerup *out = f->out;
    solve_change change[17];
    size_t changes = 0;
    for (int k = 0; f->standby[k] >= 0 && changes < 16; k++) {
        int slot = f->standby[k];
        change[changes++] = (solve_change){SERVICE_STANDBY_S, slot, f->numbers[slot]};
        f->numbers[slot] = OPEN_OHMS;
    }
    int mains = solve_slot_find(f->system, -1, SOLVE_MAINS, 0);
    change[changes++] = (solve_change){out->on_s, mains, 0};
    solve_course course = {
        .numbers = f->numbers, .tolerance = TOLERANCE, .change = change, .changes = changes};
    solve_outcome outcome = follow(f, &course);
    for (int k = 0; f->standby[k] >= 0; k++)
        f->numbers[f->standby[k]] = solve_nominal(f->system)[f->standby[k]];
    return outcome == SOLVE_CONVERGED || failed(f, outcome);
}

/* ---- the worst instant to switch on ---- */

struct surge { /* one start, finely followed for a tenth of a second */
    double last;
    bool warm;
    double *cycle, *tenth, *peak; /* by fuse */
};

static bool look_at_surge(void *own, const solve_run *run) {
    follower *f = own;
    surge *s = f->surge;
    double seconds = solve_run_seconds(run), span = seconds - s->last;
    s->last = seconds;
    for (size_t i = 0; s->warm && i < f->out->rectifiers; i++) {
        double side;
        powerup_amperes(f, i, &side);
        f->out->rectifier[i].again_a = fmax(f->out->rectifier[i].again_a, side);
    }
    for (size_t i = 0; i < f->out->fuses; i++) {
        double amperes = powerup_fuse_amperes(f, i), heat = span * amperes * amperes;
        bool first = seconds * f->hertz <= 1;
        s->tenth[i] += heat;
        if (first) s->cycle[i] += heat;
        if (first) s->peak[i] = fmax(s->peak[i], fabs(amperes));
    }
    return true;
}

static void keep_surge(follower *f, const surge *s) {
    for (size_t i = 0; i < f->out->fuses; i++) {
        service_powerup_fuse *one = &f->out->fuse[i];
        one->peak_a = fmax(one->peak_a, s->peak[i]);
        one->cycle_i2t = fmax(one->cycle_i2t, s->cycle[i]);
        one->tenth_i2t = fmax(one->tenth_i2t, s->tenth[i]);
    }
}

/* Every twelfth of a cycle, cold and with warm tubes. */
static bool scan(follower *f) {
    double room[3 * SURGE_FUSES];
    for (int k = 0; k < 2 * PHASES; k++) {
        memset(room, 0, sizeof room);
        surge s = {0, k % 2 == 1, room, room + SURGE_FUSES, room + 2 * SURGE_FUSES};
        solve_course course = {
            .numbers = f->numbers, .phase = M_PI * (k / 2) / (0.5 * PHASES), .warm = s.warm};
        f->surge = &s;
        solve_outcome outcome = solve_run_start(f->run, &course, NULL);
        if (outcome == SOLVE_CONVERGED)
            outcome = finely(f, SCAN_S, 1 / (FINE_PER_CYCLE * f->hertz), look_at_surge);
        if (outcome != SOLVE_CONVERGED) return failed(f, outcome);
        keep_surge(f, &s);
    }
    return true;
}

/* ---- what comes of it ---- */

/* The end of the last cycle whose mean was farther than that from rest. */
static double settled(const follower *f, size_t index, double working) {
    size_t many = f->out->capacitors, count = f->cycles < f->cycle_room ? f->cycles : f->cycle_room;
    if (!(fabs(working) > 1)) return NAN;
    size_t last = count;
    while (last > 0 &&
           fabs(f->mean[(last - 1) * many + index] - working) <= SETTLED * fabs(working))
        last--;
    return last == count ? NAN : (double)last / f->hertz;
}

static void sum_capacitors(follower *f) {
    service_powerup *out = f->out;
    for (size_t i = 0; i < out->capacitors; i++) {
        service_powerup_capacitor *one = &out->capacitor[i];
        const circuit_part *part = circuit_part_at(f->amp, (size_t)one->index);
        one->working_v = f->rest_sum[i] / f->rest_s;
        one->ripple_v = f->rest_high[i] - f->rest_low[i];
        one->settled_s = settled(f, i, one->working_v);
        one->off_v = powerup_volts(f, i);
        if (one->off_60_s > 0) one->off_60_s -= out->on_s;
        if (fabs(one->off_v) > SERVICE_ES1_DC_V) one->off_60_s = INFINITY;
        if (part->material != CIRCUIT_ELECTROLYTIC) one->reverse_v = 0;
    }
}

static void rest_of_rectifier(follower *f, size_t index) {
    service_powerup_rectifier *line = &f->out->rectifier[index];
    const circuit_part *part = circuit_part_at(f->amp, (size_t)f->source[index]);
    line->working_rms_a = sqrt(f->side_square[index] / f->fine_s);
    line->working_a = f->sum_a[index] / f->fine_s;
    if (part->rectifier.form == CIRCUIT_DOUBLER) line->working_a /= 2;
    line->working_v = f->rest_out[index] / f->rest_s;
    line->settled_s = line->ripple_v = NAN;
    for (size_t i = 0; i < f->out->capacitors && isnan(line->settled_s); i++) {
        const service_powerup_capacitor *one = &f->out->capacitor[i];
        const circuit_part *store = circuit_part_at(f->amp, (size_t)one->index);
        bool there = store->end[0] == part->end[0] || store->end[1] == part->end[0];
        if (there) line->settled_s = one->settled_s, line->ripple_v = one->ripple_v;
    }
}

static bool sum_rectifiers(follower *f) {
    size_t size = solve_unknowns(f->system);
    double *x = base_arena_take(f->out->arena, size, sizeof *x);
    if (!x) return failed(f, SOLVE_NO_MEMORY);
    solve_result result = solve_point(f->work, f->numbers, NULL, x);
    for (size_t i = 0; i < f->out->rectifiers; i++) {
        service_powerup_rectifier *line = &f->out->rectifier[i];
        solve_supply supply;
        rest_of_rectifier(f, i);
        if (result.outcome > SOLVE_CONTINUED) continue;
        if (!solve_supply_at(f->work, f->numbers, x, f->source[i], &supply)) continue;
        line->first_cap_f = supply.first_cap_f;
        line->source_ohms = supply.source_ohms[0];
    }
    for (size_t i = 0; i < f->out->fuses; i++)
        f->out->fuse[i].running_a = sqrt(f->fuse_square[i] / f->fine_s);
    return true;
}

static int nearest_first(const void *a, const void *b) {
    const service_powerup_capacitor *one = a, *other = b;
    double x = fabs(one->peak_v) / one->rating_v, y = fabs(other->peak_v) / other->rating_v;
    if (isnan(x) != isnan(y)) return isnan(x) ? -1 : 1;
    if (x != y && !isnan(x)) return x < y ? 1 : -1;
    return one->index - other->index;
}

static double core_amperes(const follower *f) {
    for (size_t i = 0; i < circuit_parts(f->amp); i++) {
        const circuit_part *part = circuit_part_at(f->amp, i);
        if (part->kind != CIRCUIT_WINDING || !part->winding.primary) continue;
        int slot = solve_slot_find(f->system, (int)i, SOLVE_OHMS, 0);
        return sqrt(2) * f->out->mains_v / f->numbers[slot];
    }
    return NAN;
}

/* ---- the whole ---- */

static bool make_room(follower *f) {
    base_arena *arena = f->out->arena;
    size_t many = f->out->capacitors + 1, lines = f->out->rectifiers + f->out->fuses + 1;
    f->cycle_room = (size_t)ceil(f->out->on_s * f->hertz) + 1;
    double **lists[] = {&f->cycle_sum, &f->rest_sum, &f->rest_low, &f->rest_high, &f->last_v};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++)
        if (!(*lists[i] = base_arena_take(arena, many, sizeof(double)))) return false;
    double **sums[] = {&f->side_square, &f->sum_a, &f->fuse_square, &f->rest_out, &f->last_out};
    for (size_t i = 0; i < sizeof sums / sizeof *sums; i++)
        if (!(*sums[i] = base_arena_take(arena, lines, sizeof(double)))) return false;
    for (size_t i = 0; i < many; i++)
        f->rest_low[i] = INFINITY, f->rest_high[i] = -INFINITY;
    f->mean = base_arena_take(arena, f->cycle_room * many, sizeof *f->mean);
    return f->mean != NULL;
}

static bool take_numbers(follower *f, double mains) {
    size_t slots = solve_slots(f->system);
    f->numbers = base_arena_take(f->out->arena, slots, sizeof(double));
    f->run = solve_run_new(f->system);
    f->work = solve_work_new(f->system);
    if (!f->numbers || !f->run || !f->work) return false;
    memcpy(f->numbers, solve_nominal(f->system), slots * sizeof(double));
    int slot = solve_slot_find(f->system, -1, SOLVE_MAINS, 0);
    if (isfinite(mains)) f->numbers[slot] = mains;
    f->out->mains_v = f->numbers[slot];
    return true;
}

static bool powerup_run(follower *f, const service_powerup_asked *asked) {
    service_powerup *out = f->out;
    if (!take_numbers(f, asked->mains)) return failed(f, SOLVE_NO_MEMORY);
    if (!powerup_list(f)) return false;
    if (!make_room(f) || !powerup_plots(f)) return failed(f, SOLVE_NO_MEMORY);
    if (!scan(f) || !follow_all(f)) return false;
    sum_capacitors(f);
    if (!sum_rectifiers(f)) return false;
    out->core_a = core_amperes(f);
    powerup_plots_end(f);
    qsort(out->capacitor, out->capacitors, sizeof *out->capacitor, nearest_first);
    return powerup_words(f) || failed(f, SOLVE_NO_MEMORY);
}

service_powerup *service_powerup_new(const solve_system *system, const service_powerup_asked *asked,
                                     base_errors *errors) {
    base_arena *arena = base_arena_new();
    service_powerup *out = arena ? base_arena_take(arena, 1, sizeof *out) : NULL;
    const circuit_about *about = circuit_about_of(solve_circuit(system));
    if (!out) {
        base_arena_free(arena);
        base_errors_add(errors, BASE_MEMORY, (base_place){.file = about->file},
                        "no memory left|close other programs");
        return NULL;
    }
    *out = (service_powerup){.arena = arena, .amp = about->name, .mains_hz = about->mains_hertz};
    out->standby = asked->standby ? "" : NULL;
    out->on_s = SERVICE_POWERUP_S + (asked->standby ? SERVICE_STANDBY_S : 0);
    out->off_s = out->on_s + SERVICE_OFF_S;
    follower f = {.system = system,
                  .amp = solve_circuit(system),
                  .out = out,
                  .errors = errors,
                  .hertz = about->mains_hertz};
    bool done = powerup_run(&f, asked);
    solve_run_free(f.run);
    solve_work_free(f.work);
    if (done) return out;
    service_powerup_free(out);
    return NULL;
}

void service_powerup_free(service_powerup *powerup) {
    if (powerup) base_arena_free(powerup->arena);
}
