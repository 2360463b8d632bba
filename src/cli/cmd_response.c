/* gridleak response: gain and phase from an input to every stage, and over frequency. */
#include "cli_impl.h"

#include <complex.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LOWEST_HERTZ 0.1
#define HIGHEST_HERTZ 1e6
#define ROWS_MOST 60
#define GENERATOR_OHMS 600.0 /* of a usual signal generator; common practice, no source */
#define TEST_VOLTS 0.02      /* a usual test signal at an input; common practice, no source */
#define HEARD 0.5            /* a smaller gain is a side path, left out of the text */
#define BAR 24
#define BAR_DB 30.0

typedef struct response {
    cli *cli;
    cli_signal at;
    solve_source source;
    const circuit_part *jack; /* NULL: from a node */
    const char *from;
    solve_scope scope; /* its node is set for each place */
    double hertz, sweep[2];
    solve_stage *stage; /* the last is that of --to, or the first speaker, which is plotted */
    size_t stages, plotted;
} response;

typedef struct row {
    double hertz;
    double complex gain;
} row;

/* ---- what the options say ---- */

static bool read_sweep(cli *cli, double sweep[2]) {
    const char *text = cli_option(cli, CLI_SWEEP), *dots = text ? strstr(text, "..") : NULL;
    base_place place = {.file = "--sweep"};
    char low[64];
    sweep[0] = 20;
    sweep[1] = 20e3;
    if (!text) return true;
    if (!dots) {
        base_errors_add(cli->errors, BASE_VALUE, place,
                        "`%.40s` is no range|write the lowest and the highest: 20..20k", text);
        return false;
    }
    snprintf(low, sizeof low, "%.*s", (int)(dots - text), text);
    if (base_value_read(low, BASE_HERTZ, place, &sweep[0], cli->errors) != BASE_OK ||
        base_value_read(dots + 2, BASE_HERTZ, place, &sweep[1], cli->errors) != BASE_OK)
        return false;
    if (sweep[0] >= LOWEST_HERTZ && sweep[1] <= HIGHEST_HERTZ && sweep[0] < sweep[1]) return true;
    base_errors_add(cli->errors, BASE_VALUE, place,
                    "`%.40s` makes no sense here|go upwards, within 0.1 Hz and 1 MHz", text);
    return false;
}

/* "10M 12p", or ohms alone. */
static bool read_scope(cli *cli, solve_scope *scope) {
    const char *text = cli_option(cli, CLI_SCOPE);
    base_place place = {.file = "--scope"};
    char ohms[64];
    *scope = (solve_scope){.node = -1, .ohms = INFINITY};
    if (!text) return true;
    const char *blank = strchr(text, ' ');
    snprintf(ohms, sizeof ohms, "%.*s", blank ? (int)(blank - text) : (int)strlen(text), text);
    if (base_value_read(ohms, BASE_OHMS, place, &scope->ohms, cli->errors) != BASE_OK) return false;
    if (blank &&
        base_value_read(blank + 1, BASE_FARADS, place, &scope->farads, cli->errors) != BASE_OK)
        return false;
    if (scope->ohms >= 1e3 && scope->farads <= 1e-6) return true;
    base_errors_add(cli->errors, BASE_VALUE, place,
                    "`%.40s` is no probe|write its ohms and its capacitance: \"10M 12p\"", text);
    return false;
}

/* ---- where it goes in ---- */

static bool drives_speaker(const circuit *amp, const circuit_part *jack) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_SPEAKER &&
            (part->end[0] == jack->end[0] || part->end[1] == jack->end[0]))
            return true;
    }
    return false;
}

static int first_input(const circuit *amp) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind == CIRCUIT_JACK && part->end[0] > 0 && !drives_speaker(amp, part))
            return (int)i;
    }
    return -1;
}

static bool has_signal(const response *r, int node) {
    solve_probe probe = {.plus = node, .meter_ohms = INFINITY};
    return node > 0 && solve_probe_exists(r->at.amp.system, &probe);
}

