/* The suspects as text: the verdict, the suspects by groups, the readings beside what the leaders
 * predict, the next reading. */
#include "suspects_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LETTERS 3 /* groups that get a letter and a column in the table of readings */
#define GROUPS 6  /* shown without --all */
#define MEMBERS 4
#define MISREAD 0.5 /* from this chance on a reading is called misread */
#define TEXT_AT 28  /* column where a suspect's words begin */

/* ---- head and verdict ---------------------------------------------------------------------- */

static void tell_head(cli *cli, const http_case *at) {
    const char *name = circuit_about_of(at->amp)->name;
    char line[256];
    snprintf(line, sizeof line, "%zu reading%s, %.4g V at the wall%s, meter %s",
             at->readings->count, at->readings->count == 1 ? "" : "s", at->mains,
             at->measured ? "" : " (not measured)", cli_meter(&at->meter).text);
    base_text_add(&cli->out, "%s%s%s  ", cli_style_on(cli, CLI_HEAD), name,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, (int)strlen(name) + 2, 2, line);
}

/* "C6 leaky, some 4M, or one that looks the same: about 85 %" */
static void leader_words(const diagnose_belief *belief, char *line, size_t size) {
    char words[256];
    int leader = belief->groups ? diagnose_leader(belief, 0) : -1;
    int pair = belief->groups ? diagnose_leading_pair(belief, 0) : -1;
    *line = 0;
    if (pair >= 0)
        snprintf(line, size, "%.300s: %s.", belief->pair[pair].words,
                 cli_chance_words(belief->group[0].probability).text);
    if (leader < 0 || pair >= 0) return;
    const diagnose_suspect *first = &belief->suspect[leader];
    double group = belief->group[0].probability;
    snprintf(line, size, "%s%s: %s.", cli_suspect_words(first, words, sizeof words),
             first->probability < 0.9 * group ? ", or one that looks the same" : "",
             cli_chance_words(group).text);
}

static void verdict_words(const http_case *at, char *line, size_t size) {
    char leader[400];
    leader_words(at->belief, leader, sizeof leader);
    switch (at->belief->verdict) {
    case DIAGNOSE_NOT_ENOUGH:
        snprintf(line, size, "%s",
                 at->readings->count ? "These readings are not enough."
                 : at->readings->clues
                     ? "Symptoms alone do not name a part. The first place to probe is below."
                     : "No readings yet. The first place to probe is below.");
        break;
    case DIAGNOSE_LEANING:
        snprintf(line, size, "Leaning to: %s", leader);
        break;
    case DIAGNOSE_SETTLED:
        snprintf(line, size, "To blame: %s", leader);
        break;
    case DIAGNOSE_HEALTHY:
        snprintf(line, size, "Nothing wrong that these readings can show.");
        break;
    case DIAGNOSE_STRANGE:
        snprintf(line, size, "These readings fit no fault that this program knows.");
        break;
    }
}

static void tell_misread(cli *cli, const diagnose_belief *belief) {
    for (size_t i = 0; i < belief->compares; i++) {
        char line[256];
        if (belief->compare[i].chance_wrong <= MISREAD) continue;
        snprintf(line, sizeof line, "%s looks misread: take it again.", belief->compare[i].at);
        cli_fill(cli, 0, 0, line);
    }
}

static void tell_verdict(cli *cli, const http_case *at) {
    const diagnose_belief *belief = at->belief;
    char line[512];
    verdict_words(at, line, sizeof line);
    /* A reason that begins with the verdict's own words stands for both. */
    bool same = belief->reason && strncmp(belief->reason, line, strlen(line) - 1) == 0;
    base_text_add(&cli->out, "\n%s", cli_style_on(cli, CLI_STRONG));
    if (!same) cli_fill(cli, 0, 0, line);
    base_text_add(&cli->out, "%s", cli_style_on(cli, CLI_PLAIN));
    tell_misread(cli, belief);
    if (belief->reason && at->readings->count) cli_fill(cli, 0, 0, belief->reason);
    if (belief->outside)
        cli_fill(cli, 0, 0,
                 "A tube works there outside what its published figures cover: trust the numbers "
                 "less.");
}

/* ---- suspects ------------------------------------------------------------------------------ */

/* One suspect or pair of a group; the first stands beside the bar, the others below it. */
static void tell_member(cli *cli, const char *words, bool first, double probability, bool whole) {
    char line[640];
    snprintf(line, sizeof line, "%s%.560s", first ? "" : "or ", words);
    if (!whole)
        snprintf(line + strlen(line), sizeof line - strlen(line), " (%s)",
                 cli_chance(probability).text);
    if (!first) base_text_add(&cli->out, "%*s", TEXT_AT, "");
    cli_fill(cli, TEXT_AT, TEXT_AT + 2, line);
}

/* The group of a good amp: with it stands every fault that no DC reading shows. */
static bool holds_nothing(const diagnose_belief *belief, size_t group) {
    for (size_t i = 0; i < belief->suspects; i++)
        if (belief->suspect[i].group == (int)group &&
            strcmp(belief->suspect[i].part, "nothing") == 0)
            return true;
    return false;
}

