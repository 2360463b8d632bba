/* The meter, the guide, the drain watch and the practice bench, as the page works them. */
#include "led.h"
#include "schema.h"

static json_t *document;

static int set_up(void **state) {
    (void)state;
    document = schema_load();
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    json_decref(document);
    return 0;
}

/* ---- without a meter ----------------------------------------------------------------------- */

static void refused(int port, const char *method, const char *path, const char *body, int status) {
    client_answer answer =
        client_do(&(client_ask){.port = port, .method = method, .path = path, .body = body});
    if (answer.status != status)
        print_message("%s %s %s: %d\n%s\n", method, path, body, answer.status, answer.text);
    assert_int_equal(answer.status, status);
    client_free(&answer);
}

static void nothing_connected(void **state) {
    serve here;
    (void)state;
    serve_prepare(&here);
    here.options.meters = meter_profiles_new();
    serve_start(&here);
    int64_t job = serve_job(&here, "wren-hollow");
    client_answer meter = client_fetch(here.port, "/api/meter");
    schema_check(document, "LiveMeter", meter.json);
    assert_string_equal(client_text(&meter, "status"), "none");
    client_free(&meter);
    refused(here.port, "PUT", "/api/meter", "{\"address\": \"nonsense\"}", 400);
    refused(here.port, "PUT", "/api/meter", "{\"address\": \"serial:/etc/passwd\"}", 400);
    refused(here.port, "PUT", "/api/meter", "{\"address\": 7}", 400);
    refused(here.port, "PUT", "/api/meter", "{\"address\": \"tcp:x\", \"profile\": \"no\"}", 404);
    refused(here.port, "POST", "/api/guide", "{}", 400);
    refused(here.port, "POST", "/api/guide", "{\"press\": \"jump\"}", 400);
    refused(here.port, "POST", "/api/guide", "{\"press\": \"take\", \"written\": \"x\"}", 400);
    refused(here.port, "POST", "/api/jobs/99/guide", "{\"lead\": \"probe\"}", 404);
    refused(here.port, "POST", "/api/practice", "{\"on\": true}", 404);
    refused(here.port, "POST", "/api/practice/end", "{}", 404);
    char path[64];
    snprintf(path, sizeof path, "/api/jobs/%lld/guide", (long long)job);
    refused(here.port, "POST", path, "{\"lead\": \"dance\"}", 400);
    refused(here.port, "POST", path, "{\"lead\": \"drain\"}", 400);
    refused(here.port, "POST", path, "{\"lead\": \"drain\", \"at\": \"C99\"}", 404);
    refused(here.port, "POST", path, "{\"lead\": \"probe\", \"phase\": \"noon\"}", 400);
    meter_profiles *meters = (meter_profiles *)here.options.meters;
    serve_finish(&here);
    meter_profiles_free(meters);
}

/* Led without a wire: the figures are typed. */
static void typed_figures(void **state) {
    serve here;
    char path[64];
    (void)state;
    serve_prepare(&here);
    serve_start(&here);
    int64_t job = serve_job(&here, "wren-hollow");
    snprintf(path, sizeof path, "/api/jobs/%lld/guide", (long long)job);
    client_answer guide = client_post(here.port, path, "{\"lead\": \"probe\"}");
    schema_check(document, "Guide", guide.json);
    client_free(&guide);
    for (int64_t until = client_ms() + 10000; client_ms() < until;) {
        guide = client_fetch(here.port, "/api/guide");
        bool caution = strcmp(client_text(&guide, "step"), "caution") == 0;
        client_free(&guide);
        if (caution) break;
        client_sleep(20);
    }
    refused(here.port, "POST", "/api/guide", "{\"press\": \"take\"}", 200);
    refused(here.port, "POST", "/api/guide", "{\"press\": \"take\", \"written\": \"1.30\"}", 200);
    for (int64_t until = client_ms() + 10000; client_ms() < until;) {
        guide = client_fetch(here.port, "/api/guide");
        bool recorded = json_integer_value(json_object_get(client_at(guide.json, "last"), "fact"));
        client_free(&guide);
        if (recorded) break;
        client_sleep(20);
    }
    client_answer facts = serve_job_get(&here, job, "/facts");
    const json_t *last = json_array_get(facts.json, json_array_size(facts.json) - 1);
    const json_t *body = json_object_get(last, "body");
    assert_string_equal(json_string_value(json_object_get(last, "kind")), "reading");
    assert_string_equal(json_string_value(json_object_get(body, "written")), "1.30");
    assert_null(json_object_get(body, "device"));
    client_free(&facts);
    serve_finish(&here);
}

