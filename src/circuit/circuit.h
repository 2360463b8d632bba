/* circuit: the amp on paper. Parts, nodes, sockets; reading and checking the amp file
 * (docs/amp-file.md). It knows what joins what and what is written on it, and no physics. */
#ifndef GRIDLEAK_CIRCUIT_H
#define GRIDLEAK_CIRCUIT_H

#include "base.h"
#include "tube.h"

#define CIRCUIT_ENDS                                                                               \
    10                 /* the most ends a part has: a noval socket's pins by number, [0] unused    \
                        */
#define CIRCUIT_WAYS 8 /* the most ways of a switch */

typedef enum circuit_kind {
    CIRCUIT_RESISTOR,  /* ends: a, b */
    CIRCUIT_CAPACITOR, /* ends: +, - */
    CIRCUIT_POT,       /* ends: low (counter-clockwise), wiper, high */
    CIRCUIT_SWITCH,    /* ends: common, way 1, way 2... ; position 0 = open, else the way joined */
    CIRCUIT_JACK,      /* ends: tip, sleeve, the contact that the tip rests on when nothing is in */
    CIRCUIT_INDUCTOR,  /* ends: a, b; a choke or a field coil by its `material` */
    CIRCUIT_DIODE,     /* ends: anode, cathode; a silicon or selenium diode in a DC path */
    CIRCUIT_FUSE,      /* ends: a, b */
    CIRCUIT_LAMP,      /* ends: a, b */
    CIRCUIT_TUBE,      /* ends by pin number; -1 where nothing joins it */
    CIRCUIT_WINDING,   /* ends: a, b or a, centre tap, b */
    CIRCUIT_RECTIFIER, /* ends: out, return */
    CIRCUIT_OUTPUT_TRANSFORMER, /* ends: plate, B+, other plate or -1, secondary a, b or -1 */
    CIRCUIT_SPEAKER,            /* ends: a, b */
    CIRCUIT_KINDS
} circuit_kind;
const char *circuit_kind_name(circuit_kind kind); /* "coupling", no: "capacitor" */

typedef enum circuit_material {
    CIRCUIT_UNSTATED,
    CIRCUIT_CARBON_COMPOSITION,
    CIRCUIT_CARBON_FILM,
    CIRCUIT_METAL_FILM,
    CIRCUIT_WIREWOUND,
    CIRCUIT_PAPER,
    CIRCUIT_PLASTIC_FILM,
    CIRCUIT_ELECTROLYTIC,
    CIRCUIT_MICA,
    CIRCUIT_CERAMIC,
    CIRCUIT_SILICON,
    CIRCUIT_SELENIUM,
    CIRCUIT_CHOKE,
    CIRCUIT_FIELD_COIL,
    CIRCUIT_TIME_LAG, /* fuses: "slow" in the file */
    CIRCUIT_QUICK,    /* "fast" */
    CIRCUIT_MATERIALS
} circuit_material;
const char *circuit_material_name(circuit_material material); /* "carbon composition" */

typedef enum circuit_form {
    CIRCUIT_FULL_WAVE,
    CIRCUIT_HALF_WAVE,
    CIRCUIT_BRIDGE,
    CIRCUIT_DOUBLER
} circuit_form;

typedef enum circuit_site {
    CIRCUIT_SITE_UNSTATED,
    CIRCUIT_BOARD,
    CIRCUIT_SOCKET,
    CIRCUIT_STRIP,
    CIRCUIT_CHASSIS
} circuit_site;

/* A winding of the power transformer. The first of a transformer is its primary. */
typedef struct circuit_winding {
    const char *transformer; /* "T1" */
    bool primary;
    bool heater;     /* its volts are rms at the rated load and no reading of DC */
    double volts[2]; /* rms, no load: a to tap, tap to b; [1] is 0 without a tap */
    double ohms[2];  /* DC resistance of each half */
} circuit_winding;

