/* data/meters/<name>.yaml: how a sort of meter wants to be spoken to. docs/meters.md. */
#include "meter_impl.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define MOST 64

struct meter_profiles {
    meter_profile profile[MOST];
    size_t count;
};

static const base_yaml_kind kind = {"meter files", "meter", "`meter:` and its name"};
static const char *const top_keys[] = {"meter",  "about",    "match", "serial",
                                       "timing", "commands", "input", NULL};
static const char *const serial_keys[] = {"baud", "frame", "dtr", NULL};
static const char *const timing_keys[] = {"delay", "timeout", "quiet", NULL};
static const char *const command_keys[] = {"end", "remote", "local",  "start",
                                           "ac",  "read",   "status", NULL};
static const char *const input_keys[] = {"ohms", "range", "digit", NULL};

/* What most bench meters have in common. */
static const meter_profile any = {.name = "any SCPI meter",
                                  .baud = 9600,
                                  .frame = "8N1",
                                  .dtr = true,
                                  .end = "\n",
                                  .timeout_s = 3,
                                  .quiet_s = 1,
                                  .remote = "SYST:REM",
                                  .local = "SYST:LOC",
                                  .start = {"*CLS", "CONF:VOLT:DC 1000"},
                                  .starts = 2,
                                  .ac = "CONF:VOLT:AC",
                                  .read = "READ?",
                                  .status = true,
                                  .range_v = 1000,
                                  .ohms = 10e6,
                                  .digit_v = 0.01};

meter_profiles *meter_profiles_new(void) {
    meter_profiles *profiles = calloc(1, sizeof *profiles);
    if (profiles) profiles->profile[profiles->count++] = any;
    return profiles;
}

void meter_profiles_free(meter_profiles *profiles) {
    free(profiles);
}

size_t meter_profiles_count(const meter_profiles *profiles) {
    return profiles->count;
}

const meter_profile *meter_profile_at(const meter_profiles *profiles, size_t index) {
    return &profiles->profile[index];
}

const meter_profile *meter_profile_find(const meter_profiles *profiles, const char *name) {
    for (size_t i = 0; i < profiles->count; i++)
        if (strcasecmp(profiles->profile[i].name, name) == 0) return &profiles->profile[i];
    return NULL;
}

const meter_profile *meter_profile_for(const meter_profiles *profiles, const char *identity) {
    const meter_profile *best = &profiles->profile[0];
    for (size_t i = 1; i < profiles->count; i++) {
        const meter_profile *one = &profiles->profile[i];
        if (!*one->match || !strcasestr(identity, one->match)) continue;
        if (strlen(one->match) > strlen(best->match)) best = one;
    }
    return best;
}

/* ---- reading the file ---------------------------------------------------------------------- */

/* The text of a key, if it is given and fits. */
static void text_of(base_yaml *file, const base_yaml_items *map, const char *key, char *out,
                    size_t size) {
    const base_yaml_item *item = base_yaml_find(map, key);
    if (!item) return;
    const char *text = base_yaml_text_of(file, item->value);
    if (!text) text = ""; /* `remote: ""` is none */
    bool plain = strlen(text) < size;
    for (const char *at = text; *at; at++)
        plain = plain && *at >= ' ' && *at <= '~';
    if (plain)
        strcpy(out, text);
    else
        base_yaml_complain(file, BASE_VALUE, item->at,
                           "`%s` is no text that can be sent to a meter|write at most %zu plain "
                           "characters",
                           key, size - 1);
}

typedef struct limits {
    double low, high;
    base_quantity quantity;
} limits;

static void number_of(base_yaml *file, const base_yaml_items *map, const char *key, limits limits,
                      double *out) {
    const base_yaml_item *item = base_yaml_find(map, key);
    double value;
    if (!item || !base_yaml_value(file, item, map->who, limits.quantity, &value)) return;
    if (value >= limits.low && value <= limits.high)
        *out = value;
    else
        base_yaml_complain(file, BASE_VALUE, item->at, "`%s` is %g|give %g to %g", key, value,
                           limits.low, limits.high);
}

static void yes_of(base_yaml *file, const base_yaml_items *map, const char *key, bool *out) {
    char word[8] = "";
    text_of(file, map, key, word, sizeof word);
    const base_yaml_item *item = base_yaml_find(map, key);
    if (strcasecmp(word, "yes") == 0 || strcasecmp(word, "no") == 0)
        *out = tolower((unsigned char)*word) == 'y';
    else if (item)
        base_yaml_complain(file, BASE_VALUE, item->at, "`%s` is neither yes nor no|write one", key);
}

static bool open_map(base_yaml *file, const base_yaml_items *top, const char *key,
                     const char *const *known, base_yaml_items *map) {
    const base_yaml_item *item = base_yaml_find(top, key);
    *map = (base_yaml_items){.who = key};
    if (!item || !base_yaml_map(file, item, map)) return false;
    base_yaml_check_keys(file, map, known);
    return true;
}

static void read_serial(base_yaml *file, const base_yaml_items *top, meter_profile *profile) {
    base_yaml_items map;
    double baud = profile->baud;
    if (!open_map(file, top, "serial", serial_keys, &map)) return;
    number_of(file, &map, "baud", (limits){50, 4e6, BASE_NUMBER}, &baud);
    profile->baud = (int)baud;
    text_of(file, &map, "frame", profile->frame, sizeof profile->frame);
    yes_of(file, &map, "dtr", &profile->dtr);
    const char *f = profile->frame;
    bool good = strlen(f) == 3 && strchr("5678", f[0]) && strchr("NEO", f[1]) && strchr("12", f[2]);
    if (good) return;
    base_yaml_complain(file, BASE_VALUE, map.at,
                       "`frame` is no frame of a serial line|write data bits, parity, stop bits: "
                       "8N1, 8N2, 7E2");
    strcpy(profile->frame, "8N1");
}