static bool no_signal(response *r, const char *option, const char *name) {
    base_errors_add(r->cli->errors, BASE_UNKNOWN, (base_place){.file = option},
                    "%.60s carries no signal|name a jack, a tube's pin or a node of the signal's "
                    "path",
                    name);
    return false;
}

static bool from_jack(response *r, int jack) {
    r->jack = circuit_part_at(r->at.amp.amp, (size_t)jack);
    r->from = r->jack->name;
    int back = r->jack->end[1] > 0 ? r->jack->end[1] : 0;
    r->source = (solve_source){r->jack->end[0], back, GENERATOR_OHMS};
    if (!has_signal(r, r->source.node)) return no_signal(r, "--from", r->from);
    solve_plug_in(r->at.amp.system, jack, r->at.numbers);
    return true;
}

static bool find_source(response *r) {
    const circuit *amp = r->at.amp.amp;
    const char *name = cli_option(r->cli, CLI_FROM);
    int jack = name ? circuit_part_find(amp, name) : first_input(amp);
    circuit_place place;
    if (jack >= 0 && circuit_part_at(amp, (size_t)jack)->kind == CIRCUIT_JACK)
        return from_jack(r, jack);
    if (!name) {
        base_errors_add(r->cli->errors, BASE_UNKNOWN, (base_place){.file = "--from"},
                        "the amp has no input jack|say where the signal goes in: --from V1.2");
        return false;
    }
    if (circuit_place_find(amp, name, (base_place){.file = "--from"}, &place, r->cli->errors) !=
        BASE_OK)
        return false;
    r->from = name;
    r->source = (solve_source){place.node, 0, GENERATOR_OHMS};
    return has_signal(r, place.node) || no_signal(r, "--from", name);
}

/* ---- where it is looked for ---- */

static bool find_target(response *r) {
    const char *name = cli_option(r->cli, CLI_TO);
    circuit_place place;
    r->plotted = r->stages ? r->stages - 1 : 0;
    for (size_t i = r->stages; i-- > 0 && !name;)
        if (r->stage[i].unit < 0) r->plotted = i;
    if (!name && r->stages) return true;
    if (!name) return no_signal(r, "--to", "no stage of this amp");
    if (circuit_place_find(r->at.amp.amp, name, (base_place){.file = "--to"}, &place,
                           r->cli->errors) != BASE_OK)
        return false;
    if (!has_signal(r, place.node)) return no_signal(r, "--to", name);
    for (size_t i = 0; i < r->stages; i++)
        if (r->stage[i].plus == place.node && r->stage[i].minus == 0) {
            r->plotted = i;
            return true;
        }
    r->plotted = r->stages;
    r->stage[r->stages++] = (solve_stage){place.part, -2, place.pin, place.node, 0};
    return true;
}

static bool find_stages(response *r) {
    size_t count = solve_stages(r->at.amp.system, NULL, 0);
    r->stage = calloc(count + 1, sizeof *r->stage);
    if (!r->stage) return cli_no_memory(r->cli);
    r->stages = solve_stages(r->at.amp.system, r->stage, count);
    return find_target(r);
}

/* ---- gains ---- */

static double complex gain_at(response *r, const solve_stage *stage, double hertz) {
    r->scope.node = stage->plus;
    solve_outcome outcome = solve_signal_at(r->at.signal, &r->source, &r->scope, hertz);
    if (outcome != SOLVE_CONVERGED) return NAN;
    return solve_signal_volts(r->at.signal, stage->plus) -
           solve_signal_volts(r->at.signal, stage->minus);
}

static double db(double complex gain) {
    return 20 * log10(cabs(gain));
}

static double degrees(double complex gain) {
    double turned = carg(gain) * 180 / M_PI;
    return turned <= -179.5 ? 180 : turned;
}

