/* Which value of one part brings the amp to a target: tried over decades, then closed in on. */
#include "margins_impl.h"

#define DECADES 3.0 /* each way from the present value */
#define A_DECADE 8  /* values tried in each */
#define TREMOLO_DECADES 1.5
#define TREMOLO_A_DECADE 6
#define TRIED 64
#define CLOSE 1e-5 /* how well the value is found */
#define HALVINGS 40
#define STIRS 1e-3 /* a part that moves the target by less has no part in it */
#define FIT 2.0    /* watts to fit over watts burnt; common practice, no source */

typedef struct finder {
    service_value *out;
    service_bench bench;
    service_margins as_is;
    solve_signal *signal;
    double *start, *numbers; /* the amp as it is; `numbers` by slot, as drawn on this mains */
    int slot[2];             /* of the part's value; [1] -1 but for a pot */
    double value;            /* as drawn */
    double tried[TRIED], got[TRIED];
    int count;
    base_errors *errors;
    bool no_memory;
} finder;

/* ---- one value ----------------------------------------------------------------------------- */

static double tremolo_rate(finder *find) {
    service_bench *bench = &find->bench;
    solve_trial given = {find->signal, bench->work, bench->numbers, bench->x};
    solve_tremolo found;
    solve_signal_set(find->signal, bench->work, bench->numbers, bench->x);
    solve_outcome outcome = solve_tremolo_quick(&given, &found);
    if (outcome == SOLVE_NO_MEMORY) find->no_memory = true;
    return outcome == SOLVE_CONVERGED && found.swing.swings ? found.swing.hertz : NAN;
}

static double measure(finder *find) {
    const service_target *target = &find->out->target;
    service_bench *bench = &find->bench;
    solve_tube at;
    if (target->aim == SERVICE_AIM_TREMOLO) return tremolo_rate(find);
    if (target->aim == SERVICE_AIM_VOLTS)
        return solve_read(bench->work, bench->numbers, bench->x, &target->probe, NULL, NULL);
    if (!solve_tube_at(bench->work, bench->numbers, bench->x, target->part, target->unit, &at))
        return NAN;
    if (target->aim == SERVICE_AIM_PLATE_A) return at.plate_a;
    return target->aim == SERVICE_AIM_SCREEN_W ? at.volts.screen * at.screen_a
                                               : at.volts.plate * at.plate_a;
}

/* Puts the amp at a value of the part; what the target is then, NAN: nothing that can be told. */
static double try_value(finder *find, double value) {
    service_bench *bench = &find->bench;
    memcpy(bench->numbers, find->numbers, solve_slots(bench->system) * sizeof(double));
    for (int k = 0; k < 2; k++)
        if (find->slot[k] >= 0) bench->numbers[find->slot[k]] *= value / find->value;
    solve_result result = solve_point(bench->work, bench->numbers, find->start, bench->x);
    if (result.outcome == SOLVE_NO_MEMORY) find->no_memory = true;
    return result.outcome <= SOLVE_CONTINUED ? measure(find) : NAN;
}

/* ---- all values ---------------------------------------------------------------------------- */

static void try_all(finder *find) {
    bool tremolo = find->out->target.aim == SERVICE_AIM_TREMOLO;
    double decades = tremolo ? TREMOLO_DECADES : DECADES;
    int a_decade = tremolo ? TREMOLO_A_DECADE : A_DECADE, half = (int)(decades * a_decade);
    find->out->least = INFINITY, find->out->most = -INFINITY;
    for (int k = -half; k <= half && !find->no_memory; k++) {
        double value = find->value * pow(10, (double)k / a_decade), got = try_value(find, value);
        find->tried[find->count] = value;
        find->got[find->count++] = got;
        if (isnan(got)) continue;
        find->out->least = fmin(find->out->least, got);
        find->out->most = fmax(find->out->most, got);
    }
}

/* The pair of neighbours between which the target lies, nearest to the present value; -1: none. */
static int bracket(const finder *find) {
    double wanted = find->out->target.wanted;
    int best = -1, middle = find->count / 2;
    for (int i = 0; i + 1 < find->count; i++) {
        double a = find->got[i] - wanted, b = find->got[i + 1] - wanted;
        if (isnan(a) || isnan(b) || (a > 0) == (b > 0)) continue;
        int far = i < middle ? middle - i - 1 : i - middle;
        int best_far = best < middle ? middle - best - 1 : best - middle;
        if (best < 0 || far < best_far) best = i;
    }
    return best;
}

static double close_in(finder *find, int at) {
    double low = find->tried[at], high = find->tried[at + 1], wanted = find->out->target.wanted;
    bool falls = find->got[at] > wanted;
    for (int i = 0; i < HALVINGS && high / low - 1 > CLOSE && !find->no_memory; i++) {
        double middle = sqrt(low * high), got = try_value(find, middle);
        if (isnan(got) || (got > wanted) == falls)
            low = middle;
        else
            high = middle;
    }
    return sqrt(low * high);
}

