/* gridleak hum: the supply's ripple at the supply nodes and at the speaker, and what would raise
 * it.
 */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static cli_cell rms(double volts) {
    cli_cell cell;
    if (volts >= 0.9995)
        snprintf(cell.text, sizeof cell.text, volts < 99.95 ? "%.3g V" : "%.0f V", volts);
    else if (volts >= 1e-4)
        snprintf(cell.text, sizeof cell.text, volts < 0.0995 ? "%.2g mV" : "%.0f mV", 1e3 * volts);
    else
        snprintf(cell.text, sizeof cell.text, "under 0.1 mV");
    return cell;
}

static void tell_head(cli *cli, const service_hum *hum) {
    cli_cell head[2];
    for (int k = 0; k < 2; k++)
        snprintf(head[k].text, sizeof head[k].text, "%.0f Hz", (k + 1) * hum->mains_hz);
    base_text_add(&cli->out, "%s%s%s  hum from the supply, controls as in the file\n\n",
                  cli_style_on(cli, CLI_HEAD), hum->amp, cli_style_on(cli, CLI_PLAIN));
    base_text_add(&cli->out, "  %-8s %-8s %8s %13s %13s %13s\n", "at", "", "DC", head[0].text,
                  head[1].text, "above");
}

static void tell_line(cli *cli, const service_hum_line *line) {
    bool supply = strcmp(line->what, "supply") == 0;
    base_text_add(&cli->out, "  %s%-8s%s %-8s %8s %13s %13s %13s\n", cli_style_on(cli, CLI_STRONG),
                  line->at, cli_style_on(cli, CLI_PLAIN), line->what,
                  supply ? cli_volts(line->dc).text : "", rms(line->once).text,
                  rms(line->twice).text, rms(line->above).text);
}

static void tell_part(cli *cli, const service_hum_part *part) {
    char text[512];
    snprintf(text, sizeof text, "%s%s%s: %s: %s", part->about, *part->unit ? ", " : "", part->unit,
             part->what, rms(part->speaker_v).text);
    base_text_add(&cli->out, "  %s%-4s%s ", cli_style_on(cli, CLI_STRONG), part->part,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 7, 7, text);
}

static void tell(cli *cli, const service_hum *hum) {
    tell_head(cli, hum);
    for (size_t i = 0; i < hum->lines; i++)
        tell_line(cli, &hum->line[i]);
    if (hum->parts) cli_heading(cli, "WHAT WOULD RAISE IT AT THE SPEAKER");
    for (size_t i = 0; i < hum->parts; i++)
        tell_part(cli, &hum->part[i]);
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0, hum->words);
}

static void run(cli *cli) {
    cli_amp amp = {0};
    service_stand stand = {.mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300)};
    service_hum *hum = NULL;
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        hum = service_hum_of(amp.system, &stand, cli->errors);
    if (hum) {
        tell(cli, hum);
        cli_json_take(cli, http_json_hum(hum));
    }
    service_hum_free(hum);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, measured", 0}, {0}};

const cli_command cli_hum = {
    .name = "hum",
    .arguments = "AMP",
    .summary = "Show the supply's ripple, and the hum it leaves at the speaker",
    .about =
        "For each supply node and the speaker: what a healthy amp's rectifiers leave there at the "
        "mains' frequency, at twice it, and above, in volts rms, as an AC meter behind a capacitor "
        "reads them. Then each filter capacitor dried out and each tube weak in turn: those that "
        "would raise the hum at the speaker by half or more, the worst first.\n\n"
        "Hum at twice the mains' frequency comes from a full-wave supply; at the mains' own, from "
        "a half-wave one, or a full-wave one with half of it missing.",
    .examples = "  gridleak hum tidemark\n  gridleak hum millrace --mains 121 --json\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
