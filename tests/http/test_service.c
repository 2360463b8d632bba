/* The trade's computations as the page asks for them, of an amp and of a job. */
#include "schema.h"
#include "serve.h"

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

/* The same below an amp and below a job that has it. */
static void seen(const char *schema, const char *rest) {
    char path[256];
    int64_t job = serve_job(&here, "wren-hollow");
    for (int of_job = 0; of_job < 2; of_job++) {
        if (of_job)
            snprintf(path, sizeof path, "/api/jobs/%lld/%s", (long long)job, rest);
        else
            snprintf(path, sizeof path, "/api/amps/wren-hollow/%s", rest);
        client_answer answer = client_fetch(here.port, path);
        if (answer.status != 200) print_message("%s\n%.2000s\n", path, answer.text);
        assert_int_equal(answer.status, 200);
        schema_check(document, schema, answer.json);
        client_free(&answer);
    }
}

static void refused(const char *path, int status) {
    client_answer answer = client_fetch(here.port, path);
    if (answer.status != status) print_message("%s\n%.2000s\n", path, answer.text);
    assert_int_equal(answer.status, status);
    client_free(&answer);
}

static void margins(void **state) {
    (void)state;
    seen("Margins", "margins");
    seen("Margins", "margins?mains=125");
    refused("/api/amps/wren-hollow/margins?mains=5", 400);
    refused("/api/amps/wren-hollow/margins?mains=high", 400);
    refused("/api/amps/no-such-amp/margins", 404);
    refused("/api/jobs/999/margins", 404);
}

static void fuse(void **state) {
    (void)state;
    seen("Fuses", "fuse");
    seen("Fuses", "fuse?powerup=yes");
    refused("/api/amps/wren-hollow/fuse?powerup=perhaps", 400);
}

static void drain(void **state) {
    (void)state;
    seen("Safety", "drain");
    seen("Safety", "drain?ohms=1k&mains=117");
    refused("/api/amps/wren-hollow/drain?ohms=5", 400);
}

static void value(void **state) {
    (void)state;
    seen("Value", "value?part=R12&for=V2+dissipation+85%25");
    seen("Value", "value?part=R16&for=B2+at+500V");
    refused("/api/amps/wren-hollow/value?part=R12", 400);
    refused("/api/amps/wren-hollow/value?for=B2+at+300V", 400);
    refused("/api/amps/wren-hollow/value?part=R12&for=louder", 400);
    refused("/api/amps/wren-hollow/value?part=R99&for=B2+at+300V", 404);
}

static void mains(void **state) {
    (void)state;
    seen("Mains", "mains?volts=124");
    seen("Mains", "mains?volts=230");
    refused("/api/amps/wren-hollow/mains?volts=5", 400);
}

static void substitute(void **state) {
    (void)state;
    seen("Substitute", "substitute?part=C8");
    seen("Substitute", "substitute?part=R5&mains=117");
    refused("/api/amps/wren-hollow/substitute", 400);
    refused("/api/amps/wren-hollow/substitute?part=C99", 404);
}

static client_answer swapped(const char *body, int status) {
    client_answer answer = client_post(here.port, "/api/amps/tidemark/swap", body);
    if (answer.status != status) print_message("%s\n%.2000s\n", body, answer.text);
    assert_int_equal(answer.status, status);
    return answer;
}

static void swap(void **state) {
    (void)state;
    client_answer answer =
        swapped("{\"changes\": [\"V6=silicon\", \"mains=117\"], \"mains\": 121}", 200);
    schema_check(document, "Swap", answer.json);
    assert_true(json_number_value(client_at(answer.json, "mains_after_v")) == 117);
    assert_true(json_array_size(client_at(answer.json, "broken")) > 0);
    client_free(&answer);
    static const char *const bad[] = {"{}", "{\"changes\": \"R1=1k\"}", "{\"changes\": [1]}",
                                      "{\"changes\": [\"R1=1k\"], \"mains\": 7}",
                                      "{\"changes\": [\"R1=-1\"]}"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        answer = swapped(bad[i], 400);
        client_free(&answer);
    }
    answer = swapped("{\"changes\": [\"R99=1k\"]}", 404);
    client_free(&answer);
}

static void powerup(void **state) {
    (void)state;
    seen("Powerup", "powerup?mains=121");
    refused("/api/amps/wren-hollow/powerup?standby=yes", 422);
    refused("/api/amps/wren-hollow/powerup?standby=perhaps", 400);
    refused("/api/amps/wren-hollow/powerup?mains=5", 400);
}

static void output(void **state) {
    (void)state;
    seen("Output", "output");
    seen("Output", "output?speaker=8&supply=350");
    refused("/api/amps/wren-hollow/output?speaker=0", 400);
    refused("/api/amps/wren-hollow/output?supply=1900", 400);
    refused("/api/amps/wren-hollow/output?speaker=loud", 400);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(margins), cmocka_unit_test(fuse),       cmocka_unit_test(powerup),
        cmocka_unit_test(output),  cmocka_unit_test(drain),      cmocka_unit_test(value),
        cmocka_unit_test(mains),   cmocka_unit_test(substitute), cmocka_unit_test(swap)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
