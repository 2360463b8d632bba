/* Serial lines, by libserialport; the bytes go through its own file descriptor. */
#include "meter_impl.h"

#include <errno.h>
#include <libserialport.h>
#include <stdio.h>
#include <unistd.h>

#define REMEDY                                                                                     \
    "look at the cable; the port must not be open elsewhere, and you must be in the group that "   \
    "may use it (dialout)"

static enum sp_parity parity_of(char letter) {
    return letter == 'E' ? SP_PARITY_EVEN : letter == 'O' ? SP_PARITY_ODD : SP_PARITY_NONE;
}

static bool set_up(struct sp_port *port, const meter_profile *profile) {
    enum sp_dtr dtr = profile->dtr ? SP_DTR_ON : SP_DTR_OFF;
    enum sp_rts rts = profile->dtr ? SP_RTS_ON : SP_RTS_OFF;
    if (sp_set_baudrate(port, profile->baud) != SP_OK) return false;
    if (sp_set_bits(port, profile->frame[0] - '0') != SP_OK) return false;
    if (sp_set_parity(port, parity_of(profile->frame[1])) != SP_OK) return false;
    if (sp_set_stopbits(port, profile->frame[2] - '0') != SP_OK) return false;
    if (sp_set_flowcontrol(port, SP_FLOWCONTROL_NONE) != SP_OK) return false;
    sp_set_dtr(port, dtr); /* some adapters have none: no reason to give up */
    sp_set_rts(port, rts);
    sp_flush(port, SP_BUF_BOTH);
    return true;
}

static void close_serial(meter_link *link) {
    if (link->port) {
        sp_close(link->port);
        sp_free_port(link->port);
    }
    link->port = NULL;
    link->handle = -1;
}

static bool open_serial(meter_link *link, const meter_profile *profile, char *why, size_t size) {
    struct sp_port *port = NULL;
    errno = 0;
    if (sp_get_port_by_name(link->path, &port) != SP_OK)
        return meter_link_fails(why, size, "there is no such serial port", REMEDY);
    link->port = port;
    bool good = sp_open(port, SP_MODE_READ_WRITE) == SP_OK;
    good = good && sp_get_port_handle(port, &link->handle) == SP_OK && set_up(port, profile);
    if (good) return true;
    int error = errno;
    close_serial(link);
    errno = error;
    return meter_link_fails(why, size, "the serial port cannot be opened", REMEDY);
}

const meter_link_kind meter_link_serial = {
    "serial", true, open_serial, meter_handle_read, meter_handle_write, close_serial};

/* ---- what is there ------------------------------------------------------------------------- */

static void add_serial(const struct sp_port *port, meter_found *found) {
    const char *about = sp_get_port_description(port);
    snprintf(found->address, sizeof found->address, "serial:%.110s", sp_get_port_name(port));
    snprintf(found->about, sizeof found->about, "%.95s", about ? about : "serial port");
}

static size_t list_usb(meter_found *found, size_t room) {
    size_t count = 0;
    for (int i = 0; i < 16; i++) {
        char path[32];
        snprintf(path, sizeof path, "/dev/usbtmc%d", i);
        if (access(path, F_OK) != 0) continue;
        if (count < room) {
            snprintf(found[count].address, sizeof found->address, "usb:%s", path);
            snprintf(found[count].about, sizeof found->about, "USB test-class device");
        }
        count++;
    }
    return count;
}

size_t meter_list(meter_found *found, size_t room) {
    struct sp_port **ports = NULL;
    size_t count = list_usb(found, room);
    if (sp_list_ports(&ports) != SP_OK) return count;
    for (int i = 0; ports[i]; i++, count++)
        if (count < room) add_serial(ports[i], &found[count]);
    sp_free_port_list(ports);
    return count;
}
