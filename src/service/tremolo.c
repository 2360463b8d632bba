/* The tremolo: does it start, how fast, and what can stop it. */
#include "signal_impl.h"

#define TONE_HERTZ 20.0 /* from here on a swing is heard as a tone */
#define PARTS_MOST 1024
#define HARDLY 0.01 /* of its plate's volts at the output grids: too little to be heard */

typedef struct finder {
    service_signal at;
    service_tremolo *out;
    solve_tremolo_part *part;
} finder;

/* ---- finding ------------------------------------------------------------------------------- */

static bool is_tremolo(const finder *f, const solve_mode *mode) {
    const solve_swing *swing = &f->out->found.swing;
    return swing->swings && mode->hertz < TONE_HERTZ &&
           fabs(mode->growth - swing->growth) <= 0.01 * fabs(mode->growth);
}

static solve_outcome find_others(finder *f) {
    solve_mode *all = base_arena_take(f->out->arena, SOLVE_MODES_MOST, sizeof *all);
    size_t count = 0;
    if (!all) return SOLVE_NO_MEMORY;
    solve_outcome outcome = solve_modes(f->at.signal, all, SOLVE_MODES_MOST, &count);
    f->out->other = all;
    for (size_t i = 0; i < count && outcome == SOLVE_CONVERGED; i++)
        if (solve_mode_rises(&all[i]) && !is_tremolo(f, &all[i])) all[f->out->others++] = all[i];
    return outcome;
}

static solve_outcome find(finder *f, size_t *parts) {
    solve_trial given = service_signal_trial(&f->at);
    f->part = base_arena_take(f->out->arena, PARTS_MOST, sizeof *f->part);
    if (!f->part) return SOLVE_NO_MEMORY;
    solve_outcome outcome = solve_tremolo_find(&given, &f->out->found);
    if (outcome == SOLVE_CONVERGED)
        outcome = solve_tremolo_parts(&given, &f->out->found, f->part, PARTS_MOST, parts);
    return outcome == SOLVE_CONVERGED ? find_others(f) : outcome;
}

/* ---- the oscillator, in words -------------------------------------------------------------- */

static const char *running_words(const finder *f) {
    const solve_tremolo *found = &f->out->found;
    char worn[96] = "";
    if (found->emission > 0)
        snprintf(worn, sizeof worn, "; for that its emission must fall to %.0f %% of a good tube's",
                 100 * found->emission);
    return base_arena_print(
        f->out->arena,
        "It starts by itself, and settles at about %.2g swings a second. While it is small it "
        "doubles every %.2g s. It keeps running until the tube's gain falls to %.0f %%%s.",
        found->swing.hertz, M_LN2 / found->swing.growth, 100 * found->gain, worn);
}

static const char *reach_words(const finder *f) {
    double reach = f->out->found.swing.reach;
    return base_arena_print(
        f->out->arena,
        "Of each volt at its plate the output tubes' grids get %.2g mV at these controls.%s",
        1e3 * reach, reach < HARDLY ? " That is little: it will hardly be heard." : "");
}

static const char *still_words(const finder *f) {
    return base_arena_print(
        f->out->arena,
        "It does NOT start by itself at these controls: the tube would need %.2f times its gain. "
        "What swing it is given, %.2g a second, dies away. Look at what takes gain from it: the "
        "cathode bypass, the plate resistor, the supply; then at the capacitors and resistors that "
        "turn the phase.",
        f->out->found.gain, f->out->found.swing.hertz);
}

static bool fill_words(finder *f) {
    service_tremolo *out = f->out;
    if (out->found.part < 0) {
        out->words[0] = "No oscillator: none of its tubes would make a slow swing, even with four "
                        "times its gain.";
        return true;
    }
    const circuit_part *part = circuit_part_at(f->at.bench.amp, (size_t)out->found.part);
    out->tube = part->name;
    out->type = part->tube->name;
    out->unit = part->tube->unit[out->found.unit].name;
    out->does = part->what;
    bool runs = out->found.swing.swings;
    out->words[0] = runs ? running_words(f) : still_words(f);
    if (runs) out->words[1] = reach_words(f);
    return out->words[0] && (!runs || out->words[1]);
}

const char *service_mode_words(const solve_mode *mode) {
    return mode->hertz >= TONE_HERTZ ? "it squeals"
           : mode->hertz > 0         ? "it motorboats"
                                     : "it drifts away from its idle";
}

/* ---- what can stop it ---------------------------------------------------------------------- */

static const char *contact_words(base_arena *arena, const circuit_part *part, int which) {
    if (part->kind == CIRCUIT_TUBE) return base_arena_print(arena, "pin %d off", which);
    return part->kind == CIRCUIT_POT ? "its wiper makes no contact" : "makes no contact";
}

static const char *upset_words(base_arena *arena, const circuit_part *part,
                               const solve_tremolo_part *line) {
    static const char *const words[] = {
        [SOLVE_OPENED] = "open",
        [SOLVE_SHORTED] = "shorted",
        [SOLVE_LEAKY] = "leaky, some 1M",
        [SOLVE_DRIED_OUT] = "dried out to a tenth",
        [SOLVE_DRIFTED] = "half as much again",
        [SOLVE_WEAKENED] = "half of its emission",
        [SOLVE_TURNED_DOWN] = "turned down",
        [SOLVE_TURNED_UP] = "turned up",
    };
    if (line->what == SOLVE_CONTACT) return contact_words(arena, part, line->which);
    if (part->kind == CIRCUIT_POT && line->upset == SOLVE_OPENED)
        return line->which == 0 ? "its track open below the wiper"
                                : "its track open above the wiper";
    return words[line->upset];
}

static bool list_parts(finder *f, size_t count) {
    service_tremolo *out = f->out;
    if (count > PARTS_MOST) count = PARTS_MOST;
    out->part = base_arena_take(out->arena, count + 1, sizeof *out->part);
    if (!out->part) return false;
    for (out->parts = 0; out->parts < count; out->parts++) {
        const solve_tremolo_part *found = &f->part[out->parts];
        const circuit_part *part = circuit_part_at(f->at.bench.amp, (size_t)found->part);
        service_tremolo_part *line = &out->part[out->parts];
        *line = (service_tremolo_part){.part = part->name,
                                       .about = service_about(out->arena, part),
                                       .what = upset_words(out->arena, part, found),
                                       .control = found->upset == SOLVE_TURNED_DOWN ||
                                                  found->upset == SOLVE_TURNED_UP,
                                       .effect = found->effect,
                                       .hertz = found->hertz};
        if (!line->about || !line->what) return false;
    }
    return true;
}

static base_code fill(finder *f, base_errors *errors) {
    size_t parts = 0;
    f->out->amp = circuit_about_of(f->at.bench.amp)->name;
    solve_outcome outcome = find(f, &parts);
    if (outcome == SOLVE_CONVERGED && !(fill_words(f) && list_parts(f, parts)))
        outcome = SOLVE_NO_MEMORY;
    if (outcome == SOLVE_CONVERGED) return BASE_OK;
    return service_unsolved(f->at.bench.amp, outcome, "the amp's own swings could not be found",
                            errors);
}

service_tremolo *service_tremolo_of(const solve_system *system, const service_stand *stand,
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

void service_tremolo_free(service_tremolo *tremolo) {
    if (tremolo) base_arena_free(tremolo->arena);
}
