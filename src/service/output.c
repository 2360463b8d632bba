/* Output: what the output stage gives before it clips, what that costs its tubes, and what another
 * speaker does to both. */
#include "service_impl.h"

#define SPEAKER_DC 0.8 /* a speaker's number is its DC ohms, this part of its impedance */
#define FLAT 0.25      /* of the whole swing's gain, left at a crest: clipping; our own choice */
#define CUT_OFF 0.02   /* of its peak: less is no current */
#define BARELY 0.05    /* idle current, of the peak: class B */
#define HARD 1.5       /* grids may be driven by so many times their bias, to look for the end */
#define DIP 0.1        /* of the gain, that is worth a word */

typedef struct stage {
    service_bench bench;
    service_output *out;
    base_errors *errors;
    solve_output *solve;
    solve_output_cycle *cycle, *idle;
} stage;

static base_place place_of(const stage *at) {
    return (base_place){.file = circuit_about_of(at->bench.amp)->file};
}

static bool failed(stage *at, solve_outcome outcome) {
    if (outcome == SOLVE_NO_MEMORY)
        base_errors_add(at->errors, BASE_MEMORY, place_of(at),
                        "no memory left|close other programs");
    else
        base_errors_add(at->errors, BASE_UNSOLVED, place_of(at),
                        "the output stage could not be followed with a signal: %s|look at its "
                        "tubes, transformer and speaker in the file",
                        solve_outcome_text(outcome));
    return false;
}

static bool drive(stage *at, double volts) {
    solve_outcome outcome = solve_output_at(at->solve, at->bench.numbers, volts, at->cycle);
    return outcome == SOLVE_CONVERGED || failed(at, outcome);
}

/* ---- the speaker and the supply that are asked for ---- */

static const circuit_part *first_speaker(const stage *at) {
    for (size_t i = 0; i < circuit_parts(at->bench.amp); i++) {
        const circuit_part *part = circuit_part_at(at->bench.amp, i);
        if (part->kind == CIRCUIT_SPEAKER && part->end[0] >= 0 && part->end[1] >= 0) return part;
    }
    return NULL;
}

static const circuit_part *transformer_of(const stage *at) {
    for (size_t i = 0; i < circuit_parts(at->bench.amp); i++) {
        const circuit_part *part = circuit_part_at(at->bench.amp, i);
        if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER && part->end[1] >= 0) return part;
    }
    return NULL;
}

/* All speakers by the same factor: what hangs on the amp then has `ohms` for the rated ones. */
static void hang_speaker(stage *at, double ohms) {
    const circuit *amp = at->bench.amp;
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        int slot = solve_slot_find(at->bench.system, (int)i, SOLVE_OHMS, 0);
        if (part->kind == CIRCUIT_SPEAKER && slot >= 0)
            at->bench.numbers[slot] = SPEAKER_DC * part->value * ohms / at->out->rated_ohms;
    }
}

/* The windings of all rectifiers but the bias supply's, `times` what the file says. */
static int scale_windings(stage *at, double times) {
    const solve_system *system = at->bench.system;
    int scaled = 0;
    for (size_t i = 0; i < circuit_parts(at->bench.amp); i++) {
        const circuit_part *part = circuit_part_at(at->bench.amp, i);
        if (part->kind != CIRCUIT_RECTIFIER || part->rectifier.negative ||
            part->rectifier.winding < 0)
            continue;
        for (int half = 0; half < 2; half++) {
            int slot = solve_slot_find(system, part->rectifier.winding, SOLVE_VOLTS, half);
            if (slot < 0) continue;
            at->bench.numbers[slot] = solve_nominal(system)[slot] * times;
            scaled++;
        }
    }
    return scaled;
}

static bool cannot(stage *at, double volts, double least, double most) {
    if (most > least)
        base_errors_add(at->errors, BASE_VALUE, place_of(at),
                        "the supply cannot be brought to %.4g V|ask for %.3g to %.3g V: a third to "
                        "twice what its winding gives",
                        volts, least, most);
    else
        base_errors_add(at->errors, BASE_VALUE, place_of(at),
                        "the supply of this amp comes straight from the mains|use --mains in the "
                        "place of --supply");
    return false;
}

static bool supply_at(stage *at, double times, double *volts) {
    scale_windings(at, times);
    if (!drive(at, 0)) return false;
    *volts = at->cycle->supply_v;
    return true;
}