/* Between `out`, where the gain is 3 dB down, and `in`, where it is not. */
static double edge(response *r, double out, double in, double level) {
    for (int k = 0; k < 12; k++) {
        double middle = sqrt(out * in);
        *(cabs(gain_at(r, &r->stage[r->plotted], middle)) < level ? &out : &in) = middle;
    }
    return sqrt(out * in);
}

static size_t fill_rows(response *r, row *rows) {
    double octaves = log2(r->sweep[1] / r->sweep[0]);
    size_t count = (size_t)fmin(fmax(round(2 * octaves), 2), ROWS_MOST - 1) + 1;
    for (size_t i = 0; i < count; i++) {
        rows[i].hertz =
            r->sweep[0] * pow(r->sweep[1] / r->sweep[0], (double)i / (double)(count - 1));
        rows[i].gain = gain_at(r, &r->stage[r->plotted], rows[i].hertz);
    }
    return count;
}

static size_t loudest(const row *rows, size_t count) {
    size_t most = 0;
    for (size_t i = 1; i < count; i++)
        if (cabs(rows[i].gain) > cabs(rows[most].gain)) most = i;
    return most;
}

/* Where it falls 3 dB below its most, downwards and upwards; NAN: not within the sweep. */
static void find_edges(response *r, const row *rows, size_t count, double edges[2]) {
    size_t most = loudest(rows, count);
    double level = cabs(rows[most].gain) * sqrt(0.5);
    edges[0] = edges[1] = NAN;
    for (size_t i = most; i-- > 0 && isnan(edges[0]);)
        if (cabs(rows[i].gain) < level) edges[0] = edge(r, rows[i].hertz, rows[i + 1].hertz, level);
    for (size_t i = most + 1; i < count && isnan(edges[1]); i++)
        if (cabs(rows[i].gain) < level) edges[1] = edge(r, rows[i].hertz, rows[i - 1].hertz, level);
}

/* ---- text ---- */

static cli_cell hertz_cell(double hertz) {
    cli_cell cell;
    if (hertz >= 999.5)
        snprintf(cell.text, sizeof cell.text, "%.3g kHz", hertz / 1e3);
    else
        snprintf(cell.text, sizeof cell.text, "%.3g Hz", hertz);
    return cell;
}

static cli_cell small_volts(double volts) {
    cli_cell cell;
    if (volts >= 0.9995)
        snprintf(cell.text, sizeof cell.text, volts < 99.95 ? "%.3g V" : "%.0f V", volts);
    else
        snprintf(cell.text, sizeof cell.text, "%.3g mV", volts * 1e3);
    return cell;
}

static cli_cell times(double gain) {
    cli_cell cell;
    snprintf(cell.text, sizeof cell.text, gain < 99.95 ? "%.3g" : "%.0f", gain);
    return cell;
}

/* "V1.6" and "plate"; "LS1" and "speaker"; of --to its own name. */
static void name_stage(const response *r, const solve_stage *stage, char *at, size_t size,
                       const char **what) {
    *what = "";
    if (stage->unit == -2) {
        snprintf(at, size, "%s", cli_option(r->cli, CLI_TO));
        return;
    }
    const circuit_part *part = circuit_part_at(r->at.amp.amp, (size_t)stage->part);
    if (stage->unit == -1) {
        snprintf(at, size, "%s", part->name);
        *what = "speaker";
        return;
    }
    bool plate = part->tube->unit[stage->unit].pin[TUBE_PLATE] == stage->pin;
    snprintf(at, size, "%s.%d", part->name, stage->pin);
    *what = plate ? "plate" : "cathode";
}

static void tell_stage(response *r, const solve_stage *stage, double complex gain) {
    char at[64];
    const char *what;
    name_stage(r, stage, at, sizeof at, &what);
    base_text_add(&r->cli->out, "  %s%-9s%s %-8s %8s %+7.1f dB %11s %9.0f deg\n",
                  cli_style_on(r->cli, CLI_STRONG), at, cli_style_on(r->cli, CLI_PLAIN), what,
                  times(cabs(gain)).text, db(gain), small_volts(TEST_VOLTS * cabs(gain)).text,
                  degrees(gain));
}

