/* gridleak output: what the output stage gives before it clips, and into which speaker. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void tell_head(cli *cli, const service_output *output) {
    base_text_add(&cli->out, "%s%s%s  output stage, %.4g V at the wall\n",
                  cli_style_on(cli, CLI_HEAD), output->amp, cli_style_on(cli, CLI_PLAIN),
                  output->mains_v);
    char text[512];
    snprintf(
        text, sizeof text,
        "%s, class %s at full drive: %.3g W into %.5g ohm before clipping, %.2g %% distortion, "
        "with %s peak at %s. There %s.",
        output->push_pull ? "Push-pull" : "Single-ended", output->class_name, output->watts,
        output->speaker_ohms, 100 * output->distortion, cli_volts(output->drive_v).text,
        output->push_pull ? "each grid" : "the grid", output->why);
    cli_fill(cli, 0, 0, text);
    char load[32];
    snprintf(load, sizeof load, "%.0f", base_value_round(output->load_ohms, 3));
    snprintf(text, sizeof text, "%s: %s ohm %s, on %s idle and %s at full drive.",
             output->transformer, load, output->push_pull ? "from plate to plate" : "at the plate",
             cli_volts(output->idle_supply_v).text, cli_volts(output->supply_v).text);
    cli_fill(cli, 0, 0, text);
}

static void tell_levels(cli *cli, const service_output *output) {
    cli_heading(cli, "FROM SOFT TO FULL");
    base_text_add(&cli->out, "  %9s %9s %10s %8s %8s %9s %8s %7s\n", "drive", "power", "distortion",
                  "second", "third", "plate", "plate", "screen");
    for (int i = 0; i < SERVICE_LEVELS; i++) {
        const service_output_level *level = &output->level[i];
        base_text_add(&cli->out, "  %9s %9s %8.2f %% %6.2f %% %6.2f %% %9s %6.0f %% %5.0f %%\n",
                      cli_volts(level->drive_v).text, cli_watts(level->watts).text,
                      100 * level->distortion, 100 * level->second, 100 * level->third,
                      cli_amperes(level->plate_a).text, level->plate_percent,
                      level->screen_percent);
    }
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2,
             "Plate milliamperes are one tube's mean; the last two columns what the most burdened "
             "plate and screen burn, in percent of their rating.");
}

static void tell_tubes(cli *cli, const service_output *output) {
    cli_heading(cli, "TUBES");
    for (size_t i = 0; i < output->tubes; i++) {
        const service_output_tube *tube = &output->tube[i];
        char text[512];
        snprintf(
            text, sizeof text,
            "plate %.1f W idle, %.1f W at full drive%s%.3g%s; screen %.1f W and %.1f W%s%.3g%s; "
            "plate current from %s to %s within a cycle",
            tube->idle_plate_w, tube->full_plate_w, isnan(tube->plate_limit_w) ? "" : " of ",
            isnan(tube->plate_limit_w) ? 0 : tube->plate_limit_w,
            isnan(tube->plate_limit_w) ? "" : " W", tube->idle_screen_w, tube->full_screen_w,
            isnan(tube->screen_limit_w) ? "" : " of ",
            isnan(tube->screen_limit_w) ? 0 : tube->screen_limit_w,
            isnan(tube->screen_limit_w) ? "" : " W", cli_amperes(tube->least_a).text,
            cli_amperes(tube->most_a).text);
        base_text_add(&cli->out, "  %s%s%s %s: ", cli_style_on(cli, CLI_STRONG), tube->tube,
                      cli_style_on(cli, CLI_PLAIN), tube->type);
        cli_fill(cli, (int)(strlen(tube->tube) + strlen(tube->type)) + 5, 7, text);
    }
    if (!output->push_pull) return;
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2,
             output->crossover > 0.1    ? "The gain dips where the tubes change over: see below."
             : output->crossover > 0.03 ? "The gain dips a little where the tubes change over."
                                        : "No dip of the gain where the tubes change over.");
}

static void tell(cli *cli, const service_output *output) {
    tell_head(cli, output);
    tell_levels(cli, output);
    tell_tubes(cli, output);
    if (output->remarks) cli_heading(cli, "LOOK AT");
    for (size_t i = 0; i < output->remarks; i++) {
        base_text_add(&cli->out, "  -> ");
        cli_fill(cli, 5, 5, output->remark[i]);
    }
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0,
             "The output tubes alone, driven at their grids by a tone of mid frequency, with the "
             "supply sagging as it does. A real speaker's impedance rises and falls with "
             "frequency; the amp's own drive and feedback are not in it.");
}

static void run(cli *cli) {
    service_output_asked asked = {
        .mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300),
        .speaker = cli_number(cli, CLI_SPEAKER, BASE_OHMS, 0.1, 1e4),
        .supply_v = cli_number(cli, CLI_SUPPLY, BASE_VOLTS, 20, 2000),
    };
    cli_amp amp = {0};
    service_output *output = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        output = service_output_new(amp.system, &asked, cli->errors);
    if (output) {
        tell(cli, output);
        cli_json_take(cli, http_json_output(output));
    }
    service_output_free(output);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"speaker", CLI_SPEAKER, "OHMS", 0, "What hangs on the amp in the place of its speaker", 0},
    {"supply", CLI_SUPPLY, "VOLTS", 0, "Idle volts at the output transformer", 0},
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0},
    {0}};

const cli_command cli_output = {
    .name = "output",
    .arguments = "AMP",
    .summary = "Show what the output stage gives, into which speaker",
    .about =
        "Power before clipping, class, distortion from soft to full, crossover, and what the "
        "output "
        "tubes burn at each. With --speaker: into another impedance, beside the rated one. With "
        "--supply: on other volts, as if the high winding gave them.\n\n"
        "Clipping begins where a grid reaches its cathode, or where a crest grows by less than a "
        "quarter of what the whole swing does.",
    .examples = "  gridleak output millrace\n  gridleak output granary --speaker 4\n"
                "  gridleak output wren-hollow --supply 350 --json\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
