/* api: the bench's server as the page meets it, on the largest amp of the library with a full chart
 * of readings. From the start of the program to its first page; reads with 20 clients; a typed
 * reading to the new list of suspects. Beside each a request that does nothing, in the same run.
 * Fails where a time is over what was promised. */
#include "http/client.h"

#include <fcntl.h>
#include <math.h>
#include <pthread.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>

#define CLIENTS 20
#define ASKS 150    /* of each client, and as many that do nothing */
#define READINGS 60 /* in the job before the first is timed */
#define TYPED 60    /* readings whose suspects are timed */
#define MOST (CLIENTS * ASKS + 16)

extern char **environ;

static int over; /* times that were over what was promised */

typedef struct times {
    double *ms;
    size_t count;
} times;

static double now_ms(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double part_of(times *times, double part) {
    qsort(times->ms, times->count, sizeof(double), by_size);
    size_t at = (size_t)ceil(part * (double)times->count);
    return times->ms[at ? at - 1 : 0];
}

static void die(const char *what) {
    fprintf(stderr, "api: %s\n", what);
    exit(1);
}

/* One line: ours, the request that does nothing, what was promised of a percentile. */
static void tell(const char *what, times *ours, times *ping, double percentile, double promised) {
    double median = part_of(ours, 0.5), slow = part_of(ours, percentile / 100);
    double idle = part_of(ping, 0.5);
    printf("%-34s %9.2f %9.2f %9.2f %9.2f %7.1f   ", what, median, part_of(ours, 0.95),
           part_of(ours, 0.99), idle, median / idle);
    if (promised > 0)
        printf("%.0f %% within %.0f: %s", percentile, promised, slow > promised ? "NO" : "yes");
    printf("\n");
    over += promised > 0 && slow > promised;
}

/* ---- the program --------------------------------------------------------------------------- */

typedef struct bench {
    pid_t child;
    int port, output;
} bench;

static bench start(const char *store) {
    char *words[] = {PROGRAM, "bench", (char *)store, "--port", "0", "--no-browser", NULL};
    char text[4096] = "";
    int ends[2];
    bench bench = {0};
    posix_spawn_file_actions_t actions;
    if (pipe2(ends, O_CLOEXEC) != 0) die("no pipe");
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
    if (posix_spawn(&bench.child, PROGRAM, &actions, NULL, words, environ) != 0) die(PROGRAM);
    posix_spawn_file_actions_destroy(&actions);
    close(ends[1]);
    bench.output = ends[0];
    for (size_t length = 0; !strstr(text, "/\n") && length < sizeof text - 1;) {
        ssize_t got = read(ends[0], text + length, sizeof text - 1 - length);
        if (got <= 0) die("the bench does not start");
        length += (size_t)got;
    }
    if (sscanf(text, "The bench is open at http://127.0.0.1:%d/", &bench.port) != 1) die(text);
    return bench;
}

static void stop(bench *bench) {
    int status;
    kill(bench->child, SIGTERM);
    waitpid(bench->child, &status, 0);
    close(bench->output);
    if (status != 0) die("the bench did not end well");
}

static void time_start(const char *store) {
    double ms[10], idle[10];
    times ours = {ms, 0}, ping = {idle, 0};
    for (int i = 0; i < 10; i++) {
        double begun = now_ms();
        bench bench = start(store);
        client_answer page = client_fetch(bench.port, "/");
        ms[ours.count++] = now_ms() - begun;
        if (page.status != 200) die("there is no page: build with node and npm");
        client_free(&page);
        begun = now_ms();
        client_answer answer = client_fetch(bench.port, "/api/ping");
        idle[ping.count++] = now_ms() - begun;
        client_free(&answer);
        stop(&bench);
    }
    tell("program's start to the first page", &ours, &ping, 95, 300);
}

/* ---- a job on the largest amp -------------------------------------------------------------- */

static char *largest_amp(int port) {
    client_answer list = client_fetch(port, "/api/amps");
    char *largest = NULL, path[160];
    size_t i, most = 0;
    json_t *row;
    json_array_foreach(list.json, i, row) {
        const char *name = json_string_value(json_object_get(row, "name"));
        snprintf(path, sizeof path, "/api/amps/%s", name);
        client_answer amp = client_fetch(port, path);
        size_t parts = json_array_size(client_at(amp.json, "parts"));
        if (parts > most) {
            most = parts;
            free(largest);
            largest = strdup(name);
        }
        client_free(&amp);
    }
    printf("%s, %zu parts\n", largest, most);
    client_free(&list);
    return largest;
}

static long new_job(int port, const char *amp) {
    char body[256];
    snprintf(body, sizeof body, "{\"owner\":\"A\",\"complaint\":\"hums\",\"amp\":\"%s\"}", amp);
    client_answer answer = client_post(port, "/api/jobs", body);
    long job = (long)json_integer_value(client_at(answer.json, "job"));
    if (!job) die(answer.text);
    client_free(&answer);
    return job;
}

/* Types the reading of the line `index` of the chart, a little off. */
static void type_reading(int handle, int port, long job, const json_t *lines, int index) {
    char path[64], body[256];
    const json_t *line = json_array_get(lines, (size_t)index % json_array_size(lines));
    double volts = json_number_value(json_object_get(line, "shown")) * (1 + 0.002 * (index % 7));
    snprintf(path, sizeof path, "/api/jobs/%ld/facts", job);
    snprintf(body, sizeof body,
             "{\"kind\":\"reading\",\"body\":{\"phase\":\"before\",\"at\":\"%s\",\"volts\":%.2f,"
             "\"meter\":\"10M\",\"mains\":%.1f}}",
             json_string_value(json_object_get(line, "at")), volts, 120 + 0.1 * (index % 3));
    client_answer answer = client_ask_on(
        handle, &(client_ask){.port = port, .method = "POST", .path = path, .body = body});
    if (answer.status != 200) die(answer.text);
    client_free(&answer);
}

/* One read, timed to its last byte; nothing is done with it. */
static double ask_ms(int handle, int port, const char *path) {
    static _Thread_local char text[1 << 20];
    client_answer answer = {.text = text};
    char request[256];
    long got = 1;
    int length = snprintf(request, sizeof request, "GET %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n",
                          path, port);
    text[0] = 0;
    double begun = now_ms();
    client_send(handle, request, (size_t)length);
    while (!client_whole(&answer, false) && got > 0) {
        got = client_get(handle, text + answer.length, sizeof text - 1 - answer.length, 20000);
        if (got > 0) answer.length += (size_t)got;
        text[answer.length] = 0;
    }
    double taken = now_ms() - begun;
    if (strncmp(text, "HTTP/1.1 200", 12) != 0) die(text);
    return taken;
}

/* ---- a typed reading ----------------------------------------------------------------------- */

static void time_suspects(int port, long job, const json_t *lines) {
    double ms[TYPED], idle[TYPED];
    times ours = {ms, 0}, ping = {idle, 0};
    char path[64];
    int handle = client_open(port);
    snprintf(path, sizeof path, "/api/jobs/%ld/suspects?phase=before", job);
    double first = ask_ms(handle, port, path);
    printf("%-34s %9.2f\n", "the first list, its engine made", first);
    for (int i = 0; i < TYPED; i++) {
        double begun = now_ms();
        type_reading(handle, port, job, lines, READINGS + i);
        ask_ms(handle, port, path);
        ms[ours.count++] = now_ms() - begun;
        idle[ping.count++] = ask_ms(handle, port, "/api/ping");
    }
    close(handle);
    tell("a typed reading to new suspects", &ours, &ping, 95, 250);
}

/* ---- many clients -------------------------------------------------------------------------- */

#define PATHS 5
typedef struct client {
    int port, number;
    long job;
    double ms[PATHS][ASKS], idle[ASKS];
    size_t count[PATHS];
} client;

static const char *const what[PATHS] = {"the job as it stands", "the jobs on the bench",
                                        "the chart with its readings", "all its facts",
                                        "the amps of the library"};

/* Asks, and thinks for a while, as a page does whose reader turns the leaves quickly. */
static void *ask_on(void *data) {
    client *client = data;
    char path[PATHS][64];
    snprintf(path[0], sizeof path[0], "/api/jobs/%ld", client->job);
    snprintf(path[1], sizeof path[1], "/api/jobs?open=1");
    snprintf(path[2], sizeof path[2], "/api/jobs/%ld/chart?phase=before", client->job);
    snprintf(path[3], sizeof path[3], "/api/jobs/%ld/facts", client->job);
    snprintf(path[4], sizeof path[4], "/api/amps");
    int handle = client_open(client->port);
    unsigned think = (unsigned)client->number * 7919u;
    for (int i = 0; i < ASKS; i++) {
        int kind = (i + client->number) % PATHS;
        client->ms[kind][client->count[kind]++] = ask_ms(handle, client->port, path[kind]);
        think = think * 1103515245u + 12345u;
        client_sleep(20 + (int)(think >> 16) % 60);
        client->idle[i] = ask_ms(handle, client->port, "/api/ping");
        client_sleep(20);
    }
    close(handle);
    return NULL;
}

static void time_reads(int port, long job) {
    static client clients[CLIENTS];
    static double all[MOST], one[MOST], idle[MOST];
    pthread_t thread[CLIENTS];
    times ours = {all, 0}, ping = {idle, 0};
    for (int i = 0; i < CLIENTS; i++) {
        clients[i] = (client){.port = port, .number = i, .job = job};
        pthread_create(&thread[i], NULL, ask_on, &clients[i]);
    }
    for (int i = 0; i < CLIENTS; i++)
        pthread_join(thread[i], NULL);
    for (int i = 0; i < CLIENTS; i++)
        for (int k = 0; k < ASKS; k++)
            idle[ping.count++] = clients[i].idle[k];
    for (int kind = 0; kind < PATHS; kind++) {
        times each = {one, 0};
        for (int i = 0; i < CLIENTS; i++)
            for (size_t k = 0; k < clients[i].count[kind]; k++)
                each.ms[each.count++] = ours.ms[ours.count++] = clients[i].ms[kind][k];
        tell(what[kind], &each, &ping, 99, 0);
    }
    tell("any of these, 20 clients", &ours, &ping, 99, 5);
    printf("%-34s %9.2f %9.2f %9.2f\n", "a request that does nothing", part_of(&ping, 0.5),
           part_of(&ping, 0.95), part_of(&ping, 0.99));
}

/* ---- the whole ----------------------------------------------------------------------------- */

static void time_all(const char *store) {
    printf("%-34s %9s %9s %9s %9s %7s\n", "ms", "median", "95 %", "99 %", "nothing", "ratio");
    time_start(store);
    bench bench = start(store);
    char *amp = largest_amp(bench.port), path[64];
    long job = new_job(bench.port, amp);
    snprintf(path, sizeof path, "/api/jobs/%ld/chart", job);
    client_answer chart = client_fetch(bench.port, path);
    const json_t *lines = client_at(chart.json, "lines");
    int handle = client_open(bench.port);
    for (int i = 0; i < READINGS; i++)
        type_reading(handle, bench.port, job, lines, i);
    close(handle);
    time_suspects(bench.port, job, lines);
    time_reads(bench.port, job);
    client_free(&chart);
    free(amp);
    stop(&bench);
}

int main(void) {
    char folder[] = "/tmp/gridleak-perf-XXXXXX", store[64], command[128];
    if (!mkdtemp(folder)) return 1;
    snprintf(store, sizeof store, "%s/shop.db", folder);
    time_all(store);
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command) != 0 || over;
}
