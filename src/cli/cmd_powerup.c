/* gridleak powerup: an amp followed from the switch to rest, and off again. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static cli_cell seconds(double value) {
    cli_cell cell = {""};
    if (isfinite(value))
        snprintf(cell.text, sizeof cell.text, value < 9.95 ? "%.1f s" : "%.0f s", value);
    return cell;
}

static cli_cell amperes(double value) {
    if (fabs(value) < 1) return cli_amperes(value);
    cli_cell cell;
    snprintf(cell.text, sizeof cell.text, "%.3g A", value);
    return cell;
}

/* ---- the tables ---- */

static void tell_capacitor(cli *cli, const service_powerup_capacitor *one) {
    char peak[128], off[CLI_CELL] = "no";
    double percent = 100 * fabs(one->peak_v) / one->rating_v;
    snprintf(peak, sizeof peak, "%s%s", cli_volts(one->peak_v).text,
             isnan(one->rating_v) ? "  ?" : "");
    if (!isnan(one->rating_v))
        snprintf(peak, sizeof peak, "%s %3.0f %%", cli_volts(one->peak_v).text, percent);
    if (isfinite(one->off_60_s)) snprintf(off, sizeof off, "%s", seconds(one->off_60_s).text);
    if (one->off_60_s == 0) *off = 0;
    base_text_add(&cli->out, "  %s%-4s%s %-7.7s %7s %14s %8s %9s %9s %9s\n",
                  cli_style_on(cli, CLI_STRONG), one->part, cli_style_on(cli, CLI_PLAIN), one->node,
                  isnan(one->rating_v) ? "?" : cli_volts(one->rating_v).text, peak,
                  seconds(one->peak_s).text, cli_volts(one->working_v).text,
                  seconds(one->settled_s).text, off);
}

static void tell_capacitors(cli *cli, const service_powerup *powerup) {
    cli_heading(cli, "FILTER CAPACITORS");
    base_text_add(&cli->out, "  %-4s %-7s %7s %14s %8s %9s %9s %9s\n", "", "", "rated", "at most",
                  "after", "at rest", "there in", "off: 60 V");
    for (size_t i = 0; i < powerup->capacitors; i++)
        if (powerup->capacitor[i].filter) tell_capacitor(cli, &powerup->capacitor[i]);
}

static void add_limit(base_text *text, double limit, base_quantity quantity) {
    if (!isnan(limit)) base_text_add(text, " (%s at most)", cli_value_of(limit, quantity).text);
}

static void tell_rectifier(cli *cli, const service_powerup_rectifier *one) {
    base_text text;
    base_text_init(&text, 2048);
    base_text_add(&text, "%s at %s at rest", cli_volts(one->working_v).text,
                  amperes(one->working_a).text);
    add_limit(&text, one->dc_limit_a, BASE_AMPERES);
    if (!isnan(one->ripple_v))
        base_text_add(&text, ", ripple %s peak to peak", cli_volts(one->ripple_v).text);
    base_text_add(&text, "; in each plate or diode peaks of %s", amperes(one->working_peak_a).text);
    add_limit(&text, one->peak_limit_a, BASE_AMPERES);
    base_text_add(
        &text, ", %s rms. From cold up to %s; switched off and on again while warm, up to %s.",
        amperes(one->working_rms_a).text, amperes(one->peak_a).text, amperes(one->again_a).text);
    if (one->first_cap_f > 0) {
        base_text_add(&text, " First capacitor %s",
                      cli_value_of(base_value_round(one->first_cap_f, 3), BASE_FARADS).text);
        add_limit(&text, one->first_cap_limit_f, BASE_FARADS);
        base_text_add(&text, ".");
    }
    base_text_add(&cli->out, "  %s%s%s%s%s: ", cli_style_on(cli, CLI_STRONG), one->name,
                  cli_style_on(cli, CLI_PLAIN), one->type ? " " : "", one->type ? one->type : "");
    int column = (int)strlen(one->name) + (one->type ? (int)strlen(one->type) + 1 : 0) + 4;
    if (text.data) cli_fill(cli, column, 7, text.data);
    base_text_free(&text);
}

static void tell_fuse(cli *cli, const service_powerup_fuse *one) {
    char rating[CLI_CELL + 16], text[640];
    const char *kind = one->kind == CIRCUIT_TIME_LAG ? ", slow"
                       : one->kind == CIRCUIT_QUICK  ? ", fast"
                                                     : "";
    snprintf(rating, sizeof rating, "%s%s",
             isnan(one->rating_a) ? "?" : cli_value_of(one->rating_a, BASE_AMPERES).text, kind);
    snprintf(text, sizeof text,
             "%s, %s: %s rms at rest; peak %s and %.2g A2s in the first cycle, %.2g A2s in the "
             "first tenth of a second.",
             one->where, rating, amperes(one->running_a).text, amperes(one->peak_a).text,
             one->cycle_i2t, one->tenth_i2t);
    size_t used = strlen(text);
    if (!isnan(one->rating_a))
        snprintf(text + used, sizeof text - used,
                 " Of this rating a fast one holds %.2g A2s for sure, a time-lag one %.2g.",
                 one->fast_i2t, one->slow_i2t);
    base_text_add(&cli->out, "  %s%s%s ", cli_style_on(cli, CLI_STRONG), one->name,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, (int)strlen(one->name) + 3, 7, text);
}

/* ---- the course ---- */

/* The point of the plot nearest to an instant. */
static size_t point_at(const service_plot *plot, double at) {
    size_t best = 0;
    for (size_t k = 1; k < plot->points; k++)
        if (fabs(plot->seconds[k] - at) < fabs(plot->seconds[best] - at)) best = k;
    return best;
}

