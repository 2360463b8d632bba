/* Every route, asked as the page asks, its answer held against docs/openapi.json. */
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

/* The answer to GET, of the schema of this name. To be freed. */
static client_answer get(const char *schema, const char *format, int64_t job) {
    char path[256];
    snprintf(path, sizeof path, format, (long long)job);
    client_answer answer = client_fetch(here.port, path);
    if (answer.status != 200) print_message("%s\n%.2000s\n", path, answer.text);
    assert_int_equal(answer.status, 200);
    schema_check(document, schema, answer.json);
    return answer;
}

static void seen(const char *schema, const char *format, int64_t job) {
    client_answer answer = get(schema, format, job);
    client_free(&answer);
}

static int64_t job_with_readings(void) {
    int64_t job = serve_job(&here, "wren-hollow");
    serve_fact(&here, job,
               "{\"kind\": \"reading\", \"body\": {\"phase\": \"before\", \"at\": \"V2.5\", "
               "\"volts\": 4.1, \"meter\": \"10M\", \"mains\": 121}}",
               200);
    serve_fact(&here, job,
               "{\"kind\": \"reading\", \"body\": {\"phase\": \"before\", \"at\": \"B2\", "
               "\"volts\": 351}}",
               200);
    return job;
}

/* ---- the store ----------------------------------------------------------------------------- */

static void small_ones(void **state) {
    (void)state;
    seen("Ping", "/api/ping", 0);
    seen("Kinds", "/api/keys", 0);
    seen("Amps", "/api/amps", 0);
    seen("Pairing", "/api/pairing", 0);
    seen("History", "/api/history?amp=wren-hollow", 0);
}

static void shop(void **state) {
    (void)state;
    seen("Shop", "/api/shop", 0);
    client_answer answer =
        client_do(&(client_ask){.port = here.port,
                                .method = "PUT",
                                .path = "/api/shop",
                                .body = "{\"name\": \"The Lower Bench\", \"hourly\": 6000}"});
    assert_int_equal(answer.status, 200);
    schema_check(document, "Shop", answer.json);
    assert_string_equal(client_text(&answer, "name"), "The Lower Bench");
    client_free(&answer);
}

static void jobs(void **state) {
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    seen("Jobs", "/api/jobs", 0);
    client_answer found = get("Jobs", "/api/jobs?q=moss&open=1&most=500", 0);
    assert_true(json_array_size(found.json) > 0);
    client_free(&found);
    found = get("Jobs", "/api/jobs?q=nobody-of-this-name", 0);
    assert_int_equal(json_array_size(found.json), 0);
    client_free(&found);
    seen("View", "/api/jobs/%lld", job);
    seen("Facts", "/api/jobs/%lld/facts", job);
}

static void a_fact_and_its_undo(void **state) {
    char path[64];
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    snprintf(path, sizeof path, "/api/jobs/%lld/facts", (long long)job);
    const char *note = "{\"kind\": \"note\", \"body\": {\"text\": \"smells\"}, \"token\": \"a-1\"}";
    client_answer first = client_post(here.port, path, note);
    client_answer again = client_post(here.port, path, note);
    schema_check(document, "Added", first.json);
    assert_string_equal(client_text(&first, "view.notes.0.text"), "smells");
    assert_int_equal(json_integer_value(client_at(first.json, "fact")),
                     json_integer_value(client_at(again.json, "fact")));
    assert_int_equal(json_array_size(client_at(again.json, "view.notes")), 1);
    snprintf(path, sizeof path, "/api/jobs/%lld/undo", (long long)job);
    client_answer undone = client_post(here.port, path, "{}");
    schema_check(document, "Undone", undone.json);
    assert_int_equal(json_array_size(client_at(undone.json, "view.notes")), 0);
    client_free(&first);
    client_free(&again);
    client_free(&undone);
}

/* ---- measuring ----------------------------------------------------------------------------- */

static json_t *line_at(const client_answer *chart, const char *at) {
    json_t *each;
    size_t i;
    json_array_foreach(client_at(chart->json, "lines"), i, each) {
        if (strcmp(json_string_value(json_object_get(each, "at")), at) == 0) return each;
    }
    fail_msg("the chart has no line %s", at);
    return NULL;
}

