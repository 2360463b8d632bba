/* gridleak tremolo: does the oscillator start, how fast, and what can stop it. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TONE_HERTZ 20.0 /* from here on a swing is heard as a tone */
#define PARTS_MOST 1024
#define HARDLY 0.01 /* of its plate's volts at the output grids: too little to be heard */

typedef struct view {
    cli *cli;
    cli_signal at;
    solve_tremolo tremolo;
    solve_mode *other; /* what else rises by itself */
    size_t others;
    solve_tremolo_part *part;
    size_t parts;
} view;

/* ---- finding ---- */

static bool failed(view *v, solve_outcome outcome) {
    if (outcome == SOLVE_NO_MEMORY) return cli_no_memory(v->cli);
    base_errors_add(v->cli->errors, BASE_UNSOLVED,
                    (base_place){.file = circuit_about_of(v->at.amp.amp)->file},
                    "the amp's own swings could not be found|gridleak check says what is odd in "
                    "the file");
    return false;
}

static bool is_tremolo(const view *v, const solve_mode *mode) {
    return v->tremolo.swing.swings && mode->hertz < TONE_HERTZ &&
           fabs(mode->growth - v->tremolo.swing.growth) <= 0.01 * fabs(mode->growth);
}

static bool find_others(view *v) {
    solve_mode all[SOLVE_MODES_MOST];
    size_t count;
    solve_outcome outcome = solve_modes(v->at.signal, all, SOLVE_MODES_MOST, &count);
    if (outcome != SOLVE_CONVERGED) return failed(v, outcome);
    v->other = calloc(count + 1, sizeof *v->other);
    if (!v->other) return cli_no_memory(v->cli);
    for (size_t i = 0; i < count; i++)
        if (solve_mode_rises(&all[i]) && !is_tremolo(v, &all[i])) v->other[v->others++] = all[i];
    return true;
}

static bool find(view *v) {
    solve_trial given = {v->at.signal, v->at.work, v->at.numbers, v->at.x};
    solve_outcome outcome = solve_tremolo_find(&given, &v->tremolo);
    if (outcome != SOLVE_CONVERGED) return failed(v, outcome);
    v->part = calloc(PARTS_MOST, sizeof *v->part);
    if (!v->part) return cli_no_memory(v->cli);
    outcome = solve_tremolo_parts(&given, &v->tremolo, v->part, PARTS_MOST, &v->parts);
    if (v->parts > PARTS_MOST) v->parts = PARTS_MOST;
    return outcome == SOLVE_CONVERGED ? find_others(v) : failed(v, outcome);
}

/* ---- the oscillator, in words ---- */

static void oscillator_words(const view *v, char *text, size_t size) {
    const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)v->tremolo.part);
    const tube_unit *unit = &part->tube->unit[v->tremolo.unit];
    snprintf(text, size, "%s %s%s%s%s%s", part->name, part->tube->name, *unit->name ? ", " : "",
             unit->name, part->what ? ", " : "", part->what ? part->what : "");
}

static void tell_running(view *v) {
    const solve_swing *swing = &v->tremolo.swing;
    char text[768];
    snprintf(text, sizeof text,
             "It starts by itself, and settles at about %.2g swings a second. While it is small it "
             "doubles every %.2g s. It keeps running until the tube's gain falls to %.0f %%",
             swing->hertz, M_LN2 / swing->growth, 100 * v->tremolo.gain);
    if (v->tremolo.emission > 0)
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 "; for that its emission must fall to %.0f %% of a good tube's",
                 100 * v->tremolo.emission);
    snprintf(text + strlen(text), sizeof text - strlen(text), ".");
    cli_fill(v->cli, 0, 0, text);
    snprintf(text, sizeof text,
             "Of each volt at its plate the output tubes' grids get %.2g mV at these controls.",
             1e3 * swing->reach);
    if (swing->reach < HARDLY)
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 " That is little: it will hardly be heard.");
    cli_fill(v->cli, 0, 0, text);
}

static void tell_still(view *v) {
    char text[512];
    snprintf(text, sizeof text,
             "It does NOT start by itself at these controls: the tube would need %.2f times its "
             "gain. What swing it is given, %.2g a second, dies away. Look at what takes gain from "
             "it: the cathode bypass, the plate resistor, the supply; then at the capacitors and "
             "resistors that turn the phase.",
             v->tremolo.gain, v->tremolo.swing.hertz);
    cli_fill(v->cli, 0, 0, text);
}