/* ---- led ----------------------------------------------------------------------------------- */

static void wait_connected(led *here) {
    for (int64_t until = client_ms() + 10000; client_ms() < until; client_sleep(20)) {
        client_answer meter = client_fetch(here->serve.port, "/api/meter");
        bool reading = strcmp(client_text(&meter, "status"), "reading") == 0;
        if (reading) schema_check(document, "LiveMeter", meter.json);
        client_free(&meter);
        if (reading) return;
    }
    fail_msg("the meter does not read");
}

/* One point: moved to, settled, recorded. Returns the fact. */
static int64_t one_point(led *here, int taken) {
    client_answer guide = led_wait(here, "caution|move|done", 15000);
    if (strcmp(client_text(&guide, "step"), "caution") == 0) {
        assert_true(strlen(client_text(&guide, "caution")) > 20);
        led_do(here, "/api/guide", "{\"press\": \"take\"}");
    }
    led_move(here, &guide);
    schema_check(document, "Guide", guide.json);
    client_free(&guide);
    for (int64_t until = client_ms() + 30000; client_ms() < until; client_sleep(20)) {
        guide = led_guide(here);
        const json_t *last = client_at(guide.json, "last");
        int64_t fact = json_integer_value(json_object_get(last, "fact"));
        bool next = json_integer_value(client_at(guide.json, "taken")) == taken && fact &&
                    strcmp(client_text(&guide, "step"), "taken") != 0;
        bool asks = strcmp(client_text(&guide, "step"), "confirm") == 0;
        client_free(&guide);
        if (asks) led_do(here, "/api/guide", "{\"press\": \"take\"}");
        if (next) return fact;
    }
    fail_msg("no reading was taken");
    return 0;
}

static void look_at_fact(led *here, int64_t id) {
    client_answer facts = serve_job_get(&here->serve, here->job, "/facts");
    const json_t *row;
    size_t i;
    json_array_foreach(facts.json, i, row) {
        const json_t *body = json_object_get(row, "body");
        if (json_integer_value(json_object_get(row, "id")) != id) continue;
        assert_string_equal(json_string_value(json_object_get(body, "device")),
                            "GRIDLEAK,PRACTICE METER,0,1.0");
        assert_true(json_number_value(json_object_get(body, "range")) > 999);
        assert_string_equal(json_string_value(json_object_get(body, "meter")), "10M");
        assert_true(strlen(json_string_value(json_object_get(body, "stream"))) > 40);
        client_free(&facts);
        return;
    }
    fail_msg("the reading is not among the facts");
}

static void led_through(void **state) {
    led here;
    (void)state;
    led_open(&here, "wren-hollow", 3);
    wait_connected(&here);
    led_do(&here, "/api/practice", "{\"on\": true}");
    client_sleep(4000);
    led_begin(&here, "{\"lead\": \"probe\"}");
    int64_t fact = one_point(&here, 1);
    look_at_fact(&here, fact);
    client_answer guide = led_wait(&here, "move|caution|done", 5000);
    assert_non_null(json_object_get(client_at(guide.json, "leader"), "part"));
    client_free(&guide);
    /* Back: the reading is taken back, and its place asked for again. */
    led_do(&here, "/api/guide", "{\"press\": \"back\"}");
    guide = led_wait(&here, "move|caution", 10000);
    client_free(&guide);
    client_answer chart = serve_job_get(&here.serve, here.job, "");
    const json_t *before = json_object_get(client_at(chart.json, "readings"), "before");
    assert_int_equal(json_array_size(before), 0);
    client_free(&chart);
    /* Stop works at once, whatever goes on. */
    led_do(&here, "/api/guide", "{\"press\": \"stop\"}");
    guide = led_guide(&here);
    assert_string_equal(client_text(&guide, "step"), "stopped");
    client_free(&guide);
    led_close(&here);
}

/* ---- drained ------------------------------------------------------------------------------- */

static void wait_drain(led *here, const char *wanted, int ms) {
    for (int64_t until = client_ms() + ms; client_ms() < until; client_sleep(50)) {
        client_answer guide = led_guide(here);
        const json_t *drain = client_at(guide.json, "drain");
        const char *is = json_string_value(json_object_get(drain, "state"));
        bool there = is && strcmp(is, wanted) == 0;
        client_free(&guide);
        if (there) return;
    }
    client_answer guide = led_guide(here);
    print_message("%s\n", guide.text);
    client_free(&guide);
    fail_msg("the drain watch does not say: %s", wanted);
}

