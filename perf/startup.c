/* startup: how long from starting `gridleak chart AMP` to its first output, and to its end, beside
 * a program that does nothing. Usage: perf_startup [AMP [RUNS]] */
#include <fcntl.h>
#include <spawn.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define MOST_RUNS 1000

extern char **environ;

static void die(const char *what) {
    fprintf(stderr, "startup: %s\n", what);
    exit(1);
}

static double now_ms(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

/* Starts it with its output into a pipe. */
static pid_t start(char *const *words, int *output) {
    int ends[2];
    pid_t child;
    posix_spawn_file_actions_t actions;
    if (pipe2(ends, O_CLOEXEC) != 0) die("no pipe");
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
    if (posix_spawnp(&child, words[0], &actions, NULL, words, environ) != 0) die(words[0]);
    posix_spawn_file_actions_destroy(&actions);
    close(ends[1]);
    *output = ends[0];
    return child;
}

/* Milliseconds to the first byte (or the end, where there is none) and to the end. */
static void run_once(char *const *words, double *first, double *whole) {
    char bytes[4096];
    int output, status;
    double begun = now_ms();
    pid_t child = start(words, &output);
    ssize_t got = read(output, bytes, sizeof bytes);
    *first = now_ms() - begun;
    while (got > 0)
        got = read(output, bytes, sizeof bytes);
    close(output);
    if (waitpid(child, &status, 0) != child || status != 0) die("the program failed");
    *whole = now_ms() - begun;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void measure(char *const *words, int runs, double *first, double *whole) {
    double firsts[MOST_RUNS], wholes[MOST_RUNS];
    run_once(words, first, whole); /* brings the files into memory */
    for (int k = 0; k < runs; k++)
        run_once(words, &firsts[k], &wholes[k]);
    qsort(firsts, (size_t)runs, sizeof *firsts, by_size);
    qsort(wholes, (size_t)runs, sizeof *wholes, by_size);
    *first = firsts[runs / 2];
    *whole = wholes[runs / 2];
}

int main(int count, char **argument) {
    char *amp = count > 1 ? argument[1] : "millrace";
    int runs = count > 2 ? atoi(argument[2]) : 50;
    if (runs < 1 || runs > MOST_RUNS) die("runs are 1 to 1000");
    char *chart[] = {PROGRAM, "chart", amp, NULL}, *nothing[] = {"true", NULL};
    double first, whole, bare, bare_whole;
    measure(nothing, runs, &bare, &bare_whole);
    measure(chart, runs, &first, &whole);
    printf(
        "gridleak chart %s, median of %d: first output %.1f ms, end %.1f ms; a program that does "
        "nothing %.1f ms: ratio %.1f\n",
        amp, runs, first, whole, bare_whole, first / bare_whole);
    return 0;
}
