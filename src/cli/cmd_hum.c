/* gridleak hum: the supply's ripple at the supply nodes and at the speaker, and what would raise
 * it.
 */
#include "cli_impl.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define PARTS_MOST 256

typedef struct view {
    cli *cli;
    cli_signal at;
    bool *supply;                                /* by circuit node */
    double _Complex *volts[SOLVE_HARMONICS + 1]; /* by harmonic, by circuit node; [0] unused */
    solve_hum_part *part;
    size_t parts;
} view;

/* One place: rms at the mains' frequency, at twice it, and all above together. */
typedef struct line {
    char at[64];
    const char *what;
    double dc, once, twice, above;
} line;

/* ---- finding ---- */

static bool failed(view *v, solve_outcome outcome) {
    if (outcome == SOLVE_NO_MEMORY) return cli_no_memory(v->cli);
    base_errors_add(v->cli->errors, BASE_UNSOLVED,
                    (base_place){.file = circuit_about_of(v->at.amp.amp)->file},
                    "the hum's way could not be solved|gridleak check says what is odd in the "
                    "file");
    return false;
}

static bool make_room(view *v) {
    size_t nodes = circuit_nodes(v->at.amp.amp);
    v->supply = calloc(nodes, sizeof *v->supply);
    v->part = calloc(PARTS_MOST, sizeof *v->part);
    bool made = v->supply && v->part;
    for (int k = 1; k <= SOLVE_HARMONICS; k++) {
        v->volts[k] = calloc(nodes, sizeof *v->volts[k]);
        made = made && v->volts[k];
    }
    return (made && diagnose_supply_nodes(v->at.amp.amp, v->supply)) || cli_no_memory(v->cli);
}

static bool find(view *v) {
    solve_trial given = {v->at.signal, v->at.work, v->at.numbers, v->at.x};
    if (!make_room(v)) return false;
    for (int k = 1; k <= SOLVE_HARMONICS; k++) {
        solve_outcome outcome = solve_hum(v->at.signal, v->at.work, v->at.numbers, k, v->volts[k]);
        if (outcome != SOLVE_CONVERGED) return failed(v, outcome);
    }
    solve_outcome outcome = solve_hum_parts(&given, v->part, PARTS_MOST, &v->parts);
    if (v->parts > PARTS_MOST) v->parts = PARTS_MOST;
    return outcome == SOLVE_CONVERGED || failed(v, outcome);
}

static line line_of(const view *v, int plus, int minus) {
    solve_probe probe = {plus, minus, false, INFINITY};
    line made = {.dc = solve_read(v->at.work, v->at.numbers, v->at.x, &probe, NULL, NULL)};
    double square = 0;
    for (int k = 3; k <= SOLVE_HARMONICS; k++)
        square += pow(cabs(v->volts[k][plus] - v->volts[k][minus]), 2);
    made.once = cabs(v->volts[1][plus] - v->volts[1][minus]);
    made.twice = cabs(v->volts[2][plus] - v->volts[2][minus]);
    made.above = sqrt(square);
    return made;
}

/* ---- telling ---- */

static cli_cell rms(double volts) {
    cli_cell cell;
    if (volts >= 0.9995)
        snprintf(cell.text, sizeof cell.text, volts < 99.95 ? "%.3g V" : "%.0f V", volts);
    else if (volts >= 1e-4)
        snprintf(cell.text, sizeof cell.text, volts < 0.0995 ? "%.2g mV" : "%.0f mV", 1e3 * volts);
    else
        snprintf(cell.text, sizeof cell.text, "under 0.1 mV");
    return cell;
}

static void tell_line(view *v, json_t *list, const line *one) {
    cli *cli = v->cli;
    bool supply = one->what[0] == 's' && one->what[1] == 'u';
    base_text_add(&cli->out, "  %s%-8s%s %-8s %8s %13s %13s %13s\n", cli_style_on(cli, CLI_STRONG),
                  one->at, cli_style_on(cli, CLI_PLAIN), one->what,
                  supply ? cli_volts(one->dc).text : "", rms(one->once).text, rms(one->twice).text,
                  rms(one->above).text);
    json_t *row = cli_json_row_in(cli, list);
    cli_json_set(cli, row, "at", http_json_text(one->at));
    cli_json_set(cli, row, "what", http_json_text(one->what));
    cli_json_set(cli, row, "dc_v", http_json_number(one->dc));
    cli_json_set(cli, row, "mains_v", http_json_number(one->once));
    cli_json_set(cli, row, "twice_v", http_json_number(one->twice));
    cli_json_set(cli, row, "above_v", http_json_number(one->above));
}

