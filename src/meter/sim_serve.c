/* The simulated meter on wires: one thread for TCP, one for a pty; and its troubles. */
#include "sim_impl.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static void pause_for(const meter_sim *sim, double seconds) {
    for (double until = meter_ticks() + seconds; !sim->ending && meter_ticks() < until;) {
        struct timespec t = {0, (long)(1e9 * fmin(0.05, fmax(0, until - meter_ticks())))};
        nanosleep(&t, NULL);
    }
}

/* ---- replies ------------------------------------------------------------------------------- */

static bool put(const meter_sim_wire *wire, const char *bytes, size_t length) {
    while (length > 0 && !wire->sim->ending) {
        struct pollfd at = {.fd = wire->handle, .events = POLLOUT};
        if (poll(&at, 1, 100) <= 0) continue;
        ssize_t sent = wire->listens ? send(wire->handle, bytes, length, MSG_NOSIGNAL)
                                     : write(wire->handle, bytes, length);
        if (sent < 0 && (errno == EAGAIN || errno == EINTR)) continue;
        if (sent <= 0) return false;
        bytes += sent;
        length -= (size_t)sent;
    }
    return true;
}

/* Does this trouble happen to this reply? */
static bool has(meter_sim_wire *wire, unsigned trouble) {
    const meter_sim *sim = wire->sim;
    if (!(sim->trouble & trouble)) return false;
    return base_random_unit(&wire->random) < sim->options.trouble_chance;
}

static bool put_split(meter_sim_wire *wire, const char *line, size_t length) {
    for (size_t at = 0; at < length; at += 3) {
        if (!put(wire, line + at, length - at < 3 ? length - at : 3)) return false;
        pause_for(wire->sim, 0.01);
    }
    return true;
}

static bool put_endless(meter_sim_wire *wire) {
    char rubbish[128];
    memset(rubbish, '7', sizeof rubbish);
    for (int i = 0; i < 40; i++)
        if (!put(wire, rubbish, sizeof rubbish)) return false;
    return true;
}

/* One that comes after the next; the next goes out first. */
static void swap(meter_sim_wire *wire, meter_sim_state *state, char *reply) {
    char late[METER_SIM_REPLY];
    strcpy(late, state->held);
    *state->held = 0;
    if (*late) {
        snprintf(reply + strlen(reply), METER_SIM_REPLY - strlen(reply), "\n%.200s", late);
    } else if (has(wire, METER_SWAPPED)) {
        strcpy(state->held, reply);
        *reply = 0;
    }
}

/* False: the connection is to end. */
static bool send_reply(meter_sim_wire *wire, meter_sim_state *state, char *reply) {
    swap(wire, state, reply);
    if (!*reply || has(wire, METER_SILENT)) return true;
    if (has(wire, METER_SLOW)) pause_for(wire->sim, 0.6);
    if (has(wire, METER_HANG_UP)) return false;
    if (has(wire, METER_ENDLESS) && !put_endless(wire)) return false;
    size_t length = strlen(reply);
    if (has(wire, METER_NOISE_BYTES))
        reply[base_random_bits(&wire->random) % length] = (char)base_random_bits(&wire->random);
    reply[length++] = '\n';
    return has(wire, METER_SPLIT) ? put_split(wire, reply, length) : put(wire, reply, length);
}

static bool one_command(meter_sim_wire *wire, meter_sim_state *state) {
    char reply[METER_SIM_REPLY];
    if (has(wire, METER_RESETS)) {
        state->configured = false;
        state->reset = true;
    }
    bool reads = strncasecmp(state->line, "READ?", 5) == 0;
    if (reads) pause_for(wire->sim, 1 / fmax(wire->sim->options.rate, 0.1));
    meter_sim_answer(wire->sim, state, state->line, reply);
    return send_reply(wire, state, reply);
}

static bool take_bytes(meter_sim_wire *wire, meter_sim_state *state, const char *bytes,
                       size_t length) {
    for (size_t i = 0; i < length; i++) {
        if (bytes[i] != '\n' && bytes[i] != '\r') {
            if (state->length < sizeof state->line - 1) state->line[state->length++] = bytes[i];
            continue;
        }
        state->line[state->length] = 0;
        if (state->length && !one_command(wire, state)) return false;
        state->length = 0;
    }
    return true;
}

