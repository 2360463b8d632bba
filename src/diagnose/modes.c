/* The names of failure modes and sorts of part, and which part can fail how. */
#include "diagnose_impl.h"

#include <strings.h>

typedef struct mode_row {
    const char *key;  /* in the data file */
    const char *name; /* in a sentence: "C4 is leaky" */
} mode_row;

static const mode_row modes[DIAGNOSE_MODES] = {
    [DIAGNOSE_NOTHING] = {"nothing", "in order"},
    [DIAGNOSE_UNMODELLED] = {"unmodelled", "not in the catalogue"},
    [DIAGNOSE_OPEN] = {"open", "open"},
    [DIAGNOSE_HIGH] = {"high", "drifted high"},
    [DIAGNOSE_SHORTED] = {"shorted", "shorted"},
    [DIAGNOSE_LEAKY] = {"leaky", "leaky"},
    [DIAGNOSE_CAP_OPEN] = {"dried out", "open or dried out"},
    [DIAGNOSE_HIGH_ESR] = {"high esr", "high in series resistance (ESR)"},
    [DIAGNOSE_WEAK] = {"weak", "weak"},
    [DIAGNOSE_NO_EMISSION] = {"no emission", "without emission"},
    [DIAGNOSE_GASSY] = {"gassy", "gassy"},
    [DIAGNOSE_GRID_CATHODE_SHORT] = {"grid to cathode short", "shorted from grid to cathode"},
    [DIAGNOSE_PLATE_GRID_LEAK] = {"plate to grid leak", "leaking from plate to grid"},
    [DIAGNOSE_HEATER_OPEN] = {"heater open", "not heated"},
    [DIAGNOSE_HEATER_CATHODE_LEAK] = {"heater to cathode leak", "leaking from heater to cathode"},
    [DIAGNOSE_PIN_OPEN] = {"pin open", "without contact at a pin"},
    [DIAGNOSE_TURNS_SHORTED] = {"turns shorted", "with shorted turns"},
    [DIAGNOSE_SUPPLY_MISSING] = {"supply missing", "giving nothing"},
    [DIAGNOSE_TRACK_OPEN] = {"track open", "open in its track"},
    [DIAGNOSE_WIPER_OPEN] = {"wiper open", "open at its wiper"},
    [DIAGNOSE_CONTACT_OPEN] = {"contact open", "not making contact"},
    [DIAGNOSE_MAINS_OFF] = {"far off", "far off"},
    [DIAGNOSE_MISWIRED] = {"miswired", "wired to the wrong place"},
    [DIAGNOSE_HALVES_EXCHANGED] = {"halves exchanged", "with its halves exchanged"},
};

static const char *const sorts[SORT_COUNT] = {
    [SORT_RESISTOR] = "resistor",
    [SORT_CAPACITOR] = "capacitor",
    [SORT_POT] = "pot",
    [SORT_SWITCH] = "switch",
    [SORT_JACK] = "jack",
    [SORT_INDUCTOR] = "inductor",
    [SORT_DIODE] = "diode",
    [SORT_FUSE] = "fuse",
    [SORT_LAMP] = "lamp",
    [SORT_TUBE] = "tube",
    [SORT_RECTIFIER_TUBE] = "rectifier tube",
    [SORT_WINDING] = "winding",
    [SORT_RECTIFIER] = "rectifier",
    [SORT_OUTPUT_TRANSFORMER] = "output transformer",
    [SORT_SPEAKER] = "speaker",
    [SORT_MAINS] = "mains",
};

#define BIT(mode) (1U << (mode))

static const unsigned can[SORT_COUNT] = {
    [SORT_RESISTOR] = BIT(DIAGNOSE_OPEN) | BIT(DIAGNOSE_HIGH) | BIT(DIAGNOSE_SHORTED),
    [SORT_CAPACITOR] = BIT(DIAGNOSE_LEAKY) | BIT(DIAGNOSE_SHORTED) | BIT(DIAGNOSE_CAP_OPEN) |
                       BIT(DIAGNOSE_HIGH_ESR),
    [SORT_POT] = BIT(DIAGNOSE_TRACK_OPEN) | BIT(DIAGNOSE_WIPER_OPEN),
    [SORT_SWITCH] = BIT(DIAGNOSE_CONTACT_OPEN),
    [SORT_JACK] = BIT(DIAGNOSE_CONTACT_OPEN),
    [SORT_INDUCTOR] = BIT(DIAGNOSE_OPEN) | BIT(DIAGNOSE_SHORTED) | BIT(DIAGNOSE_TURNS_SHORTED),
    [SORT_DIODE] = BIT(DIAGNOSE_OPEN),
    [SORT_FUSE] = BIT(DIAGNOSE_OPEN),
    [SORT_LAMP] = BIT(DIAGNOSE_OPEN),
    [SORT_TUBE] = BIT(DIAGNOSE_WEAK) | BIT(DIAGNOSE_NO_EMISSION) | BIT(DIAGNOSE_GASSY) |
                  BIT(DIAGNOSE_GRID_CATHODE_SHORT) | BIT(DIAGNOSE_PLATE_GRID_LEAK) |
                  BIT(DIAGNOSE_HEATER_OPEN) | BIT(DIAGNOSE_HEATER_CATHODE_LEAK) |
                  BIT(DIAGNOSE_PIN_OPEN),
    [SORT_RECTIFIER_TUBE] = BIT(DIAGNOSE_WEAK) | BIT(DIAGNOSE_NO_EMISSION) |
                            BIT(DIAGNOSE_HEATER_OPEN) | BIT(DIAGNOSE_PIN_OPEN),
    [SORT_WINDING] =
        BIT(DIAGNOSE_OPEN) | BIT(DIAGNOSE_TURNS_SHORTED) | BIT(DIAGNOSE_SUPPLY_MISSING),
    [SORT_RECTIFIER] = BIT(DIAGNOSE_OPEN) | BIT(DIAGNOSE_SUPPLY_MISSING),
    [SORT_OUTPUT_TRANSFORMER] = BIT(DIAGNOSE_OPEN) | BIT(DIAGNOSE_TURNS_SHORTED),
    [SORT_SPEAKER] = BIT(DIAGNOSE_OPEN),
    [SORT_MAINS] = BIT(DIAGNOSE_MAINS_OFF),
};

const char *diagnose_mode_name(diagnose_mode mode) {
    return mode < DIAGNOSE_MODES ? modes[mode].name : "unknown";
}

const char *diagnose_mode_key(diagnose_mode mode) {
    return mode < DIAGNOSE_MODES ? modes[mode].key : "unknown";
}

int diagnose_mode_find(const char *key) {
    for (int mode = 0; mode < DIAGNOSE_MODES; mode++)
        if (strcasecmp(modes[mode].key, key) == 0) return mode;
    return -1;
}

const char *diagnose_sort_name(diagnose_sort sort) {
    return sort < SORT_COUNT ? sorts[sort] : "unknown";
}

int diagnose_sort_find(const char *name) {
    for (int sort = 0; sort < SORT_COUNT; sort++)
        if (strcasecmp(sorts[sort], name) == 0) return sort;
    return -1;
}

bool diagnose_can(diagnose_sort sort, diagnose_mode mode) {
    return sort < SORT_COUNT && mode < DIAGNOSE_MODES && (can[sort] & BIT(mode));
}
