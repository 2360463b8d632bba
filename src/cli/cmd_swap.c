/* gridleak swap: a change tried on paper, before beside after. */
#include "cli_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- rows ---------------------------------------------------------------------------------- */

static void tell_changes(cli *cli, const service_swap *swap) {
    base_text_add(&cli->out, "%s%s%s  before beside after\n", cli_style_on(cli, CLI_HEAD),
                  swap->amp, cli_style_on(cli, CLI_PLAIN));
    for (size_t i = 0; i < swap->changes; i++) {
        const circuit_difference *one = &swap->change[i];
        base_text_add(&cli->out, "  %s %s: %s -> %s\n", one->part, one->key ? one->key : one->does,
                      one->from ? one->from : "not stated", one->to ? one->to : "nothing");
    }
    if (swap->mains_v[0] != swap->mains_v[1])
        base_text_add(&cli->out, "  mains: %.4g V -> %.4g V\n", swap->mains_v[0], swap->mains_v[1]);
    else
        base_text_add(&cli->out, "  both on %.4g V at the wall\n", swap->mains_v[0]);
}

static cli_cell percent(const service_tube *tube) {
    cli_cell cell = {""};
    if (tube->type && tube->ratings)
        snprintf(cell.text, sizeof cell.text, "%.0f %%%s",
                 100 * tube->plate_w / tube->rating[0].plate_w, tube->inside ? "" : " *");
    return cell;
}

static void tell_tube_side(cli *cli, const service_swap_tube *row, int side) {
    const service_tube *tube = &row->side[side];
    char name[64] = "";
    snprintf(name, sizeof name, "%s %s%s%s", row->tube, tube->type ? tube->type : "",
             *row->unit ? " " : "", row->unit);
    base_text_add(&cli->out, "  %-19.27s %s %8s %8s %8s %8s %8s %8s", side == 0 ? name : "",
                  side == 0 ? "before" : "after ", cli_volts(tube->plate_v).text,
                  cli_volts(tube->screen_v).text, cli_volts(tube->cathode_v).text,
                  cli_amperes(tube->plate_a).text, cli_watts(tube->plate_w).text,
                  percent(tube).text);
    cli_end_line(cli);
}

static bool changed(const service_swap_tube *row) {
    const service_tube *a = &row->side[0], *b = &row->side[1];
    if (!a->type || !b->type || strcmp(a->type, b->type) != 0) return true;
    return fabs(a->plate_v - b->plate_v) > 0.002 * fabs(a->plate_v) ||
           fabs(a->plate_a - b->plate_a) > 0.002 * fabs(a->plate_a);
}

static void tell_tubes(cli *cli, const service_swap *swap) {
    size_t same = 0;
    cli_heading(cli, "TUBES AT IDLE");
    base_text_add(&cli->out, "  %-19s %6s %8s %8s %8s %8s %8s %8s\n", "", "", "plate", "screen",
                  "cathode", "draws", "burns", "of its");
    for (size_t i = 0; i < swap->tubes; i++) {
        const service_swap_tube *row = &swap->tube[i];
        if (!changed(row)) {
            same++;
            continue;
        }
        tell_tube_side(cli, row, 0);
        if (row->side[1].type && row->side[0].type &&
            strcmp(row->side[1].type, row->side[0].type) != 0)
            base_text_add(&cli->out, "  %s is now a %s:\n", row->tube, row->side[1].type);
        tell_tube_side(cli, row, 1);
    }
    if (same)
        base_text_add(&cli->out, "  %zu other unit%s stay%s as it was\n", same,
                      same == 1 ? "" : "s", same == 1 ? "s" : "");
}

static void tell_nodes(cli *cli, const service_swap *swap) {
    if (swap->nodes) cli_heading(cli, "SUPPLY NODES");
    for (size_t i = 0; i < swap->nodes; i++) {
        const service_swap_node *node = &swap->node[i];
        base_text_add(&cli->out, "  %-12s %8s -> %8s  %+.3g V\n", node->node,
                      cli_volts(node->volts[0]).text, cli_volts(node->volts[1]).text,
                      node->volts[1] - node->volts[0]);
    }
}

/* ---- margins ------------------------------------------------------------------------------- */

