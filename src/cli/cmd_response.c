/* gridleak response: gain and phase from an input to every stage, and over frequency. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LOWEST_HERTZ 0.1
#define HIGHEST_HERTZ 1e6
#define PER_OCTAVE 2    /* lines of the plot */
#define TEST_VOLTS 0.02 /* a usual test signal at an input; common practice, no source */
#define HEARD 0.5       /* a smaller gain is a side path, left out of the text */
#define BAR 24
#define BAR_DB 30.0

/* ---- what the options say ---- */

static bool read_sweep(cli *cli, service_response_ask *ask) {
    const char *text = cli_option(cli, CLI_SWEEP), *dots = text ? strstr(text, "..") : NULL;
    base_place place = {.file = "--sweep"};
    char low[64];
    ask->low = 20;
    ask->high = 20e3;
    if (!text) return true;
    if (!dots) {
        base_errors_add(cli->errors, BASE_VALUE, place,
                        "`%.40s` is no range|write the lowest and the highest: 20..20k", text);
        return false;
    }
    snprintf(low, sizeof low, "%.*s", (int)(dots - text), text);
    if (base_value_read(low, BASE_HERTZ, place, &ask->low, cli->errors) != BASE_OK ||
        base_value_read(dots + 2, BASE_HERTZ, place, &ask->high, cli->errors) != BASE_OK)
        return false;
    if (ask->low >= LOWEST_HERTZ && ask->high <= HIGHEST_HERTZ && ask->low < ask->high) return true;
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

static bool read_options(cli *cli, service_response_ask *ask) {
    *ask = (service_response_ask){
        .from = {cli_option(cli, CLI_FROM), "--from"},
        .to = {cli_option(cli, CLI_TO), "--to"},
        .per_octave = PER_OCTAVE,
        .hertz = cli_number(cli, CLI_AT, BASE_HERTZ, LOWEST_HERTZ, HIGHEST_HERTZ)};
    if (!cli_option(cli, CLI_AT)) ask->hertz = 1000;
    ask->stand.mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    bool sweep = read_sweep(cli, ask);
    return read_scope(cli, &ask->scope) && sweep && base_errors_worst(cli->errors) == BASE_OK;
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

static void tell_stage(cli *cli, const service_gain *stage) {
    base_text_add(&cli->out, "  %s%-9s%s %-8s %8s %+7.1f dB %11s %9.0f deg\n",
                  cli_style_on(cli, CLI_STRONG), stage->at, cli_style_on(cli, CLI_PLAIN),
                  stage->what, times(stage->gain).text, stage->gain_db,
                  small_volts(TEST_VOLTS * stage->gain).text, stage->phase_deg);
}

static void tell_head(cli *cli, const service_response *found, const service_response_ask *ask) {
    char text[512];
    const char *does = found->from_what;
    base_text_add(&cli->out, "%s%s%s  small signals at %s, controls as in the file\n",
                  cli_style_on(cli, CLI_HEAD), found->amp, cli_style_on(cli, CLI_PLAIN),
                  hertz_cell(ask->hertz).text);
    snprintf(text, sizeof text, "In at %s%s%s%s, from a generator of 600 ohm.", found->from,
             does ? " (" : "", does ? does : "", does ? ")" : "");
    if (isfinite(ask->scope.ohms)) {
        char ohms[40], farads[40];
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 " Each place is shown with a probe of %s and %s on it.",
                 base_value_write(ask->scope.ohms, BASE_OHMS, ohms, sizeof ohms),
                 base_value_write(ask->scope.farads, BASE_FARADS, farads, sizeof farads));
    }
    cli_fill(cli, 0, 0, text);
    base_text_add(&cli->out, "\n  %-9s %-8s %8s %10s %11s %13s\n", "at", "", "gain", "",
                  "20 mV gives", "phase");
}

static void tell_edges(cli *cli, const service_response *found) {
    char text[256];
    const double edges[2] = {found->low_hz, found->high_hz};
    snprintf(text, sizeof text, "Most at %s.", hertz_cell(found->sweep[found->most].hertz).text);
    for (int k = 0; k < 2; k++)
        if (isfinite(edges[k]))
            snprintf(text + strlen(text), sizeof text - strlen(text), " 3 dB less at %s.",
                     hertz_cell(edges[k]).text);
    base_text_add(&cli->out, "\n  ");
    cli_fill(cli, 2, 2, text);
    base_text_add(&cli->out, "\n  ");
    cli_fill(cli, 2, 2,
             "These are small signals: where the volts are more than the stage can swing, it clips "
             "instead.");
}

static void tell_sweep(cli *cli, const service_response *found, const service_response_ask *ask) {
    char title[256];
    const service_gain *to = &found->stage[found->to];
    snprintf(title, sizeof title, "%s %s FROM %s TO %s", to->at, to->what,
             hertz_cell(ask->low).text, hertz_cell(ask->high).text);
    cli_heading(cli, title);
    for (size_t i = 0; i < found->points; i++) {
        const service_gain *row = &found->sweep[i];
        double part = 1 + (row->gain_db - found->sweep[found->most].gain_db) / BAR_DB;
        base_text_add(&cli->out, "  %9s %+7.1f dB %5.0f deg  %s", hertz_cell(row->hertz).text,
                      row->gain_db, row->phase_deg, cli_bar(cli, part, BAR).text);
        cli_end_line(cli);
    }
    tell_edges(cli, found);
}

/* ---- the command ---- */

static void run(cli *cli) {
    service_response_ask ask;
    cli_amp amp = {0};
    if (!read_options(cli, &ask)) return;
    service_response *found = cli_amp_open(cli, cli->argument[0], &amp)
                                  ? service_response_of(amp.system, &ask, cli->errors)
                                  : NULL;
    if (found) {
        tell_head(cli, found, &ask);
        for (size_t i = 0; i < found->stages; i++)
            if ((found->stage[i].gain >= HEARD && !found->stage[i].again) || i == found->to)
                tell_stage(cli, &found->stage[i]);
        tell_sweep(cli, found, &ask);
        cli_json_take(cli, http_json_response(found));
    }
    service_response_free(found);
    cli_amp_close(&amp);
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
