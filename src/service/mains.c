/* An amp drawn for one mains on another: what it does, and each remedy computed. */
#include "margins_impl.h"

#define ALIKE 0.005 /* mains that differ by less are the same */
#define FAR 1.25    /* from here on only a transformer helps */
#define FIT 2.0     /* watts over those burnt, amperes over those carried; common practice */
#define HEAVY 1.25
#define HEATERS_HIGH 1.02 /* from here on a resistor in the heaters is worth telling */
#define ROUNDS 60

typedef struct mender {
    service_mains *out;
    service_bench now, trial; /* today's; one with a remedy in it */
    service_margins as_is;    /* on today's mains */
    const solve_system *system;
    base_errors *errors;
    service_worst worst; /* the same */
    double *numbers;     /* today's, by slot */
    bool failed;
} mender;

static const char *print(mender *mend, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
static const char *print(mender *mend, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    const char *made = base_arena_print_list(mend->out->arena, format, arguments);
    va_end(arguments);
    if (!made) mend->failed = true;
    return made ? made : "";
}

typedef struct amount {
    char text[32];
} amount;
static amount ohms_of(double ohms) {
    amount made;
    if (ohms < 1)
        snprintf(made.text, sizeof made.text, "%.2g ohm", ohms);
    else
        service_rounded(ohms, BASE_OHMS, made.text, sizeof made.text);
    return made;
}

/* ---- the amp at a point -------------------------------------------------------------------- */

static double hottest(service_bench *bench) {
    double most = NAN;
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        solve_tube at;
        if (circuit_part_at(bench->amp, i)->kind == CIRCUIT_TUBE &&
            solve_tube_at(bench->work, bench->numbers, bench->x, (int)i, 0, &at) &&
            !isnan(at.heater_ratio))
            most = isnan(most) ? at.heater_ratio : fmax(most, at.heater_ratio);
    }
    return most;
}

/* The rectifier that gives the most watts; -1: none. */
static int main_rectifier(service_bench *bench, solve_supply *supply) {
    int best = -1;
    solve_supply at;
    for (size_t i = 0; i < circuit_parts(bench->amp); i++) {
        if (circuit_part_at(bench->amp, i)->kind != CIRCUIT_RECTIFIER) continue;
        if (!solve_supply_at(bench->work, bench->numbers, bench->x, (int)i, &at)) continue;
        if (best >= 0 && fabs(at.dc_v * at.dc_a) <= fabs(supply->dc_v * supply->dc_a)) continue;
        best = (int)i;
        *supply = at;
    }
    return best;
}

/* Solves the trial with its numbers as they stand. */
static bool solve_trial_bench(mender *mend) {
    solve_outcome outcome =
        solve_point(mend->trial.work, mend->trial.numbers, mend->now.x, mend->trial.x).outcome;
    if (outcome == SOLVE_NO_MEMORY) mend->failed = true;
    return outcome <= SOLVE_CONTINUED;
}

static void set_mains(mender *mend, double volts) {
    int slot = solve_slot_find(mend->system, -1, SOLVE_MAINS, 0);
    memcpy(mend->trial.numbers, mend->numbers, solve_slots(mend->system) * sizeof(double));
    if (slot >= 0) mend->trial.numbers[slot] = volts;
}

/* What the trial gives, beside today's; its numbers are set. A remedy that works by the current it
 * carries does nothing while the tubes are cold. */
static void judge(mender *mend, service_remedy *remedy) {
    service_margins margins = {.arena = mend->out->arena};
    service_worst worst;
    solve_supply supply = {.dc_v = NAN};
    remedy->mends = remedy->left = "";
    if (!solve_trial_bench(mend)) return;
    remedy->primary_v = service_mains_of(&mend->trial);
    main_rectifier(&mend->trial, &supply);
    remedy->supply_v = supply.dc_v;
    remedy->heater_part = hottest(&mend->trial);
    bool found = service_worst_find(&mend->trial, margins.arena, &worst);
    if (remedy->when_warm) worst = mend->worst;
    if (found && service_margins_fill(&mend->trial, &worst, &margins)) {
        remedy->mends = service_margins_news(&mend->as_is, &margins, NULL);
        remedy->left = service_margins_news(&margins, &mend->out->swap->side[0], NULL);
    }
    if (!remedy->mends || !remedy->left || !margins.margin) mend->failed = true;
}

