/* A pseudo-terminal, by plain termios: libserialport does not open them. */
#include "meter_impl.h"

#include <errno.h>
#include <fcntl.h>
#include <termios.h>
#include <unistd.h>

static bool open_pty(meter_link *link, const meter_profile *profile, char *why, size_t size) {
    struct termios raw;
    (void)profile;
    link->handle = open(link->path, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    bool good = link->handle >= 0 && tcgetattr(link->handle, &raw) == 0;
    if (good) {
        cfmakeraw(&raw);
        good = tcsetattr(link->handle, TCSANOW, &raw) == 0;
    }
    if (good) return true;
    int error = errno;
    meter_handle_close(link);
    errno = error;
    return meter_link_fails(why, size, "the terminal cannot be opened",
                            "look whether what answers on it is running");
}

const meter_link_kind meter_link_pty = {
    "pty", true, open_pty, meter_handle_read, meter_handle_write, meter_handle_close};
