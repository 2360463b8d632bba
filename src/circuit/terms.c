/* Names and what they join: each name that the file uses is a term, each end joins one. */
#include "circuit_impl.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- ends ---------------------------------------------------------------------------------- */

static const struct {
    circuit_kind kind;
    const char *end[5];
} end_names[] = {
    {CIRCUIT_CAPACITOR, {"+"}},
    {CIRCUIT_POT, {"low", "wiper", "high"}},
    {CIRCUIT_SWITCH, {"common"}},
    {CIRCUIT_JACK, {"tip", "sleeve", "rest"}},
    {CIRCUIT_DIODE, {"anode", "cathode"}},
    {CIRCUIT_RECTIFIER, {"out", "return"}},
    {CIRCUIT_OUTPUT_TRANSFORMER, {NULL}},
};

const char *circuit_end_name(const circuit_part *part, int end) {
    for (size_t i = 0; i < sizeof end_names / sizeof *end_names; i++)
        if (end_names[i].kind == part->kind) return end < 5 ? end_names[i].end[end] : NULL;
    return NULL;
}

int circuit_end_number(const circuit_part *part, int end) {
    return part->kind == CIRCUIT_TUBE ? end : end + 1;
}

int circuit_end_by_name(const circuit_part *part, const char *text) {
    int first = part->kind == CIRCUIT_TUBE ? 1 : 0;
    for (int end = first; end < part->ends; end++) {
        const char *name = circuit_end_name(part, end);
        char number[16];
        snprintf(number, sizeof number, "%d", circuit_end_number(part, end));
        if (strcmp(number, text) == 0 || (name && strcasecmp(name, text) == 0)) return end;
    }
    return -1;
}

int circuit_part_by_name(const circuit *amp, const char *name, size_t length) {
    for (size_t i = 0; i < amp->parts; i++)
        if (strncasecmp(amp->part[i].name, name, length) == 0 && !amp->part[i].name[length])
            return (int)i;
    return -1;
}

bool circuit_is_word(const char *name) {
    for (const char *c = name; *c; c++)
        if (!isalnum((unsigned char)*c) && *c != '_' && *c != '+') return false;
    return *name != 0 && strlen(name) <= 40;
}

/* ---- terms --------------------------------------------------------------------------------- */

int circuit_term_root(const reader *read, int term) {
    struct term *of = read->term; /* halve the path on the way, so that no chain grows long */
    while (of[term].parent != term)
        term = of[term].parent = of[of[term].parent].parent;
    return term;
}

int circuit_term_of_end(const reader *read, int part, int end) {
    return read->draft[part].first_term + end;
}

int circuit_term_plain(reader *read, const char *name) {
    for (size_t i = 0; i < read->plains; i++)
        if (strcasecmp(read->term[read->plain[i]].name, name) == 0) return read->plain[i];
    read->term = circuit_grow(read, read->term, read->terms, &read->term_room, sizeof(term));
    read->plain = circuit_grow(read, read->plain, read->plains, &read->plain_room, sizeof(int));
    if (read->yaml.no_memory) return -1;
    int made = (int)read->terms++;
    read->term[made] = (term){name, -1, 0, made, false};
    return read->plain[read->plains++] = made;
}

/* The nearest part's name to the `length` bytes at `name`, or NULL. */
static const char *part_nearest(reader *read, const char *name, size_t length) {
    const circuit *amp = read->amp;
    const char **names = base_yaml_take(&read->yaml, amp->parts + 1, sizeof *names);
    char *text = base_yaml_take(&read->yaml, length + 1, 1);
    if (!names || !text) return NULL;
    memcpy(text, name, length);
    for (size_t i = 0; i < amp->parts; i++)
        names[i] = amp->part[i].name;
    return base_nearest_name(text, names, amp->parts);
}

static int complain_undeclared(reader *read, const written_word *word, const char *who,
                               size_t length) {
    const char *shown = base_yaml_show(&read->yaml, word->text);
    const char *nearest = part_nearest(read, word->text, length);
    bool tube = toupper((unsigned char)word->text[0]) == 'V';
    if (nearest)
        base_yaml_complain(
            &read->yaml, BASE_UNKNOWN, word->at,
            "%s joins %s, but %.*s is not declared|declare it%s, or did you mean %s?", who, shown,
            (int)(length < 40 ? length : 40), shown, tube ? " under tubes" : "", nearest);
    else
        base_yaml_complain(
            &read->yaml, BASE_UNKNOWN, word->at,
            "%s joins %s, but %.*s is not declared|declare it%s; a name with a dot is always "
            "the end of a part",
            who, shown, (int)(length < 40 ? length : 40), shown, tube ? " under tubes" : "");
    return -1;
}

static int complain_no_end(reader *read, const written_word *word, const char *who, int part) {
    const circuit_part *it = &read->amp->part[part];
    const char *shown = base_yaml_show(&read->yaml, word->text);
    bool tube = it->kind == CIRCUIT_TUBE;
    base_yaml_complain(&read->yaml, BASE_UNKNOWN, word->at,
                       "%s joins %s, but %s has no such %s|write %s.1 to %s.%d", who, shown,
                       it->name, tube ? "pin" : "end", it->name, it->name,
                       tube ? it->ends - 1 : it->ends);
    return -1;
}

int circuit_term_of_word(reader *read, const written_word *word, const char *who) {
    const char *dot = strrchr(word->text, '.');
    if (!dot && circuit_is_word(word->text)) return circuit_term_plain(read, word->text);
    if (!dot) {
        base_yaml_complain(
            &read->yaml, BASE_SYNTAX, word->at,
            "%s joins `%s`, which cannot be the name of a node|use letters, digits, `_` and "
            "`+`: `B1`, or a part's end: `V1.2`",
            who, base_yaml_show(&read->yaml, word->text));
        return -1;
    }
    size_t length = (size_t)(dot - word->text);
    int part = circuit_part_by_name(read->amp, word->text, length);
    if (part < 0) return complain_undeclared(read, word, who, length);
    int end = circuit_end_by_name(&read->amp->part[part], dot + 1);
    if (end < 0) return complain_no_end(read, word, who, part);
    return circuit_term_of_end(read, part, end);
}

static void mention_add(reader *read, int term, base_place at) {
    read->mention = circuit_grow(read, read->mention, read->mentions, &read->mention_room,
                                 sizeof *read->mention);
    if (!read->yaml.no_memory) read->mention[read->mentions++] = (mention){term, at};
}

static void term_unite(reader *read, int a, int b, base_place at) {
    mention_add(read, b, at);
    read->term[a].joined = read->term[b].joined = true;
    int root_a = circuit_term_root(read, a), root_b = circuit_term_root(read, b);
    if (root_a != root_b) read->term[root_a].parent = root_b;
}

void circuit_term_join(reader *read, int part, int end, const written_word *word) {
    int named = circuit_term_of_word(read, word, read->amp->part[part].name);
    if (named >= 0) term_unite(read, circuit_term_of_end(read, part, end), named, word->at);
}

void circuit_term_join_plain(reader *read, int part, int end, const char *name) {
    int named = circuit_term_plain(read, name);
    if (named >= 0)
        term_unite(read, circuit_term_of_end(read, part, end), named, read->amp->part[part].place);
}
