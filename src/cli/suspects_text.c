/* The suspects as text: the verdict, the suspects by groups, the readings beside what the leaders
 * predict, the next reading. */
#include "suspects_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LETTERS 3 /* groups that get a letter and a column in the table of readings */
#define GROUPS 6  /* shown without --all */
#define MEMBERS 4
#define TEXT_AT 33 /* column where a suspect's words begin */

/* ---- head and verdict ------------------------------------------------------------------------ */

static void tell_head(cli *cli, const cli_case *at) {
    base_text_add(&cli->out, "%s%s%s  %zu reading%s, %.4g V at the wall%s, meter %s\n",
                  cli_style_on(cli, CLI_HEAD), circuit_about_of(at->amp)->name,
                  cli_style_on(cli, CLI_PLAIN), at->readings->count,
                  at->readings->count == 1 ? "" : "s", at->mains,
                  at->measured ? "" : " (not measured)", cli_meter(&at->meter).text);
}

static void tell_verdict(cli *cli, const cli_case *at) {
    const diagnose_belief *belief = at->belief;
    char words[256] = "", line[512];
    int leader = belief->groups ? cli_leader(belief, 0) : -1;
    double chance = belief->groups ? belief->group[0].probability : 0;
    if (leader >= 0) cli_suspect_words(&belief->suspect[leader], words, sizeof words);
    const char *more =
        belief->groups && belief->group[0].members > 1 ? ", or one that looks the same" : "";
    switch (belief->verdict) {
    case DIAGNOSE_NOT_ENOUGH:
        snprintf(line, sizeof line, "%s",
                 at->readings->count ? "These readings are not enough."
                                     : "No readings yet. The first place to probe is below.");
        break;
    case DIAGNOSE_LEANING:
        snprintf(line, sizeof line, "Leaning to: %s%s: %s. One more reading should confirm it.",
                 words, more, cli_chance_words(chance).text);
        break;
    case DIAGNOSE_SETTLED:
        snprintf(line, sizeof line, "To blame: %s%s: %s.", words, more,
                 cli_chance_words(chance).text);
        break;
    case DIAGNOSE_HEALTHY:
        snprintf(line, sizeof line, "Nothing wrong that these readings can show.");
        break;
    case DIAGNOSE_STRANGE:
        snprintf(line, sizeof line, "These readings fit no fault that this program knows.");
        break;
    }
    base_text_add(&cli->out, "\n%s", cli_style_on(cli, CLI_STRONG));
    cli_fill(cli, 0, 0, line);
    base_text_add(&cli->out, "%s", cli_style_on(cli, CLI_PLAIN));
    if (belief->reason) cli_fill(cli, 0, 0, belief->reason);
    if (belief->outside)
        cli_fill(cli, 0, 0,
                 "A tube works there outside what its published figures cover: trust the numbers "
                 "less.");
}

/* ---- suspects -------------------------------------------------------------------------------- */

static void tell_members(cli *cli, const cli_case *at, size_t group) {
    const diagnose_belief *belief = at->belief;
    size_t told = 0, members = belief->group[group].members;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        char words[256], line[320];
        if (suspect->group != (int)group) continue;
        if (told == MEMBERS && !cli_option(cli, CLI_ALL)) {
            base_text_add(&cli->out, "%*sor %zu more (--all)\n", TEXT_AT, "", members - told);
            break;
        }
        snprintf(line, sizeof line, "%s%s", told ? "or " : "",
                 cli_suspect_words(suspect, words, sizeof words));
        if (members > 1)
            snprintf(line + strlen(line), sizeof line - strlen(line), " (%s)",
                     cli_chance(suspect->probability).text);
        if (told++) base_text_add(&cli->out, "%*s", TEXT_AT, "");
        cli_fill(cli, TEXT_AT, TEXT_AT + 2, line);
    }
    if (belief->group[group].tell && members > 1) {
        base_text_add(&cli->out, "%*sTo tell: ", TEXT_AT, "");
        cli_fill(cli, TEXT_AT + 9, TEXT_AT + 2, belief->group[group].tell);
    }
}

/* Blocks are several bytes each, so the padding is counted by hand. */
static void tell_bar(cli *cli, double probability) {
    cli_cell bar = cli_bar(cli, probability, 12);
    int wide = 0;
    for (const char *c = bar.text; *c; c++)
        if ((*c & 0xC0) != 0x80) wide++;
    base_text_add(&cli->out, "%s%*s", bar.text, 14 - wide, "");
}

static void tell_suspects(cli *cli, const cli_case *at) {
    const diagnose_belief *belief = at->belief;
    bool all = cli_option(cli, CLI_ALL) != NULL;
    size_t group = 0;
    double rest = 0;
    cli_heading(cli, "SUSPECTS");
    for (; group < belief->groups; group++) {
        double probability = belief->group[group].probability;
        if (!all && group > 0 && (group >= GROUPS || probability < 0.01)) break;
        base_text_add(&cli->out, "  %s%c%s  %-12s  ", cli_style_on(cli, CLI_STRONG),
                      group < LETTERS ? 'A' + (int)group : ' ', cli_style_on(cli, CLI_PLAIN),
                      cli_chance(probability).text);
        tell_bar(cli, probability);
        tell_members(cli, at, group);
    }
    for (size_t i = group; i < belief->groups; i++)
        rest += belief->group[i].probability;
    if (group < belief->groups)
        base_text_add(&cli->out, "     %-12s  %14s%zu other%s (--all)\n", cli_chance(rest).text, "",
                      belief->groups - group, belief->groups - group == 1 ? "" : "s together");
}

