/* Where to put the probe: the place in words, the socket drawn, and how to keep alive doing it. */
#include "suspects_impl.h"

#include <stdio.h>
#include <string.h>

/* The place that `at` names, or the first of two; part = -1 and node = -1 where it names a part. */
static circuit_place find(const circuit *amp, const char *at) {
    circuit_place place = {.node = -1, .part = -1, .pin = -1};
    char first[128];
    base_errors *scratch = base_errors_new();
    snprintf(first, sizeof first, "%.*s", (int)strcspn(at, "-"), at);
    if (!scratch || circuit_place_find(amp, first, (base_place){0}, &place, scratch) != BASE_OK)
        place = (circuit_place){.node = -1, .part = -1, .pin = -1};
    base_errors_free(scratch);
    return place;
}

static const char *site_words(const circuit_part *part) {
    static const char *const words[] = {"", "on the board", "at the socket", "on a terminal strip",
                                        "on the chassis"};
    return part->sits ? part->sits : words[part->site];
}

/* "where R14, C11 and L1 join" */
static void joined_parts(const circuit *amp, int node, char *text, size_t size) {
    size_t told = 0;
    for (size_t i = 0; i < circuit_parts(amp) && told < 4; i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        bool here = false;
        if (part->kind == CIRCUIT_RECTIFIER || part->kind == CIRCUIT_TUBE) continue;
        for (int end = 0; end < part->ends; end++)
            here = here || part->end[end] == node;
        if (!here) continue;
        snprintf(text + strlen(text), size - strlen(text), "%s%s", told ? ", " : "where ",
                 part->name);
        told++;
    }
    if (told) snprintf(text + strlen(text), size - strlen(text), told > 1 ? " join" : " ends");
}

static void place_words(const circuit *amp, const circuit_place *place, const char *at, char *text,
                        size_t size) {
    int index = circuit_part_find(amp, at);
    *text = 0;
    if (place->part >= 0) {
        char name[96];
        const circuit_part *tube = circuit_part_at(amp, (size_t)place->part);
        snprintf(text, size, "pin %d of %s (%s%s%s): %s", place->pin, tube->name, tube->tube->name,
                 tube->what ? ", " : "", tube->what ? tube->what : "",
                 cli_electrode(tube->tube, place->pin, name, sizeof name));
    } else if (place->node > 0) {
        joined_parts(amp, place->node, text, size);
    } else if (index >= 0) {
        const circuit_part *part = circuit_part_at(amp, (size_t)index);
        snprintf(text, size, "the volts across %s%s%s%s%s", part->name, part->written ? ", " : "",
                 part->written ? part->written : "", *site_words(part) ? ", " : "",
                 site_words(part));
    }
}

static const char *safety_words(bool on_mains, bool difference) {
    if (difference)
        return "Neither lead is on ground. Unplug, drain, MEASURE; clip both leads on; take your "
               "hands away; then switch on and read.";
    if (on_mains)
        return "Isolation transformer first: no reading without one. Unplugged, clip the black "
               "lead to the common negative, not to the chassis. Then plug in. One hand holds the "
               "red probe, the other stays in your pocket.";
    return "Live: clip the black lead to the chassis first. One hand holds the red probe, the "
           "other stays in your pocket. Not sure? Switch off and unplug.";
}

static void tell_safety(cli *cli, const circuit *amp, bool difference) {
    bool on_mains = cli_amp_on_mains(amp);
    base_text_add(&cli->out, "\n  %sHANDS%s  ", cli_style_on(cli, CLI_WARN),
                  cli_style_on(cli, CLI_PLAIN));
    if (on_mains && difference) cli_fill(cli, 9, 9, "Isolation transformer first.");
    if (on_mains && difference) base_text_add(&cli->out, "         ");
    cli_fill(cli, 9, 9, safety_words(on_mains, difference));
}

void cli_probe_text(cli *cli, const cli_case *at, const diagnose_probe_next *next) {
    circuit_place place = find(at->amp, next->at);
    bool difference = place.node < 0 || strchr(next->at, '-');
    char words[512];
    place_words(at->amp, &place, next->at, words, sizeof words);
    base_text_add(&cli->out, "  %s%s%s  %s", cli_style_on(cli, CLI_STRONG), next->at,
                  cli_style_on(cli, CLI_PLAIN), next->quantity);
    if (*words) {
        base_text_add(&cli->out, ", ");
        cli_fill(cli, 6 + (int)(strlen(next->at) + strlen(next->quantity)), 2, words);
    } else {
        base_text_add(&cli->out, "\n");
    }
    if (next->why) {
        base_text_add(&cli->out, "  ");
        cli_fill(cli, 2, 2, next->why);
    }
    if (place.part >= 0) {
        base_text_add(&cli->out, "\n");
        cli_socket(cli, circuit_part_at(at->amp, (size_t)place.part)->tube, place.pin);
    }
    tell_safety(cli, at->amp, difference);
}
