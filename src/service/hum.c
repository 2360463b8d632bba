/* The supply's ripple at the supply nodes and at the speaker, and what would raise it. */
#include "signal_impl.h"

#include <complex.h>

#define PARTS_MOST 256
#define PERIODS 2 /* of the mains in a waveform */

typedef struct finder {
    service_signal at;
    service_hum *out;
    bool *supply;                               /* by circuit node */
    double complex *volts[SOLVE_HARMONICS + 1]; /* by harmonic, by circuit node; [0] unused */
    solve_hum_part *part;
} finder;

static bool make_room(finder *f) {
    size_t nodes = circuit_nodes(f->at.bench.amp), parts = circuit_parts(f->at.bench.amp);
    base_arena *arena = f->out->arena;
    bool made = true;
    f->supply = base_arena_take(arena, nodes, sizeof *f->supply);
    f->part = base_arena_take(arena, PARTS_MOST, sizeof *f->part);
    f->out->line = base_arena_take(arena, nodes + parts, sizeof *f->out->line);
    f->out->part = base_arena_take(arena, PARTS_MOST, sizeof *f->out->part);
    for (int k = 1; k <= SOLVE_HARMONICS; k++) {
        f->volts[k] = base_arena_take(arena, nodes, sizeof *f->volts[k]);
        made = made && f->volts[k];
    }
    return made && f->supply && f->part && f->out->line && f->out->part &&
           diagnose_supply_nodes(f->at.bench.amp, f->supply);
}

static solve_outcome find(finder *f, size_t *parts) {
    solve_trial given = service_signal_trial(&f->at);
    if (!make_room(f)) return SOLVE_NO_MEMORY;
    for (int k = 1; k <= SOLVE_HARMONICS; k++) {
        solve_outcome outcome =
            solve_hum(f->at.signal, f->at.bench.work, f->at.bench.numbers, k, f->volts[k]);
        if (outcome != SOLVE_CONVERGED) return outcome;
    }
    return solve_hum_parts(&given, f->part, PARTS_MOST, parts);
}

/* v(t) = sum over k of sqrt 2 Re(V_k exp(2 pi i k t / T)), V_k in V rms. */
static void fill_wave(const finder *f, int plus, int minus, double wave[SERVICE_WAVE]) {
    for (int n = 0; n < SERVICE_WAVE; n++) {
        double turn = 2 * M_PI * PERIODS * n / (SERVICE_WAVE - 1);
        wave[n] = 0;
        for (int k = 1; k <= SOLVE_HARMONICS; k++)
            wave[n] +=
                M_SQRT2 * creal((f->volts[k][plus] - f->volts[k][minus]) * cexp(I * (k * turn)));
    }
}

static void add_line(finder *f, const char *at, const char *what, int plus, int minus) {
    service_hum_line *line = &f->out->line[f->out->lines++];
    double square = 0;
    *line =
        (service_hum_line){.at = at, .what = what, .dc = service_volts(&f->at.bench, plus, minus)};
    for (int k = 3; k <= SOLVE_HARMONICS; k++)
        square += pow(cabs(f->volts[k][plus] - f->volts[k][minus]), 2);
    line->once = cabs(f->volts[1][plus] - f->volts[1][minus]);
    line->twice = cabs(f->volts[2][plus] - f->volts[2][minus]);
    line->above = sqrt(square);
    fill_wave(f, plus, minus, line->wave);
}

static void list_lines(finder *f) {
    const circuit *amp = f->at.bench.amp;
    for (size_t n = 1; n < circuit_nodes(amp); n++) {
        solve_probe probe = {.plus = (int)n, .meter_ohms = INFINITY};
        if (f->supply[n] && solve_probe_exists(f->at.bench.system, &probe))
            add_line(f, circuit_node_at(amp, n)->name, "supply", (int)n, 0);
    }
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_SPEAKER && part->end[0] >= 0 && part->end[1] >= 0)
            add_line(f, part->name, "speaker", part->end[0], part->end[1]);
    }
}

static bool list_parts(finder *f, size_t count) {
    service_hum *out = f->out;
    for (out->parts = 0; out->parts < count && out->parts < PARTS_MOST; out->parts++) {
        const solve_hum_part *found = &f->part[out->parts];
        const circuit_part *part = circuit_part_at(f->at.bench.amp, (size_t)found->part);
        bool several = part->kind == CIRCUIT_TUBE && part->tube->units > 1;
        const char *about = service_about(out->arena, part);
        if (!about) return false;
        out->part[out->parts] =
            (service_hum_part){.part = part->name,
                               .about = about,
                               .unit = several ? part->tube->unit[found->which].name : "",
                               .what = found->upset == SOLVE_DRIED_OUT ? "dried out to a tenth"
                                                                       : "half of its emission",
                               .speaker_v = found->volts};
    }
    return true;
}

static base_code fill(finder *f, base_errors *errors) {
    const circuit *amp = f->at.bench.amp;
    size_t parts = 0;
    solve_outcome outcome = find(f, &parts);
    if (outcome == SOLVE_CONVERGED) list_lines(f);
    if (outcome == SOLVE_CONVERGED && !list_parts(f, parts)) outcome = SOLVE_NO_MEMORY;
    f->out->amp = circuit_about_of(amp)->name;
    f->out->mains_hz = circuit_about_of(amp)->mains_hertz;
    f->out->words = "This is the supply's ripple and what the heater wiring brings. The "
                    "transformer's field and "
                    "ground loops come on top: a real amp hums more.";
    if (outcome == SOLVE_CONVERGED) return BASE_OK;
    return service_unsolved(amp, outcome, "the hum's way could not be solved", errors);
}

service_hum *service_hum_of(const solve_system *system, const service_stand *stand,
                            base_errors *errors) {
    finder f = {0};
    if (service_signal_open(&f.at, system, stand, -1, errors) != BASE_OK) return NULL;
    base_arena *arena = base_arena_new();
    f.out = arena ? base_arena_take(arena, 1, sizeof *f.out) : NULL;
    base_code code = f.out ? BASE_OK : service_no_memory(errors);
    if (f.out) f.out->arena = arena;
    if (f.out) code = fill(&f, errors);
    service_signal_close(&f.at);
    if (code == BASE_OK) return f.out;
    base_arena_free(arena);
    return NULL;
}

void service_hum_free(service_hum *hum) {
    if (hum) base_arena_free(hum->arena);
}