/* By halving: more volts at the winding, more at the supply. */
static bool bring_supply(stage *at, double wanted) {
    double low = 1.0 / 3, high = 2, least, most, volts;
    if (scale_windings(at, 1) == 0) return cannot(at, wanted, 0, 0);
    if (!supply_at(at, low, &least) || !supply_at(at, high, &most)) return false;
    if (!(wanted >= least && wanted <= most)) return cannot(at, wanted, least, most);
    for (int pass = 0; pass < 40 && high - low > 1e-6; pass++) {
        double middle = (low + high) / 2;
        if (!supply_at(at, middle, &volts)) return false;
        *(volts < wanted ? &low : &high) = middle;
    }
    return true;
}

/* ---- where it clips ---- */

static double most_grid(const solve_output_cycle *cycle) {
    double most = -INFINITY;
    for (int k = 0; k < cycle->tubes; k++)
        for (int s = 0; s < SOLVE_SAMPLES; s++)
            most = fmax(most, cycle->tube[k].grid_v[s]);
    return most;
}

/* The gain where the drive is at either crest, the lesser of both, as a part of the whole swing's.
 * From an eighth of a cycle's half before the crest to the crest. */
static double crest_gain(const solve_output_cycle *cycle, double volts) {
    const int crest = SOLVE_SAMPLES / 4, before = 3 * SOLVE_SAMPLES / 16;
    const double *v = cycle->speaker_v;
    double rise = volts * (1 - sin(2 * M_PI * before / SOLVE_SAMPLES));
    double sign = v[crest] > v[3 * crest] ? 1 : -1, gain = cycle->harmonic[1] / volts;
    double up = sign * (v[crest] - v[before]) / rise;
    double down = sign * (v[2 * crest + before] - v[3 * crest]) / rise;
    return fmin(up, down) / gain;
}

static bool clips(const stage *at, double volts) {
    return most_grid(at->cycle) > 0 || crest_gain(at->cycle, volts) < FLAT;
}

/* By halving, between no drive and one that is too much. */
static bool find_full(stage *at) {
    service_output *out = at->out;
    double bias = fabs(at->idle->tube[0].mean_grid_v), low = 0, high = HARD * bias + 1;
    for (int pass = 0; pass < 24 && high - low > 1e-4 * high; pass++) {
        double middle = (low + high) / 2;
        solve_outcome outcome = solve_output_at(at->solve, at->bench.numbers, middle, at->cycle);
        if (outcome != SOLVE_CONVERGED && outcome != SOLVE_STALLED) return failed(at, outcome);
        bool far = outcome == SOLVE_STALLED; /* beyond all sense: much too much drive */
        *(far || clips(at, middle) ? &high : &low) = middle;
    }
    if (!drive(at, low)) return false;
    out->why = most_grid(at->cycle) > -0.02 * bias - 0.05
                   ? "the grids reach their cathodes"
                   : "the swing flattens: a plate in its knee, or cut off";
    out->drive_v = low;
    return true;
}

/* ---- what comes of it ---- */

static double limit_of(const stage *at, int part, int unit, tube_limit limit, const char **system) {
    const circuit_part *tube = circuit_part_at(at->bench.amp, (size_t)part);
    return service_limit(tube->tube, unit, limit, system);
}

/* The most burdened tube's dissipation in percent of its rating; NAN where none is published. */
static double burden(const stage *at, bool screen) {
    double most = NAN;
    for (int k = 0; k < at->cycle->tubes; k++) {
        const solve_output_tube *tube = &at->cycle->tube[k];
        double limit =
            limit_of(at, tube->part, tube->unit, screen ? TUBE_SCREEN_W : TUBE_PLATE_W, NULL);
        double percent = 100 * (screen ? tube->screen_w : tube->plate_w) / limit;
        most = fmax(most, percent);
    }
    return most;
}

static void take_level(const stage *at, double volts, service_output_level *level) {
    const solve_output_cycle *cycle = at->cycle;
    *level = (service_output_level){.drive_v = volts,
                                    .watts = cycle->watts,
                                    .distortion = cycle->distortion,
                                    .second = cycle->harmonic[2] / cycle->harmonic[1],
                                    .third = cycle->harmonic[3] / cycle->harmonic[1],
                                    .plate_a = cycle->tube[0].mean_plate_a,
                                    .screen_a = cycle->tube[0].mean_screen_a,
                                    .supply_v = cycle->supply_v,
                                    .plate_percent = burden(at, false),
                                    .screen_percent = burden(at, true)};
}

static bool take_levels(stage *at) {
    for (int k = 1; k <= SERVICE_LEVELS; k++) {
        double volts = at->out->drive_v * k / SERVICE_LEVELS;
        if (!drive(at, volts)) return false;
        take_level(at, volts, &at->out->level[k - 1]);
    }
    return true;
}

