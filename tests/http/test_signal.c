/* An amp's signals: response, hum, tremolo, each held against docs/openapi.json. */
#include "schema.h"
#include "serve.h"

#include <math.h>

static serve here;
static json_t *document;

static int set_up(void **state) {
    (void)state;
    document = schema_load();
    serve_prepare(&here);
    serve_start(&here);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    serve_finish(&here);
    json_decref(document);
    return 0;
}

static client_answer get(const char *schema, const char *path) {
    client_answer answer = client_fetch(here.port, path);
    if (answer.status != 200) print_message("%s\n%.2000s\n", path, answer.text);
    assert_int_equal(answer.status, 200);
    schema_check(document, schema, answer.json);
    return answer;
}

static void refused(const char *path, int status, const char *cause) {
    client_answer answer = client_fetch(here.port, path);
    assert_int_equal(answer.status, status);
    schema_check(document, "Complaints", answer.json);
    if (!strstr(client_text(&answer, "errors.0.cause"), cause)) fail_msg("%s", answer.text);
    client_free(&answer);
}

static double number(const client_answer *answer, const char *path) {
    return json_number_value(client_at(answer->json, path));
}

static double gain_of(const client_answer *answer, const char *at) {
    json_t *each;
    size_t i;
    json_array_foreach(client_at(answer->json, "stages"), i, each) {
        if (strcmp(json_string_value(json_object_get(each, "at")), at) == 0)
            return json_number_value(json_object_get(each, "gain"));
    }
    fail_msg("no stage %s", at);
    return NAN;
}

static void response(void **state) {
    (void)state;
    client_answer answer = get("Response", "/api/amps/tidemark/response");
    assert_string_equal(client_text(&answer, "from"), "J1");
    assert_string_equal(client_text(&answer, "to"), "LS1");
    assert_true(json_array_size(client_at(answer.json, "sweep")) > 60);
    assert_int_equal(json_array_size(client_at(answer.json, "inputs")), 4);
    assert_int_equal(json_array_size(client_at(answer.json, "controls")), 5);
    client_free(&answer);
    answer = get("Response", "/api/amps/tidemark/response?from=J3&to=V2.1&at=400&low=10&high=5k");
    assert_string_equal(client_text(&answer, "to"), "V2.1");
    assert_true(fabs(number(&answer, "hertz") - 400) < 1e-9);
    assert_true(fabs(number(&answer, "sweep.0.hertz") - 10) < 1e-9);
    client_free(&answer);
}

/* A volume turned down takes the signal away behind it and leaves the stage before it; one turned
 * up by its audio taper gives more. */
static void controls(void **state) {
    (void)state;
    client_answer drawn = get("Response", "/api/amps/tidemark/response");
    client_answer down = get("Response", "/api/amps/tidemark/response?turn=P1:0");
    client_answer up = get("Response", "/api/amps/tidemark/response?turn=P1:10,P2:5");
    assert_true(gain_of(&down, "LS1") < 0.02 * gain_of(&drawn, "LS1"));
    assert_true(fabs(gain_of(&down, "V1.1") / gain_of(&drawn, "V1.1") - 1) < 0.1);
    assert_true(gain_of(&up, "LS1") > 5 * gain_of(&drawn, "LS1"));
    assert_true(number(&up, "controls.0.position") == 10);
    assert_true(number(&drawn, "controls.0.position") == 5);
    client_free(&drawn);
    client_free(&down);
    client_free(&up);
}

/* A bright switch opened takes the treble, not the middle. */
static void a_switch(void **state) {
    (void)state;
    client_answer closed = get("Response", "/api/amps/millrace/response?from=J3&at=5k");
    client_answer open = get("Response", "/api/amps/millrace/response?from=J3&at=5k&turn=S3:0");
    assert_true(gain_of(&open, "LS1") < 0.9 * gain_of(&closed, "LS1"));
    client_free(&closed);
    client_free(&open);
}

/* A waveform's rms is the sum of its harmonics' squares (Parseval), less its last point, which
 * is its first again. */
static void hum(void **state) {
    (void)state;
    client_answer answer = get("Hum", "/api/amps/tidemark/hum");
    json_t *each;
    size_t i;
    json_array_foreach(client_at(answer.json, "lines"), i, each) {
        json_t *wave = json_object_get(each, "wave");
        size_t points = json_array_size(wave) - 1;
        double square = 0, parts = 0;
        assert_int_equal(points + 1, json_array_size(client_at(answer.json, "ms")));
        for (size_t k = 0; k < points; k++)
            square += pow(json_number_value(json_array_get(wave, k)), 2) / (double)points;
        parts += pow(json_number_value(json_object_get(each, "mains_v")), 2);
        parts += pow(json_number_value(json_object_get(each, "twice_v")), 2);
        parts += pow(json_number_value(json_object_get(each, "above_v")), 2);
        assert_true(fabs(square / parts - 1) < 1e-3);
    }
    assert_true(i >= 5);
    assert_true(fabs(number(&answer, "ms.96") - 2000.0 / 60) < 1e-3);
    client_free(&answer);
}

static void tremolo(void **state) {
    (void)state;
    client_answer answer = get("Tremolo", "/api/amps/tidemark/tremolo");
    assert_true(json_is_true(client_at(answer.json, "oscillator.starts")));
    assert_non_null(strstr(client_text(&answer, "words.0"), "starts by itself"));
    double slow = number(&answer, "oscillator.hertz");
    client_free(&answer);
    answer = get("Tremolo", "/api/amps/tidemark/tremolo?turn=P4:10");
    assert_true(number(&answer, "oscillator.hertz") > 1.5 * slow);
    client_free(&answer);
    answer = get("Tremolo", "/api/amps/wren-hollow/tremolo");
    assert_true(json_is_null(client_at(answer.json, "oscillator")));
    client_free(&answer);
}

static void bad_questions(void **state) {
    (void)state;
    refused("/api/amps/nowhere/hum", 404, "there is no amp");
    refused("/api/amps/tidemark/response?from=V9.1", 404, "");
    refused("/api/amps/tidemark/response?from=J9", 404, "");
    refused("/api/amps/tidemark/response?to=B2x", 404, "");
    refused("/api/amps/tidemark/response?to=ground", 404, "carries no signal");
    refused("/api/amps/tidemark/response?at=banana", 400, "");
    refused("/api/amps/tidemark/response?low=5k&high=1k", 400, "downwards");
    refused("/api/amps/tidemark/response?turn=P1", 400, "turns nothing");
    refused("/api/amps/tidemark/response?turn=P1:x", 400, "turns nothing");
    refused("/api/amps/tidemark/response?turn=P1:nan", 400, "no control stands");
    refused("/api/amps/tidemark/response?turn=P1:11", 400, "no control stands");
    refused("/api/amps/tidemark/tremolo?turn=R1:5", 404, "no control");
    refused("/api/amps/tidemark/hum?mains=9000", 400, "makes no sense");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(response), cmocka_unit_test(controls),
                                       cmocka_unit_test(a_switch), cmocka_unit_test(hum),
                                       cmocka_unit_test(tremolo),  cmocka_unit_test(bad_questions)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
