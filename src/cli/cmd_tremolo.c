/* gridleak tremolo: does the oscillator start, how fast, and what can stop it. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void tell_oscillator(cli *cli, const service_tremolo *found) {
    base_text_add(&cli->out, "%s%s%s  the tremolo's oscillator, controls as in the file\n",
                  cli_style_on(cli, CLI_HEAD), found->amp, cli_style_on(cli, CLI_PLAIN));
    if (found->tube)
        base_text_add(&cli->out, "\n%s%s %s%s%s%s%s%s\n", cli_style_on(cli, CLI_STRONG),
                      found->tube, found->type, *found->unit ? ", " : "", found->unit,
                      found->does ? ", " : "", found->does ? found->does : "",
                      cli_style_on(cli, CLI_PLAIN));
    for (size_t i = 0; found->words[i]; i++)
        cli_fill(cli, 0, 0, found->words[i]);
}

/* ---- what can stop it ---- */

static const char *heading_of(const service_tremolo_part *line) {
    if (line->control) return "CONTROLS";
    if (line->effect == SOLVE_STOPS) return "WHAT CAN STOP IT";
    if (line->effect == SOLVE_UNHEARD) return "IT RUNS, BUT THE OUTPUT TUBES HARDLY SWING";
    return "WHAT CHANGES ITS SPEED";
}

static void add_upset(char *text, size_t size, const service_tremolo_part *line) {
    size_t used = strlen(text);
    if (line->effect == SOLVE_SLOWER || line->effect == SOLVE_FASTER)
        snprintf(text + used, size - used, " %s: %.2g a second", line->what, line->hertz);
    else
        snprintf(text + used, size - used, " %s%s", line->what,
                 !line->control                  ? ""
                 : line->effect == SOLVE_STOPS   ? ": it stops"
                 : line->effect == SOLVE_UNHEARD ? ": hardly heard"
                                                 : "");
}

/* Every fault of one part under one heading on one line; returns the next line's index. */
static size_t tell_part(cli *cli, const service_tremolo *found, size_t from) {
    const service_tremolo_part *first = &found->part[from];
    char text[1024];
    size_t i = from;
    snprintf(text, sizeof text, "%s:", first->about);
    for (; i < found->parts; i++) {
        const service_tremolo_part *line = &found->part[i];
        if (strcmp(line->part, first->part) != 0 || heading_of(line) != heading_of(first)) break;
        if (i > from) snprintf(text + strlen(text), sizeof text - strlen(text), ";");
        add_upset(text, sizeof text, line);
    }
    base_text_add(&cli->out, "  %s%-4s%s ", cli_style_on(cli, CLI_STRONG), first->part,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 7, 7, text);
    return i;
}

static void tell_parts(cli *cli, const service_tremolo *found) {
    const char *last = "";
    for (size_t i = 0; i < found->parts;) {
        const char *heading = heading_of(&found->part[i]);
        if (strcmp(heading, last) != 0) cli_heading(cli, last = heading);
        i = tell_part(cli, found, i);
    }
}

static void tell_others(cli *cli, const service_tremolo *found) {
    cli_heading(cli, "WHAT ELSE SWINGS BY ITSELF");
    if (found->others == 0) base_text_add(&cli->out, "  Nothing, at these controls.\n");
    for (size_t i = 0; i < found->others; i++)
        base_text_add(&cli->out, "  %.3g Hz: %s\n", found->other[i].hertz,
                      service_mode_words(&found->other[i]));
}

/* ---- the command ---- */

static void run(cli *cli) {
    cli_amp amp = {0};
    service_stand stand = {.mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300)};
    service_tremolo *found = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        found = service_tremolo_of(amp.system, &stand, cli->errors);
    if (found) {
        tell_oscillator(cli, found);
        tell_parts(cli, found);
        tell_others(cli, found);
        cli_json_take(cli, http_json_tremolo(found));
    }
    service_tremolo_free(found);
    cli_amp_close(&amp);
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