static void tell_oscillator(view *v) {
    char text[256];
    base_text_add(&v->cli->out, "%s%s%s  the tremolo's oscillator, controls as in the file\n",
                  cli_style_on(v->cli, CLI_HEAD), circuit_about_of(v->at.amp.amp)->name,
                  cli_style_on(v->cli, CLI_PLAIN));
    if (v->tremolo.part < 0) {
        cli_fill(v->cli, 0, 0,
                 "No oscillator: none of its tubes would make a slow swing, even with four times "
                 "its gain.");
        return;
    }
    oscillator_words(v, text, sizeof text);
    base_text_add(&v->cli->out, "\n%s%s%s\n", cli_style_on(v->cli, CLI_STRONG), text,
                  cli_style_on(v->cli, CLI_PLAIN));
    if (v->tremolo.swing.swings)
        tell_running(v);
    else
        tell_still(v);
}

/* ---- what can stop it ---- */

static bool is_turn(const solve_tremolo_part *line) {
    return line->upset == SOLVE_TURNED_DOWN || line->upset == SOLVE_TURNED_UP;
}

static void contact_words(const view *v, const solve_tremolo_part *line, char *text, size_t size) {
    const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)line->part);
    if (part->kind == CIRCUIT_TUBE)
        snprintf(text, size, "pin %d off", line->which);
    else
        snprintf(text, size,
                 part->kind == CIRCUIT_POT ? "its wiper makes no contact" : "makes no contact");
}

static void upset_words(const view *v, const solve_tremolo_part *line, char *text, size_t size) {
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
    const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)line->part);
    if (line->what == SOLVE_CONTACT)
        contact_words(v, line, text, size);
    else if (part->kind == CIRCUIT_POT && line->upset == SOLVE_OPENED)
        snprintf(text, size, "its track open %s the wiper", line->which == 0 ? "below" : "above");
    else
        snprintf(text, size, "%s", words[line->upset]);
    if (line->effect == SOLVE_SLOWER || line->effect == SOLVE_FASTER)
        snprintf(text + strlen(text), size - strlen(text), ": %.2g a second", line->hertz);
}

static const char *heading_of(const solve_tremolo_part *line) {
    if (is_turn(line)) return "CONTROLS";
    if (line->effect == SOLVE_STOPS) return "WHAT CAN STOP IT";
    if (line->effect == SOLVE_UNHEARD) return "IT RUNS, BUT THE OUTPUT TUBES HARDLY SWING";
    return "WHAT CHANGES ITS SPEED";
}

/* Every fault of one part under one heading on one line; returns the next line's index. */
static size_t tell_part(view *v, size_t from) {
    const solve_tremolo_part *line = &v->part[from];
    const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)line->part);
    char text[1024], words[128];
    snprintf(text, sizeof text, "%s%s%s:", part->written ? part->written : "",
             part->written && part->what ? ", " : "", part->what ? part->what : "");
    size_t i = from;
    for (; i < v->parts && v->part[i].part == line->part &&
           strcmp(heading_of(&v->part[i]), heading_of(line)) == 0;
         i++) {
        upset_words(v, &v->part[i], words, sizeof words);
        if (is_turn(line) && v->part[i].effect == SOLVE_STOPS) strcat(words, ": it stops");
        if (is_turn(line) && v->part[i].effect == SOLVE_UNHEARD) strcat(words, ": hardly heard");
        snprintf(text + strlen(text), sizeof text - strlen(text), "%s %s", i > from ? ";" : "",
                 words);
    }
    base_text_add(&v->cli->out, "  %s%-4s%s ", cli_style_on(v->cli, CLI_STRONG), part->name,
                  cli_style_on(v->cli, CLI_PLAIN));
    cli_fill(v->cli, 7, 7, text);
    return i;
}

static void tell_parts(view *v) {
    const char *last = "";
    for (size_t i = 0; i < v->parts;) {
        const char *heading = heading_of(&v->part[i]);
        if (strcmp(heading, last) != 0) cli_heading(v->cli, last = heading);
        i = tell_part(v, i);
    }
}

