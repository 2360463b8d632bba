/* Commands and lines. A reply that does not come in its turn is worse than none: whoever asks
 * flushes and identifies the meter anew before it believes another line. */
#include "meter_impl.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define ERRORS_MOST 32
#define FLUSH_MOST (64u << 10)
#define POWER_ON 128 /* IEEE 488.2, 11.5.1: bit 7 of the standard event status register */

static void pause_for(double seconds) {
    struct timespec t = {(time_t)seconds, (long)(1e9 * fmod(seconds, 1))};
    if (seconds > 0) nanosleep(&t, NULL);
}

/* ---- lines --------------------------------------------------------------------------------- */

bool meter_scpi_send(meter_scpi *scpi, const char *command) {
    char text[METER_COMMAND + 4];
    int length = snprintf(text, sizeof text, "%s%s", command, scpi->profile.end);
    bool sent = scpi->link.kind->write(&scpi->link, text, (size_t)length);
    pause_for(scpi->profile.delay_s);
    return sent;
}

/* Takes the first line out of what was kept. */
static bool take_line(meter_scpi *scpi, char *line) {
    size_t skip = scpi->cr && scpi->kept_length && scpi->kept[0] == '\n', length = skip;
    if (scpi->kept_length) scpi->cr = false;
    while (length < scpi->kept_length && scpi->kept[length] != '\n' && scpi->kept[length] != '\r')
        length++;
    bool whole = length < scpi->kept_length;
    if (whole) {
        memcpy(line, scpi->kept + skip, length - skip);
        line[length - skip] = 0;
        scpi->cr = scpi->kept[length] == '\r';
        length++;
    } else {
        length = skip;
    }
    scpi->kept_length -= length;
    memmove(scpi->kept, scpi->kept + length, scpi->kept_length);
    return whole;
}

meter_line meter_scpi_line(meter_scpi *scpi, char *line, double seconds) {
    double until = meter_ticks() + seconds;
    while (!take_line(scpi, line)) {
        size_t room = sizeof scpi->kept - scpi->kept_length;
        double left = until - meter_ticks();
        if (room == 0) return METER_LINE_LONG;
        if (left <= 0) return METER_LINE_LATE;
        long got = scpi->link.kind->read(&scpi->link, scpi->kept + scpi->kept_length, room, left);
        if (got < 0) return METER_LINE_GONE;
        if (got == 0) return METER_LINE_LATE;
        scpi->kept_length += (size_t)got;
    }
    return METER_LINE_GOOD;
}

meter_line meter_scpi_ask(meter_scpi *scpi, const char *command, char *line, double seconds) {
    if (!meter_scpi_send(scpi, command)) return METER_LINE_GONE;
    return meter_scpi_line(scpi, line, seconds);
}

bool meter_scpi_flush(meter_scpi *scpi, double seconds) {
    char away[METER_LINE];
    scpi->kept_length = 0;
    scpi->cr = false;
    for (size_t thrown = 0; thrown < FLUSH_MOST;) {
        long got = scpi->link.kind->read(&scpi->link, away, sizeof away, seconds);
        if (got <= 0) return got == 0;
        thrown += (size_t)got;
    }
    return false;
}

/* ---- IEEE 488.2 ---------------------------------------------------------------------------- */

bool meter_scpi_status(meter_scpi *scpi, bool *reset, meter_line *how) {
    char line[METER_LINE + 1], *end;
    *how = meter_scpi_ask(scpi, "*ESR?", line, scpi->profile.timeout_s);
    if (*how != METER_LINE_GOOD) return false;
    char *digits = line + (*line == '+');
    long bits = strtol(digits, &end, 10);
    if (*digits < '0' || *digits > '9' || *end || bits > 255) return false;
    *reset = (bits & POWER_ON) != 0;
    return true;
}

/* An entry is "number, text"; 0 ends the queue (SCPI-99, 21.8). */
bool meter_scpi_errors(meter_scpi *scpi) {
    char line[METER_LINE + 1], *end;
    for (int i = 0; i < ERRORS_MOST; i++) {
        meter_line how = meter_scpi_ask(scpi, "SYST:ERR?", line, scpi->profile.timeout_s);
        if (how != METER_LINE_GOOD) return false;
        long number = strtol(line, &end, 10);
        if (end == line || (*end != ',' && *end)) return false;
        if (number == 0) return true;
    }
    return true; /* a queue that does not end is not worth more patience */
}

/* Maker, model, serial number, version: four fields by commas (IEEE 488.2, 10.14). */
bool meter_is_identity(const char *line) {
    double volts;
    int commas = 0;
    for (const char *at = line; *at; at++) {
        if ((unsigned char)*at < ' ' || (unsigned char)*at > '~') return false;
        commas += *at == ',';
    }
    bool error = (*line >= '0' && *line <= '9') || *line == '-' || *line == '+';
    return commas >= 1 && !(error && strchr(line, '"')) &&
           meter_reply_read(line, strlen(line), &volts) == METER_GARBLED;
}

bool meter_scpi_setup(meter_scpi *scpi) {
    bool sent = true, reset = false;
    meter_line how;
    if (scpi->link.kind->serial && *scpi->profile.remote)
        sent = meter_scpi_send(scpi, scpi->profile.remote);
    for (int i = 0; i < scpi->profile.starts && sent; i++)
        sent = meter_scpi_send(scpi, scpi->profile.start[i]);
    if (!sent || !scpi->profile.status) return sent;
    /* The power-on bit of before is read away, and the errors of before with it. */
    return meter_scpi_status(scpi, &reset, &how) && meter_scpi_errors(scpi);
}

bool meter_scpi_begin(meter_scpi *scpi, char identity[96], char *why, size_t size) {
    char line[METER_LINE + 1];
    errno = 0;
    if (!meter_scpi_flush(scpi, 0.05))
        return meter_link_fails(why, size, "it sends without being asked",
                                "set the meter to answer only; look at the line's speed");
    meter_line how = meter_scpi_ask(scpi, "*IDN?", line, scpi->profile.timeout_s);
    if (how != METER_LINE_GOOD)
        return meter_link_fails(
            why, size, "it does not say what it is",
            "switch it on; look at the line's speed and frame (docs/meters.md)");
    if (!meter_is_identity(line))
        return meter_link_fails(why, size, "its answer to *IDN? makes no sense",
                                "look at the line's speed and frame (docs/meters.md)");
    snprintf(identity, 96, "%.95s", line);
    return true;
}