/* ---- wires --------------------------------------------------------------------------------- */

static void talk(meter_sim_wire *wire) {
    meter_sim_state state = {.reset = true};
    char bytes[256];
    while (!wire->sim->ending) {
        struct pollfd at = {.fd = wire->handle, .events = POLLIN};
        if (poll(&at, 1, 50) <= 0) continue;
        ssize_t got = read(wire->handle, bytes, sizeof bytes);
        if (got < 0 && (errno == EAGAIN || errno == EINTR)) continue;
        if (got <= 0 || !take_bytes(wire, &state, bytes, (size_t)got)) return;
    }
}

static void *serve_pty(void *data) {
    meter_sim_wire *wire = data;
    while (!wire->sim->ending) {
        talk(wire);
        pause_for(wire->sim, 0.1);
    }
    return NULL;
}

static void *serve_tcp(void *data) {
    meter_sim_wire *wire = data;
    while (!wire->sim->ending) {
        struct pollfd at = {.fd = wire->handle, .events = POLLIN};
        if (poll(&at, 1, 50) <= 0) continue;
        meter_sim_wire client = *wire;
        client.handle = accept4(wire->handle, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);
        if (client.handle < 0) continue;
        talk(&client);
        wire->random = client.random;
        close(client.handle);
    }
    return NULL;
}

static bool start(meter_sim *sim, int handle, bool listens) {
    if (sim->wires == METER_SIM_WIRES) return false;
    meter_sim_wire *wire = &sim->wire[sim->wires];
    *wire = (meter_sim_wire){.sim = sim, .handle = handle, .listens = listens};
    base_random_seed(&wire->random, sim->options.seed * 31 + sim->wires + 1);
    if (pthread_create(&wire->thread, NULL, listens ? serve_tcp : serve_pty, wire) != 0)
        return false;
    sim->wires++;
    return true;
}

static int listen_on(int port) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
    int yes = 1, handle = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (handle < 0) return -1;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    setsockopt(handle, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    if (bind(handle, (struct sockaddr *)&address, sizeof address) == 0 && listen(handle, 1) == 0)
        return handle;
    int error = errno;
    close(handle);
    errno = error;
    return -1;
}

int meter_sim_tcp(meter_sim *sim, int port, base_errors *errors) {
    struct sockaddr_in address = {0};
    socklen_t size = sizeof address;
    int handle = listen_on(port);
    if (handle >= 0 && getsockname(handle, (struct sockaddr *)&address, &size) == 0 &&
        start(sim, handle, true))
        return ntohs(address.sin_port);
    base_errors_add(errors, BASE_FILE, (base_place){0},
                    "the simulated meter cannot listen on port %d: %s|give another; 0 takes any "
                    "that is free",
                    port, strerror(errno));
    if (handle >= 0) close(handle);
    return 0;
}

const char *meter_sim_pty(meter_sim *sim, base_errors *errors) {
    struct termios raw;
    int handle = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC | O_NONBLOCK);
    bool good = handle >= 0 && grantpt(handle) == 0 && unlockpt(handle) == 0 &&
                ptsname_r(handle, sim->pty, sizeof sim->pty) == 0;
    int kept = good ? open(sim->pty, O_RDWR | O_NOCTTY | O_CLOEXEC) : -1;
    if (kept >= 0 && tcgetattr(kept, &raw) == 0) {
        cfmakeraw(&raw);
        tcsetattr(kept, TCSANOW, &raw);
        sim->pty_kept = kept;
        if (start(sim, handle, false)) return sim->pty;
    }
    base_errors_add(errors, BASE_FILE, (base_place){0},
                    "no pseudo-terminal for the simulated meter: %s|use --tcp", strerror(errno));
    if (handle >= 0) close(handle);
    return NULL;
}

void meter_sim_free(meter_sim *sim) {
    if (!sim) return;
    sim->ending = true;
    for (size_t i = 0; i < sim->wires; i++) {
        pthread_join(sim->wire[i].thread, NULL);
        close(sim->wire[i].handle);
    }
    if (sim->pty_kept >= 0) close(sim->pty_kept);
    pthread_mutex_destroy(&sim->lock);
    free(sim);
}
