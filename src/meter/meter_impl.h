/* Inside the room.
 *
 *   reply.c     a line of bytes -> a reading or a word
 *   profile.c   data/meters/<name>.yaml
 *   link*.c     bytes to and from a device: one table of four functions for each kind
 *   scpi.c      commands and lines over a link
 *   session.c   the thread of a meter: connect, read, notice, come back
 *   settle.c    is it a reading yet?      fit.c: lines, exponentials, a beat
 *   drain.c     is the capacitor empty?
 *   guide.c     where to go, and whether to take it;  words.c: what is said
 *   sim*.c      the simulated meter */
#ifndef GRIDLEAK_METER_IMPL_H
#define GRIDLEAK_METER_IMPL_H

#include "meter.h"

#include <stdatomic.h>

/* ---- links --------------------------------------------------------------------------------- */

typedef struct meter_link meter_link;
typedef struct meter_link_kind {
    const char *prefix; /* "tcp" */
    bool serial;        /* has remote and local */
    /* False: *why receives the cause and the remedy ("...|..."). */
    bool (*open)(meter_link *link, const meter_profile *profile, char *why, size_t size);
    long (*read)(meter_link *link, char *bytes, size_t most, double seconds);
    bool (*write)(meter_link *link, const char *bytes, size_t length);
    void (*close)(meter_link *link);
} meter_link_kind;

struct meter_link {
    const meter_link_kind *kind;
    char path[128]; /* of the address, without its prefix */
    int handle;
    void *port;          /* of libserialport */
    atomic_bool *ending; /* waiting ends when this is set */
};

extern const meter_link_kind meter_link_tcp, meter_link_serial, meter_link_usb, meter_link_pty;

/* What an address means; false: no such kind. */
bool meter_link_find(const char *address, meter_link *link);
/* Up to `seconds` for the first bytes. Their number; 0: none in that time; -1: the link is gone. */
long meter_handle_read(meter_link *link, char *bytes, size_t most, double seconds);
bool meter_handle_write(meter_link *link, const char *bytes, size_t length);
void meter_handle_close(meter_link *link);
/* Fills *why: the system's own words, then the remedy. Always false. */
bool meter_link_fails(char *why, size_t size, const char *what, const char *remedy);

/* ---- lines over a link --------------------------------------------------------------------- */

#define METER_LINE 256

typedef enum meter_line {
    METER_LINE_GOOD,
    METER_LINE_LATE, /* none in time */
    METER_LINE_LONG, /* more than METER_LINE bytes without an end */
    METER_LINE_GONE  /* the link is */
} meter_line;

typedef struct meter_scpi {
    meter_link link;
    meter_profile profile;
    char kept[METER_LINE]; /* read, and not yet taken */
    size_t kept_length;
    bool cr; /* the last line ended with CR: an LF that follows belongs to it */
} meter_scpi;

bool meter_scpi_send(meter_scpi *scpi, const char *command);
/* A line without its end (LF, CR or CRLF), 0-ended, in `line` (METER_LINE + 1 bytes). */
meter_line meter_scpi_line(meter_scpi *scpi, char *line, double seconds);
/* send, then line. */
meter_line meter_scpi_ask(meter_scpi *scpi, const char *command, char *line, double seconds);
/* Throws away what comes until it is quiet for `seconds`; false: it does not end, or is gone. */
bool meter_scpi_flush(meter_scpi *scpi, double seconds);
/* Looks at IEEE 488.2's event status: *reset: it was switched on since. False: no such answer. */
bool meter_scpi_status(meter_scpi *scpi, bool *reset, meter_line *how);
/* Empties the error queue, at most 32. */
bool meter_scpi_errors(meter_scpi *scpi);
/* Identify, remote, range. False with words in `why`. */
bool meter_scpi_begin(meter_scpi *scpi, char identity[96], char *why, size_t size);
bool meter_scpi_setup(meter_scpi *scpi);
bool meter_is_identity(const char *line);

/* ---- fits ---------------------------------------------------------------------------------- */

typedef struct meter_fit { /* y = at_end + slope (t - t_end) + beat */
    double at_end, mean;
    double slope, slope_error; /* one standard error */
    double spread;             /* of what is left, one standard deviation */
    double beat;               /* amplitude; 0 where none was fitted */
    double worst;              /* largest of what is left */
    bool good;
} meter_fit;
/* Least squares of n points (at most METER_KEPT); hertz 0: the line alone. */
void meter_fit_points(const double *t, const double *y, size_t n, double hertz, meter_fit *fit);

/* ---- the simulated meter ------------------------------------------------------------------- */

#define METER_SIM_REPLY 512
typedef struct meter_sim_state { /* of one connection */
    char line[METER_LINE];
    size_t length;
    bool configured, ac, reset; /* reset: since *ESR? was last read */
    int errors;
    char held[METER_SIM_REPLY]; /* a reply that comes one too late */
} meter_sim_state;
/* One command line to one reply ("" for none), without trouble. For the fuzzer too. */
void meter_sim_answer(meter_sim *sim, meter_sim_state *state, const char *command,
                      char reply[METER_SIM_REPLY]);

#endif