static int nearest(const finder *find) {
    double wanted = find->out->target.wanted;
    int best = -1;
    for (int i = 0; i < find->count; i++)
        if (!isnan(find->got[i]) &&
            (best < 0 || fabs(find->got[i] - wanted) < fabs(find->got[best] - wanted)))
            best = i;
    return best;
}

/* ---- what a value gives -------------------------------------------------------------------- */

static void hold_against(finder *find, service_value_at *at) {
    service_margins margins = {.arena = find->out->arena};
    service_worst worst;
    at->breaks = at->mends = "";
    if (!service_worst_find(&find->bench, margins.arena, &worst) ||
        !service_margins_fill(&find->bench, &worst, &margins)) {
        find->no_memory = true;
        return;
    }
    at->breaks = service_margins_news(&margins, &find->as_is, find->out->part);
    at->mends = service_margins_news(&find->as_is, &margins, find->out->part);
    if (!at->breaks || !at->mends) find->no_memory = true;
}

static service_value_at look(finder *find, double value) {
    service_value_at at = {.value = value, .watts = NAN, .fit_w = NAN, .across_v = NAN};
    service_bench *bench = &find->bench;
    int index = circuit_part_find(bench->amp, find->out->part);
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    at.breaks = at.mends = "";
    at.reached = try_value(find, value);
    if (solve_point(bench->work, bench->numbers, bench->x, bench->x).outcome > SOLVE_CONTINUED)
        return at;
    if (part->kind != CIRCUIT_POT)
        at.across_v = fabs(service_volts(bench, part->end[0], part->end[1]));
    if (part->kind != CIRCUIT_CAPACITOR) {
        at.watts = solve_part_watts(bench->system, bench->numbers, bench->x, index);
        at.fit_w = service_stock_watts(FIT * at.watts);
    }
    hold_against(find, &at);
    return at;
}

/* ---- out of reach -------------------------------------------------------------------------- */

static const char *figure(const service_target *target, double value, char *buffer, size_t size) {
    static const base_quantity quantities[] = {BASE_WATTS, BASE_WATTS, BASE_AMPERES, BASE_VOLTS,
                                               BASE_HERTZ};
    return service_rounded(value, quantities[target->aim], buffer, size);
}

static const char *written(const finder *find, double value, char *buffer, size_t size) {
    bool farads = find->out->kind == CIRCUIT_CAPACITOR;
    return service_rounded(value, farads ? BASE_FARADS : BASE_OHMS, buffer, size);
}

static bool stirs(const service_value *out) {
    return out->most - out->least > STIRS * fabs(out->most);
}

/* Why no value does it: the part has no say, the end of all values, no operating point beyond, or a
 * turning point. */
static const char *why_not(finder *find, int best) {
    service_value *out = find->out;
    base_arena *arena = out->arena;
    const service_target *target = &out->target;
    char least[32], most[32], from[32], to[32], at[32];
    figure(target, out->least, least, sizeof least);
    figure(target, out->most, most, sizeof most);
    written(find, find->tried[0], from, sizeof from);
    written(find, find->tried[find->count - 1], to, sizeof to);
    written(find, find->tried[best], at, sizeof at);
    if (!stirs(out))
        return base_arena_print(arena,
                                "%s has no say in it: %s stays at %s whatever it is from %s to %s. "
                                "Choose a part in its path.",
                                out->part, target->at, most, from, to);
    bool end = best == 0 || best == find->count - 1;
    bool edge = !end && (isnan(find->got[best - 1]) || isnan(find->got[best + 1]));
    const char *reason =
        end ? "there the rest of the circuit sets it: change another part too"
        : edge && target->aim == SERVICE_AIM_TREMOLO ? "beyond that it no longer starts"
        : edge                                       ? "beyond that the amp has no operating point"
               : "there it turns round: a value to either side takes it further away";
    return base_arena_print(arena, "From %s to %s it gives %s to %s; nearest at %s: %s.", from, to,
                            least, most, at, reason);
}

/* ---- the whole ----------------------------------------------------------------------------- */

static void stock_values(finder *find, double value, double beside[2]) {
    static const double pots[] = {10e3, 25e3, 50e3, 100e3, 250e3, 500e3, 1e6, 2.5e6, 5e6};
    size_t last = sizeof pots / sizeof *pots - 1;
    if (find->out->kind != CIRCUIT_POT) {
        service_stock_beside(value, find->out->kind == CIRCUIT_CAPACITOR ? 6 : 12, beside);
        return;
    }
    beside[0] = pots[0], beside[1] = pots[last];
    for (size_t i = 0; i <= last; i++) {
        if (pots[i] <= value * (1 + SERVICE_SAME)) beside[0] = pots[i];
        if (pots[last - i] >= value * (1 - SERVICE_SAME)) beside[1] = pots[last - i];
    }
}