static void add(mender *mend, service_remedy remedy) {
    judge(mend, &remedy);
    if (!remedy.note) remedy.note = "";
    mend->out->remedy[mend->out->remedies++] = remedy;
}

/* ---- in the mains -------------------------------------------------------------------------- */

/* The primary's volts behind `ohms`: what drops is the current in phase times the ohms. */
static double behind(mender *mend, double ohms) {
    double volts = mend->out->now_v;
    for (int i = 0; i < 12; i++) {
        set_mains(mend, volts);
        if (!solve_trial_bench(mend)) return NAN;
        service_load load = service_wall_load(&mend->trial);
        volts = mend->out->now_v - ohms * load.watts / volts;
    }
    return volts;
}

static void series_resistor(mender *mend) {
    service_mains *out = mend->out;
    set_mains(mend, out->drawn_v);
    if (!solve_trial_bench(mend)) return;
    service_load load = service_wall_load(&mend->trial);
    service_remedy remedy = {.name = "series resistor", .when_warm = true};
    remedy.exact = (out->now_v - out->drawn_v) * out->drawn_v / load.watts;
    remedy.stock = base_value_nearest(remedy.exact, 12);
    double volts = behind(mend, remedy.stock);
    if (isnan(volts)) return;
    set_mains(mend, volts);
    if (!solve_trial_bench(mend)) return;
    load = service_wall_load(&mend->trial);
    remedy.carries_a = load.rms_a;
    remedy.burns_w = load.rms_a * load.rms_a * remedy.stock;
    remedy.fit_w = service_stock_watts(FIT * remedy.burns_w);
    remedy.fit = print(mend,
                       "%s, %.3g W wirewound, in the mains lead behind the fuse and switch, "
                       "on the chassis in free air, its ends covered.",
                       ohms_of(remedy.stock).text, isnan(remedy.fit_w) ? 100 : remedy.fit_w);
    remedy.note = "It drops less while the tubes are cold, so the filters still see the high mains "
                  "at power-up.";
    add(mend, remedy);
}

/* A heater transformer's secondary in series with the mains, against it, or with it. */
static void winding(mender *mend, bool buck) {
    static const double made[] = {5, 6.3, 10, 12.6, 16, 20, 24};
    service_mains *out = mend->out;
    double wanted = fabs(out->now_v - out->drawn_v);
    service_remedy remedy = {.name = buck ? "bucking winding" : "boosting winding",
                             .exact = wanted,
                             .stock = made[0],
                             .burns_w = NAN,
                             .fit_w = NAN};
    for (size_t i = 0; i < sizeof made / sizeof *made; i++)
        if (fabs(made[i] - wanted) < fabs(remedy.stock - wanted)) remedy.stock = made[i];
    double volts = out->now_v + (buck ? -remedy.stock : remedy.stock);
    set_mains(mend, volts);
    if (!solve_trial_bench(mend)) return;
    remedy.carries_a = service_wall_load(&mend->trial).rms_a;
    remedy.fit = print(mend,
                       "A transformer for your mains with a secondary of %.3g V and at least %.2g "
                       "A: its primary across the mains behind the fuse and switch, its secondary "
                       "in series with the amp's primary, so that it %s.",
                       remedy.stock, HEAVY * remedy.carries_a, buck ? "subtracts" : "adds");
    remedy.note = print(mend,
                        "Measure at the amp's primary before it is loaded: if the volts went "
                        "%s, turn the secondary round. It isolates nothing.",
                        buck ? "up" : "down");
    add(mend, remedy);
}

static void step_transformer(mender *mend) {
    service_mains *out = mend->out;
    bool down = out->now_v > out->drawn_v;
    set_mains(mend, out->drawn_v);
    if (!solve_trial_bench(mend)) return;
    service_load load = service_wall_load(&mend->trial);
    service_remedy remedy = {.name = down ? "step-down transformer" : "step-up transformer",
                             .carries_a = load.rms_a,
                             .burns_w = NAN,
                             .fit_w = NAN};
    remedy.exact = FIT * load.rms_a * out->drawn_v;
    remedy.stock = 50 * ceil(remedy.exact / 50);
    remedy.fit = print(mend,
                       "One from %.0f V to %.0f V of %.0f VA or more between the wall and "
                       "the amp.",
                       out->now_v, out->drawn_v, remedy.stock);
    remedy.note = "Do not switch the amp on without it.";
    add(mend, remedy);
}

/* ---- in the amp ---------------------------------------------------------------------------- */