static void chart(void **state) {
    (void)state;
    int64_t job = job_with_readings();
    client_answer answer = get("JobChart", "/api/jobs/%lld/chart?phase=before", job);
    json_t *grid = line_at(&answer, "V2.5"), *supply = line_at(&answer, "B2");
    assert_true(fabs(json_number_value(json_object_get(grid, "read")) - 4.1) < 1e-9);
    assert_string_equal(json_string_value(json_object_get(grid, "verdict")), "high");
    assert_string_equal(json_string_value(json_object_get(supply, "verdict")), "low");
    assert_string_equal(json_string_value(client_at(grid, "probe.tube")), "V2");
    assert_int_equal(json_integer_value(client_at(grid, "probe.pin")), 5);
    assert_true(json_is_null(json_object_get(supply, "probe")));
    assert_true(json_is_true(json_object_get(answer.json, "mains_measured")));
    client_free(&answer);
    seen("JobChart", "/api/jobs/%lld/chart?phase=after&meter=20k%%20per%%20volt", job);
}

/* A grid read with a meter that loads it is judged by that meter's band, not by the other's. */
static void each_reading_by_its_meter(void **state) {
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    client_answer by_20k = get("JobChart", "/api/jobs/%lld/chart?meter=20k%%20per%%20volt", job);
    double shown = json_number_value(json_object_get(line_at(&by_20k, "V1.1"), "shown"));
    char fact[256];
    snprintf(fact, sizeof fact,
             "{\"kind\": \"reading\", \"body\": {\"phase\": \"before\", \"at\": \"V1.1\", "
             "\"volts\": %.1f, \"meter\": \"20k per volt\"}}",
             shown);
    serve_fact(&here, job, fact, 200);
    client_answer answer = get("JobChart", "/api/jobs/%lld/chart?meter=10M", job);
    json_t *plate = line_at(&answer, "V1.1");
    assert_string_equal(json_string_value(json_object_get(plate, "verdict")), "inside");
    client_free(&by_20k);
    client_free(&answer);
}

static void suspects(void **state) {
    (void)state;
    int64_t job = job_with_readings();
    client_answer answer = get("Suspects", "/api/jobs/%lld/suspects", job);
    assert_true(json_array_size(client_at(answer.json, "suspects")) > 3);
    assert_int_equal(json_array_size(client_at(answer.json, "readings")), 2);
    assert_true(fabs(json_number_value(client_at(answer.json, "mains_v")) - 121) < 1e-9);
    client_answer again = get("Suspects", "/api/jobs/%lld/suspects", job);
    assert_true(json_equal(answer.json, again.json));
    client_free(&answer);
    client_free(&again);
    seen("Suspects", "/api/jobs/%lld/suspects?phase=after&shop=1", job);
}

static void other_evidence(void **state) {
    (void)state;
    int64_t job = job_with_readings();
    serve_fact(
        &here, job,
        "{\"kind\":\"test\",\"body\":{\"phase\":\"before\",\"at\":\"B2 hum\",\"value\":\"9\"}}",
        200);
    serve_fact(&here, job, "{\"kind\":\"symptom\",\"body\":{\"said\":\"weak\"}}", 200);
    client_answer after = get("Suspects", "/api/jobs/%lld/suspects", job);
    assert_true(client_at(after.json, "readings.2") && client_at(after.json, "symptoms.0"));
    client_free(&after);
}

static double probability(const client_answer *answer, const char *part, const char *what) {
    json_t *each;
    size_t i;
    double sum = 0;
    json_array_foreach(client_at(answer->json, "suspects"), i, each) {
        const char *name = json_string_value(json_object_get(each, "part"));
        const char *mode = json_string_value(json_object_get(each, "what"));
        if (strcmp(name, part) == 0 && (!what || strncmp(mode, what, strlen(what)) == 0))
            sum += json_number_value(json_object_get(each, "probability"));
    }
    return sum;
}

/* Six such amps came before, and each time it was C3: with no reading, C3 is likelier than by the
 * table alone, and it can be switched off. */
