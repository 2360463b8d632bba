/* meter: a bench meter at the end of a wire, and what its readings are worth.
 *
 *   bytes -> reply -> sample -> settled? -> reading -> next point
 *
 * A meter is asked in SCPI (SCPI-99, IEEE 488.2) over a serial line, TCP or a USB test-class file,
 * by a thread of its own. What it shows goes through pure functions: `meter_settle` (is it a
 * reading yet?), `meter_drain` (a capacitor being emptied), `meter_guide` (where to go next, and
 * what to say). A simulated meter answers the same commands. Volts, seconds, ohms. It knows nothing
 * of amps or jobs. */
#ifndef GRIDLEAK_METER_H
#define GRIDLEAK_METER_H

#include "base.h"

/* ---- what a meter answers ------------------------------------------------------------------ */

typedef enum meter_word {
    METER_NUMBER,
    METER_OVERLOAD, /* 9.9E37 and more (SCPI-99, 7.2.1.4), "OL", "OVLD", ... */
    METER_NAN,      /* 9.91E37 (the same), "NAN" */
    METER_GARBLED   /* nothing that can be taken for a reading */
} meter_word;

typedef struct meter_sample { /* one answer */
    double s;                 /* when it came, seconds of a clock that never goes back */
    double volts;             /* of METER_NUMBER; NAN else */
    meter_word word;
} meter_sample;

/* Reads a reply to READ?, in the C locale: a number, perhaps with its unit ("+1.682E+02 VDC",
 * "168.2mV"), or a word. A unit that is not volts, more than one number, bytes beyond ASCII:
 * garbled. *volts is NAN unless METER_NUMBER. */
meter_word meter_reply_read(const char *text, size_t length, double *volts);

/* ---- profiles: how a sort of meter wants to be spoken to (docs/meters.md) ------------------ */

#define METER_STARTS 8
#define METER_COMMAND 64

typedef struct meter_profile {
    char name[48];
    char match[48];   /* what its answer to *IDN? contains, case folded; "": any */
    int baud;         /* of a serial line */
    char frame[4];    /* "8N1": data bits, parity (N, E, O), stop bits */
    bool dtr;         /* raise DTR and RTS */
    char end[3];      /* what ends a command */
    double delay_s;   /* after a command, before the next */
    double timeout_s; /* until a reply is given up; 3 */
    double quiet_s;   /* without a reply until that is said; 1 */
    char remote[METER_COMMAND], local[METER_COMMAND]; /* on serial lines; "": none */
    char start[METER_STARTS][METER_COMMAND];
    int starts;
    char ac[METER_COMMAND]; /* sets it to AC volts; "": that is done by hand */
    char read[METER_COMMAND];
    bool status;    /* answers *ESR? (a reset shows there) and SYST:ERR? */
    double range_v; /* that `start` fixes; NAN: it ranges by itself */
    double ohms;    /* its input */
    double digit_v; /* its last digit on that range */
} meter_profile;

typedef struct meter_profiles meter_profiles;
meter_profiles *meter_profiles_new(void); /* with "any SCPI meter" alone; NULL: no memory */
void meter_profiles_free(meter_profiles *profiles);
base_code meter_profiles_add(meter_profiles *profiles, const char *file, const char *text,
                             size_t length, base_errors *errors);
size_t meter_profiles_count(const meter_profiles *profiles);
const meter_profile *meter_profile_at(const meter_profiles *profiles, size_t index);
const meter_profile *meter_profile_find(const meter_profiles *profiles, const char *name);
/* The one that matches what *IDN? said best (the longest `match`). Never NULL. */
const meter_profile *meter_profile_for(const meter_profiles *profiles, const char *identity);

/* ---- settling ------------------------------------------------------------------------------ */

typedef enum meter_state {
    METER_WAIT,       /* too few samples yet */
    METER_SETTLED,    /* may be taken */
    METER_FALLING,    /* towards zero: a capacitor draining */
    METER_RISING,     /* away from zero */
    METER_UNSTABLE,   /* neither: the probe slips, or something in the amp moves */
    METER_OPEN,       /* near zero, and restless or far from what is expected: no contact */
    METER_OVERLOADED, /* above the range */
    METER_STATES
} meter_state;
const char *meter_state_name(meter_state state); /* "settled" */

