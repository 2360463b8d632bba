/* A bench with a hidden fault and a simulated meter, and hands that do what the guide says. */
#ifndef GRIDLEAK_TESTS_HTTP_LED_H
#define GRIDLEAK_TESTS_HTTP_LED_H

#include "serve.h"

#include "practice.h"

typedef struct led {
    serve serve;
    circuit *amp;
    solve_system *system;
    practice *practice;
    meter_sim *sim;
    meter_profiles *meters;
    int64_t job;
    char address[64];
} led;

static inline void led_open(led *led, const char *name, uint64_t seed) {
    size_t length = 0;
    memset(led, 0, sizeof *led);
    serve_prepare(&led->serve);
    base_errors *errors = led->serve.bench.errors;
    const char *text = bench_amp(&led->serve.bench, name, &length);
    led->amp = circuit_read(name, text, length, led->serve.bench.tubes, errors);
    led->system = led->amp ? solve_system_new(led->amp, errors) : NULL;
    assert_non_null(led->system);
    practice_options options = {
        .system = led->system, .priors = led->serve.priors, .seed = seed, .faults = 1};
    led->practice = practice_new(&options, errors);
    if (!led->practice) bench_say(errors);
    assert_non_null(led->practice);
    meter_sim_options sim = {.seed = seed,
                             .volts = practice_volts,
                             .context = led->practice,
                             .noise = 1e-4,
                             .rate = 20,
                             .range_v = 1000};
    led->sim = meter_sim_new(&sim, errors);
    int port = meter_sim_tcp(led->sim, 0, errors);
    assert_true(port > 0);
    snprintf(led->address, sizeof led->address, "tcp:127.0.0.1:%d", port);
    led->meters = meter_profiles_new();
    led->serve.options.meters = led->meters;
    led->serve.options.practice = led->practice;
    serve_start(&led->serve);
    led->job = serve_job(&led->serve, name);
    assert_true(http_meter(led->serve.server, led->address, errors));
}

static inline void led_close(led *led) {
    serve_stop(&led->serve);
    meter_sim_free(led->sim);
    practice_free(led->practice);
    solve_system_free(led->system);
    circuit_free(led->amp);
    meter_profiles_free(led->meters);
    serve_finish(&led->serve);
}

/* Asks, expects 200; the answer is to be freed. */
static inline client_answer led_post(led *led, const char *path, const char *body) {
    client_answer answer = client_post(led->serve.port, path, body);
    if (answer.status != 200) print_message("%s %s\n%s\n", path, body, answer.text);
    assert_int_equal(answer.status, 200);
    return answer;
}

static inline void led_do(led *led, const char *path, const char *body) {
    client_answer answer = led_post(led, path, body);
    client_free(&answer);
}

static inline void led_begin(led *led, const char *body) {
    char path[64];
    snprintf(path, sizeof path, "/api/jobs/%lld/guide", (long long)led->job);
    led_do(led, path, body);
}

static inline client_answer led_guide(led *led) {
    return client_fetch(led->serve.port, "/api/guide");
}

/* The guide once its step is one of the bar-separated words; fails after `ms`. */
static inline client_answer led_wait(led *led, const char *steps, int ms) {
    int64_t until = client_ms() + ms;
    for (;;) {
        client_answer answer = led_guide(led);
        const char *step = json_string_value(client_at(answer.json, "step"));
        if (step && strstr(steps, step)) return answer;
        if (client_ms() > until) {
            print_message("%s\n", answer.text);
            fail_msg("the guide does not come to %s", steps);
        }
        client_free(&answer);
        client_sleep(20);
    }
}

/* Lifts the probe, and puts it where the guide says. */
static inline void led_move(led *led, const client_answer *guide) {
    char body[128];
    const char *at = json_string_value(json_object_get(client_at(guide->json, "point"), "at"));
    assert_non_null(at);
    led_do(led, "/api/practice", "{\"probe\": null}");
    client_sleep(250);
    snprintf(body, sizeof body, "{\"probe\": \"%s\"}", at);
    led_do(led, "/api/practice", body);
}

#endif
