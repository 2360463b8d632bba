/* USB test and measurement class, by the kernel's usbtmc driver: a write is a message, a read
 * fetches one. It does not tell in advance whether there is something to fetch, so a read waits in
 * the kernel, in slices. */
#include "meter_impl.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/usb/tmc.h>
#include <math.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define SLICE_MS 250

static bool open_usb(meter_link *link, const meter_profile *profile, char *why, size_t size) {
    (void)profile;
    link->handle = open(link->path, O_RDWR | O_CLOEXEC);
    if (link->handle < 0)
        return meter_link_fails(why, size, "the USB meter cannot be opened",
                                "look at the cable; you must be allowed to use the device "
                                "(docs/meters.md has the rule)");
    ioctl(link->handle, USBTMC_IOCTL_CLEAR);
    return true;
}

static long read_usb(meter_link *link, char *bytes, size_t most, double seconds) {
    double until = meter_ticks() + seconds;
    do {
        __u32 ms = (__u32)fmax(100, fmin(SLICE_MS, 1e3 * (until - meter_ticks())));
        ioctl(link->handle, USBTMC_IOCTL_SET_TIMEOUT, &ms);
        ssize_t got = read(link->handle, bytes, most);
        if (got > 0) return got;
        if (got == 0) continue;
        if (errno != ETIMEDOUT && errno != EINTR && errno != EAGAIN) return -1;
    } while (meter_ticks() < until && !(link->ending && *link->ending));
    return 0;
}

static bool write_usb(meter_link *link, const char *bytes, size_t length) {
    return write(link->handle, bytes, length) == (ssize_t)length;
}

const meter_link_kind meter_link_usb = {"usb",    false,     open_usb,
                                        read_usb, write_usb, meter_handle_close};