typedef struct circuit_rectifier {
    circuit_form form;
    int winding;    /* part index of the winding that feeds it, or -1: the mains itself */
    int tube;       /* part index of the rectifier tube, or -1: silicon or selenium */
    bool negative;  /* the output is below the return (bias supply) */
    int through[4]; /* parts in series on the AC side (resistor, fuse, switch), -1 ends */
    int side[4];    /* for each: 0 in the path of every pulse, 1 winding end a only, 2 end b only */
    int ac[2];   /* nodes where the AC arrives, behind `through`: from end a, from end b; -1 where
                    none (half wave: [0] only) */
    bool from_b; /* half wave off a tapped winding: fed by its end b, not a */
} circuit_rectifier;

typedef struct circuit_part {
    const char *name; /* "R7" */
    circuit_kind kind;
    base_place place;
    int ends;              /* how many of `end` count */
    int end[CIRCUIT_ENDS]; /* node indices; -1 where nothing joins */
    double value;          /* ohm, F, H; fuse, winding: A; lamp: hot ohm; speaker, output
                              transformer's secondary: ohm of impedance; NAN if unstated */
    double dc_ohms[2];     /* inductor [0]; output transformer's halves */
    double tolerance;      /* as a part of one; NAN where unstated */
    double watts, volts;   /* rating; NAN where unstated */
    circuit_material material;
    circuit_site site;
    const char *sits;    /* the words, or NULL */
    int original;        /* 1 yes, 0 no, -1 not known */
    const char *written; /* the value as the file writes it: "0.022u" */
    double taper;        /* pot: part of the track at half turn: 0.5 linear, 0.1..0.15 audio */
    double position;     /* pot: 0..10; switch: the way joined; jack: 1 plugged */
    double henries;      /* output transformer's primary, NAN if unstated */
    double ratio, primary_ohms; /* output transformer: whole primary to secondary; impedance */
    double secondary_ohms;      /* output transformer's secondary, DC; NAN if unstated */
    const tube_type *tube;      /* tubes only; owned by the tube library */
    circuit_winding winding;
    circuit_rectifier rectifier;
    const char *what; /* "phase inverter", free words of the file, or NULL */
} circuit_part;

typedef struct circuit_node {
    const char *name; /* "B1", or the first place that names it: "V2.1" */
    base_place place; /* first mention */
    double printed;   /* volts that the schematic prints here; NAN where it does not */
    int leads;        /* how many part ends join here */
} circuit_node;

/* A place where a probe can go. */
typedef struct circuit_place {
    int node;      /* index, 0 = ground (chassis) */
    int part, pin; /* of a tube's pin; -1 otherwise */
} circuit_place;

typedef struct circuit circuit;

/* Reads one amp file. On any complaint that is no warning returns NULL with all complaints in
 * `errors`. Tube types are borrowed from `tubes`, which must outlive the circuit. Never crashes on
 * any bytes. Checks what can be checked without physics: names, kinds, values in range (no 0 ohm
 * winding), joined pins, nodes with one lead (warning), parts joined to nothing. */
circuit *circuit_read(const char *file, const char *text, size_t length, const tube_library *tubes,
                      base_errors *errors);
void circuit_free(circuit *amp);

typedef struct circuit_about {
    const char *name, *family, *story;
    double mains_volts, mains_drawn_volts, mains_hertz;
    double printed_meter_ohms_per_volt; /* 0 if the meter's resistance is fixed */
    double printed_meter_ohms;          /* of a fixed-resistance meter, or NAN */
    const char *file;
} circuit_about;
const circuit_about *circuit_about_of(const circuit *amp);

size_t circuit_parts(const circuit *amp);
const circuit_part *circuit_part_at(const circuit *amp, size_t index);
int circuit_part_find(const circuit *amp, const char *name); /* -1: none; case folded */
size_t circuit_nodes(const circuit *amp);                    /* node 0 is ground */
const circuit_node *circuit_node_at(const circuit *amp, size_t index);

/* The pins between which a tube's heater is read: its first, and its last on another node. False:
 * it is not wired. */
bool circuit_heater_pins(const circuit_part *tube, int *first, int *last);

/* A place by name: "B1", "V2.3", "ground", "R7.1" (a part's end). BASE_UNKNOWN with the nearest
 * known name otherwise. */