static cli_cell figure(const service_margin *margin) {
    cli_cell cell = {"-"};
    if (!margin) return cell;
    cli_cell is = cli_value_of(margin->is, margin->quantity);
    if (isnan(margin->limit)) return is;
    if (margin->floor)
        snprintf(cell.text, sizeof cell.text, "%.30s (min)", is.text);
    else
        snprintf(cell.text, sizeof cell.text, "%.30s, %.0f %%", is.text, 100 * margin->share);
    return cell;
}

static void tell_margin(cli *cli, const service_swap_margin *row) {
    const service_margin *any = row->side[1] ? row->side[1] : row->side[0];
    char name[64];
    cli_margin_name(any, name, sizeof name);
    base_text_add(&cli->out, "  %-20.27s %16s -> %-16s ", name, figure(row->side[0]).text,
                  figure(row->side[1]).text);
    cli_fill(cli, 60, 60, any->what);
    bool news = !row->side[0] || row->side[0]->state != SERVICE_OVER;
    if (!news || !row->side[1] || row->side[1]->state != SERVICE_OVER || !*any->remedy) return;
    base_text_add(&cli->out, "    -> ");
    cli_fill(cli, 7, 7, any->remedy);
}

static void tell_margins(cli *cli, const char *heading, const service_swap_margin *row,
                         size_t count) {
    if (count) cli_heading(cli, heading);
    for (size_t i = 0; i < count; i++)
        tell_margin(cli, &row[i]);
}

static bool over(const service_margin *margin) {
    return margin && margin->state == SERVICE_OVER;
}

/* Not told among the broken and mended yet; close to a limit, or half way to one and moved far. */
static bool worth(const service_swap_margin *row) {
    const service_margin *a = row->side[0], *b = row->side[1];
    if (over(a) != over(b)) return false;
    if (!a || !b || a->state != b->state || b->state >= SERVICE_CLOSE) return true;
    return fabs(a->share - b->share) > 0.05 && fmax(a->share, b->share) > 0.5;
}

static void tell_moved(cli *cli, const service_swap *swap) {
    size_t told = 0, left = 0;
    for (size_t i = 0; i < swap->margins; i++) {
        const service_swap_margin *row = &swap->margin[i];
        if (!cli_option(cli, CLI_ALL) && !worth(row)) {
            left++;
            continue;
        }
        if (told++ == 0) cli_heading(cli, "MARGINS THAT MOVE");
        tell_margin(cli, row);
    }
    left -= swap->brokens + swap->mendeds < left ? swap->brokens + swap->mendeds : left;
    if (left) base_text_add(&cli->out, "  and %zu more, far from their limits; --all\n", left);
}

static void tell_verdict(cli *cli, const service_swap *swap) {
    size_t still = 0;
    for (size_t i = 0; i < swap->side[1].margins; i++)
        still += swap->side[1].margin[i].state == SERVICE_OVER;
    tell_margins(cli, "NOW OVER A LIMIT", swap->broken, swap->brokens);
    tell_margins(cli, "MENDED", swap->mended, swap->mendeds);
    if (!swap->brokens && !swap->mendeds)
        base_text_add(&cli->out, "\nNo limit is passed that was not, and none is mended.\n");
    if (still > swap->brokens)
        base_text_add(&cli->out,
                      "%zu figure%s still over as before; gridleak margins lists them.\n",
                      still - swap->brokens, still - swap->brokens == 1 ? " is" : "s are");
    tell_moved(cli, swap);
}

static void tell_tremolo(cli *cli, const service_swap *swap) {
    static const char *const sides[] = {"before", "after"};
    if (!swap->has_tremolo) return;
    cli_heading(cli, "TREMOLO");
    for (int side = 0; side < 2; side++) {
        const solve_swing *swing = &swap->tremolo[side].swing;
        if (swap->tremolo[side].part < 0 || !swing->swings)
            base_text_add(&cli->out, "  %-6s  it does not start\n", sides[side]);
        else
            base_text_add(&cli->out,
                          "  %-6s  %.2g swings a second; depth %.3g V at the output grids per "
                          "volt at its plate\n",
                          sides[side], swing->hertz, swing->reach);
    }
    const solve_swing *a = &swap->tremolo[0].swing, *b = &swap->tremolo[1].swing;
    if (a->swings && b->swings && a->reach > 0)
        base_text_add(&cli->out, "  the depth becomes %.0f %%, the speed %.0f %% of what it was\n",
                      100 * b->reach / a->reach, 100 * b->hertz / a->hertz);
}