static void the_shop_s_own_counts(void **state) {
    (void)state;
    for (int i = 0; i < 6; i++) {
        int64_t past = serve_job(&here, "granary");
        serve_fact(&here, past,
                   "{\"kind\": \"hand back\", \"body\": {\"found\": \"C3 leaked\", \"done\": "
                   "\"C3 replaced\", \"cause_part\": \"C3\", \"cause_what\": \"leaky\"}}",
                   200);
    }
    int64_t job = serve_job(&here, "granary");
    client_answer off = get("Suspects", "/api/jobs/%lld/suspects?shop=0", job);
    client_answer on = get("Suspects", "/api/jobs/%lld/suspects?shop=1", job);
    client_answer again = get("Suspects", "/api/jobs/%lld/suspects?shop=0", job);
    assert_int_equal(json_integer_value(client_at(on.json, "shop.alike")), 6);
    assert_true(json_is_true(client_at(on.json, "shop.used")));
    assert_true(json_is_false(client_at(off.json, "shop.used")));
    assert_true(probability(&on, "C3", "leaky") > 5 * probability(&off, "C3", "leaky"));
    assert_true(json_equal(off.json, again.json));
    client_free(&off);
    client_free(&on);
    client_free(&again);
}

static void safety(void **state) {
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    client_answer answer = get("Safety", "/api/jobs/%lld/safety?ohms=220", job);
    assert_true(fabs(json_number_value(client_at(answer.json, "through_ohms")) - 220) < 1e-6);
    assert_true(json_array_size(client_at(answer.json, "capacitors")) > 0);
    assert_true(json_array_size(client_at(answer.json, "steps")) > 3);
    client_free(&answer);
    answer = serve_job_get(&here, job, "/safety?ohms=3");
    assert_int_equal(answer.status, 400);
    client_free(&answer);
}

static void compare(void **state) {
    (void)state;
    int64_t job = job_with_readings();
    serve_fact(&here, job,
               "{\"kind\": \"reading\", \"body\": {\"phase\": \"after\", \"at\": \"V2.5\", "
               "\"volts\": 0.01}}",
               200);
    serve_fact(&here, job,
               "{\"kind\": \"reading\", \"body\": {\"phase\": \"after\", \"at\": \"V2.3\", "
               "\"volts\": 320}}",
               200);
    serve_fact(&here, job,
               "{\"kind\": \"reading\", \"body\": {\"phase\": \"after\", \"at\": \"V2.8\", "
               "\"volts\": 20}}",
               200);
    client_answer answer = get("Compare", "/api/jobs/%lld/compare", job);
    json_t *places = client_at(answer.json, "places"), *tubes = client_at(answer.json, "tubes");
    assert_int_equal(json_array_size(places), 4);
    assert_string_equal(client_text(&answer, "places.0.words"), "was high, now good");
    assert_string_equal(client_text(&answer, "places.1.words"), "not read after the repair");
    json_t *each;
    size_t i;
    bool found = false;
    json_array_foreach(tubes, i, each) {
        bool output = strcmp(json_string_value(json_object_get(each, "tube")), "V2") == 0;
        double watts = json_number_value(json_object_get(each, "watts_after"));
        if (!output) continue;
        found = true;
        /* 300 V from plate to cathode at some 40 mA: 20 V on 470 ohm, less the screen's share */
        assert_true(watts > 10 && watts < 13);
        assert_true(json_is_null(json_object_get(each, "watts_before")));
    }
    assert_true(found);
    client_free(&answer);
}

/* ---- the amp ------------------------------------------------------------------------------- */

static void amp_of_a_job(void **state) {
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    seen("JobAmp", "/api/jobs/%lld/amp", job);
    seen("JobAmp", "/api/jobs/%lld/amp?as=drawn", job);
    char path[64];
    snprintf(path, sizeof path, "/api/jobs/%lld/edit", (long long)job);
    client_answer answer =
        client_post(here.port, path,
                    "{\"phase\": \"found\", \"part\": \"R12\", \"key\": \"value\", \"from\": "
                    "\"470\", \"to\": \"330\", \"does\": \"change\"}");
    if (answer.status != 200) print_message("%s\n", answer.text);
    assert_int_equal(answer.status, 200);
    schema_check(document, "Edited", answer.json);
    client_free(&answer);
    answer = get("Differences", "/api/jobs/%lld/differences", job);
    assert_int_equal(json_array_size(answer.json), 1);
    assert_string_equal(client_text(&answer, "0.part"), "R12");
    assert_string_equal(client_text(&answer, "0.to"), "330");
    client_free(&answer);
    answer = client_post(here.port, path,
                         "{\"phase\": \"found\", \"part\": \"R12\", \"key\": \"value\", \"to\": "
                         "\"banana\", \"does\": \"change\"}");
    assert_true(answer.status >= 400 && answer.status < 500);
    schema_check(document, "Complaints", answer.json);
    client_free(&answer);
}