base_code circuit_place_find(const circuit *amp, const char *name, base_place at,
                             circuit_place *place, base_errors *errors);

/* A lead, and the node that it stands on. */
typedef struct circuit_lead {
    int part, end, node;
} circuit_lead;
/* The amp with these leads on other nodes than it says: parts and nodes keep their indices, and a
 * place named by a moved lead is where that now stands. `amp` is borrowed and must outlive it.
 * NULL: no memory. */
circuit *circuit_rewired(const circuit *amp, const circuit_lead *lead, size_t count);

/* Checks that `check` adds beyond reading: grids with no DC path to anywhere, nodes with no DC path
 * to ground, tubes without a heater supply, two-prong concerns, joined pins that short a supply
 * (a winding or rectifier output joined straight to ground), rating of a capacitor below the
 * printed volts. All are added to `errors`, warnings as BASE_SUSPICIOUS. */
void circuit_check(const circuit *amp, base_errors *errors);

/* ---- edits of the file's text -------------------------------------------------------------- */

typedef enum circuit_does { CIRCUIT_CHANGE, CIRCUIT_ADD, CIRCUIT_REMOVE } circuit_does;
typedef struct circuit_edit {
    circuit_does does;
    const char *part;  /* "R12"; a winding as in the circuit: "T1 high voltage" */
    const char *key;   /* change: "value", added where it is not there yet; add: the section,
                          "resistors", made where the file has none */
    const char *value; /* change: as the file would write it, `4k7`, `[B1, V1.1]`; add: what stands
                          behind the name, on one line, `{value: 1k5, at: [V1.3, ground]}` */
} circuit_edit;
/* The text with one edit made: a new text, 0-ended and to be freed, that is YAML again. Comments,
 * order and spacing of all else stay as they were. NULL with a complaint. Whether it is still an
 * amp is for circuit_read to say. */
char *circuit_edit_text(const char *text, size_t length, const circuit_edit *edit,
                        base_errors *errors);
/* The text with `changes` (NULL-ended) made, each as the bench writes it: `R12=1k`, `C3=22u,450V`,
 * `V2=12AY7`, `V4=silicon` (a rectifier tube), `S2=open`, `P1=position:7`, `T1 heaters=6.3`. Behind
 * the name stand, parted by commas, a value, a rating (V or W), a tolerance, a kind, or KEY:VALUE
 * of the file. The same as edits made one after the other: a part that is not there, a value that
 * no such part has, and a tube whose pins do not fit the socket are refused. `amp` is the text
 * read. The result is to be freed; NULL with a complaint, which names the change. */
char *circuit_change_text(const circuit *amp, const char *text, const tube_library *tubes,
                          const char *const *changes, base_errors *errors);

/* What a file says of itself and which parts stand in which section, without tube types and without
 * its checks: for lists of amps, and to know what kind of part a name is. */
typedef struct circuit_outline {
    const char *name, *family, *story; /* NULL where not given */
    size_t parts;
    struct circuit_outline_part {
        const char *part, *section; /* "C9", "capacitors" */
    } * part;
    base_arena *arena;
} circuit_outline;
/* NULL with a complaint: it cannot be read, or BASE_MEMORY. */
circuit_outline *circuit_outline_new(const char *text, size_t length, base_errors *errors);
void circuit_outline_free(circuit_outline *outline);
const char *circuit_outline_section(const circuit_outline *outline, const char *part); /* or NULL */

/* One difference between two amps of one drawing. Texts live as long as the arena and both amps. */
typedef struct circuit_difference {
    const char *part, *key; /* key NULL where the part was added or removed */
    const char *from, *to;  /* as the files write them; NULL where there is none */
    const char *does;       /* "change", "add", "remove" */
    const char *undo;       /* what to do to go back: "put R12 back to 1k5" */
} circuit_difference;
/* From `from` to `to`, in the order of the parts; *count receives how many. NULL: no memory. */
const circuit_difference *circuit_differences(const circuit *from, const circuit *to,
                                              base_arena *arena, size_t *count);

#endif
