/* gridleak margins: how far each part is from its rating, most trouble first. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SHOWN 24 /* rows without --all, beyond those that are over or close */

void cli_margin_name(const service_margin *margin, char *text, size_t size) {
    snprintf(text, size, "%s%s%s%s%s", margin->part, *margin->of ? " " : "", margin->of,
             *margin->unit ? ", " : "", margin->unit);
}

static void tell_row(cli *cli, const service_margin *margin) {
    char name[64], share[32] = "", line[320];
    cli_margin_name(margin, name, sizeof name);
    cli_cell is = cli_value_of(margin->is, margin->quantity);
    if (isnan(margin->limit)) {
        snprintf(line, sizeof line, "%s: %s", margin->what, is.text);
    } else {
        snprintf(share, sizeof share, "%.0f %%", 100 * margin->is / margin->limit);
        snprintf(line, sizeof line, "%s: %s of %s%s%s", margin->what, is.text,
                 cli_value_of(margin->limit, margin->quantity).text, *margin->by ? ", " : "",
                 margin->by);
    }
    bool over = margin->state == SERVICE_OVER;
    base_text_add(&cli->out, "  %s%5s%s  %-21.21s ", cli_style_on(cli, over ? CLI_WARN : CLI_PLAIN),
                  share, cli_style_on(cli, CLI_PLAIN), name);
    cli_fill(cli, 31, 31, line);
    if (!*margin->remedy) return;
    base_text_add(&cli->out, "         -> ");
    cli_fill(cli, 12, 12, margin->remedy);
}

/* A capacitor that is told of for what it meets at each power-up need not be for a high mains too.
 */
static bool told_worse(const service_margins *margins, const service_margin *margin) {
    for (size_t i = 0; i < margins->margins; i++) {
        const service_margin *other = &margins->margin[i];
        if (other->moment < margin->moment && other->state >= SERVICE_CLOSE &&
            strcmp(other->part, margin->part) == 0)
            return true;
    }
    return false;
}

static void tell_state(cli *cli, const service_margins *margins, service_state state, size_t most) {
    static const char *const headings[] = {"WELL WITHIN", "NO RATING IS GIVEN",
                                           "CLOSE TO THE LIMIT", "OVER THE LIMIT"};
    size_t told = 0, count = 0;
    for (size_t i = 0; i < margins->margins; i++) {
        const service_margin *margin = &margins->margin[i];
        if (margin->state != state) continue;
        if (!cli_option(cli, CLI_ALL) && told_worse(margins, margin)) continue;
        if (count++ == 0) cli_heading(cli, headings[state]);
        if (told < most) tell_row(cli, margin), told++;
    }
    if (count > told) base_text_add(&cli->out, "  and %zu more; --all lists them\n", count - told);
}

static void tell(cli *cli, const service_margins *margins) {
    base_text_add(&cli->out, "%s%s%s  healthy, %.4g V at the wall: figures beside ratings\n",
                  cli_style_on(cli, CLI_HEAD), margins->amp, cli_style_on(cli, CLI_PLAIN),
                  margins->mains_v);
    size_t most = cli_option(cli, CLI_ALL) ? margins->margins : SHOWN;
    tell_state(cli, margins, SERVICE_OVER, margins->margins);
    tell_state(cli, margins, SERVICE_CLOSE, margins->margins);
    tell_state(cli, margins, SERVICE_UNRATED, most);
    tell_state(cli, margins, SERVICE_WELL, cli_option(cli, CLI_ALL) ? most : 8);
}

static void run(cli *cli) {
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    cli_amp amp = {0};
    service_margins *margins = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        margins = service_margins_new(amp.system, mains, true, cli->errors);
    if (margins) {
        tell(cli, margins);
        cli_json_take(cli, http_json_margins(margins));
    }
    service_margins_free(margins);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {"all", CLI_ALL, 0, 0, "List also what is well within its rating", 0},
    {0}};

const cli_command cli_margins = {
    .name = "margins",
    .arguments = "AMP",
    .summary = "Hold every part against its rating, most trouble first",
    .about =
        "Each resistor's watts; each capacitor's volts at idle, at power-up (followed in "
        "time; where it cannot be, with the tubes cold: the peak of the winding) and on 110 % of "
        "the mains; each tube against every limit that "
        "its sheet states, the volts from heater to cathode and the resistance of the grid circuit "
        "included (another limit for fixed than for cathode bias); rectifiers, windings, fuses. "
        "With the remedy.\n\n"
        "What the file gives no rating for is listed apart: it may be fine, and nobody knows.",
    .examples = "  gridleak margins wren-hollow\n  gridleak margins millrace --mains 125 --all\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
