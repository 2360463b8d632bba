/* Joined names become nodes; each part gets its nodes; every place gets its entry. */
#include "circuit_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* ---- making -------------------------------------------------------------------------------- */

/* "V2.1", "J1.tip": the way a term is written. */
static const char *end_written(reader *read, int part, int end) {
    const circuit_part *it = &read->amp->part[part];
    const char *name = circuit_end_name(it, end);
    return name ? base_yaml_print(&read->yaml, "%s.%s", it->name, name)
                : base_yaml_print(&read->yaml, "%s.%d", it->name, circuit_end_number(it, end));
}

/* One node for each tree of terms, in the order of first mention; ground was mentioned first. A
 * plain name names the node, else the first place that does. */
static void nodes_number(reader *read, int *node_of) {
    circuit *amp = read->amp;
    bool *plain = base_yaml_take(&read->yaml, read->mentions + 1, sizeof *plain);
    amp->node = base_yaml_take(&read->yaml, read->mentions + 1, sizeof *amp->node);
    if (!plain || !amp->node) return;
    for (size_t i = 0; i < read->mentions; i++) {
        const term *named = &read->term[read->mention[i].term];
        int *node = &node_of[circuit_term_root(read, read->mention[i].term)];
        if (*node < 0) {
            *node = (int)amp->nodes++;
            amp->node[*node] = (circuit_node){
                named->name ? named->name : end_written(read, named->part, named->end),
                read->mention[i].at, NAN, 0};
            plain[*node] = named->name != NULL;
        }
        if (!plain[*node] && named->name) amp->node[*node].name = named->name;
        plain[*node] = plain[*node] || named->name;
    }
}

/* Is this end a lead of its own at its node? A rectifier tube's are its pins, and a return is the
 * winding's end unless a bridge's diodes join it. */
static bool is_lead(const circuit_part *part, int end) {
    if (part->kind != CIRCUIT_RECTIFIER) return true;
    if (part->rectifier.tube >= 0) return false;
    return end == 0 || part->rectifier.form == CIRCUIT_BRIDGE ||
           part->rectifier.form == CIRCUIT_DOUBLER;
}

static void ends_give(reader *read, const int *node_of) {
    circuit *amp = read->amp;
    for (size_t i = 0; i < amp->parts; i++)
        for (int end = 0; end < amp->part[i].ends; end++) {
            int term = circuit_term_of_end(read, (int)i, end);
            if (!read->term[term].joined) continue;
            int node = node_of[circuit_term_root(read, term)];
            amp->part[i].end[end] = node;
            amp->node[node].leads += is_lead(&amp->part[i], end);
        }
}

/* Behind `through` the AC node is known as a term until now. */
static void rectifiers_give(reader *read, const int *node_of) {
    circuit *amp = read->amp;
    for (size_t i = 0; i < amp->parts; i++)
        for (int k = 0; amp->part[i].kind == CIRCUIT_RECTIFIER && k < 2; k++) {
            int *ac = &amp->part[i].rectifier.ac[k];
            if (*ac < 0) continue;
            *ac = node_of[circuit_term_root(read, *ac)];
            if (*ac >= 0) amp->node[*ac].leads += is_lead(&amp->part[i], 0);
        }
}

/* The mains cord is a lead too. */
static void mains_give(reader *read, const int *node_of) {
    static const char *const cord[] = {"line", "neutral"};
    for (int i = 0; i < 2; i++) {
        int node = node_of[circuit_term_root(read, circuit_term_plain(read, cord[i]))];
        if (node >= 0) read->amp->node[node].leads++;
    }
}

/* ---- places -------------------------------------------------------------------------------- */

static int by_name(const void *a, const void *b) {
    return strcasecmp(((const place_entry *)a)->name, ((const place_entry *)b)->name);
}

static void place_add(circuit *amp, const char *name, circuit_place place) {
    amp->place[amp->places++] = (place_entry){name, place};
}

static void part_places(reader *read, int part) {
    const circuit_part *it = &read->amp->part[part];
    bool tube = it->kind == CIRCUIT_TUBE;
    for (int end = tube ? 1 : 0; end < it->ends; end++) {
        circuit_place place = {it->end[end], tube ? part : -1, tube ? end : -1};
        place_add(read->amp, end_written(read, part, end), place);
        if (!circuit_end_name(it, end)) continue;
        place_add(read->amp,
                  base_yaml_print(&read->yaml, "%s.%d", it->name, circuit_end_number(it, end)),
                  place);
    }
}

