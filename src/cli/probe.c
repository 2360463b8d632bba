/* Where to put the probe: the place in words, the socket drawn, and how to keep alive doing it. */
#include "suspects_impl.h"

#include <stdio.h>
#include <string.h>

static const circuit_place nowhere = {.node = -1, .part = -1, .pin = -1};

static circuit_place find(const circuit *amp, const char *name) {
    circuit_place place = nowhere;
    base_errors *scratch = base_errors_new();
    if (!scratch || circuit_place_find(amp, name, (base_place){0}, &place, scratch) != BASE_OK)
        place = nowhere;
    base_errors_free(scratch);
    return place;
}

/* "B2-V2.4" in its two names; the second is empty where there is one only. */
typedef struct leads {
    char red[128], black[128];
} leads;

static leads leads_of(const char *at) {
    leads leads;
    const char *dash = strchr(at, '-');
    snprintf(leads.red, sizeof leads.red, "%.*s", dash ? (int)(dash - at) : (int)strlen(at), at);
    snprintf(leads.black, sizeof leads.black, "%s", dash ? dash + 1 : "");
    return leads;
}

static const char *site_words(const circuit_part *part) {
    static const char *const words[] = {"", "on the board", "at the socket", "on a terminal strip",
                                        "on the chassis"};
    return part->site != CIRCUIT_SITE_UNSTATED ? words[part->site] : part->sits ? part->sits : "";
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

static void place_words(const circuit *amp, const char *name, char *text, size_t size) {
    circuit_place place = find(amp, name);
    int index = circuit_part_find(amp, name);
    *text = 0;
    if (place.part >= 0) {
        char electrode[96];
        const circuit_part *tube = circuit_part_at(amp, (size_t)place.part);
        snprintf(text, size, "pin %d of %s (%s%s%s): %s", place.pin, tube->name, tube->tube->name,
                 tube->what ? ", " : "", tube->what ? tube->what : "",
                 tube_pin_words(tube->tube, place.pin, electrode, sizeof electrode));
    } else if (place.node > 0) {
        joined_parts(amp, place.node, text, size);
    } else if (index >= 0) {
        const circuit_part *part = circuit_part_at(amp, (size_t)index);
        snprintf(text, size, "the volts across %s%s%s%s%s%s%s", part->name,
                 part->written ? ", " : "", part->written ? part->written : "",
                 part->what ? ", " : "", part->what ? part->what : "",
                 *site_words(part) ? ", " : "", site_words(part));
    }
}

/* Neither lead on ground: by the chart's own probe of that name. */
static bool is_difference(const http_case *at, const char *name) {
    int place = cli_place_named(at->engine, name);
    if (place < 0) return strchr(name, '-') != NULL;
    return diagnose_place_at(at->engine, (size_t)place)->probe.minus > 0;
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
    if (on_mains && difference) {
        cli_fill(cli, 9, 9, "Isolation transformer first.");
        base_text_add(&cli->out, "         ");
    }
    cli_fill(cli, 9, 9, safety_words(on_mains, difference));
}

void cli_probe_where(cli *cli, const http_case *at, const diagnose_probe_next *next) {
    leads leads = leads_of(next->at);
    char red[512], black[512], line[1536];
    place_words(at->amp, leads.red, red, sizeof red);
    place_words(at->amp, leads.black, black, sizeof black);
    if (*leads.black)
        snprintf(line, sizeof line, "%s, red lead on %s, %s; black lead on %s, %s", next->quantity,
                 leads.red, red, leads.black, black);
    else
        snprintf(line, sizeof line, "%s%s%s", next->quantity, *red ? ", " : "", red);
    base_text_add(&cli->out, "  %s%s%s  ", cli_style_on(cli, CLI_STRONG), next->at,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 4 + (int)strlen(next->at), 2, line);
    if (!next->why) return;
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, next->why);
}

void cli_probe_how(cli *cli, const http_case *at, const diagnose_probe_next *next) {
    leads leads = leads_of(next->at);
    circuit_place red = find(at->amp, leads.red), black = find(at->amp, leads.black);
    circuit_place pin = red.part >= 0 ? red : black;
    if (pin.part >= 0) {
        base_text_add(&cli->out, "\n");
        cli_socket(cli, circuit_part_at(at->amp, (size_t)pin.part)->tube, pin.pin,
                   red.part >= 0 ? "red lead" : "black lead");
    }
    tell_safety(cli, at->amp, is_difference(at, next->at));
}