static void take_tubes(stage *at) {
    service_output *out = at->out;
    for (int k = 0; k < at->cycle->tubes; k++) {
        const solve_output_tube *full = &at->cycle->tube[k], *idle = &at->idle->tube[k];
        const circuit_part *part = circuit_part_at(at->bench.amp, (size_t)full->part);
        service_output_tube *tube = &out->tube[out->tubes++];
        *tube = (service_output_tube){.tube = part->name,
                                      .type = part->tube->name,
                                      .side = full->side,
                                      .idle_plate_w = idle->plate_w,
                                      .idle_screen_w = idle->screen_w,
                                      .full_plate_w = full->plate_w,
                                      .full_screen_w = full->screen_w,
                                      .idle_a = idle->mean_plate_a,
                                      .least_a = full->least_a,
                                      .most_a = full->most_a};
        tube->plate_limit_w = limit_of(at, full->part, full->unit, TUBE_PLATE_W, &tube->system);
        tube->screen_limit_w = limit_of(at, full->part, full->unit, TUBE_SCREEN_W, NULL);
        out->push_pull = out->push_pull || full->side != at->cycle->tube[0].side;
    }
}

static void take_class(service_output *out) {
    const service_output_tube *tube = &out->tube[0];
    out->class_name = tube->least_a > CUT_OFF * tube->most_a ? "A"
                      : tube->idle_a < BARELY * tube->most_a ? "B"
                                                             : "AB";
}

static void take_waves(stage *at) {
    service_output *out = at->out;
    const solve_output_cycle *cycle = at->cycle;
    memcpy(out->line_v, cycle->tube[0].plate_v, sizeof out->line_v);
    memcpy(out->line_a, cycle->tube[0].plate_a, sizeof out->line_a);
    memcpy(out->grid_v, cycle->tube[0].grid_v, sizeof out->grid_v);
    memcpy(out->speaker_v, cycle->speaker_v, sizeof out->speaker_v);
    out->point_v = at->idle->tube[0].mean_plate_v;
    out->point_a = at->idle->tube[0].mean_plate_a;
    /* The gain where the drive passes zero, beside that of the whole swing. */
    double rise = out->drive_v * sin(2 * M_PI / SOLVE_SAMPLES);
    double there = fabs(cycle->speaker_v[1] - cycle->speaker_v[SOLVE_SAMPLES - 1]) / (2 * rise);
    out->crossover = out->push_pull ? 1 - there * out->drive_v / cycle->harmonic[1] : 0;
    out->supply_v = cycle->supply_v;
    out->watts = cycle->watts;
    out->distortion = cycle->distortion;
}

/* What the tubes look into: the file's impedance, in the ratio of the speakers, and the copper. */
static double load_of(const stage *at) {
    const circuit_part *part = transformer_of(at);
    double square = part->ratio * part->ratio;
    double secondary = part->secondary_ohms > 0 ? part->secondary_ohms : 0;
    return square * (at->out->speaker_ohms + secondary) + part->dc_ohms[0] + part->dc_ohms[1];
}

/* ---- in words ---- */