/* The next of a group's suspects and pairs in falling order, from the two places on; its words.
 * NULL: none is left. */
static const char *next_member(const diagnose_belief *belief, size_t group, size_t at[2],
                               double *probability, char words[256]) {
    while (at[0] < belief->suspects && belief->suspect[at[0]].group != (int)group)
        at[0]++;
    while (at[1] < belief->pairs && belief->pair[at[1]].group != (int)group)
        at[1]++;
    bool suspect = at[0] < belief->suspects, pair = at[1] < belief->pairs;
    if (suspect && pair) {
        suspect = belief->suspect[at[0]].probability >= belief->pair[at[1]].probability;
        pair = !suspect;
    }
    if (!suspect && !pair) return NULL;
    *probability = suspect ? belief->suspect[at[0]].probability : belief->pair[at[1]].probability;
    if (pair) return belief->pair[at[1]++].words;
    return cli_suspect_words(&belief->suspect[at[0]++], words, 256);
}

/* Those of at least 1 %, at most MEMBERS; with --all every one. Returns how many were told. */
static size_t tell_some(cli *cli, const diagnose_belief *belief, size_t group) {
    bool all = cli_option(cli, CLI_ALL) != NULL;
    double probability = belief->group[group].probability, own;
    size_t told = 0, at[2] = {0, 0};
    char buffer[256];
    const char *words;
    if (!all && holds_nothing(belief, group)) {
        cli_fill(cli, TEXT_AT, TEXT_AT + 2, "nothing wrong, or nothing that DC volts show");
        return belief->group[group].members + belief->group[group].pairs;
    }
    while ((words = next_member(belief, group, at, &own, buffer))) {
        if (told && !all && (told == MEMBERS || own < 0.01)) break;
        tell_member(cli, words, told == 0, own, !all && own > 0.95 * probability);
        told++;
    }
    return told;
}

static void tell_members(cli *cli, const http_case *at, size_t group) {
    const diagnose_group *of = &at->belief->group[group];
    size_t told = tell_some(cli, at->belief, group), members = of->members + of->pairs;
    if (told < members)
        base_text_add(&cli->out, "%*sor %zu less likely (--all)\n", TEXT_AT, "", members - told);
    if (of->tell && members > 1) {
        base_text_add(&cli->out, "%*sTo tell: ", TEXT_AT, "");
        cli_fill(cli, TEXT_AT + 9, TEXT_AT + 2, of->tell);
    }
}

/* Blocks are several bytes each, so the padding is counted by hand. */
static void tell_bar(cli *cli, double probability) {
    cli_cell bar = cli_bar(cli, probability, 8);
    int wide = 0;
    for (const char *c = bar.text; *c; c++)
        if ((*c & 0xC0) != 0x80) wide++;
    base_text_add(&cli->out, "%s%*s", bar.text, 9 - wide, "");
}

static void tell_suspects(cli *cli, const http_case *at) {
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
        base_text_add(&cli->out, "     %-12s  %9s%zu other%s (--all)\n", cli_chance(rest).text, "",
                      belief->groups - group, belief->groups - group == 1 ? "" : "s together");
}

/* ---- readings ------------------------------------------------------------------------------ */

/* "high" or "low" by the chart's band. Between two live places either lead may be the red one, so
 * there it is the size that counts. */
static const char *mark(const http_case *at, size_t index) {
    const diagnose_compare *compare = &at->belief->compare[index];
    const solve_probe *probe = &at->readings->reading[index].probe;
    service_line band = {.low = compare->healthy - 2 * compare->good_spread,
                         .high = compare->healthy + 2 * compare->good_spread};
    int verdict = service_verdict(&band, compare->read);
    if (compare->chance_wrong > MISREAD) return "misread?";
    if (verdict != -1 && verdict != 1) return "";
    bool turned = probe->minus > 0 && compare->healthy < 0;
    return (turned ? -verdict : verdict) > 0 ? "high" : "low";
}

static cli_cell value(const diagnose_compare *compare, double shown) {
    cli_cell cell = {""};
    if (compare->plain || !isfinite(shown)) return cli_volts(shown);
    diagnose_value_words(shown, compare->unit, cell.text);
    return cell;
}

/* A place with much to say of its test takes a line of its own. */
static void tell_at(cli *cli, const char *at) {
    if (strlen(at) <= 12)
        base_text_add(&cli->out, "  %-12s", at);
    else
        base_text_add(&cli->out, "  %s\n  %-12s", at, "");
}

static void tell_reading(cli *cli, const http_case *at, size_t index) {
    const diagnose_compare *compare = &at->belief->compare[index];
    tell_at(cli, compare->at);
    base_text_add(&cli->out, " %9s  %s%-8s%s %9s", value(compare, compare->read).text,
                  cli_style_on(cli, CLI_WARN), mark(at, index), cli_style_on(cli, CLI_PLAIN),
                  value(compare, compare->healthy).text);
    for (size_t group = 0; group < LETTERS && group < at->belief->groups; group++) {
        double reads = diagnose_leader_reads(at->engine, at->belief, group, at->readings, index);
        base_text_add(&cli->out, " %9s", value(compare, reads).text);
    }
    cli_end_line(cli);
}

