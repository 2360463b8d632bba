/* guide: from a settled reading to the next point, as the page is told of it. On each amp of the
 * library a hidden fault is worked with the simulated meter over HTTP; the time runs from the
 * taking of the reading to the event that names the next point, and beside it that of a request
 * that does nothing. Fails where it is over what was promised. */
#include "http/led.h"

#include <math.h>

#define PROMISED_MS 400.0
#define POINTS 6
#define MOST 512

static double now_ms(void) {
    return 1e3 * meter_ticks();
}

static double cpu_ms(void) {
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double part_of(double *ms, size_t count, double part) {
    qsort(ms, count, sizeof *ms, by_size);
    size_t at = (size_t)ceil(part * (double)count);
    return count ? ms[at ? at - 1 : 0] : NAN;
}

typedef struct ear { /* one that listens to the live stream */
    int handle;
    char text[1 << 16];
    size_t length;
} ear;

static void hear_from(ear *ear, int port) {
    char ask[128];
    ear->handle = client_open(port);
    ear->length = 0;
    snprintf(ask, sizeof ask, "GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", port);
    client_say(ear->handle, ask);
}

/* The next guide event; its data, to be freed. NULL: none within `ms`. */
static json_t *hear(ear *ear, int ms) {
    static const char begin[] = "event: guide\ndata: ";
    for (double until = now_ms() + ms; now_ms() < until;) {
        ear->text[ear->length] = 0;
        char *at = strstr(ear->text, begin), *end = at ? strstr(at, "\n\n") : NULL;
        if (end) {
            *end = 0;
            json_t *data = json_loads(at + strlen(begin), 0, NULL);
            ear->length -= (size_t)(end + 2 - ear->text);
            memmove(ear->text, end + 2, ear->length);
            return data;
        }
        if (ear->length > sizeof ear->text / 2) ear->length = 0;
        long got = client_get(ear->handle, ear->text + ear->length,
                              sizeof ear->text - ear->length - 1, 20);
        if (got > 0) ear->length += (size_t)got;
    }
    return NULL;
}

static const char *step_of(const json_t *guide) {
    const char *step = json_string_value(json_object_get(guide, "step"));
    return step ? step : "";
}

typedef struct times {
    double ms[MOST], cpu[MOST];
    size_t count;
} times;

/* Works up to POINTS points; adds the times. */
static void work(led *led, times *times) {
    static ear ear;
    double taken = NAN, used = 0;

    hear_from(&ear, led->serve.port);
    led_do(led, "/api/practice", "{\"on\": true}");
    client_sleep(4500);
    led_begin(led, "{\"lead\": \"probe\"}");
    for (int points = 0; points < POINTS;) {
        json_t *guide = hear(&ear, 30000);
        const char *step = step_of(guide);
        if (!guide || strcmp(step, "done") == 0) points = POINTS;
        if (strcmp(step, "taken") == 0 && isnan(taken)) {
            taken = now_ms();
            used = cpu_ms();
        }
        bool given =
            strcmp(step, "move") == 0 || strcmp(step, "caution") == 0 || strcmp(step, "done") == 0;
        if (given && isfinite(taken) && times->count < MOST) {
            times->ms[times->count] = now_ms() - taken;
            times->cpu[times->count++] = cpu_ms() - used;
            points++;
            taken = NAN;
        }
        if (strcmp(step, "caution") == 0 || strcmp(step, "confirm") == 0)
            led_do(led, "/api/guide", "{\"press\": \"take\"}");
        if (strcmp(step, "move") == 0) {
            client_answer now = led_guide(led);
            const char *still = client_text(&now, "step"); /* settling: the probe is in the air */
            if (strcmp(still, "move") == 0 || strcmp(still, "settling") == 0) led_move(led, &now);
            client_free(&now);
        }
        json_decref(guide);
    }

    close(ear.handle);
}

static double ping(led *led) {
    double begun = now_ms();
    client_answer answer = client_fetch(led->serve.port, "/api/ping");
    client_free(&answer);
    return now_ms() - begun;
}

static void print(const char *name, double *ms, double *cpu, size_t count) {
    printf("%-16s %6zu %8.1f %8.1f %8.1f %8.1f", name, count, part_of(ms, count, 0.5),
           part_of(ms, count, 0.95), part_of(cpu, count, 0.5), part_of(cpu, count, 0.95));
}

static void one_amp(const char *name, times *all) {
    static times own;
    led led;
    double idle[20];
    own.count = 0;
    led_open(&led, name, 3);
    work(&led, &own);
    for (int i = 0; i < 20; i++)
        idle[i] = ping(&led);
    led_close(&led);
    for (size_t i = 0; i < own.count && all->count < MOST; i++) {
        all->ms[all->count] = own.ms[i];
        all->cpu[all->count++] = own.cpu[i];
    }
    print(name, own.ms, own.cpu, own.count);
    printf(" %10.2f\n", part_of(idle, 20, 0.5));
    fflush(stdout);
}

int main(int count, char **arguments) {
    static times all;
    bench bench = {0};
    bench.errors = base_errors_new();
    bench_library(&bench);
    printf("%-16s %6s %8s %8s %8s %8s %10s\n", "ms", "points", "median", "95 %", "cpu", "cpu 95 %",
           "nothing");
    for (size_t i = 0; i < bench.amps; i++)
        if (count < 2 || strstr(bench.amp[i].name, arguments[1])) one_amp(bench.amp[i].name, &all);
    print("all", all.ms, all.cpu, all.count);
    double slow = part_of(all.ms, all.count, 0.95);
    printf("\nsettled to the next point, 95 %% within %.0f ms: %s\n", PROMISED_MS,
           slow <= PROMISED_MS ? "yes" : "NO");
    bench_close(&bench);
    return !(slow <= PROMISED_MS);
}