static void tell_others(view *v) {
    cli_heading(v->cli, "WHAT ELSE SWINGS BY ITSELF");
    if (v->others == 0) base_text_add(&v->cli->out, "  Nothing, at these controls.\n");
    for (size_t i = 0; i < v->others; i++) {
        const solve_mode *mode = &v->other[i];
        const char *kind = mode->hertz >= TONE_HERTZ ? "it squeals"
                           : mode->hertz > 0         ? "it motorboats"
                                                     : "it drifts away from its idle";
        base_text_add(&v->cli->out, "  %.3g Hz: %s\n", mode->hertz, kind);
    }
}

/* ---- JSON ---- */

static void json_part(cli *cli, json_t *row, const view *v, const solve_tremolo_part *line) {
    static const char *const effects[] = {"stops", "unheard", "slower", "faster", "none"};
    char words[128];
    solve_tremolo_part bare = *line;
    bare.effect = SOLVE_NO_EFFECT;
    upset_words(v, &bare, words, sizeof words);
    const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)line->part);
    bool runs = line->effect != SOLVE_STOPS;
    cli_json_set(cli, row, "part", http_json_text(part->name));
    cli_json_set(cli, row, "what", http_json_text(words));
    cli_json_set(cli, row, "control", json_boolean(is_turn(line)));
    cli_json_set(cli, row, "effect", json_string(effects[line->effect]));
    cli_json_set(cli, row, "hertz", runs ? http_json_number(line->hertz) : json_null());
}

static void json_oscillator(cli *cli, const view *v) {
    const solve_tremolo *tremolo = &v->tremolo;
    if (tremolo->part < 0) {
        cli_json_set(cli, cli->json, "oscillator", json_null());
        return;
    }
    const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)tremolo->part);
    const char *unit = part->tube->unit[tremolo->unit].name;
    json_t *row = cli_json_object_in(cli, cli->json, "oscillator");
    cli_json_set(cli, row, "tube", http_json_text(part->name));
    cli_json_set(cli, row, "type", http_json_text(part->tube->name));
    cli_json_set(cli, row, "unit", *unit ? http_json_text(unit) : json_null());
    cli_json_set(cli, row, "starts", json_boolean(tremolo->swing.swings));
    cli_json_set(cli, row, "hertz", http_json_number(tremolo->swing.hertz));
    cli_json_set(cli, row, "growth_per_s", http_json_number(tremolo->swing.growth));
    cli_json_set(cli, row, "gain_needed", http_json_number(tremolo->gain));
    cli_json_set(cli, row, "emission_needed", http_json_number(tremolo->emission));
    cli_json_set(cli, row, "reach", http_json_number(tremolo->swing.reach));
}

static void json_all(cli *cli, const view *v) {
    cli_json_set(cli, cli->json, "amp", http_json_text(circuit_about_of(v->at.amp.amp)->name));
    json_oscillator(cli, v);
    json_t *parts = cli_json_list_in(cli, cli->json, "parts");
    for (size_t i = 0; i < v->parts; i++)
        json_part(cli, cli_json_row_in(cli, parts), v, &v->part[i]);
    json_t *others = cli_json_list_in(cli, cli->json, "others");
    for (size_t i = 0; i < v->others; i++) {
        json_t *row = cli_json_row_in(cli, others);
        cli_json_set(cli, row, "hertz", http_json_number(v->other[i].hertz));
        cli_json_set(cli, row, "growth_per_s", http_json_number(v->other[i].growth));
    }
}

/* ---- the command ---- */

static void run(cli *cli) {
    view v = {.cli = cli};
    if (cli_signal_open(cli, cli->argument[0], &v.at) && cli_signal_solve(cli, &v.at) && find(&v)) {
        tell_oscillator(&v);
        tell_parts(&v);
        tell_others(&v);
        json_all(cli, &v);
    }
    free(v.part);
    free(v.other);
    cli_signal_close(&v.at);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0}, {0}};

const cli_command cli_tremolo = {
    .name = "tremolo",
    .arguments = "AMP",
    .summary = "Does the tremolo start, how fast, and what can stop it",
    .about =
        "Finds the tube that swings by itself in a healthy amp with its controls where the file "
        "has them: whether it starts, how fast it settles, and how much gain it has to spare. Then "
        "each part is made to fail in turn: those that stop it, those that leave it running but "
        "keep it from the output tubes, those that change its speed. A part whose fault kills the "
        "whole amp is left out.\n\n"
        "Whatever else would swing by itself, a squeal or a motorboat, is told too.",
    .examples = "  gridleak tremolo tidemark\n  gridleak tremolo millrace --json\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
