/* What another web page, or another machine, could try. */
#include "serve.h"

static serve here;

static int set_up(void **state) {
    (void)state;
    serve_prepare(&here);
    serve_start(&here);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    serve_finish(&here);
    return 0;
}

static int status_of(client_ask ask) {
    ask.port = here.port;
    client_answer answer = client_do(&ask);
    int status = answer.status;
    /* Every refusal says what to do. */
    if (status >= 400) {
        assert_true(*client_text(&answer, "errors.0.cause"));
        assert_true(*client_text(&answer, "errors.0.remedy"));
    }
    assert_null(client_header(&answer, "Access-Control-Allow-Origin"));
    client_free(&answer);
    return status;
}

/* A name that an attacker made to point at 127.0.0.1 still stands in Host. */
static void other_hosts(void **state) {
    (void)state;
    char right[64], other[64], six[64];
    snprintf(right, sizeof right, "LOCALHOST:%d", here.port);
    snprintf(other, sizeof other, "bench.example:%d", here.port);
    snprintf(six, sizeof six, "[::1]:%d", here.port);
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/api/jobs"}), 200);
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/api/jobs", .host = right}),
                     200);
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/api/jobs", .host = six}),
                     200);
    const char *const wrong[] = {other,         "localhost",   "127.0.0.1",  "127.0.0.1:1",
                                 "localhost.x", "127.0.0.1:0", "0.0.0.0:80", "evil@127.0.0.1"};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        assert_int_equal(status_of((client_ask){.method = "GET", .path = "/", .host = wrong[i]}),
                         403);
        assert_int_equal(
            status_of((client_ask){
                .method = "POST", .path = "/api/jobs", .host = wrong[i], .body = "{}"}),
            403);
    }
}

static void headers_twice(void **state) {
    (void)state;
    char more[128];
    snprintf(more, sizeof more, "Host: 127.0.0.1:%d\r\n", here.port);
    assert_int_equal(
        status_of((client_ask){.method = "GET", .path = "/", .host = "a.example", .more = more}),
        400);
    snprintf(more, sizeof more, "Origin: http://127.0.0.1:%d\r\nOrigin: http://a.example\r\n",
             here.port);
    assert_int_equal(
        status_of((client_ask){.method = "POST", .path = "/api/jobs", .body = "{}", .more = more}),
        400);
}

static void other_origins(void **state) {
    static const char *const wrong[] = {"Origin: null\r\n",
                                        "Origin: http://a.example\r\n",
                                        "Origin: http://127.0.0.1\r\n",
                                        "Origin: \r\n",
                                        "Origin: http://localhost:3000\r\n",
                                        "Sec-Fetch-Site: cross-site\r\n",
                                        "Sec-Fetch-Site: same-site\r\n"};
    (void)state;
    char own[128];
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        assert_int_equal(status_of((client_ask){.method = "POST",
                                                .path = "/api/check",
                                                .body = "{\"text\": \"\"}",
                                                .more = wrong[i]}),
                         403);
        assert_int_equal(
            status_of((client_ask){.method = "GET", .path = "/api/jobs", .more = wrong[i]}), 403);
    }
    snprintf(own, sizeof own, "Origin: http://127.0.0.1:%d\r\nSec-Fetch-Site: same-origin\r\n",
             here.port);
    assert_int_equal(
        status_of((client_ask){
            .method = "POST", .path = "/api/check", .body = "{\"text\": \"\"}", .more = own}),
        200);
    snprintf(own, sizeof own, "Origin: https://127.0.0.1:%d\r\n", here.port);
    assert_int_equal(
        status_of((client_ask){
            .method = "POST", .path = "/api/check", .body = "{\"text\": \"\"}", .more = own}),
        403);
    /* A link on another page may open the page itself. */
    assert_int_equal(status_of((client_ask){
                         .method = "GET", .path = "/", .more = "Sec-Fetch-Site: cross-site\r\n"}),
                     200);
}

/* A form of another page can only send these types, and without asking first. */
static void types_of_forms(void **state) {
    static const char *const types[] = {"text/plain", "application/x-www-form-urlencoded",
                                        "multipart/form-data; boundary=x", "application/jsonp",
                                        "text/json"};
    (void)state;
    for (size_t i = 0; i < sizeof types / sizeof *types; i++)
        assert_int_equal(
            status_of((client_ask){
                .method = "POST", .path = "/api/jobs", .body = "{}", .type = types[i]}),
            415);
    assert_int_equal(status_of((client_ask){.method = "POST", .path = "/api/jobs"}), 415);
    assert_int_equal(status_of((client_ask){.method = "POST",
                                            .path = "/api/check",
                                            .body = "{\"text\": \"\"}",
                                            .type = "application/json; charset=utf-8"}),
                     200);
    assert_int_equal(
        status_of((client_ask){
            .method = "POST", .path = "/api/jobs/1/photos", .body = "x", .type = "text/html"}),
        415);
}

