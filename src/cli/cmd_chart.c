/* gridleak chart: the volts of a healthy amp, as this meter shows them. */
#include "cli.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- lines --------------------------------------------------------------------------------- */

/* Does the meter's load take away what matters? */
static bool loses(const service_line *line) {
    double lost = fabs(line->volts - line->shown);
    return lost > 0.03 * fabs(line->volts) && lost > 0.05;
}

/* What stands there without the meter; or, across a part, the current that the volts mean. */
static void tell_note(cli *cli, const circuit *amp, const service_line *line) {
    if (line->pin >= 0 || line->part < 0) {
        if (loses(line)) base_text_add(&cli->out, "  unloaded %s", cli_volts(line->volts).text);
        return;
    }
    const circuit_part *part = circuit_part_at(amp, (size_t)line->part);
    double ohms = part->kind == CIRCUIT_RESISTOR ? part->value : part->dc_ohms[0];
    if (part->kind != CIRCUIT_OUTPUT_TRANSFORMER && ohms > 0)
        base_text_add(&cli->out, "  is %s", cli_amperes(fabs(line->volts) / ohms).text);
}

/* "cathode", "heater AC", or of a part what it is: "470", "choke". */
static const char *second_column(const circuit *amp, const service_line *line) {
    if (line->heater) return "heater AC";
    if (line->pin >= 0 || line->part < 0) return line->what;
    const circuit_part *part = circuit_part_at(amp, (size_t)line->part);
    if (part->kind == CIRCUIT_OUTPUT_TRANSFORMER) return part->name;
    return part->written ? part->written : circuit_kind_name(part->kind);
}

/* "192 .. 229 V"; nothing where good amps do not differ. */
static cli_cell range_of(const service_line *line) {
    cli_cell low = cli_volts(line->low), high = cli_volts(line->high), range = {""};
    if (strcmp(low.text, high.text) == 0) return range;
    snprintf(range.text, sizeof range.text, "%.*s .. %.30s", (int)strcspn(low.text, " "), low.text,
             high.text);
    return range;
}

static void tell_line(cli *cli, const circuit *amp, const service_line *line, bool printed) {
    base_text_add(&cli->out, "  %s%-11s%s %-10.10s %8s   %-16s", cli_style_on(cli, CLI_STRONG),
                  line->at, cli_style_on(cli, CLI_PLAIN), second_column(amp, line),
                  cli_volts(line->shown).text, range_of(line).text);
    bool beside = printed && !isnan(line->printed);
    if (beside) {
        base_text_add(&cli->out, " %8s %8s", cli_volts(line->printed).text,
                      cli_volts(line->printed_shown).text);
        if (loses(line)) base_text_add(&cli->out, "\n%36s", "");
    }
    tell_note(cli, amp, line);
    cli_end_line(cli);
}

static bool any_printed(const service_chart *chart) {
    for (size_t i = 0; i < chart->lines; i++)
        if (!isnan(chart->line[i].printed)) return true;
    return false;
}

/* "V1  12AX7, first stage" above the first line of each tube; the other groups by their kind. */
static void tell_group(cli *cli, const circuit *amp, const service_line *line) {
    char title[256];
    if (line->pin < 0) {
        cli_heading(cli, strcmp(line->what, "supply") == 0 ? "SUPPLY NODES" : "ACROSS PARTS");
        return;
    }
    const circuit_part *tube = circuit_part_at(amp, (size_t)line->part);
    snprintf(title, sizeof title, "%s  %s%s%s", tube->name, tube->tube->name,
             tube->what ? ", " : "", tube->what ? tube->what : "");
    cli_heading(cli, title);
}

static bool same_group(const service_line *a, const service_line *b) {
    if (a->pin >= 0 || b->pin >= 0) return a->pin >= 0 && b->pin >= 0 && a->part == b->part;
    return strcmp(a->what, b->what) == 0;
}

static void tell_lines(cli *cli, const circuit *amp, const service_chart *chart) {
    bool printed = any_printed(chart);
    base_text_add(&cli->out, "\n  %-11s %-10s %8s   %-16s%s", "at", "", "reads", "good amps",
                  printed ? "  printed  computed" : "");
    cli_end_line(cli);
    for (size_t i = 0; i < chart->lines; i++) {
        if (i == 0 || !same_group(&chart->line[i - 1], &chart->line[i]))
            tell_group(cli, amp, &chart->line[i]);
        tell_line(cli, amp, &chart->line[i], printed);
    }
}

/* ---- tubes and supplies -------------------------------------------------------------------- */

/* "112 % of 14 W" by one rating system; empty where it states nothing. */
static cli_cell by_system(const service_tube *tube, const char *system) {
    cli_cell cell = {""};
    for (int i = 0; i < tube->ratings; i++)
        if (strcmp(tube->rating[i].system, system) == 0)
            snprintf(cell.text, sizeof cell.text, "%.0f %% of %.4g W",
                     100 * tube->plate_w / tube->rating[i].plate_w, tube->rating[i].plate_w);
    return cell;
}

static bool over(const service_tube *tube) {
    for (int i = 0; i < tube->ratings; i++)
        if (tube->plate_w > tube->rating[i].plate_w) return true;
    return false;
}