static void substitute(void **state) {
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    client_answer answer = get("Substitute", "/api/jobs/%lld/substitute?part=R12", job);
    assert_true(json_array_size(client_at(answer.json, "choices")) > 0);
    client_free(&answer);
    answer = serve_job_get(&here, job, "/substitute?part=R99");
    assert_int_equal(answer.status, 404);
    client_free(&answer);
    answer = serve_job_get(&here, job, "/substitute");
    assert_int_equal(answer.status, 400);
    client_free(&answer);
}

static void dates(void **state) {
    static const char *const codes[] = {"R1\", \"code\": \"999-5-17", "R2\", \"code\": \"999-5-02",
                                        "R3\", \"code\": \"no date"};
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    for (size_t i = 0; i < 3; i++) {
        char fact[160];
        snprintf(fact, sizeof fact, "{\"kind\": \"look\", \"body\": {\"part\": \"%s\"}}", codes[i]);
        serve_fact(&here, job, fact, 200);
    }
    client_answer answer = get("Dates", "/api/jobs/%lld/dates", job);
    assert_int_equal(json_array_size(client_at(answer.json, "codes")), 3);
    assert_int_equal(json_integer_value(client_at(answer.json, "codes.0.week")), 17);
    assert_true(json_is_string(client_at(answer.json, "codes.2.problem")));
    client_free(&answer);
}

static void library(void **state) {
    (void)state;
    client_answer answer = get("Amp", "/api/amps/wren-hollow", 0);
    assert_true(json_array_size(client_at(answer.json, "chart.lines")) > 10);
    json_t *body = json_pack("{s:O}", "text", client_at(answer.json, "text"));
    char *text = json_dumps(body, 0);
    client_ask put = {
        .port = here.port, .method = "PUT", .path = "/api/amps/my%20own", .body = text};
    client_answer saved = client_do(&put);
    schema_check(document, "Saved", saved.json);
    put.path = "/api/amps/wren-hollow";
    client_answer refused = client_do(&put);
    assert_int_equal(refused.status, 400);
    put.path = "/api/amps/other";
    put.body = "{\"text\": \"amp: [\"}";
    client_answer broken = client_do(&put);
    assert_int_equal(broken.status, 400);
    seen("Amp", "/api/amps/my%%20own", 0);
    client_answer list = get("Amps", "/api/amps", 0);
    json_t *own = json_array_get(list.json, json_array_size(list.json) - 1);
    assert_true(json_is_true(json_object_get(own, "own")));
    free(text);
    json_decref(body);
    client_free(&answer);
    client_free(&saved);
    client_free(&refused);
    client_free(&broken);
    client_free(&list);
}

static void check_and_curves(void **state) {
    (void)state;
    client_answer answer =
        client_post(here.port, "/api/check", "{\"text\": \"amp: x\\nfoo: 1\\n\"}");
    assert_int_equal(answer.status, 200);
    schema_check(document, "Checked", answer.json);
    assert_true(json_integer_value(client_at(answer.json, "errors.0.line")) > 0);
    client_free(&answer);
    answer = get("Curves", "/api/curves?amp=wren-hollow&tube=V2", 0);
    size_t points = json_array_size(client_at(answer.json, "plate_v"));
    assert_true(points > 10);
    assert_int_equal(json_array_size(client_at(answer.json, "curves.0.plate_ma")), points);
    client_free(&answer);
    int64_t job = serve_job(&here, "wren-hollow");
    seen("Curves", "/api/curves?job=%lld&as=repaired&tube=V1&unit=1", job);
    answer = client_fetch(here.port, "/api/curves?amp=wren-hollow&tube=V9");
    assert_int_equal(answer.status, 404);
    client_free(&answer);
}

/* ---- files --------------------------------------------------------------------------------- */