static void tell(cli *cli, const service_swap *swap) {
    bool outside = false;
    for (size_t i = 0; i < swap->tubes; i++)
        outside = outside || (swap->tube[i].side[1].type && !swap->tube[i].side[1].inside);
    tell_changes(cli, swap);
    tell_verdict(cli, swap);
    tell_tubes(cli, swap);
    if (outside)
        base_text_add(&cli->out, "  * outside what its published figures cover: trust it less\n");
    tell_nodes(cli, swap);
    tell_tremolo(cli, swap);
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0,
             "Computed, on a healthy amp. Before hands go in to make it so: unplug, drain the "
             "capacitors, and measure that they are empty.");
}

/* ---- the command --------------------------------------------------------------------------- */

typedef struct pair {
    circuit *amp;
    solve_system *system;
} pair;

static bool changed_amp(cli *cli, const cli_amp *amp, const char *const *changes, pair *made) {
    char *text = circuit_change_text(amp->amp, amp->text, amp->tubes, changes, cli->errors);
    base_errors *quiet = base_errors_new(); /* the warnings of the file were told once */
    if (text && quiet)
        made->amp = circuit_read("the changed amp", text, strlen(text), amp->tubes, quiet);
    if (made->amp) made->system = solve_system_new(made->amp, quiet);
    if (!made->system) base_errors_append(cli->errors, quiet);
    base_errors_free(quiet);
    free(text);
    return made->system != NULL;
}

static void compare(cli *cli, const cli_amp *amp, const char **changes, double mains) {
    pair made = {0};
    service_swap_side side[2] = {{amp->system, mains}, {NULL, mains}};
    service_swap *swap = NULL;
    if (service_swap_mains(changes, &side[1].mains, cli->errors) &&
        changed_amp(cli, amp, changes, &made)) {
        side[1].system = made.system;
        swap = service_swap_new(&side[0], &side[1], cli->errors);
    }
    if (swap && service_swap_tremolo(swap, side)) {
        tell(cli, swap);
        cli_json_take(cli, http_json_swap(swap));
    }
    service_swap_free(swap);
    solve_system_free(made.system);
    circuit_free(made.amp);
}

static void run(cli *cli) {
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    const char *changes[CLI_ARGUMENTS + 1] = {NULL};
    cli_amp amp = {0};
    for (int i = 1; i < cli->arguments; i++)
        changes[i - 1] = cli->argument[i];
    if (base_errors_worst(cli->errors) == BASE_OK && cli_amp_open(cli, cli->argument[0], &amp))
        compare(cli, &amp, changes, mains);
    cli_amp_close(&amp);
}

static const struct argp_option options[] = {
    {"mains", CLI_MAINS, "VOLTS", 0, "The volts at the wall, of both", 0},
    {"all", CLI_ALL, 0, 0, "List every margin that moves", 0},
    {0}};

const cli_command cli_swap = {
    .name = "swap",
    .arguments = "AMP CHANGE...",
    .summary = "Try changes on paper: the amp before beside after",
    .about =
        "A CHANGE is PART=VALUE: `R12=1k`, `C8=22u,500V`, `V1=12AY7`, `V3=silicon` (a rectifier "
        "tube), `S2=open`, `P1=position:7`, `R12=1k,10W,wirewound`. Behind a comma stand a rating "
        "in V or W, a tolerance in %, a kind, or KEY:VALUE of the amp's file. `mains=110` puts the "
        "changed amp on another mains. As many as you like are made together.\n\n"
        "It says which ratings the changes break and which they mend, then every tube, supply node "
        "and margin before and after. A tube whose pins do not fit the socket is refused.",
    .examples = "  gridleak swap wren-hollow R12=1k\n"
                "  gridleak swap tidemark V6=silicon C18=22u,500V\n"
                "  gridleak swap wren-hollow mains=110\n",
    .options = options,
    .least = 2,
    .most = CLI_ARGUMENTS,
    .run = run,
};