/* Where ohms in the winding's common lead count: both halves, of which one carries at a time. */
static int lead_slots(const mender *mend, int rectifier, int slot[2]) {
    const circuit_part *part = circuit_part_at(mend->now.amp, (size_t)rectifier);
    int winding = part->rectifier.winding, count = 0;
    for (int half = 0; half < 2 && winding >= 0; half++) {
        slot[count] = solve_slot_find(mend->system, winding, SOLVE_OHMS, half);
        if (slot[count] >= 0) count++;
    }
    for (int k = 0; k < 4 && count == 0 && part->rectifier.through[k] >= 0; k++) {
        slot[0] = solve_slot_find(mend->system, part->rectifier.through[k], SOLVE_OHMS, 0);
        bool resistor = circuit_part_at(mend->now.amp, (size_t)part->rectifier.through[k])->kind ==
                        CIRCUIT_RESISTOR;
        if (resistor && slot[0] >= 0) count = 1;
    }
    return count;
}

static double supply_behind(mender *mend, int rectifier, double ohms, solve_supply *supply) {
    int slot[2], slots = lead_slots(mend, rectifier, slot);
    set_mains(mend, mend->out->now_v);
    for (int k = 0; k < slots; k++)
        mend->trial.numbers[slot[k]] += ohms;
    if (!solve_trial_bench(mend) ||
        !solve_supply_at(mend->trial.work, mend->trial.numbers, mend->trial.x, rectifier, supply))
        return NAN;
    return fabs(supply->dc_v);
}

/* A resistor in the high voltage's way, so that the supply is as drawn; the heaters stay high. */
static void supply_resistor(mender *mend) {
    solve_supply drawn = {0}, supply = {0};
    int slot[2];
    set_mains(mend, mend->out->drawn_v);
    if (!solve_trial_bench(mend)) return;
    int rectifier = main_rectifier(&mend->trial, &drawn);
    if (rectifier < 0 || lead_slots(mend, rectifier, slot) == 0) return;
    double low = 0, high = 10e3;
    for (int i = 0; i < ROUNDS && high - low > 0.1; i++) {
        double middle = (low + high) / 2, volts = supply_behind(mend, rectifier, middle, &supply);
        *(volts > fabs(drawn.dc_v) ? &low : &high) = middle;
    }
    service_remedy remedy = {.name = "resistor in the high voltage", .exact = high};
    remedy.stock = base_value_nearest(high, 12);
    if (isnan(supply_behind(mend, rectifier, remedy.stock, &supply))) return;
    const circuit_part *part = circuit_part_at(mend->now.amp, (size_t)rectifier);
    bool tapped = part->rectifier.form == CIRCUIT_FULL_WAVE;
    remedy.carries_a = supply.rms_a * (part->rectifier.form == CIRCUIT_HALF_WAVE ? 1 : sqrt(2));
    remedy.burns_w = remedy.carries_a * remedy.carries_a * remedy.stock;
    remedy.fit_w = service_stock_watts(FIT * remedy.burns_w);
    remedy.fit =
        print(mend, "%s, %.3g W wirewound, %s.", ohms_of(remedy.stock).text,
              isnan(remedy.fit_w) ? 100 : remedy.fit_w,
              part->rectifier.winding < 0 ? "in series with the rectifier's plate"
              : tapped ? "between the high-voltage winding's centre tap and where it is joined"
                       : "in one lead of the high-voltage winding, before the rectifier");
    remedy.note = "The heaters stay high: this is for the high voltage alone. It costs some of the "
                  "supply's stiffness, as another rectifier tube would.";
    add(mend, remedy);
}

static bool feeds_heaters(const circuit_part *part) {
    return part->kind == CIRCUIT_WINDING && part->winding.heater && !part->winding.primary;
}