static void tell_tube(cli *cli, const service_tube *tube) {
    char name[96];
    snprintf(name, sizeof name, "%s %s%s%s%s", tube->tube, tube->type, *tube->unit ? " " : "",
             tube->unit, tube->inside ? "" : " *");
    base_text_add(&cli->out, "  %-17.27s %8s %8s %7s %14s %14s", name,
                  cli_amperes(tube->plate_a).text,
                  isnan(tube->screen_v) ? "" : cli_amperes(tube->screen_a).text,
                  cli_watts(tube->plate_w).text, by_system(tube, "design-maximum").text,
                  by_system(tube, "design-centre").text);
    if (over(tube))
        base_text_add(&cli->out, " %sover%s", cli_style_on(cli, CLI_WARN),
                      cli_style_on(cli, CLI_PLAIN));
    cli_end_line(cli);
}

static void tell_tubes(cli *cli, const service_chart *chart) {
    bool outside = false;
    if (chart->tubes == 0) return;
    cli_heading(cli, "TUBES AT IDLE, AND THE RATING OF THE PLATE BY BOTH SYSTEMS");
    base_text_add(&cli->out, "  %-17s %8s %8s %7s %14s %14s\n", "", "plate", "screen", "burns",
                  "design-maximum", "design-centre");
    for (size_t i = 0; i < chart->tubes; i++) {
        tell_tube(cli, &chart->tube[i]);
        outside = outside || !chart->tube[i].inside;
    }
    if (outside)
        base_text_add(&cli->out, "  * idles outside what its published figures cover: trust this "
                                 "line less\n");
}

static void tell_rectifiers(cli *cli, const service_chart *chart) {
    if (chart->rectifiers) cli_heading(cli, "RECTIFIERS");
    for (size_t i = 0; i < chart->rectifiers; i++) {
        const service_rectifier *line = &chart->rectifier[i];
        const solve_supply *supply = &line->supply;
        char text[512];
        snprintf(text, sizeof text, "%s at %s", cli_volts(supply->dc_v).text,
                 cli_amperes(supply->dc_a).text);
        if (line->dc_limit_a > 0)
            snprintf(text + strlen(text), sizeof text - strlen(text), " (%s at most)",
                     cli_amperes(line->dc_limit_a).text);
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 ", ripple %s peak to peak at %.0f Hz, peaks of %s in each plate or diode",
                 cli_volts(supply->ripple_pp_v).text, supply->ripple_hz,
                 cli_amperes(supply->peak_a).text);
        if (line->peak_limit_a > 0)
            snprintf(text + strlen(text), sizeof text - strlen(text), " (%s at most)",
                     cli_amperes(line->peak_limit_a).text);
        base_text_add(&cli->out, "  %-11s ", line->name);
        cli_fill(cli, 14, 14, text);
    }
}

static void tell_head(cli *cli, const service_chart *chart, bool measured, bool on_mains) {
    base_text_add(&cli->out, "%s%s%s  healthy, idle, %.4g V %.0f Hz at the wall\n",
                  cli_style_on(cli, CLI_HEAD), chart->amp, cli_style_on(cli, CLI_PLAIN),
                  chart->mains_v, chart->mains_hz);
    char line[320];
    snprintf(line, sizeof line,
             "Meter %s, black lead on the %s. 19 of 20 good amps read within the range, with the "
             "mains known to %s.",
             cli_meter(&chart->meter).text,
             on_mains ? "common negative (`ground` in the file)" : "chassis",
             measured ? "1 %" : "6 %; --mains narrows it");
    cli_fill(cli, 0, 0, line);
}

/* ---- the command --------------------------------------------------------------------------- */

static void run(cli *cli) {
    diagnose_meter meter;
    double mains;
    cli_amp amp = {0};
    if (!cli_bench(cli, &meter, &mains)) return;
    service_chart *chart = NULL;
    diagnose_priors *priors = cli_priors(cli);
    if (priors && cli_amp_open(cli, cli->argument[0], &amp))
        chart = service_chart_new(amp.system, priors, mains, &meter, cli->errors);
    if (chart) {
        tell_head(cli, chart, isfinite(mains), cli_amp_on_mains(amp.amp));
        tell_lines(cli, amp.amp, chart);
        tell_tubes(cli, chart);
        tell_rectifiers(cli, chart);
        cli_json_take(cli, http_json_chart(chart));
    }
    service_chart_free(chart);
    cli_amp_close(&amp);
    diagnose_priors_free(priors);
}

static const struct argp_option options[] = {
    {"meter", CLI_METER, "OHMS", 0, "The meter's load: 10M (when not given) or \"20k per volt\"",
     0},
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {0}};

const cli_command cli_chart = {
    .name = "chart",
    .arguments = "AMP",
    .summary = "Print the voltage chart of a healthy amp",
    .about =
        "For each tube pin, each supply node and across the parts whose current matters: what a "
        "healthy amp reads on this mains with this meter in the circuit, the range that part "
        "tolerance, tube spread and mains make, and what the schematic prints beside it. Then "
        "what each tube draws and burns, and by which rating system.\n\n"
        "The chart is computed. It never says that an amp is safe: only a reading says so.",
    .examples = "  gridleak chart wren-hollow\n"
                "  gridleak chart wren-hollow --meter \"20k per volt\" --mains 121\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
