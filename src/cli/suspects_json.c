/* The suspects as JSON: docs/json.md. */
#include "suspects_impl.h"

#include <math.h>

static void json_suspects(cli *cli, const diagnose_belief *belief) {
    json_t *list = cli_json_list_in(cli, cli->json, "suspects");
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        json_t *row = cli_json_row_in(cli, list);
        cli_json_set(cli, row, "part", cli_json_text(suspect->part));
        cli_json_set(cli, row, "what", cli_json_text(suspect->what));
        cli_json_set(cli, row, "probability", cli_json_number(suspect->probability));
        cli_json_set(cli, row, "group", json_integer(suspect->group));
    }
    json_t *groups = cli_json_list_in(cli, cli->json, "groups");
    for (size_t i = 0; i < belief->groups; i++) {
        json_t *row = cli_json_row_in(cli, groups);
        cli_json_set(cli, row, "probability", cli_json_number(belief->group[i].probability));
        cli_json_set(cli, row, "members", json_integer((json_int_t)belief->group[i].members));
        cli_json_set(cli, row, "tell", cli_json_text(belief->group[i].tell));
    }
}

static void json_next(cli *cli, const cli_case *at) {
    json_t *list = cli_json_list_in(cli, cli->json, "next");
    for (size_t i = 0; i < at->belief->nexts; i++) {
        const diagnose_probe_next *next = &at->belief->next[i];
        json_t *row = cli_json_row_in(cli, list);
        cli_json_set(cli, row, "at", cli_json_text(next->at));
        cli_json_set(cli, row, "quantity", cli_json_text(next->quantity));
        cli_json_set(cli, row, "bits", cli_json_number(next->bits));
        cli_json_set(cli, row, "cost", cli_json_number(next->cost));
        cli_json_set(cli, row, "why", cli_json_text(next->why));
    }
}

/* What the leaders of the first groups predict for one reading. */
static void json_predictions(cli *cli, const cli_case *at, json_t *row, size_t reading) {
    json_t *list = cli_json_list_in(cli, row, "by_suspect");
    for (size_t group = 0; group < at->belief->groups && group < 5; group++) {
        int leader = diagnose_leader(at->belief, group);
        if (leader < 0) continue;
        json_t *object = cli_json_row_in(cli, list);
        cli_json_set(cli, object, "part", cli_json_text(at->belief->suspect[leader].part));
        cli_json_set(cli, object, "what", cli_json_text(at->belief->suspect[leader].what));
        cli_json_set(cli, object, "volts",
                     cli_json_number(diagnose_leader_reads(at->engine, at->belief, group,
                                                           at->readings, reading)));
    }
}

static void json_readings(cli *cli, const cli_case *at) {
    json_t *list = cli_json_list_in(cli, cli->json, "readings");
    for (size_t i = 0; i < at->belief->compares; i++) {
        const diagnose_compare *compare = &at->belief->compare[i];
        json_t *row = cli_json_row_in(cli, list);
        cli_json_set(cli, row, "at", cli_json_text(compare->at));
        cli_json_set(cli, row, "read", cli_json_number(compare->read));
        cli_json_set(cli, row, "healthy", cli_json_number(compare->healthy));
        cli_json_set(cli, row, "predicted", cli_json_number(compare->predicted));
        cli_json_set(cli, row, "spread", cli_json_number(compare->spread));
        cli_json_set(cli, row, "chance_wrong", cli_json_number(compare->chance_wrong));
        json_predictions(cli, at, row, i);
    }
}

void cli_suspects_json(cli *cli, const cli_case *at) {
    cli_json_set(cli, cli->json, "amp", cli_json_text(circuit_about_of(at->amp)->name));
    cli_json_set(cli, cli->json, "mains_v", cli_json_number(at->mains));
    cli_json_set(cli, cli->json, "mains_measured", json_boolean(at->measured));
    cli_json_set(cli, cli->json, "meter", cli_json_meter(cli, &at->meter));
    cli_json_set(cli, cli->json, "verdict",
                 cli_json_text(diagnose_verdict_name(at->belief->verdict)));
    cli_json_set(cli, cli->json, "reason", cli_json_text(at->belief->reason));
    cli_json_set(cli, cli->json, "entropy_bits", cli_json_number(at->belief->entropy_bits));
    cli_json_set(cli, cli->json, "trusted", json_boolean(!at->belief->outside));
    json_suspects(cli, at->belief);
    json_next(cli, at);
    json_readings(cli, at);
}
