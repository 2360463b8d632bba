/* gridleak substitute: what to order for an old part, and what that changes. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>

static void tell_old(cli *cli, const service_substitute *found) {
    const service_old *old = &found->old;
    base_text_add(&cli->out, "%s%s%s", cli_style_on(cli, CLI_HEAD), found->part,
                  cli_style_on(cli, CLI_PLAIN));
    if (!isnan(old->volts)) base_text_add(&cli->out, "  rated %s", cli_volts(old->volts).text);
    if (!isnan(old->watts)) base_text_add(&cli->out, "  rated %s", cli_watts(old->watts).text);
    if (!isnan(old->across))
        base_text_add(&cli->out, ", stands %s at idle", cli_volts(old->across).text);
    if (!isnan(old->surge) && old->surge > 1.02 * old->across)
        base_text_add(&cli->out, ", %s at power-up", cli_volts(old->surge).text);
    if (!isnan(old->burns)) base_text_add(&cli->out, ", burns %s", cli_watts(old->burns).text);
    base_text_add(&cli->out, "\n");
    bool electrical = old->kind == CIRCUIT_CAPACITOR || old->kind == CIRCUIT_RESISTOR;
    bool missing = old->kind == CIRCUIT_CAPACITOR ? isnan(old->volts) : isnan(old->watts);
    if (electrical && missing)
        cli_fill(cli, 0, 0,
                 "The file gives no rating for it: what is proposed goes by what it stands in this "
                 "amp alone. Read the rating off the part.");
}

static cli_cell side(const service_effect *effect, double value) {
    cli_cell cell = cli_value_of(value, effect->quantity);
    if (effect->quantity == BASE_VOLTS && fabs(value) < 0.1)
        snprintf(cell.text, sizeof cell.text, "%.2g mV", 1e3 * value);
    return cell;
}

static void tell_effects(cli *cli, const service_substitute *found) {
    if (!*found->difference) return;
    cli_heading(cli, "WHAT THE FIRST CHOICE CHANGES");
    for (size_t i = 0; i < found->effects; i++) {
        const service_effect *effect = &found->effect[i];
        base_text_add(&cli->out, "  %-34s %10s -> %10s\n", effect->what,
                      side(effect, effect->before).text, side(effect, effect->after).text);
    }
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, found->difference);
}

static void tell(cli *cli, const service_substitute *found) {
    char line[256];
    tell_old(cli, found);
    if (*found->can) {
        snprintf(line, sizeof line,
                 "A section of a can with %s: replace them all, each by a single part.",
                 found->can);
        cli_fill(cli, 0, 0, line);
    }
    cli_heading(cli, "ORDER");
    for (size_t i = 0; i < found->choices; i++) {
        base_text_add(&cli->out, "  %s%s%s\n", cli_style_on(cli, i == 0 ? CLI_STRONG : CLI_PLAIN),
                      found->choice[i].text, cli_style_on(cli, CLI_PLAIN));
        if (!*found->choice[i].note) continue;
        base_text_add(&cli->out, "    ");
        cli_fill(cli, 4, 4, found->choice[i].note);
    }
    tell_effects(cli, found);
    if (!*found->keep) return;
    cli_heading(cli, "OR LEAVE IT");
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, found->keep);
}

static void run(cli *cli) {
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    cli_amp amp = {0};
    service_substitute *found = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        found = service_substitute_of(amp.system, mains, cli->argument[1], cli->errors);
    if (found) {
        tell(cli, found);
        cli_json_set(cli, cli->json, "amp", http_json_text(circuit_about_of(amp.amp)->name));
        cli_json_take(cli, http_json_substitute(found));
    }
    service_substitute_free(found);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0}, {0}};

const cli_command cli_substitute = {
    .name = "substitute",
    .arguments = "AMP PART",
    .summary = "What to order for an old part, and what that changes",
    .about =
        "For an old value and rating the nearest current ones that serve in this amp: 20 uF at 450 "
        "V becomes 22 uF, a section of a can a single part, carbon composition a kind and watts. "
        "Then what the first choice does to ripple and hum, to the corner frequency, to the "
        "rectifier and the tremolo, and whether the difference is heard, can be measured, or "
        "neither; and when to leave the old part in.",
    .examples = "  gridleak substitute wren-hollow C8\n  gridleak substitute tidemark C13\n",
    .options = options,
    .least = 2,
    .most = 2,
    .run = run,
};
