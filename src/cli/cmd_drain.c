/* gridleak drain: what the capacitors hold, how they fall, and how to empty them. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>

static cli_cell duration(double seconds) {
    cli_cell cell;
    if (isinf(seconds))
        snprintf(cell.text, sizeof cell.text, "over a day");
    else if (seconds >= 3600)
        snprintf(cell.text, sizeof cell.text, "%.1f h", seconds / 3600);
    else if (seconds >= 120)
        snprintf(cell.text, sizeof cell.text, "%.0f min", seconds / 60);
    else if (seconds >= 1)
        snprintf(cell.text, sizeof cell.text, "%.0f s", seconds);
    else
        snprintf(cell.text, sizeof cell.text, "%.0f ms", 1e3 * seconds);
    return cell;
}

static void tell_holds(cli *cli, const service_drain *drain) {
    cli_heading(cli, "WHAT THEY HOLD, AND HOW THEY FALL BY THEMSELVES WITH THE TUBES COLD");
    base_text_add(&cli->out, "  %-17s %8s %8s %13s %13s %11s\n", "", "stands", "holds",
                  "under 60 V in", "under 1 V in", "gives back");
    for (size_t i = 0; i < drain->capacitors; i++) {
        const service_drain_capacitor *one = &drain->capacitor[i];
        char name[48];
        snprintf(name, sizeof name, "%s at %s%s", one->part, one->node,
                 one->negative ? " (-)" : "");
        base_text_add(&cli->out, "  %s%-17.25s%s %8s %6.2g J %13s %13s %11s\n",
                      cli_style_on(cli, CLI_STRONG), name, cli_style_on(cli, CLI_PLAIN),
                      cli_volts(one->volts).text, one->joules, duration(one->self_60_s).text,
                      duration(one->self_1_s).text, cli_volts(one->back_v).text);
    }
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2,
             "They stand at the most that the amp charges them to. Through a bleeder that is there "
             "and whole: one that has opened bleeds nothing. The last column is what a drained one "
             "may win back by itself, at most (dielectric absorption).");
}

static void tell_through(cli *cli, const service_drain *drain) {
    char title[480];
    snprintf(title, sizeof title, "THROUGH %s, HELD TO EACH FOR %.0f s",
             cli_ohms(drain->through_ohms).text, drain->hold_s);
    cli_heading(cli, title);
    base_text_add(&cli->out, "  %-17s %10s %10s %11s %10s %9s\n", "", "at first", "", "under 60 V",
                  "under 1 V", "takes up");
    for (size_t i = 0; i < drain->capacitors; i++) {
        const service_drain_capacitor *one = &drain->capacitor[i];
        base_text_add(&cli->out, "  %s%-17.17s%s %10s %10s %11s %10s %7.2g J\n",
                      cli_style_on(cli, CLI_STRONG), one->part, cli_style_on(cli, CLI_PLAIN),
                      cli_amperes(one->peak_a).text, cli_watts(one->peak_watts).text,
                      duration(one->held_60_s).text, duration(one->held_1_s).text,
                      one->held_joules);
    }
}

/* The first instant's watts are far over any rating: what counts is the heat of the whole pulse. */
static void tell_resistor(cli *cli, const service_drain *drain) {
    char line[320];
    double most = 0;
    for (size_t i = 0; i < drain->capacitors; i++)
        most = fmax(most, drain->capacitor[i].held_joules);
    snprintf(line, sizeof line,
             "The resistor takes up %.2g J at most at once; a wirewound one of %.0f W stands some "
             "%.0f J%s. A carbon or film one may burst open, and then drains nothing.",
             most, SERVICE_DRAIN_WATTS, drain->pulse_joules,
             most > drain->pulse_joules ? ": take a larger one" : "");
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, line);
}

static void tell_steps(cli *cli, const service_drain *drain) {
    cli_heading(cli, "HOW");
    for (size_t i = 0; i < drain->steps; i++) {
        base_text_add(&cli->out, "  %2zu  ", i + 1);
        cli_fill(cli, 6, 6, drain->step[i]);
    }
}

static void tell(cli *cli, const circuit *amp, const service_drain *drain) {
    base_text_add(&cli->out, "%s%s%s  emptying its filter capacitors, %.3g J in all\n",
                  cli_style_on(cli, CLI_HEAD), circuit_about_of(amp)->name,
                  cli_style_on(cli, CLI_PLAIN), drain->joules);
    if (drain->warning) cli_fill(cli, 0, 0, drain->warning);
    if (drain->capacitors) {
        tell_holds(cli, drain);
        tell_through(cli, drain);
        tell_resistor(cli, drain);
    }
    tell_steps(cli, drain);
}

static void run(cli *cli) {
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    double ohms = cli_number(cli, CLI_OHMS, BASE_OHMS, SERVICE_DRAIN_LEAST, SERVICE_DRAIN_MOST);
    cli_amp amp = {0};
    service_drain *drain = NULL;
    base_errors *own = base_errors_new(); /* an amp that has no operating point has a plan all the
                                             same, and says so itself */
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        drain = service_drain_new(amp.system, mains, ohms, own);
    if (!drain) base_errors_append(cli->errors, own);
    if (drain) {
        tell(cli, amp.amp, drain);
        cli_json_set(cli, cli->json, "amp", http_json_text(circuit_about_of(amp.amp)->name));
        cli_json_take(cli, http_json_drain(drain));
    }
    service_drain_free(drain);
    base_errors_free(own);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {"ohms", CLI_OHMS, "OHMS", 0, "The draining resistor, 100 to 1k; 470 when not given", 0},
    {0}};

const cli_command cli_drain = {
    .name = "drain",
    .arguments = "AMP",
    .summary = "Tell what the capacitors hold and how to empty them",
    .about =
        "For each filter capacitor: the volts and the energy that it can hold, how long it takes "
        "to fall by itself once the tubes are cold, and through a resistor held to it: the current "
        "and the watts at the first instant, the time to under 60 V and under 1 V, the heat in the "
        "resistor, what comes back later, and which others the resistor does not reach. Then the "
        "procedure, step by step.\n\n"
        "It is a plan. It never says that a capacitor is empty: only your reading does.",
    .examples = "  gridleak drain wren-hollow\n  gridleak drain millrace --ohms 1k\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