/* ---- readings -------------------------------------------------------------------------------- */

static const char *mark(const diagnose_compare *compare, const diagnose_place *place) {
    if (compare->chance_wrong > 0.5) return "misread?";
    double allowed = place ? 2 * place->spread + 0.01 : fabs(compare->healthy) * 0.1 + 0.1;
    if (compare->read > compare->healthy + allowed) return "high";
    if (compare->read < compare->healthy - allowed) return "low";
    return "";
}

static void tell_reading(cli *cli, const cli_case *at, size_t index) {
    const diagnose_compare *compare = &at->belief->compare[index];
    int place = cli_place_of(at->engine, &at->readings->reading[index].probe);
    const char *word = mark(compare, place >= 0 ? diagnose_place_at(at->engine, place) : NULL);
    base_text_add(&cli->out, "  %-12s %9s  %s%-8s%s %9s", compare->at,
                  cli_volts(compare->read).text, cli_style_on(cli, CLI_WARN), word,
                  cli_style_on(cli, CLI_PLAIN), cli_volts(compare->healthy).text);
    for (size_t group = 0; group < LETTERS && group < at->belief->groups; group++) {
        int leader = cli_leader(at->belief, group);
        double volts = group == 0 ? compare->predicted : NAN;
        if (group > 0 && place >= 0 && leader >= 0)
            volts = diagnose_predicted(at->engine, at->belief, (size_t)leader, (size_t)place);
        base_text_add(&cli->out, " %9s", cli_volts(volts).text);
    }
    base_text_add(&cli->out, "\n");
}

static void tell_readings(cli *cli, const cli_case *at) {
    if (at->belief->compares == 0) return;
    cli_heading(cli, "READINGS, BESIDE WHAT EACH SUSPECT WOULD GIVE");
    base_text_add(&cli->out, "  %-12s %9s  %-8s %9s", "at", "read", "", "good amp");
    for (size_t group = 0; group < LETTERS && group < at->belief->groups; group++)
        base_text_add(&cli->out, " %9c", 'A' + (int)group);
    base_text_add(&cli->out, "\n");
    for (size_t i = 0; i < at->belief->compares; i++)
        tell_reading(cli, at, i);
}

/* ---- the next reading ------------------------------------------------------------------------ */

/* "A would read 23 V, B 19.4 V; a good amp 19 V." */
static void tell_expected(cli *cli, const cli_case *at, const char *where) {
    int place = cli_place_named(at->engine, where);
    char line[640] = "";
    if (place < 0) return;
    for (size_t group = 0; group < LETTERS && group < at->belief->groups; group++) {
        int leader = cli_leader(at->belief, group);
        if (leader < 0) continue;
        double volts = diagnose_predicted(at->engine, at->belief, (size_t)leader, (size_t)place);
        snprintf(line + strlen(line), sizeof line - strlen(line), "%s%c %s%.12s", group ? ", " : "",
                 'A' + (int)group, group ? "" : "would read ", cli_volts(volts).text);
    }
    snprintf(line + strlen(line), sizeof line - strlen(line), "%sa good amp %.12s.",
             *line ? "; " : "", cli_volts(diagnose_place_at(at->engine, place)->healthy).text);
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, line);
}

static void tell_next(cli *cli, const cli_case *at) {
    const diagnose_belief *belief = at->belief;
    if (belief->nexts == 0) return;
    cli_heading(cli, "NEXT READING");
    cli_probe_where(cli, at, &belief->next[0]);
    tell_expected(cli, at, belief->next[0].at);
    cli_probe_how(cli, at, &belief->next[0]);
    if (belief->nexts < 2) return;
    base_text_add(&cli->out, "\n  Or, less telling or more work:\n");
    for (size_t i = 1; i < belief->nexts; i++) {
        base_text_add(&cli->out, "    %-12s ", belief->next[i].at);
        cli_fill(cli, 17, 17, belief->next[i].why ? belief->next[i].why : "");
    }
}

/* Words on safety where a group asks to lift a lead or pull a tube. */
static void tell_hands(cli *cli, const cli_case *at) {
    for (size_t i = 0; i < at->belief->groups && i < LETTERS; i++) {
        if (!at->belief->group[i].tell || at->belief->group[i].members < 2) continue;
        base_text_add(&cli->out, "\n");
        cli_fill(cli, 0, 0,
                 "Before you lift a lead or pull a tube: unplug, drain the capacitors, and MEASURE "
                 "that they are empty.");
        return;
    }
}

void cli_suspects_text(cli *cli, const cli_case *at) {
    tell_head(cli, at);
    tell_verdict(cli, at);
    tell_suspects(cli, at);
    tell_readings(cli, at);
    tell_next(cli, at);
    tell_hands(cli, at);
}