static void remark(stage *at, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void remark(stage *at, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    at->out->remark[at->out->remarks++] = base_arena_print_list(at->out->arena, format, arguments);
    va_end(arguments);
}

static void remark_tube(stage *at, const service_output_tube *tube) {
    if (tube->idle_plate_w > tube->plate_limit_w)
        remark(at, "%s %s burns %.1f W in its plate with no signal; %s is %.1f W.", tube->tube,
               tube->type, tube->idle_plate_w, tube->system, tube->plate_limit_w);
    if (tube->full_plate_w > tube->plate_limit_w)
        remark(at, "%s %s burns %.1f W in its plate at full drive; %s is %.1f W.", tube->tube,
               tube->type, tube->full_plate_w, tube->system, tube->plate_limit_w);
    if (tube->full_screen_w > tube->screen_limit_w)
        remark(
            at,
            "%s %s burns %.1f W in its screen at full drive, where %.1f W is the limit: a larger "
            "screen resistor spares it.",
            tube->tube, tube->type, tube->full_screen_w, tube->screen_limit_w);
}

static void remark_speaker(stage *at) {
    const service_output *out = at->out;
    if (isnan(out->rated_watts)) return;
    const service_output_level *full = &out->level[SERVICE_LEVELS - 1];
    remark(at,
           "On %.5g ohm in the place of %.3g: %.3g W before clipping in the place of %.3g; the "
           "plates at %.0f %% of their rating then, not %.0f %%, the screens at %.0f %%, not %.0f "
           "%%.",
           out->speaker_ohms, out->rated_ohms, out->watts, out->rated_watts, full->plate_percent,
           out->rated_plate_percent, full->screen_percent, out->rated_screen_percent);
    if (out->speaker_ohms > 1.5 * out->rated_ohms)
        remark(at, "A speaker of many ohms lets the plates swing far, and a loud amp with none at "
                   "all can break down its output transformer: never run it open.");
}

static bool words(stage *at) {
    service_output *out = at->out;
    out->remark = base_arena_take(out->arena, 3 * out->tubes + 4, sizeof *out->remark);
    if (!out->remark) return failed(at, SOLVE_NO_MEMORY);
    for (size_t i = 0; i < out->tubes; i++)
        remark_tube(at, &out->tube[i]);
    remark_speaker(at);
    if (out->crossover > DIP)
        remark(at,
               "The gain dips by %.0f %% where the tubes change over: crossover distortion, heard "
               "on soft notes. More idle current lessens it.",
               100 * out->crossover);
    for (size_t i = 0; i < out->remarks; i++)
        if (!out->remark[i]) return failed(at, SOLVE_NO_MEMORY);
    return true;
}

/* ---- the whole ---- */

static bool make_stage(stage *at) {
    int tubes;
    const circuit_part *speaker = first_speaker(at), *transformer = transformer_of(at);
    at->solve = solve_output_new(at->bench.system, &tubes);
    if (!at->solve && tubes == 0)
        base_errors_add(at->errors, BASE_CIRCUIT, place_of(at),
                        "no tube's plate stands at an output transformer|write its plates under "
                        "`output transformer`: `at: [V3.3, B1, V4.3]`");
    else if (!at->solve)
        failed(at, SOLVE_NO_MEMORY);
    else if (!speaker || !transformer || transformer->end[3] < 0)
        base_errors_add(at->errors, BASE_CIRCUIT, place_of(at),
                        "no speaker hangs on the output transformer|write `speaker: [spk, ground]` "
                        "at the transformer and a speaker between the same nodes");
    if (base_errors_worst(at->errors) != BASE_OK) return false;
    at->out->transformer = transformer->name;
    at->out->rated_ohms = transformer->value > 0 ? transformer->value : speaker->value;
    base_arena *arena = at->out->arena;
    at->out->tube = base_arena_take(arena, SOLVE_OUTPUT_TUBES, sizeof *at->out->tube);
    at->cycle = base_arena_take(arena, 1, sizeof *at->cycle);
    at->idle = base_arena_take(arena, 1, sizeof *at->idle);
    return (at->out->tube && at->cycle && at->idle) || failed(at, SOLVE_NO_MEMORY);
}

/* Full drive on the rated speaker, for the comparison. */
static bool take_rated(stage *at) {
    service_output *out = at->out;
    hang_speaker(at, out->rated_ohms);
    if (!drive(at, 0)) return false;
    *at->idle = *at->cycle;
    if (!find_full(at) || !drive(at, out->drive_v)) return false;
    out->rated_watts = at->cycle->watts;
    out->rated_plate_percent = burden(at, false);
    out->rated_screen_percent = burden(at, true);
    return true;
}

static bool output_run(stage *at, const service_output_asked *asked) {
    service_output *out = at->out;
    if (!make_stage(at)) return false;
    out->mains_v = at->bench.numbers[solve_slot_find(at->bench.system, -1, SOLVE_MAINS, 0)];
    out->speaker_ohms = isfinite(asked->speaker) ? asked->speaker : out->rated_ohms;
    out->rated_watts = out->rated_plate_percent = out->rated_screen_percent = NAN;
    if (isfinite(asked->supply_v) && !bring_supply(at, asked->supply_v)) return false;
    if (isfinite(asked->speaker) && !take_rated(at)) return false;
    if (isfinite(asked->speaker)) hang_speaker(at, out->speaker_ohms);
    if (!drive(at, 0)) return false;
    *at->idle = *at->cycle;
    out->idle_supply_v = at->idle->supply_v;
    out->load_ohms = load_of(at);
    if (!find_full(at) || !take_levels(at)) return false;
    take_tubes(at);
    take_class(out);
    take_waves(at);
    return words(at);
}

service_output *service_output_new(const solve_system *system, const service_output_asked *asked,
                                   base_errors *errors) {
    stage at = {.errors = errors};
    if (service_bench_open(&at.bench, system, asked->mains, errors) != BASE_OK) return NULL;
    base_arena *arena = base_arena_new();
    at.out = arena ? base_arena_take(arena, 1, sizeof *at.out) : NULL;
    bool done = false;
    if (at.out) {
        *at.out = (service_output){.arena = arena, .amp = circuit_about_of(at.bench.amp)->name};
        done = output_run(&at, asked);
    } else {
        base_arena_free(arena);
        failed(&at, SOLVE_NO_MEMORY);
    }
    solve_output_free(at.solve);
    service_bench_close(&at.bench);
    if (done) return at.out;
    service_output_free(at.out);
    return NULL;
}

void service_output_free(service_output *output) {
    if (output) base_arena_free(output->arena);
}