static void highest_capacitor(led *here, char part[32]) {
    client_answer plan = serve_job_get(&here->serve, here->job, "/safety");
    const json_t *first = json_array_get(client_at(plan.json, "capacitors"), 0);
    snprintf(part, 32, "%s", json_string_value(json_object_get(first, "part")));
    client_free(&plan);
}

static void drained(void **state) {
    led here;
    char part[32], body[96];
    (void)state;
    led_open(&here, "wren-hollow", 3);
    highest_capacitor(&here, part);
    wait_connected(&here);
    led_do(&here, "/api/practice", "{\"on\": true}");
    client_sleep(4000);
    led_do(&here, "/api/practice", "{\"on\": false}");
    snprintf(body, sizeof body, "{\"lead\": \"drain\", \"at\": \"%s\", \"through\": 470}", part);
    led_begin(&here, body);
    snprintf(body, sizeof body, "{\"probe\": \"%s\"}", part);
    led_do(&here, "/api/practice", body);
    client_sleep(1500);
    led_do(&here, "/api/practice", "{\"probe\": null}"); /* the clip comes off */
    wait_drain(&here, "clip off", 5000);
    led_do(&here, "/api/practice", body);
    client_sleep(1500);
    led_do(&here, "/api/practice", "{\"drain\": true}");
    wait_drain(&here, "below 60 V", 15000);
    client_sleep(300);
    client_answer view = serve_job_get(&here.serve, here.job, "/facts");
    const json_t *last = json_array_get(view.json, json_array_size(view.json) - 1);
    assert_string_equal(json_string_value(json_object_get(last, "kind")), "drain");
    client_free(&view);
    practice_now now;
    practice_get(here.practice, &now);
    assert_int_equal(now.risky, 0);
    led_close(&here);
}

/* ---- practised ----------------------------------------------------------------------------- */

static void practised(void **state) {
    led here;
    (void)state;
    led_open(&here, "wren-hollow", 3);
    client_answer answer = client_fetch(here.serve.port, "/api/practice");
    schema_check(document, "Practice", answer.json);
    client_free(&answer);
    refused(here.serve.port, "POST", "/api/practice", "{}", 400);
    refused(here.serve.port, "POST", "/api/practice", "{\"probe\": \"V99.1\"}", 404);
    refused(here.serve.port, "POST", "/api/practice", "{\"replace\": \"R999\"}", 404);
    refused(here.serve.port, "POST", "/api/practice", "{\"on\": true, \"drain\": true}", 400);
    led_do(&here, "/api/practice", "{\"on\": true}");
    answer = led_post(&here, "/api/practice", "{\"replace\": \"V1\"}"); /* with the amp on! */
    assert_int_equal(json_array_size(client_at(answer.json, "risky")), 1);
    client_free(&answer);
    answer = led_post(&here, "/api/practice/end", "{}");
    schema_check(document, "Practice", answer.json);
    const json_t *score = client_at(answer.json, "score");
    assert_int_equal(json_array_size(json_object_get(score, "faults")), 1);
    assert_true(json_is_true(client_at(answer.json, "over")));
    client_free(&answer);
    led_close(&here);
}

/* ---- two browsers, and one that goes away --------------------------------------------------- */

static void told_ten_times_a_second(void **state) {
    led here;
    char text[1 << 16];
    size_t length = 0;
    int told = 0;
    (void)state;
    led_open(&here, "wren-hollow", 3);
    wait_connected(&here);
    client_sleep(500);
    int handle = client_open(here.serve.port);
    snprintf(text, sizeof text, "GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n",
             here.serve.port);
    client_say(handle, text);
    for (int64_t until = client_ms() + 2000; client_ms() < until;) {
        long got = client_get(handle, text + length, sizeof text - 1 - length, 50);
        if (got > 0) length += (size_t)got;
    }
    text[length] = 0;
    for (char *at = text; (at = strstr(at, "event: meter")); at++)
        told++;
    close(handle);
    if (told < 8 || told > 26) fail_msg("told %d times in two seconds", told);
    led_close(&here);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_connected), cmocka_unit_test(typed_figures),
        cmocka_unit_test(led_through),       cmocka_unit_test(drained),
        cmocka_unit_test(practised),         cmocka_unit_test(told_ten_times_a_second),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
