/* gridleak mains: an amp drawn for other mains than today's, and what puts it right. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void tell_head(cli *cli, const service_mains *mains) {
    base_text_add(&cli->out, "%s%s%s  drawn for %.4g V, on %.4g V at the wall (%+.1f %%)\n",
                  cli_style_on(cli, CLI_HEAD), mains->amp, cli_style_on(cli, CLI_PLAIN),
                  mains->drawn_v, mains->now_v, 100 * (mains->now_v / mains->drawn_v - 1));
    base_text_add(&cli->out, "It takes %s and %s there",
                  cli_value_of(mains->current_a, BASE_AMPERES).text, cli_watts(mains->watts).text);
    if (!isnan(mains->heater_part[1]))
        base_text_add(&cli->out, "; heaters at %.0f %% of their volts, as drawn %.0f %%",
                      100 * mains->heater_part[1], 100 * mains->heater_part[0]);
    base_text_add(&cli->out, ".\n");
}

static void tell_nodes(cli *cli, const service_swap *swap) {
    cli_heading(cli, "SUPPLY NODES");
    base_text_add(&cli->out, "  %-12s %8s    %8s\n", "", "as drawn", "now");
    for (size_t i = 0; i < swap->nodes; i++)
        base_text_add(&cli->out, "  %-12s %8s -> %8s\n", swap->node[i].node,
                      cli_volts(swap->node[i].volts[0]).text,
                      cli_volts(swap->node[i].volts[1]).text);
}

static void tell_tubes(cli *cli, const service_swap *swap) {
    bool any = false;
    for (size_t i = 0; i < swap->tubes; i++) {
        const service_tube *a = &swap->tube[i].side[0], *b = &swap->tube[i].side[1];
        char name[64];
        if (!a->type || !b->type || !b->ratings || b->plate_w < 0.3 * b->rating[0].plate_w)
            continue;
        if (!any) cli_heading(cli, "PLATE DISSIPATION");
        any = true;
        snprintf(name, sizeof name, "%s %s%s%s", swap->tube[i].tube, b->type,
                 *swap->tube[i].unit ? " " : "", swap->tube[i].unit);
        base_text_add(&cli->out, "  %-20s %8s -> %8s  %.0f %% -> %.0f %% of %s\n", name,
                      cli_watts(a->plate_w).text, cli_watts(b->plate_w).text,
                      100 * a->plate_w / a->rating[0].plate_w,
                      100 * b->plate_w / b->rating[0].plate_w, b->rating[0].system);
    }
}

static void tell_broken(cli *cli, const service_swap *swap) {
    char line[512] = "";
    for (size_t i = 0; i < swap->brokens; i++) {
        size_t used = strlen(line);
        snprintf(line + used, sizeof line - used, "%s%s %s", used ? ", " : "",
                 swap->broken[i].side[1]->part, swap->broken[i].side[1]->what);
    }
    cli_heading(cli, "LIMITS THAT IT PASSES ON THIS MAINS AND NOT AS DRAWN");
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, *line ? line : "None.");
}

/* Under an ohm in words: R15 would be taken for a part. */
static cli_cell few_ohms(double ohms) {
    cli_cell cell = cli_ohms(ohms);
    if (ohms < 1) snprintf(cell.text, sizeof cell.text, "%.2g ohm", ohms);
    return cell;
}

static void tell_remedy(cli *cli, const service_remedy *remedy) {
    char line[640];
    base_text_add(&cli->out, "\n  %s%s%s\n  ", cli_style_on(cli, CLI_STRONG), remedy->name,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 2, 2, remedy->fit);
    snprintf(line, sizeof line, "It carries %s",
             cli_value_of(remedy->carries_a, BASE_AMPERES).text);
    if (!isnan(remedy->burns_w))
        snprintf(line + strlen(line), sizeof line - strlen(line), " and burns %s (%s exactly)",
                 cli_watts(remedy->burns_w).text, few_ohms(remedy->exact).text);
    snprintf(line + strlen(line), sizeof line - strlen(line),
             ". Then the primary has %.4g V, the supply %s, heaters %.0f %%. %s", remedy->primary_v,
             cli_volts(remedy->supply_v).text, 100 * remedy->heater_part, remedy->note);
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, line);
    snprintf(line, sizeof line, "mends: %s", *remedy->mends ? remedy->mends : "no limit");
    base_text_add(&cli->out, "    ");
    cli_fill(cli, 4, 4, line);
    if (!*remedy->left) return;
    snprintf(line, sizeof line, "leaves: %s", remedy->left);
    base_text_add(&cli->out, "    ");
    cli_fill(cli, 4, 4, line);
}

static void tell(cli *cli, const service_mains *mains) {
    tell_head(cli, mains);
    tell_broken(cli, mains->swap);
    tell_nodes(cli, mains->swap);
    tell_tubes(cli, mains->swap);
    cli_heading(cli, "WHAT PUTS IT RIGHT");
    if (!mains->remedies)
        base_text_add(&cli->out, "  Nothing is needed: it is on the mains that it is drawn for.\n");
    for (size_t i = 0; i < mains->remedies; i++)
        tell_remedy(cli, &mains->remedy[i]);
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0,
             "The transformer's own magnetising current is on no drawing: measure the current at "
             "the wall before you order. Work on mains wiring is for those who are licensed for it "
             "where you are; unplug, drain and measure first.");
}

static void run(cli *cli) {
    double volts = NAN;
    cli_amp amp = {0};
    service_mains *mains = NULL;
    if (cli->arguments > 1)
        base_value_read(cli->argument[1], BASE_VOLTS, (base_place){.file = "VOLTS"}, &volts,
                        cli->errors);
    if (!isnan(volts) && !(volts >= 50 && volts <= 300))
        base_errors_add(cli->errors, BASE_VALUE, (base_place){.file = "VOLTS"},
                        "no mains has %.4g V|give volts from 50 to 300", volts);
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        mains = service_mains_new(amp.system, volts, cli->errors);
    if (mains) {
        tell(cli, mains);
        cli_json_take(cli, http_json_mains(mains));
    }
    service_mains_free(mains);
    cli_amp_close(&amp);
}

const cli_command cli_mains = {
    .name = "mains",
    .arguments = "AMP [VOLTS]",
    .summary = "Put an old amp on today's mains, and what that needs",
    .about =
        "VOLTS is the mains at your wall, measured (the file's when it is left out); the file says "
        "for which one the amp is drawn. Heaters, supply nodes, dissipation and the limits that "
        "go; then each remedy, computed: a winding that bucks the mains, a resistor in the mains "
        "lead, one in the high voltage, one in the heaters, with the value, the watts to fit, and "
        "what each mends and leaves. From a quarter more on, a step-down transformer.",
    .examples = "  gridleak mains wren-hollow 124\n  gridleak mains saltpan 240\n",
    .least = 1,
    .most = 2,
    .run = run,
};