static void tell_head(response *r) {
    cli *cli = r->cli;
    char text[512];
    base_text_add(&cli->out, "%s%s%s  small signals at %s, controls as in the file\n",
                  cli_style_on(cli, CLI_HEAD), circuit_about_of(r->at.amp.amp)->name,
                  cli_style_on(cli, CLI_PLAIN), hertz_cell(r->hertz).text);
    const char *does = r->jack ? r->jack->what : NULL;
    snprintf(text, sizeof text, "In at %s%s%s%s, from a generator of 600 ohm.", r->from,
             does ? " (" : "", does ? does : "", does ? ")" : "");
    if (isfinite(r->scope.ohms)) {
        char ohms[40], farads[40];
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 " Each place is shown with a probe of %s and %s on it.",
                 base_value_write(r->scope.ohms, BASE_OHMS, ohms, sizeof ohms),
                 base_value_write(r->scope.farads, BASE_FARADS, farads, sizeof farads));
    }
    cli_fill(cli, 0, 0, text);
    base_text_add(&cli->out, "\n  %-9s %-8s %8s %10s %11s %13s\n", "at", "", "gain", "",
                  "20 mV gives", "phase");
}

static bool tell_stages(response *r) {
    json_t *list = cli_json_list_in(r->cli, r->cli->json, "stages");
    for (size_t i = 0; i < r->stages; i++) {
        const solve_stage *stage = &r->stage[i];
        double complex gain = gain_at(r, stage, r->hertz);
        bool again = i > 0 && r->stage[i - 1].plus == stage->plus;
        char at[64];
        const char *what;
        if (isnan(creal(gain))) return false;
        name_stage(r, stage, at, sizeof at, &what);
        json_t *row = cli_json_row_in(r->cli, list);
        cli_json_set(r->cli, row, "at", http_json_text(at));
        cli_json_set(r->cli, row, "what", *what ? http_json_text(what) : json_null());
        cli_json_set(r->cli, row, "gain", http_json_number(cabs(gain)));
        cli_json_set(r->cli, row, "gain_db", http_json_number(db(gain)));
        cli_json_set(r->cli, row, "phase_deg", http_json_number(degrees(gain)));
        if ((cabs(gain) >= HEARD && !again) || i == r->plotted) tell_stage(r, stage, gain);
    }
    return true;
}

static void tell_edges(response *r, const row *most, const double edges[2]) {
    char text[256];
    snprintf(text, sizeof text, "Most at %s.", hertz_cell(most->hertz).text);
    for (int k = 0; k < 2; k++)
        if (isfinite(edges[k]))
            snprintf(text + strlen(text), sizeof text - strlen(text), " 3 dB less at %s.",
                     hertz_cell(edges[k]).text);
    base_text_add(&r->cli->out, "\n  ");
    cli_fill(r->cli, 2, 2, text);
    base_text_add(&r->cli->out, "\n  ");
    cli_fill(r->cli, 2, 2,
             "These are small signals: where the volts are more than the stage can swing, it clips "
             "instead.");
}