static void tell_moment(cli *cli, const service_powerup *powerup, double at) {
    const service_plot *plot =
        at <= powerup->start.seconds[powerup->start.points - 1] ? &powerup->start : &powerup->whole;
    size_t point = point_at(plot, at);
    char when[32];
    if (at < powerup->on_s)
        snprintf(when, sizeof when, at < 1 ? "%.2f s" : "%.0f s", at);
    else
        snprintf(when, sizeof when, "off %.0f s", at - powerup->on_s);
    base_text_add(&cli->out, "  %9s", when);
    for (size_t i = 0; i < powerup->whole.lines; i++)
        base_text_add(&cli->out, " %9s",
                      cli_volts((plot->line[i].low[point] + plot->line[i].high[point]) / 2).text);
    base_text_add(&cli->out, "\n");
}

static void tell_course(cli *cli, const service_powerup *powerup) {
    static const double moments[] = {0.02, 0.05, 0.1, 0.2, 1, 2, 4, 6, 8, 10, 12, 15, 20, 30};
    static const double off[] = {1, 3, 10, 30};
    if (powerup->whole.lines == 0 || powerup->whole.points == 0) return;
    cli_heading(cli, "HOW THE VOLTS COME AND GO");
    base_text_add(&cli->out, "  %9s", "");
    for (size_t i = 0; i < powerup->whole.lines; i++)
        base_text_add(&cli->out, " %9.9s", powerup->whole.line[i].name);
    base_text_add(&cli->out, "\n");
    for (size_t k = 0; k < sizeof moments / sizeof *moments; k++)
        tell_moment(cli, powerup, moments[k]);
    for (double at = 35; powerup->standby && at <= 50; at += 5)
        tell_moment(cli, powerup, at);
    for (size_t k = 0; k < sizeof off / sizeof *off; k++)
        tell_moment(cli, powerup, powerup->on_s + off[k]);
}

/* ---- all ---- */

static void tell_head(cli *cli, const service_powerup *powerup) {
    char text[400];
    base_text_add(&cli->out, "%s%s%s  from the switch on, cold, %.4g V %.0f Hz at the wall\n",
                  cli_style_on(cli, CLI_HEAD), powerup->amp, cli_style_on(cli, CLI_PLAIN),
                  powerup->mains_v, powerup->mains_hz);
    if (!powerup->standby) return;
    snprintf(text, sizeof text, "On standby (%s open) for %.0f s, then to play.", powerup->standby,
             SERVICE_STANDBY_S);
    cli_fill(cli, 0, 0, text);
}

static void tell_remarks(cli *cli, const service_powerup *powerup) {
    if (powerup->remarks || powerup->missing) cli_heading(cli, "LOOK AT");
    for (size_t i = 0; i < powerup->remarks; i++) {
        base_text_add(&cli->out, "  -> ");
        cli_fill(cli, 5, 5, powerup->remark[i]);
    }
    if (!powerup->missing) return;
    base_text_add(&cli->out, "  -> ");
    cli_fill(cli, 5, 5, powerup->missing);
}

static void tell_foot(cli *cli, const service_powerup *powerup) {
    char text[640];
    snprintf(text, sizeof text,
             "Computed from winding ohms, tubes that warm up as their class does, and the worst of "
             "twelve instants of the mains for the surge. A core that saturates at the switch is "
             "not in it%s",
             isnan(powerup->core_a) ? "." : ": that can add a half cycle of up to");
    size_t used = strlen(text);
    if (!isnan(powerup->core_a))
        snprintf(text + used, sizeof text - used,
                 " %.0f A, where the primary's ohms are the limit.", powerup->core_a);
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0, text);
    cli_fill(
        cli, 0, 0,
        "The volts after switching off are computed, too: only a reading says that a capacitor "
        "is empty.");
}

static void tell(cli *cli, const service_powerup *powerup) {
    tell_head(cli, powerup);
    tell_capacitors(cli, powerup);
    cli_heading(cli, "RECTIFIERS");
    for (size_t i = 0; i < powerup->rectifiers; i++)
        tell_rectifier(cli, &powerup->rectifier[i]);
    if (powerup->fuses) cli_heading(cli, "FUSES");
    for (size_t i = 0; i < powerup->fuses; i++)
        tell_fuse(cli, &powerup->fuse[i]);
    tell_course(cli, powerup);
    tell_remarks(cli, powerup);
    tell_foot(cli, powerup);
}

static void run(cli *cli) {
    service_powerup_asked asked = {.mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300),
                                   .standby = cli_option(cli, CLI_STANDBY) != NULL};
    cli_amp amp = {0};
    service_powerup *powerup = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        powerup = service_powerup_new(amp.system, &asked, cli->errors);
    if (powerup) {
        tell(cli, powerup);
        cli_json_take(cli, http_json_powerup(powerup));
    }
    service_powerup_free(powerup);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {"standby", CLI_STANDBY, NULL, 0, "On standby for half a minute first", 0},
    {0}};

const cli_command cli_powerup = {
    .name = "powerup",
    .arguments = "AMP",
    .summary = "Follow an amp from the switch to rest, and off again",
    .about =
        "What the first seconds do to each part: the most volts on each filter capacitor before "
        "the tubes draw, beside its rating; the rectifier's currents beside its limits; the surge "
        "in each fuse; how long the supply takes; and how the capacitors empty after switching "
        "off.\n\n"
        "The amp is followed in time, each half wave of the mains. Tubes warm up as is usual for "
        "their class: half of the emission after 1.2 s for a filament, 8 s for a small tube, 11 s "
        "for a power tube, 12 s for a rectifier with a cathode (common practice, no source).",
    .examples = "  gridleak powerup wren-hollow\n  gridleak powerup millrace --standby\n"
                "  gridleak powerup saltpan --mains 253 --json\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