static void tell_lines(view *v) {
    const circuit *amp = v->at.amp.amp;
    json_t *list = cli_json_list_in(v->cli, v->cli->json, "lines");
    for (size_t n = 1; n < circuit_nodes(amp); n++) {
        solve_probe probe = {.plus = (int)n, .meter_ohms = INFINITY};
        if (!v->supply[n] || !solve_probe_exists(v->at.amp.system, &probe)) continue;
        line one = line_of(v, (int)n, 0);
        one.what = "supply";
        snprintf(one.at, sizeof one.at, "%s", circuit_node_at(amp, n)->name);
        tell_line(v, list, &one);
    }
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_SPEAKER || part->end[0] < 0 || part->end[1] < 0) continue;
        line one = line_of(v, part->end[0], part->end[1]);
        one.what = "speaker";
        snprintf(one.at, sizeof one.at, "%s", part->name);
        tell_line(v, list, &one);
    }
}

static void tell_head(view *v) {
    cli *cli = v->cli;
    const circuit_about *about = circuit_about_of(v->at.amp.amp);
    cli_cell head[3];
    snprintf(head[0].text, sizeof head[0].text, "%.0f Hz", about->mains_hertz);
    snprintf(head[1].text, sizeof head[1].text, "%.0f Hz", 2 * about->mains_hertz);
    base_text_add(&cli->out, "%s%s%s  hum from the supply, controls as in the file\n\n",
                  cli_style_on(cli, CLI_HEAD), about->name, cli_style_on(cli, CLI_PLAIN));
    base_text_add(&cli->out, "  %-8s %-8s %8s %13s %13s %13s\n", "at", "", "DC", head[0].text,
                  head[1].text, "above");
}

static void tell_parts(view *v) {
    if (v->parts) cli_heading(v->cli, "WHAT WOULD RAISE IT AT THE SPEAKER");
    json_t *list = cli_json_list_in(v->cli, v->cli->json, "parts");
    for (size_t i = 0; i < v->parts; i++) {
        const solve_hum_part *one = &v->part[i];
        const circuit_part *part = circuit_part_at(v->at.amp.amp, (size_t)one->part);
        const char *upset =
            one->upset == SOLVE_DRIED_OUT ? "dried out to a tenth" : "half of its emission";
        bool units = part->kind == CIRCUIT_TUBE && part->tube->units > 1;
        const char *unit = units ? part->tube->unit[one->which].name : "";
        char text[512];
        snprintf(text, sizeof text, "%s%s%s%s%s: %s: %s", part->written ? part->written : "",
                 part->what ? ", " : "", part->what ? part->what : "", *unit ? ", " : "", unit,
                 upset, rms(one->volts).text);
        base_text_add(&v->cli->out, "  %s%-4s%s ", cli_style_on(v->cli, CLI_STRONG), part->name,
                      cli_style_on(v->cli, CLI_PLAIN));
        cli_fill(v->cli, 7, 7, text);
        json_t *row = cli_json_row_in(v->cli, list);
        cli_json_set(v->cli, row, "part", http_json_text(part->name));
        cli_json_set(v->cli, row, "unit", *unit ? http_json_text(unit) : json_null());
        cli_json_set(v->cli, row, "what", json_string(upset));
        cli_json_set(v->cli, row, "speaker_v", http_json_number(one->volts));
    }
}

static void tell(view *v) {
    const circuit_about *about = circuit_about_of(v->at.amp.amp);
    cli_json_set(v->cli, v->cli->json, "amp", http_json_text(about->name));
    cli_json_set(v->cli, v->cli->json, "mains_hz", http_json_number(about->mains_hertz));
    tell_head(v);
    tell_lines(v);
    tell_parts(v);
    base_text_add(&v->cli->out, "\n");
    cli_fill(v->cli, 0, 0,
             "This is the rectifiers' ripple alone, with capacitors that have no resistance of "
             "their own. Heaters, the transformer's field and ground loops come on top: a real "
             "amp hums more.");
}

static void run(cli *cli) {
    view v = {.cli = cli};
    if (cli_signal_open(cli, cli->argument[0], &v.at) && cli_signal_solve(cli, &v.at) && find(&v))
        tell(&v);
    for (int k = 1; k <= SOLVE_HARMONICS; k++)
        free(v.volts[k]);
    free(v.supply);
    free(v.part);
    cli_signal_close(&v.at);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0}, {0}};

const cli_command cli_hum = {
    .name = "hum",
    .arguments = "AMP",
    .summary = "Show the supply's ripple, and the hum it leaves at the speaker",
    .about =
        "For each supply node and the speaker: what a healthy amp's rectifiers leave there at the "
        "mains' frequency, at twice it, and above, in volts rms, as an AC meter behind a capacitor "
        "reads them. Then each filter capacitor dried out and each tube weak in turn: those that "
        "would raise the hum at the speaker by half or more, the worst first.\n\n"
        "Hum at twice the mains' frequency comes from a full-wave supply; at the mains' own, from "
        "a half-wave one, or a full-wave one with half of it missing.",
    .examples = "  gridleak hum tidemark\n  gridleak hum millrace --mains 121 --json\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