static bool tell_rows(response *r) {
    row rows[ROWS_MOST];
    double edges[2];
    char at[64], title[256];
    const char *what;
    size_t count = fill_rows(r, rows), most = loudest(rows, count);
    find_edges(r, rows, count, edges);
    name_stage(r, &r->stage[r->plotted], at, sizeof at, &what);
    snprintf(title, sizeof title, "%s %s FROM %s TO %s", at, what, hertz_cell(r->sweep[0]).text,
             hertz_cell(r->sweep[1]).text);
    cli_heading(r->cli, title);
    cli_json_set(r->cli, r->cli->json, "to", http_json_text(at));
    cli_json_set(r->cli, r->cli->json, "low_hz", http_json_number(edges[0]));
    cli_json_set(r->cli, r->cli->json, "high_hz", http_json_number(edges[1]));
    json_t *list = cli_json_list_in(r->cli, r->cli->json, "sweep");
    for (size_t i = 0; i < count; i++) {
        if (isnan(creal(rows[i].gain))) return false;
        double part = 1 + (db(rows[i].gain) - db(rows[most].gain)) / BAR_DB;
        base_text_add(&r->cli->out, "  %9s %+7.1f dB %5.0f deg  %s", hertz_cell(rows[i].hertz).text,
                      db(rows[i].gain), degrees(rows[i].gain), cli_bar(r->cli, part, BAR).text);
        cli_end_line(r->cli);
        json_t *row = cli_json_row_in(r->cli, list);
        cli_json_set(r->cli, row, "hertz", http_json_number(rows[i].hertz));
        cli_json_set(r->cli, row, "gain_db", http_json_number(db(rows[i].gain)));
        cli_json_set(r->cli, row, "phase_deg", http_json_number(degrees(rows[i].gain)));
    }
    tell_edges(r, &rows[most], edges);
    return true;
}

/* ---- the command ---- */

static bool read_options(response *r) {
    r->hertz = cli_number(r->cli, CLI_AT, BASE_HERTZ, LOWEST_HERTZ, HIGHEST_HERTZ);
    if (!cli_option(r->cli, CLI_AT)) r->hertz = 1000;
    bool sweep = read_sweep(r->cli, r->sweep);
    return read_scope(r->cli, &r->scope) && sweep && isfinite(r->hertz);
}

static void tell(response *r) {
    cli_json_set(r->cli, r->cli->json, "amp",
                 http_json_text(circuit_about_of(r->at.amp.amp)->name));
    cli_json_set(r->cli, r->cli->json, "from", http_json_text(r->from));
    cli_json_set(r->cli, r->cli->json, "hertz", http_json_number(r->hertz));
    tell_head(r);
    if (!tell_stages(r) || !tell_rows(r))
        base_errors_add(r->cli->errors, BASE_UNSOLVED,
                        (base_place){.file = circuit_about_of(r->at.amp.amp)->file},
                        "the signal's way could not be solved|gridleak check says what is odd in "
                        "the file");
}

static void run(cli *cli) {
    response r = {.cli = cli};
    if (!read_options(&r)) return;
    if (cli_signal_open(cli, cli->argument[0], &r.at) && find_source(&r) && find_stages(&r) &&
        cli_signal_solve(cli, &r.at))
        tell(&r);
    free(r.stage);
    cli_signal_close(&r.at);
}

static const struct argp_option options[] = {
    {"from", CLI_FROM, "PLACE", 0, "Where the signal goes in: a jack, a pin, a node", 0},
    {"to", CLI_TO, "PLACE", 0, "What the plot shows; when not given, the speaker", 0},
    {"at", CLI_AT, "HERTZ", 0, "The frequency of the table; 1k when not given", 0},
    {"sweep", CLI_SWEEP, "LOW..HIGH", 0, "The frequencies of the plot: 20..20k", 0},
    {"scope", CLI_SCOPE, "LOAD", 0, "The probe on each place: \"10M 12p\"; none when not given", 0},
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {0}};

const cli_command cli_response = {
    .name = "response",
    .arguments = "AMP",
    .summary = "Show a signal's gain and phase, stage by stage",
    .about =
        "What a small signal at the input becomes at each plate and at the speaker, in a healthy "
        "amp with its controls where the file has them; and the gain over frequency, in decibels. "
        "Tubes count with their capacitances, the output transformer with its windings' ohms and "
        "its inductance. With --scope each place is shown as that probe shows it.\n\n"
        "A stage whose gain is far off, in an amp whose voltages are right, has a capacitor open, "
        "dried out or shorted, or a tube that is weak.",
    .examples = "  gridleak response wren-hollow\n"
                "  gridleak response tidemark --from J3 --at 400\n"
                "  gridleak response millrace --to V5.1 --scope \"10M 12p\" --sweep 10..100k\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