static void tell_readings(cli *cli, const http_case *at) {
    if (at->belief->compares == 0) return;
    cli_heading(cli, "READINGS, BESIDE WHAT EACH SUSPECT WOULD GIVE");
    base_text_add(&cli->out, "  %-12s %9s  %-8s %9s", "at", "read", "", "good amp");
    for (size_t group = 0; group < LETTERS && group < at->belief->groups; group++)
        base_text_add(&cli->out, " %9c", 'A' + (int)group);
    base_text_add(&cli->out, "\n");
    for (size_t i = 0; i < at->belief->compares; i++)
        tell_reading(cli, at, i);
}

/* ---- symptoms -------------------------------------------------------------------------------- */

#define UNLIKE 0.1 /* a chance under which a symptom does not fit */

static void tell_heard(cli *cli, const diagnose_heard *heard) {
    char line[320];
    if (isnan(heard->good))
        snprintf(line, sizeof line, "%s: says nothing of this amp", heard->said);
    else
        snprintf(line, sizeof line,
                 "%s: told in %.0f %% of cases with A, in %.0f %% of good amps%s", heard->said,
                 100 * heard->by_leader, 100 * heard->good,
                 heard->by_leader < UNLIKE ? ". It does not fit A." : "");
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 4, line);
}

static void tell_symptoms(cli *cli, const http_case *at) {
    if (at->belief->heards == 0) return;
    cli_heading(cli, "SYMPTOMS AND FINDINGS");
    for (size_t i = 0; i < at->belief->heards; i++)
        tell_heard(cli, &at->belief->heard[i]);
}

/* ---- the next reading ---------------------------------------------------------------------- */

/* "A would read 23 V, B 19.4 V; a good amp 19 V." */
static void tell_expected(cli *cli, const http_case *at, const char *where) {
    int place = cli_place_named(at->engine, where);
    char line[640] = "";
    if (place < 0) return;
    for (size_t group = 0; group < LETTERS && group < at->belief->groups; group++) {
        double volts = diagnose_leader_shows(at->engine, at->belief, group, (size_t)place);
        if (isnan(volts)) continue;
        snprintf(line + strlen(line), sizeof line - strlen(line), "%s%c %s%.12s", *line ? ", " : "",
                 'A' + (int)group, *line ? "" : "would read ", cli_volts(volts).text);
    }
    snprintf(line + strlen(line), sizeof line - strlen(line), "%sa good amp %.12s.",
             *line ? "; " : "", cli_volts(diagnose_place_at(at->engine, place)->healthy).text);
    base_text_add(&cli->out, "  ");
    cli_fill(cli, 2, 2, line);
}

static void tell_next(cli *cli, const http_case *at) {
    const diagnose_belief *belief = at->belief;
    bool open = belief->verdict != DIAGNOSE_SETTLED && belief->verdict != DIAGNOSE_HEALTHY;
    if (belief->nexts == 0 && !open) return;
    cli_heading(cli, "NEXT READING");
    if (belief->nexts == 0) {
        base_text_add(&cli->out, "  ");
        cli_fill(cli, 2, 2,
                 "No other reading of volts would tell much more. With the power off, measure the "
                 "first suspect itself, or put a good one in its place and read again.");
        return;
    }
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

/* ---- other tests ------------------------------------------------------------------------------
 */

static void tell_test(cli *cli, const diagnose_test_next *test) {
    char line[640];
    base_text_add(&cli->out, "  %s%s%s  ", cli_style_on(cli, CLI_STRONG), test->at,
                  cli_style_on(cli, CLI_PLAIN));
    snprintf(line, sizeof line, "%s. %s", test->quantity, test->why);
    cli_fill(cli, 4 + (int)strlen(test->at), 4, line);
    base_text_add(&cli->out, "    ");
    cli_fill(cli, 4, 4, test->caution);
}

static void tell_tests(cli *cli, const http_case *at) {
    const diagnose_belief *belief = at->belief;
    if (belief->tests == 0) return;
    cli_heading(cli, "OTHER TESTS");
    double best = belief->nexts ? belief->next[0].bits / belief->next[0].cost : 0;
    if (belief->test[0].bits / belief->test[0].cost > best && belief->nexts)
        cli_fill(cli, 0, 0, "The first tells more for its trouble than the next reading does.");
    for (size_t i = 0; i < belief->tests; i++)
        tell_test(cli, &belief->test[i]);
}

static void tell_hands(cli *cli) {
    base_text_add(&cli->out, "\n");
    cli_fill(cli, 0, 0,
             "Before you lift a lead or pull a tube: unplug, drain the capacitors, and MEASURE "
             "that they are empty.");
}

void cli_suspects_text(cli *cli, const http_case *at) {
    tell_head(cli, at);
    tell_verdict(cli, at);
    tell_suspects(cli, at);
    tell_readings(cli, at);
    tell_symptoms(cli, at);
    tell_next(cli, at);
    tell_tests(cli, at);
    tell_hands(cli);
}