/* One for each heater winding: the drop that brings it back to what it gave on the drawn mains. */
static void heater_resistor(mender *mend, int index) {
    service_mains *out = mend->out;
    const circuit_part *part = circuit_part_at(mend->now.amp, (size_t)index);
    service_load load = service_winding_load(&mend->now, index, out->now_v);
    double volts = part->winding.volts[0] + part->winding.volts[1],
           over = out->now_v / out->drawn_v;
    if (load.heater_w <= 0 || over < HEATERS_HIGH) return;
    service_remedy remedy = {.name = "resistor in the heaters",
                             .carries_a = load.heater_w / (volts * over) / over};
    remedy.exact = volts * (over - 1) / remedy.carries_a;
    remedy.stock = base_value_nearest(remedy.exact, 12);
    remedy.burns_w = remedy.carries_a * remedy.carries_a * remedy.stock;
    remedy.fit_w = service_stock_watts(FIT * remedy.burns_w);
    remedy.fit = print(mend, "%s, %.3g W wirewound, in series with %s.", ohms_of(remedy.stock).text,
                       isnan(remedy.fit_w) ? 100 : remedy.fit_w, part->name);
    remedy.note =
        part->ends > 2 ? "Half of it in each lead, so that the centre tap stays the middle." : "";
    int slots[2] = {solve_slot_find(mend->system, index, SOLVE_VOLTS, 0),
                    solve_slot_find(mend->system, index, SOLVE_VOLTS, 1)};
    set_mains(mend, out->now_v);
    for (int k = 0; k < 2; k++)
        if (slots[k] >= 0)
            mend->trial.numbers[slots[k]] *= 1 - remedy.stock / remedy.exact * (1 - 1 / over);
    add(mend, remedy);
}

static void in_the_amp(mender *mend) {
    supply_resistor(mend);
    for (size_t i = 0; i < circuit_parts(mend->now.amp); i++)
        if (feeds_heaters(circuit_part_at(mend->now.amp, i))) heater_resistor(mend, (int)i);
}

/* ---- the whole ----------------------------------------------------------------------------- */

static bool mend_all(mender *mend) {
    service_mains *out = mend->out;
    double over = out->now_v / out->drawn_v;
    size_t room = circuit_parts(mend->now.amp) + 8;
    out->remedy = base_arena_take(out->arena, room, sizeof *out->remedy);
    if (!out->remedy) return false;
    if (fabs(over - 1) <= ALIKE) return true;
    if (over > FAR || over < 1 / FAR) {
        step_transformer(mend);
    } else {
        winding(mend, over > 1);
        if (over > 1) series_resistor(mend);
        if (over > 1) in_the_amp(mend);
    }
    return !mend->failed;
}

static base_code compare(mender *mend) {
    service_mains *out = mend->out;
    service_swap_side drawn = {mend->system, out->drawn_v}, now = {mend->system, out->now_v};
    out->swap = service_swap_new(&drawn, &now, mend->errors);
    if (!out->swap) return base_errors_worst(mend->errors);
    service_load load = service_wall_load(&mend->now);
    out->current_a = load.rms_a;
    out->watts = load.watts;
    out->heater_part[1] = hottest(&mend->now);
    set_mains(mend, out->drawn_v);
    out->heater_part[0] = solve_trial_bench(mend) ? hottest(&mend->trial) : NAN;
    return mend_all(mend) ? BASE_OK : service_no_memory(mend->errors);
}

static base_code run(mender *mend) {
    service_mains *out = mend->out;
    const circuit_about *about = circuit_about_of(solve_circuit(mend->system));
    out->amp = about->name;
    out->drawn_v = about->mains_drawn_volts;
    if (isnan(out->now_v)) out->now_v = about->mains_volts;
    mend->as_is.arena = out->arena;
    base_code code =
        service_margins_open(mend->system, out->now_v, &mend->now, &mend->as_is, mend->errors);
    if (code != BASE_OK) return code;
    mend->numbers = mend->now.numbers;
    if (!service_worst_find(&mend->now, out->arena, &mend->worst))
        code = service_no_memory(mend->errors);
    if (code == BASE_OK)
        code = service_bench_open(&mend->trial, mend->system, out->now_v, mend->errors);
    if (code == BASE_OK) {
        code = compare(mend);
        service_bench_close(&mend->trial);
    }
    service_bench_close(&mend->now);
    return code;
}

service_mains *service_mains_new(const solve_system *system, double now, base_errors *errors) {
    base_arena *arena = base_arena_new();
    mender mend = {.out = arena ? base_arena_take(arena, 1, sizeof *mend.out) : NULL,
                   .system = system,
                   .errors = errors};
    if (!mend.out) {
        base_arena_free(arena);
        service_no_memory(errors);
        return NULL;
    }
    *mend.out = (service_mains){.arena = arena, .now_v = now};
    if (run(&mend) == BASE_OK) return mend.out;
    service_mains_free(mend.out);
    return NULL;
}

void service_mains_free(service_mains *mains) {
    if (!mains) return;
    service_swap_free(mains->swap);
    base_arena_free(mains->arena);
}
