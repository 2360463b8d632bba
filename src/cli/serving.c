#include "serving_impl.h"

#include <semaphore.h>
#include <signal.h>
#include <spawn.h>
#include <stdlib.h>
#include <time.h>

extern char **environ;

bool cli_has_desktop(void) {
    const char *x = getenv("DISPLAY"), *wayland = getenv("WAYLAND_DISPLAY");
    return (x && *x) || (wayland && *wayland);
}

void cli_open_browser(const char *address) {
    char *arguments[] = {"xdg-open", (char *)address, NULL};
    posix_spawn_file_actions_t files;
    posix_spawnattr_t attributes;
    sigset_t usual;
    pid_t child;
    sigemptyset(&usual);
    sigaddset(&usual, SIGPIPE);
    sigaddset(&usual, SIGCHLD);
    posix_spawn_file_actions_init(&files);
    posix_spawnattr_init(&attributes);
    posix_spawn_file_actions_addopen(&files, 0, "/dev/null", 0, 0);
    posix_spawn_file_actions_addopen(&files, 1, "/dev/null", 1, 0);
    posix_spawn_file_actions_adddup2(&files, 1, 2);
    posix_spawnattr_setsigdefault(&attributes, &usual);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGDEF);
    posix_spawnp(&child, arguments[0], &files, &attributes, arguments, environ);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&files);
}

/* A library may have threads of its own that block no signal, so any thread must be able to take
 * the one that ends the bench: a handler, not sigwait. */
static sem_t ending;

static void on_signal(int signal) {
    (void)signal;
    sem_post(&ending);
}

void cli_catch_signals(void) {
    static const int ends[] = {SIGINT, SIGTERM, SIGHUP};
    struct sigaction action = {.sa_handler = on_signal, .sa_flags = SA_RESTART};
    sem_init(&ending, 0, 0);
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++)
        sigaction(ends[i], &action, NULL);
    signal(SIGPIPE, SIG_IGN);
    signal(SIGCHLD, SIG_IGN);
}

bool cli_ended(void) {
    struct timespec until;
    clock_gettime(CLOCK_REALTIME, &until);
    until.tv_sec++;
    return sem_timedwait(&ending, &until) == 0;
}