static void files(void **state) {
    static const char *const papers[] = {"/report.pdf", "/invoice.pdf?paper=letter", "/chart.pdf"};
    (void)state;
    int64_t job = job_with_readings();
    serve_fact(&here, job,
               "{\"kind\": \"invoice\", \"body\": {\"lines\": [{\"text\": \"C3\", \"amount\": "
               "900}], \"total\": 900}}",
               200);
    for (size_t i = 0; i < 3; i++) {
        client_answer pdf = serve_job_get(&here, job, papers[i]);
        if (pdf.status != 200) print_message("%.800s\n", pdf.text);
        assert_int_equal(pdf.status, 200);
        assert_memory_equal(pdf.body, "%PDF-", 5);
        assert_string_equal(client_header(&pdf, "Content-Type"), "application/pdf");
        client_free(&pdf);
    }
    client_answer csv = serve_job_get(&here, job, "/readings.csv");
    assert_int_equal(csv.status, 200);
    assert_non_null(strstr(csv.body, "V2.5"));
    client_free(&csv);
    csv = serve_job_get(&here, 99999, "/readings.csv");
    assert_int_equal(csv.status, 404);
    client_free(&csv);
}

static void photos(void **state) {
    (void)state;
    size_t length;
    char path[128];
    char *png = support_file("tests/http/dot.png", &length);
    int64_t job = serve_job(&here, "wren-hollow");
    snprintf(path, sizeof path, "/api/jobs/%lld/photos", (long long)job);
    client_ask ask = {.port = here.port,
                      .method = "POST",
                      .path = path,
                      .body = png,
                      .length = length,
                      .type = "image/png"};
    client_answer stored = client_do(&ask);
    if (stored.status != 200) print_message("%s\n", stored.text);
    schema_check(document, "Stored", stored.json);
    ask.length = length / 2;
    client_answer cut = client_do(&ask);
    assert_int_equal(cut.status, 400);
    snprintf(path, sizeof path, "/api/photos/%s?small=1", client_text(&stored, "hash"));
    client_answer photo = client_fetch(here.port, path);
    assert_int_equal(photo.status, 200);
    assert_memory_equal(photo.body, "\xff\xd8\xff", 3);
    char tag[128];
    snprintf(tag, sizeof tag, "If-None-Match: %.100s\r\n", client_header(&photo, "ETag"));
    client_answer same =
        client_do(&(client_ask){.port = here.port, .method = "GET", .path = path, .more = tag});
    assert_int_equal(same.status, 304);
    client_answer none = client_fetch(here.port, "/api/photos/0000");
    assert_int_equal(none.status, 404);
    free(png);
    client_free(&stored);
    client_free(&cut);
    client_free(&photo);
    client_free(&same);
    client_free(&none);
}

static void page(void **state) {
    (void)state;
    client_answer index = client_fetch(here.port, "/");
    assert_int_equal(index.status, 200);
    assert_int_equal(index.body_length, 4);
    assert_string_equal(client_header(&index, "Content-Encoding"), "gzip");
    assert_non_null(strstr(client_header(&index, "Content-Security-Policy"), "default-src 'self'"));
    assert_string_equal(client_header(&index, "X-Content-Type-Options"), "nosniff");
    assert_string_equal(client_header(&index, "Cache-Control"), "no-cache");
    client_answer code = client_fetch(here.port, "/app-1a2b.js");
    assert_non_null(strstr(client_header(&code, "Cache-Control"), "immutable"));
    client_answer none = client_fetch(here.port, "/app-ffff.js");
    assert_int_equal(none.status, 404);
    client_answer plain = client_do(&(client_ask){
        .port = here.port, .method = "GET", .path = "/", .more = "Accept-Encoding: br\r\n"});
    assert_int_equal(plain.status, 406);
    client_answer ping = client_fetch(here.port, "/api/ping");
    assert_string_equal(client_header(&ping, "Cache-Control"), "no-store");
    client_free(&index);
    client_free(&code);
    client_free(&none);
    client_free(&plain);
    client_free(&ping);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(small_ones),
        cmocka_unit_test(shop),
        cmocka_unit_test(jobs),
        cmocka_unit_test(a_fact_and_its_undo),
        cmocka_unit_test(chart),
        cmocka_unit_test(each_reading_by_its_meter),
        cmocka_unit_test(suspects),
        cmocka_unit_test(other_evidence),
        cmocka_unit_test(the_shop_s_own_counts),
        cmocka_unit_test(safety),
        cmocka_unit_test(compare),
        cmocka_unit_test(amp_of_a_job),
        cmocka_unit_test(substitute),
        cmocka_unit_test(dates),
        cmocka_unit_test(library),
        cmocka_unit_test(check_and_curves),
        cmocka_unit_test(files),
        cmocka_unit_test(photos),
        cmocka_unit_test(page),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