static base_code search(finder *find) {
    service_value *out = find->out;
    double beside[2];
    out->now = look(find, find->value);
    try_all(find);
    int at = bracket(find), best = nearest(find);
    if (find->no_memory) return service_no_memory(find->errors);
    if (best < 0)
        return base_errors_add(find->errors, BASE_UNSOLVED, (base_place){0},
                               "%s cannot be told with any value of %s|%s", out->target.at,
                               out->part,
                               out->target.aim == SERVICE_AIM_TREMOLO
                                   ? "the tremolo starts with none: `gridleak tremolo` says why"
                                   : "look at the amp with `gridleak check`");
    out->found = at >= 0;
    out->limit = out->found ? "" : why_not(find, best);
    out->exact = out->stock[0] = out->stock[1] = out->now;
    if (!out->found && !stirs(out)) return out->limit ? BASE_OK : service_no_memory(find->errors);
    out->exact = look(find, out->found ? close_in(find, at) : find->tried[best]);
    stock_values(find, out->exact.value, beside);
    for (int k = 0; k < 2; k++)
        out->stock[k] = look(find, beside[k]);
    return find->no_memory || !out->limit ? service_no_memory(find->errors) : BASE_OK;
}

static base_code find_slots(finder *find, int index) {
    const circuit_part *part = circuit_part_at(find->bench.amp, (size_t)index);
    bool capacitor = part->kind == CIRCUIT_CAPACITOR;
    find->slot[0] =
        solve_slot_find(find->bench.system, index, capacitor ? SOLVE_FARADS : SOLVE_OHMS, 0);
    find->slot[1] =
        part->kind == CIRCUIT_POT ? solve_slot_find(find->bench.system, index, SOLVE_OHMS, 1) : -1;
    find->value = part->value;
    bool chosen = capacitor || part->kind == CIRCUIT_RESISTOR || part->kind == CIRCUIT_POT;
    if (chosen && find->slot[0] >= 0 && part->value > 0) return BASE_OK;
    return base_errors_add(find->errors, BASE_VALUE, (base_place){0},
                           "%s is a %s, whose value is not chosen|name a resistor, a pot or a "
                           "capacitor",
                           part->name, circuit_kind_name(part->kind));
}

static bool make_room(finder *find) {
    service_bench *bench = &find->bench;
    size_t slots = solve_slots(bench->system), unknowns = solve_unknowns(bench->system);
    find->start = base_arena_take(bench->arena, unknowns, sizeof(double));
    find->numbers = base_arena_take(bench->arena, slots, sizeof(double));
    if (!find->start || !find->numbers) return false;
    memcpy(find->start, bench->x, unknowns * sizeof(double));
    memcpy(find->numbers, bench->numbers, slots * sizeof(double));
    find->signal =
        find->out->target.aim == SERVICE_AIM_TREMOLO ? solve_signal_new(bench->system) : NULL;
    return find->out->target.aim != SERVICE_AIM_TREMOLO || find->signal;
}

static base_code find_all(finder *find, int index) {
    base_code code = find_slots(find, index);
    if (code == BASE_OK) code = make_room(find) ? BASE_OK : service_no_memory(find->errors);
    if (code == BASE_OK) code = search(find);
    solve_signal_free(find->signal);
    return code;
}

static base_code start(finder *find, const solve_system *system, double mains, const char *part) {
    service_value *out = find->out;
    const circuit *amp = solve_circuit(system);
    int index = circuit_part_find(amp, part);
    if (index < 0)
        return base_errors_add(find->errors, BASE_UNKNOWN, (base_place){0},
                               "the amp has no part \"%.40s\"|write the part as the drawing names "
                               "it",
                               part);
    out->amp = circuit_about_of(amp)->name;
    out->part = circuit_part_at(amp, (size_t)index)->name;
    out->was = circuit_part_at(amp, (size_t)index)->written;
    out->kind = circuit_part_at(amp, (size_t)index)->kind;
    find->as_is.arena = out->arena;
    base_code code = service_margins_open(system, mains, &find->bench, &find->as_is, find->errors);
    if (code != BASE_OK) return code;
    out->mains_v = find->as_is.mains_v;
    code = find_all(find, index);
    service_bench_close(&find->bench);
    return code;
}

service_value *service_value_new(const solve_system *system, double mains, const char *part,
                                 const char *target, base_errors *errors) {
    base_arena *arena = base_arena_new();
    finder find = {.out = arena ? base_arena_take(arena, 1, sizeof *find.out) : NULL,
                   .errors = errors};
    base_code code = find.out ? BASE_OK : service_no_memory(errors);
    if (code == BASE_OK) {
        find.out->arena = arena;
        code = service_target_read(system, target, arena, &find.out->target, errors);
    }
    if (code == BASE_OK) code = start(&find, system, mains, part);
    if (code == BASE_OK) return find.out;
    base_arena_free(arena);
    return NULL;
}

void service_value_free(service_value *value) {
    if (value) base_arena_free(value->arena);
}