typedef struct meter_rules {
    double digit_v;    /* the meter's last digit */
    double expected_v; /* what is about to be read, NAN: not known; tells a dead contact */
    double mains_hz;   /* 0: not known; ripple is looked for at any frequency */
} meter_rules;

typedef struct meter_settled {
    meter_state state;
    double volts;    /* the mean, at its end where it moves */
    double spread_v; /* one standard deviation about the line, ripple taken out */
    double slope;    /* V/s */
    double ripple_v; /* amplitude of a regular beat found in the samples; 0: none */
    double window_s; /* how much of the past was looked at */
    bool quiet_zero; /* settled, but at nothing where volts are expected: ask before it is taken */
    double tau_s;    /* falling: its time constant; NAN where no exponential fits */
    double to_60_s, to_1_s; /* from now, by the fitted curve; 0: below; NAN: not known */
    const char *words;      /* one short sentence */
} meter_settled;

/* Judges the last samples (oldest first, at most the last METER_KEPT count). Pure. */
#define METER_KEPT 128
void meter_settle(const meter_sample *sample, size_t count, const meter_rules *rules,
                  meter_settled *out);

/* ---- watching a drain ---------------------------------------------------------------------- */

typedef enum meter_drain_state {
    METER_DRAIN_LOOKING, /* nothing steady seen yet */
    METER_DRAIN_CHARGED, /* stands and does not fall */
    METER_DRAIN_FALLING,
    METER_DRAIN_STUCK,  /* falls ever slower, to something above the limit */
    METER_DRAIN_BELOW,  /* came down smoothly, stayed below the limit: may be recorded */
    METER_DRAIN_RISING, /* rises again after it was below (dielectric absorption) */
    METER_DRAIN_LOST,   /* gone to nothing at once, or no reading: the clip may be off */
    METER_DRAIN_STATES
} meter_drain_state;
const char *meter_drain_name(meter_drain_state state);

#define METER_DRAIN_LIMIT 60.0 /* V: ES1 of IEC 62368-1 for DC */

#define METER_DRAIN_KEPT 24
typedef struct meter_drain {
    meter_drain_state state;
    bool record;   /* `state` is BELOW, and this is not yet recorded: the caller clears it */
    bool smooth;   /* it was seen to come down from above the limit */
    double volts;  /* last number; NAN: none */
    double most_v; /* largest seen */
    double low_v;  /* smallest since it was below the limit; NAN */
    double tau_s, to_60_s, to_1_s; /* as in meter_settled */
    double since_s;                /* when `state` began */
    const char *words;             /* one short sentence */
    struct {
        double volts, s;
    } kept[METER_DRAIN_KEPT]; /* the last samples */
    size_t next;
} meter_drain;
void meter_drain_begin(meter_drain *drain);
/* The next sample, with the settling of all up to it. */
void meter_drain_step(meter_drain *drain, const meter_sample *sample, const meter_settled *settled);

/* ---- a meter ------------------------------------------------------------------------------- */

typedef enum meter_status {
    METER_CONNECTING,
    METER_READING,
    METER_QUIET, /* no reply for `quiet_s` */
    METER_LOST,  /* unplugged, hung up, or nonsense: it is tried again by itself */
    METER_STATUSES
} meter_status;
const char *meter_status_name(meter_status status); /* "reading" */

typedef struct meter_now { /* by value: a picture of one moment */
    meter_status status;
    char words[200];   /* what is the matter, and the remedy; "" */
    char address[128]; /* as asked for */
    char identity[96]; /* its answer to *IDN?, fit to show */
    char profile[48];
    double range_v, ohms, digit_v;
    bool ac; /* it measures AC volts, rms */
    meter_sample last;
    meter_settled settled;
    uint64_t samples; /* in all */
    unsigned spell;   /* grows whenever it was lost, reset or garbled: what came before does not
                         belong together with what comes after */
} meter_now;