static void read_timing(base_yaml *file, const base_yaml_items *top, meter_profile *profile) {
    base_yaml_items map;
    if (!open_map(file, top, "timing", timing_keys, &map)) return;
    number_of(file, &map, "delay", (limits){0, 2, BASE_NUMBER}, &profile->delay_s);
    number_of(file, &map, "timeout", (limits){0.5, 30, BASE_NUMBER}, &profile->timeout_s);
    number_of(file, &map, "quiet", (limits){0.2, 10, BASE_NUMBER}, &profile->quiet_s);
}

static void read_end(base_yaml *file, const base_yaml_items *map, meter_profile *profile) {
    char word[8] = "LF";
    text_of(file, map, "end", word, sizeof word);
    const base_yaml_item *item = base_yaml_find(map, "end");
    bool cr = strcasecmp(word, "CR") == 0, both = strcasecmp(word, "CRLF") == 0;
    if (!cr && !both && strcasecmp(word, "LF") != 0)
        base_yaml_complain(file, BASE_VALUE, item->at,
                           "`end` is none of these|write LF, CR or CRLF");
    strcpy(profile->end, cr ? "\r" : both ? "\r\n" : "\n");
}

static void read_start(base_yaml *file, const base_yaml_items *map, meter_profile *profile) {
    const base_yaml_item *item = base_yaml_find(map, "start");
    base_yaml_items list = {.who = "start", .repeats = true};
    if (!item || !base_yaml_list(file, item, &list)) return;
    profile->starts = 0;
    for (size_t i = 0; i < list.items; i++) {
        const char *text = base_yaml_text(file, &list.item[i], "start");
        if (text && profile->starts < METER_STARTS && strlen(text) < METER_COMMAND)
            strcpy(profile->start[profile->starts++], text);
        else if (text)
            base_yaml_complain(file, BASE_VALUE, list.item[i].at,
                               "too many commands, or a long one|give at most %d of %d characters",
                               METER_STARTS, METER_COMMAND - 1);
    }
}

static void read_commands(base_yaml *file, const base_yaml_items *top, meter_profile *profile) {
    base_yaml_items map;
    if (!open_map(file, top, "commands", command_keys, &map)) return;
    read_end(file, &map, profile);
    text_of(file, &map, "remote", profile->remote, METER_COMMAND);
    text_of(file, &map, "local", profile->local, METER_COMMAND);
    text_of(file, &map, "ac", profile->ac, METER_COMMAND);
    text_of(file, &map, "read", profile->read, METER_COMMAND);
    if (base_yaml_find(&map, "status")) yes_of(file, &map, "status", &profile->status);
    read_start(file, &map, profile);
    if (!*profile->read)
        base_yaml_complain(file, BASE_VALUE, map.at, "`read` is empty|write the query: READ?");
}

static void read_input(base_yaml *file, const base_yaml_items *top, meter_profile *profile) {
    base_yaml_items map;
    if (!open_map(file, top, "input", input_keys, &map)) return;
    number_of(file, &map, "ohms", (limits){1e4, 1e12, BASE_OHMS}, &profile->ohms);
    number_of(file, &map, "range", (limits){1, 10000, BASE_VOLTS}, &profile->range_v);
    number_of(file, &map, "digit", (limits){1e-7, 10, BASE_VOLTS}, &profile->digit_v);
}

static void read_top(base_yaml *file, const base_yaml_items *top, meter_profile *profile) {
    base_yaml_check_keys(file, top, top_keys);
    text_of(file, top, "meter", profile->name, sizeof profile->name);
    text_of(file, top, "match", profile->match, sizeof profile->match);
    read_serial(file, top, profile);
    read_timing(file, top, profile);
    read_commands(file, top, profile);
    read_input(file, top, profile);
    if (!*profile->name)
        base_yaml_complain(file, BASE_SYNTAX, top->at, "the meter has no name|begin with `meter:`");
}

/* One of the same name is replaced, so that a user's own file can better ours. */
static base_code keep(meter_profiles *profiles, const meter_profile *profile, base_place place,
                      base_errors *errors) {
    for (size_t i = 0; i < profiles->count; i++) {
        if (strcasecmp(profiles->profile[i].name, profile->name) != 0) continue;
        profiles->profile[i] = *profile;
        return BASE_OK;
    }
    if (profiles->count == MOST)
        return base_errors_add(errors, BASE_VALUE, place, "there are over %d meters|leave some out",
                               MOST);
    profiles->profile[profiles->count++] = *profile;
    return BASE_OK;
}

base_code meter_profiles_add(meter_profiles *profiles, const char *file, const char *text,
                             size_t length, base_errors *errors) {
    base_arena *arena = base_arena_new();
    base_yaml yaml = {.kind = &kind, .file = file, .arena = arena, .errors = errors};
    base_yaml_items top = {.who = "the file"};
    base_yaml_item root;
    meter_profile profile = any;
    if (!arena)
        return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                               "no memory left|close other programs");
    *profile.name = 0;
    if (base_yaml_open(&yaml, text, length, &root) && base_yaml_map(&yaml, &root, &top))
        read_top(&yaml, &top, &profile);
    base_yaml_close(&yaml);
    base_code code = yaml.worst;
    if (code == BASE_OK) code = keep(profiles, &profile, (base_place){.file = file}, errors);
    base_arena_free(arena);
    return code;
}