static void places_list(reader *read, const int *node_of) {
    circuit *amp = read->amp;
    size_t room = read->plains + amp->parts * 2 * CIRCUIT_ENDS + 1;
    amp->place = base_yaml_take(&read->yaml, room, sizeof *amp->place);
    amp->name = base_yaml_take(&read->yaml, room, sizeof *amp->name);
    if (!amp->place || !amp->name) return;
    for (size_t i = 0; i < read->plains; i++) {
        int node = node_of[circuit_term_root(read, read->plain[i])];
        if (node >= 0)
            place_add(amp, read->term[read->plain[i]].name, (circuit_place){node, -1, -1});
    }
    for (size_t i = 0; i < amp->parts; i++)
        part_places(read, (int)i);
    qsort(amp->place, amp->places, sizeof *amp->place, by_name);
    for (size_t i = 0; i < amp->places; i++)
        amp->name[i] = amp->place[i].name;
}

void circuit_nodes_make(reader *read) {
    int line = circuit_term_plain(read, "line"), neutral = circuit_term_plain(read, "neutral");
    int *node_of = base_yaml_take(&read->yaml, read->terms + 1, sizeof *node_of);
    if (!node_of || line < 0 || neutral < 0) return;
    for (size_t i = 0; i < read->terms; i++)
        node_of[i] = -1;
    nodes_number(read, node_of);
    if (read->yaml.no_memory) return;
    ends_give(read, node_of);
    rectifiers_give(read, node_of);
    mains_give(read, node_of);
    places_list(read, node_of);
}

/* ---- what is odd --------------------------------------------------------------------------- */

/* In an amp fed straight by the mains the chassis may be a node apart from ground. */
static bool has_primary(const circuit *amp) {
    for (size_t i = 0; i < amp->parts; i++)
        if (amp->part[i].winding.primary) return true;
    return false;
}

static void lead_check(reader *read, int node) {
    static const char *const grounds[] = {"gnd", "earth", "0", "chassis"};
    const circuit_node *it = &read->amp->node[node];
    size_t count = has_primary(read->amp) ? 4 : 3;
    for (size_t i = 0; i < count; i++)
        if (strcasecmp(it->name, grounds[i]) == 0)
            base_yaml_complain(&read->yaml, BASE_SUSPICIOUS, it->place,
                               "the node `%s` is not the chassis|write `ground` for the chassis",
                               it->name);
    if (node > 0 && it->leads == 1)
        base_yaml_complain(
            &read->yaml, BASE_SUSPICIOUS, it->place,
            "the node %s has one lead: nothing else joins it|correct the name, or leave the "
            "part out",
            it->name);
}

/* Both ends of a part with two on one node: it does nothing; a winding is a short. */
static void bridge_check(reader *read, int part) {
    const circuit_part *it = &read->amp->part[part];
    int last = it->kind == CIRCUIT_WINDING && it->ends == 3 ? 2 : 1;
    const char *node = it->end[0] >= 0 ? read->amp->node[it->end[0]].name : "";
    bool winding = it->kind == CIRCUIT_WINDING;
    bool same = it->end[0] >= 0 && it->end[0] == it->end[last];
    if (winding && last == 2 && it->end[1] >= 0)
        same = same || it->end[1] == it->end[0] || it->end[1] == it->end[2];
    if (!same) return;
    if (winding)
        base_yaml_complain(
            &read->yaml, BASE_CIRCUIT, it->place,
            "%s is shorted: two of its ends are one node|join its ends to different nodes",
            it->name);
    else if (it->kind == CIRCUIT_RECTIFIER)
        base_yaml_complain(
            &read->yaml, BASE_CIRCUIT, it->place,
            "the supply %s is shorted: its output and its return are both on %s|look for "
            "the join that brings them together",
            it->name, node);
    else if (it->ends == 2 || it->kind == CIRCUIT_OUTPUT_TRANSFORMER)
        base_yaml_complain(
            &read->yaml, BASE_SUSPICIOUS, it->place,
            "%s is bridged: both its ends are on %s|correct one end, or leave the part out",
            it->name, node);
}

/* A reading of "B1" must mean one thing: a node, or the volts across a part. */
static void names_check(reader *read) {
    for (size_t i = 1; i < read->mentions; i++) { /* 0 is ground */
        const term *named = &read->term[read->mention[i].term];
        int part =
            named->name ? circuit_part_by_name(read->amp, named->name, strlen(named->name)) : -1;
        int first = read->mention[i].term;
        for (size_t k = 0; part >= 0 && k < i; k++)
            if (read->mention[k].term == first) part = -1; /* said already */
        if (part >= 0)
            base_yaml_complain(
                &read->yaml, BASE_SYNTAX, read->mention[i].at,
                "`%s` names a node here and a part at line %d|give one of them another name",
                named->name, read->amp->part[part].place.line);
    }
}

void circuit_nodes_check(reader *read) {
    names_check(read);
    for (size_t i = 0; i < read->amp->parts; i++)
        bridge_check(read, (int)i);
    if (read->yaml.worst != BASE_OK) return; /* an end that was refused would count as missing */
    for (size_t i = 0; i < read->amp->nodes; i++)
        lead_check(read, (int)i);
}
