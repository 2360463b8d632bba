/* gridleak value: what a part must be for a target. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static cli_cell figure(const service_target *target, double value) {
    cli_cell cell = {"does not settle"};
    if (isnan(value)) return cell;
    switch (target->aim) {
    case SERVICE_AIM_VOLTS:
        return cli_volts(value);
    case SERVICE_AIM_PLATE_A:
        return cli_amperes(value);
    case SERVICE_AIM_TREMOLO:
        snprintf(cell.text, sizeof cell.text, "%.3g a second", value);
        return cell;
    default:
        cell = cli_watts(value);
        if (target->rating > 0)
            snprintf(cell.text + strlen(cell.text), sizeof cell.text - strlen(cell.text),
                     ", %.0f %%", 100 * value / target->rating);
        return cell;
    }
}

static cli_cell value_words(const service_value *value, double of) {
    return cli_value_of(of, value->kind == CIRCUIT_CAPACITOR ? BASE_FARADS : BASE_OHMS);
}

static void tell_at(cli *cli, const service_value *value, const char *name,
                    const service_value_at *at) {
    char line[512];
    base_text_add(&cli->out, "  %-12s %s%-8s%s %-18s", name, cli_style_on(cli, CLI_STRONG),
                  value_words(value, at->value).text, cli_style_on(cli, CLI_PLAIN),
                  figure(&value->target, at->reached).text);
    if (!isnan(at->watts))
        base_text_add(&cli->out, " burns %s", cli_watts(at->watts).text);
    else
        base_text_add(&cli->out, " stands %s", cli_volts(at->across_v).text);
    if (!isnan(at->fit_w)) base_text_add(&cli->out, ": fit %.3g W", at->fit_w);
    cli_end_line(cli);
    if (*at->breaks) {
        snprintf(line, sizeof line, "over a limit then: %s", at->breaks);
        base_text_add(&cli->out, "               ");
        cli_fill(cli, 15, 15, line);
    }
    if (*at->mends) {
        snprintf(line, sizeof line, "mends: %s", at->mends);
        base_text_add(&cli->out, "               ");
        cli_fill(cli, 15, 15, line);
    }
}

static void tell(cli *cli, const service_value *value) {
    const service_target *target = &value->target;
    base_text_add(&cli->out, "%s%s%s  %s for %s at %s, on %.4g V\n\n", cli_style_on(cli, CLI_HEAD),
                  value->amp, cli_style_on(cli, CLI_PLAIN), value->part, target->at,
                  figure(target, target->wanted).text, value->mains_v);
    if (!value->found) {
        base_text_add(&cli->out, "  Out of reach. ");
        cli_fill(cli, 16, 2, value->limit);
        base_text_add(&cli->out, "\n");
    }
    bool moot = value->exact.value == value->now.value;
    bool stock = value->stock[0].value == value->stock[1].value;
    tell_at(cli, value, "as it is", &value->now);
    if (moot) return;
    tell_at(cli, value, value->found ? "exactly" : "nearest", &value->exact);
    tell_at(cli, value, stock ? "stock" : "stock below", &value->stock[0]);
    if (!stock) tell_at(cli, value, "stock above", &value->stock[1]);
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0,
             "Stock values are those of IEC 60063. Computed with a tube of the middle of its kind: "
             "after the repair, read the volts and work it out again.");
}

static bool words(cli *cli, char *text, size_t size) {
    for (int i = 2; i < cli->arguments; i++) {
        size_t used = strlen(text);
        if (used + strlen(cli->argument[i]) + 2 > size) {
            cli_usage(cli, "the target is too long|write it like `V3 dissipation 85%%`");
            return false;
        }
        snprintf(text + used, size - used, "%s%s", used ? " " : "", cli->argument[i]);
    }
    return true;
}

static void run(cli *cli) {
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    char target[256] = "";
    cli_amp amp = {0};
    service_value *value = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && words(cli, target, sizeof target) &&
        cli_amp_open(cli, cli->argument[0], &amp))
        value = service_value_new(amp.system, mains, cli->argument[1], target, cli->errors);
    if (value) {
        tell(cli, value);
        cli_json_take(cli, http_json_value(value));
    }
    service_value_free(value);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0}, {0}};

const cli_command cli_value = {
    .name = "value",
    .arguments = "AMP PART for TARGET",
    .summary = "Find the value of a part that brings the amp to a target",
    .about =
        "PART is a resistor, a pot or a capacitor. TARGET is `V3 dissipation 85%` (of the rating "
        "that is quoted, or in W), `V3 screen dissipation 80%`, `V1 unit 2 current 1.2mA`, `B2 at "
        "310V` (any place that can be read, or the volts across a part) or `tremolo at 5/s`.\n\n"
        "It gives the exact value, the stock values on both sides and what each of them gives, the "
        "watts to fit, and which limits each breaks or mends. A target that no value reaches is "
        "answered with the nearest that can be reached, and what limits it.",
    .examples = "  gridleak value wren-hollow R12 for V2 dissipation 85%\n"
                "  gridleak value wren-hollow R16 for B2 at 340V\n"
                "  gridleak value tidemark C13 for tremolo at 5/s\n",
    .options = options,
    .least = 4,
    .most = 10,
    .run = run,
};