static void methods(void **state) {
    static const char *const none[] = {"DELETE", "PATCH", "OPTIONS", "TRACE", "BREW", "get"};
    (void)state;
    for (size_t i = 0; i < sizeof none / sizeof *none; i++) {
        client_answer answer =
            client_do(&(client_ask){.port = here.port, .method = none[i], .path = "/api/shop"});
        assert_int_equal(answer.status, 405);
        assert_string_equal(client_header(&answer, "Allow"), "GET, HEAD, PUT");
        client_free(&answer);
    }
    assert_int_equal(status_of((client_ask){.method = "POST", .path = "/", .body = "{}"}), 405);
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/api/check"}), 405);
}

static void paths(void **state) {
    static const char *const missing[] = {"/api",
                                          "/api/nothing",
                                          "/api/jobs/1/nothing",
                                          "/api/jobs/0",
                                          "/api/jobs/-1",
                                          "/api/jobs/01",
                                          "/api/jobs/1e3",
                                          "/api/jobs/999999999999999999999",
                                          "/api/jobs/999999999999999999",
                                          "/api/jobs/%31%20",
                                          "/api/amps/%2e%2e%2f%2e%2e%2fetc%2fpasswd",
                                          "/api/amps/x'%20OR%201=1--",
                                          "/api/photos/..%2f..%2fetc%2fpasswd",
                                          "/api/photos/%27%3bDROP%20TABLE%20fact%3b--",
                                          "/favicon.ico",
                                          "/index.html/x"};
    static const char *const unreadable[] = {"/../../etc/passwd",
                                             "/api/../api/ping",
                                             "//api/ping",
                                             "/api/ping/",
                                             "/%00",
                                             "/api/ping%00",
                                             "/%ff"};
    (void)state;
    for (size_t i = 0; i < sizeof missing / sizeof *missing; i++) {
        int status = status_of((client_ask){.method = "GET", .path = missing[i]});
        if (status != 404) fail_msg("%s: %d", missing[i], status);
    }
    for (size_t i = 0; i < sizeof unreadable / sizeof *unreadable; i++) {
        int status = status_of((client_ask){.method = "GET", .path = unreadable[i]});
        if (status != 400) fail_msg("%s: %d", unreadable[i], status);
    }
}

static void parameters(void **state) {
    static const char *const wrong[] = {"/api/jobs?most=0",       "/api/jobs?most=many",
                                        "/api/jobs?open=perhaps", "/api/jobs?most=1000000",
                                        "/api/history",           "/api/history?amp=x&same=2"};
    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_int_equal(status_of((client_ask){.method = "GET", .path = wrong[i]}), 400);
    assert_int_equal(
        status_of((client_ask){.method = "GET", .path = "/api/jobs?q=%22%20OR%20*%20NEAR(%20%27"}),
        200);
}

/* Without --lan nothing of the pairing is there. */
static void no_pairing(void **state) {
    (void)state;
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/pair"}), 404);
    assert_int_equal(status_of((client_ask){.method = "POST",
                                            .path = "/pair",
                                            .body = "code=12345678",
                                            .type = "application/x-www-form-urlencoded"}),
                     404);
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/api/pairing.svg"}), 404);
    assert_int_equal(status_of((client_ask){.method = "GET", .path = "/api/pairing"}), 200);
}

/* The port answers on loopback and on no other address of this machine. */
static void loopback_only(void **state) {
    http_names names;
    (void)state;
    http_names_find(&names);
    for (int i = 0; i < names.addresses; i++) {
        struct sockaddr_in address = {.sin_family = AF_INET,
                                      .sin_port = htons((uint16_t)here.port)};
        assert_int_equal(inet_pton(AF_INET, names.name[i], &address.sin_addr), 1);
        int handle = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        assert_int_not_equal(connect(handle, (struct sockaddr *)&address, sizeof address), 0);
        close(handle);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(other_hosts),   cmocka_unit_test(headers_twice),
        cmocka_unit_test(other_origins), cmocka_unit_test(types_of_forms),
        cmocka_unit_test(methods),       cmocka_unit_test(paths),
        cmocka_unit_test(parameters),    cmocka_unit_test(no_pairing),
        cmocka_unit_test(loopback_only)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