typedef struct meter_options {
    const meter_profiles *profiles; /* borrowed */
    const char *profile;            /* by name; NULL: by what *IDN? says */
    /* Called in the meter's thread after each sample and each change; be quick. May be NULL. */
    void (*tell)(void *context, const meter_now *now);
    void *context;
} meter_options;

typedef struct meter meter;
/* Starts the thread and returns at once: a meter that is not there yet is waited for. `address`:
 * "tcp:HOST[:5025]", "serial:/dev/ttyUSB0", "usb:/dev/usbtmc0", "pty:/dev/pts/3", or a bare /dev
 * path. NULL with a complaint: no such kind of address, no memory. */
meter *meter_start(const char *address, const meter_options *options, base_errors *errors);
void meter_stop(meter *meter); /* sends it back to local, ends the thread; takes NULL */
void meter_get(meter *meter, meter_now *now);
/* The last samples of this spell, oldest first; returns how many. */
size_t meter_recent(meter *meter, meter_sample *sample, size_t room);
/* What is about to be read (NAN: not known): `settled` is judged by it from now on. */
void meter_expect(meter *meter, double volts);

/* AC volts (heaters) instead of DC, or back: a new spell. */
void meter_measure(meter *meter, bool ac);

/* What is connected to this machine: serial ports and USB test-class files. Fills up to `room`;
 * returns how many there are. */
typedef struct meter_found {
    char address[128];
    char about[96]; /* what the system says of it */
} meter_found;
size_t meter_list(meter_found *found, size_t room);
/* Asks *IDN? and for one reading, within `seconds`. False with a complaint. */
bool meter_try(const char *address, const meter_options *options, double seconds, meter_now *now,
               base_errors *errors);

/* ---- guided probing ------------------------------------------------------------------------ */

typedef enum meter_kind {             /* of a place */
                          METER_LOW,  /* cathodes, grids: tens of volts */
                          METER_HIGH, /* above 60 V, or may be */
                          METER_HEATER
} meter_kind;

#define METER_AT 64
typedef struct meter_point {
    char at[METER_AT]; /* "V2.6", "B1", "R7", "V5.4-B2" */
    meter_kind kind;
    double bits, cost;           /* what it would tell; effort, 1 = a clip on a cathode */
    double expected_v, spread_v; /* of a good amp; NAN: not known */
    char why[400];               /* one sentence */
} meter_point;

/* What the hand costs from one place to another: 0 on the same socket, some for each socket
 * between, more from high voltage to heater pins and back. In units of `cost`. Judgement, no
 * source. */
double meter_travel(const meter_point *from, const meter_point *to); /* from may be NULL */
/* The point with the most bits for effort and travel; -1: none. */
int meter_choose(const meter_point *point, size_t count, const meter_point *from);

typedef enum meter_step {
    METER_IDLE,
    METER_CAUTION, /* read the caution; `take` goes on */
    METER_MOVE,    /* the probe is to go to the point: nothing is taken before it has moved */
    METER_SETTLING,
    METER_CONFIRM, /* settled at nothing where volts are expected: `take` confirms it */
    METER_TAKEN,   /* a reading stands in `taken`: the caller records it and gives the next point */
    METER_DONE,
    METER_STOPPED,
    METER_STEPS
} meter_step;
const char *meter_step_name(meter_step step);
typedef enum meter_press { METER_TAKE, METER_SKIP, METER_BACK, METER_STOP } meter_press;

#define METER_SAY 160
#define METER_SKIPS 32
typedef struct meter_guide {
    meter_step step;
    meter_point point;   /* where to go now */
    bool moved;          /* the probe has left where it was */
    double volts_then;   /* what was shown when the point was given; NAN */
    unsigned cautioned;  /* bits: cautions already read */
    char caution[240];   /* "" */
    char say[METER_SAY]; /* words of the vocabulary, by blanks: to be spoken now */
    struct {
        char at[METER_AT];
        double volts, s; /* s: when */
        double spread_v;
        bool by_hand;     /* taken before it had settled */
        const char *tone; /* "taken", "far"; NULL once it was said */
    } taken;
    char skipped[METER_SKIPS][METER_AT];
    size_t skips;
    unsigned taken_count;
} meter_guide;
void meter_guide_begin(meter_guide *guide);
/* The next point, or NULL: nothing is left to read. */
void meter_guide_point(meter_guide *guide, const meter_point *point, const meter_now *now);
/* What the meter shows. True: the step has changed. */
bool meter_guide_sample(meter_guide *guide, const meter_now *now);
/* A pedal or a key. True: the step has changed. SKIP leaves the point out until `begin` and asks
 * for another (step METER_IDLE). BACK leaves the step at METER_IDLE too: the caller takes the last
 * reading back. */
bool meter_guide_press(meter_guide *guide, meter_press press, const meter_now *now);
bool meter_guide_skipped(const meter_guide *guide, const char *at);

/* ---- spoken words -------------------------------------------------------------------------- */

typedef struct meter_spoken {
    const char *word; /* "pin", "7", "v": also the name of its clip */
    const char *said; /* as a voice should say it */
} meter_spoken;
const meter_spoken *meter_spoken_words(size_t *count); /* the whole vocabulary */
/* A place as words: "V2.6" is "v 2 pin 6". Returns `out`, always terminated. */
char *meter_say_place(const char *at, char *out, size_t size);
/* Volts as words, to three digits: 168.2 is "1 6 8 volts". Appends. */
void meter_say_volts(double volts, char *out, size_t size);

/* ---- a simulated meter --------------------------------------------------------------------- */

/* What can go wrong with it, in bits: for tests, and for practice at being careful. */
typedef enum meter_trouble {
    METER_SLOW = 1,         /* replies after half a second */
    METER_SPLIT = 2,        /* replies in pieces */
    METER_NOISE_BYTES = 4,  /* a byte of some replies is another */
    METER_HANG_UP = 8,      /* closes now and then */
    METER_SWAPPED = 16,     /* two replies in the wrong order */
    METER_ERROR_FLOOD = 32, /* the error queue never ends */
    METER_RESETS = 64,      /* forgets what it was set to, now and then */
    METER_SILENT = 128,     /* some commands are not answered */
    METER_ENDLESS = 256,    /* bytes without an end of line, now and then */
    METER_SUFFIX = 512,     /* writes units and words instead of bare numbers */
} meter_trouble;

typedef struct meter_sim_options {
    uint64_t seed;
    /* What is at the probe at `s` seconds, DC or rms AC; NAN: an open probe. Called from the
     * simulator's threads. */
    double (*volts)(void *context, double s, bool ac);
    void *context;
    double noise;          /* one standard deviation as a part of the reading; 0.0002 */
    double gain_error;     /* fixed, as a part; 0 */
    double rate;           /* readings a second; 10 */
    double range_v;        /* the only range there is; 1000 */
    unsigned trouble;      /* of meter_trouble */
    double trouble_chance; /* of each reply; 0.02 */
} meter_sim_options;

typedef struct meter_sim meter_sim;
meter_sim *meter_sim_new(const meter_sim_options *options, base_errors *errors);
void meter_sim_free(meter_sim *sim); /* ends its threads; takes NULL */
/* Listens on loopback, one client at a time; 0: any free port. Returns the port, 0 with a
 * complaint. */
int meter_sim_tcp(meter_sim *sim, int port, base_errors *errors);
/* Opens a pty and answers on it; its path, or NULL with a complaint. */
const char *meter_sim_pty(meter_sim *sim, base_errors *errors);
void meter_sim_trouble(meter_sim *sim, unsigned trouble); /* from now on */
/* What it shows at `s`, as it would answer: for whoever keeps a clock of his own. */
double meter_sim_shows(meter_sim *sim, double s, bool ac);
double meter_ticks(void); /* s: the clock of all samples here */

#endif
