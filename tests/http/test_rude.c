/* Clients that send rubbish, too much, too slowly, or go away; and others beside them. */
#include "serve.h"

static serve here;

static int set_up(void **state) {
    (void)state;
    serve_prepare(&here);
    here.limits.head_ms = 2000;
    here.limits.idle_ms = 2000;
    here.limits.body_ms = 800;
    here.limits.send_ms = 2500;
    here.limits.here = 60;
    serve_start(&here);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    serve_finish(&here);
    return 0;
}

static void still_there(void) {
    client_answer answer = client_fetch(here.port, "/api/ping");
    assert_int_equal(answer.status, 200);
    client_free(&answer);
}

/* Waits for the other side to close; false when it does not within `ms`. */
static bool closes(int handle, int ms) {
    char data[4096];
    int64_t until = client_ms() + ms;
    while (client_ms() < until)
        if (client_get(handle, data, sizeof data, 100) == 0) return true;
    return false;
}

/* ---- bodies -------------------------------------------------------------------------------- */

static void expect(const char *method, const char *path, const char *body, int status) {
    client_answer answer =
        client_do(&(client_ask){.port = here.port, .method = method, .path = path, .body = body});
    if (answer.status != status) print_message("%.200s -> %s\n", body, answer.text);
    assert_int_equal(answer.status, status);
    assert_true(*client_text(&answer, "errors.0.cause"));
    assert_true(*client_text(&answer, "errors.0.code"));
    client_free(&answer);
}

static void bad_json(void **state) {
    static const char *const bodies[] = {
        "",
        " ",
        "{",
        "}",
        "[]",
        "null",
        "7",
        "\"text\"",
        "{\"kind\": }",
        "{'kind': 1}",
        "{\"kind\": \"note\", \"kind\": \"note\"}",
        "{\"kind\": \"note\"}",
        "{\"body\": {}}",
        "{\"kind\": 3, \"body\": {}}",
        "{\"kind\": \"note\", \"body\": []}",
        "{\"kind\": \"note\", \"body\": \"text\"}",
        "{\"kind\": \"no such\", \"body\": {}}",
        "{\"kind\": \"note\", \"body\": {\"text\": 7}}",
        "{\"kind\": \"note\", \"body\": {}}",
        "{\"kind\": \"note\", \"body\": {\"text\": \"a\\u0000b\"}}",
        "{\"kind\": \"note\", \"body\": {\"text\": \"a\", \"more\": 1}}",
        "{\"kind\": \"note\", \"body\": {\"text\": \"a\"}, \"extra\": 1}",
        "{\"kind\": \"note\", \"body\": {\"text\": \"a\"}, \"replaces\": \"7\"}",
        "{\"kind\": \"note\", \"body\": {\"text\": \"\xff\xfe\"}}",
        "{} {}",
        "\xef\xbb\xbf{}",
        "{\"kind\": \"reading\", \"body\": {\"phase\": \"before\", \"at\": \"V2.5\", \"volts\": "
        "1e999}}"};
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    char path[64];
    snprintf(path, sizeof path, "/api/jobs/%lld/facts", (long long)job);
    for (size_t i = 0; i < sizeof bodies / sizeof *bodies; i++) {
        client_answer answer = client_post(here.port, path, bodies[i]);
        if (answer.status != 400 && answer.status != 404)
            fail_msg("%s: %d", bodies[i], answer.status);
        assert_true(*client_text(&answer, "errors.0.cause"));
        client_free(&answer);
    }
}

static void deep_json(void **state) {
    char body[4096] = "{\"kind\": \"note\", \"body\": ";
    (void)state;
    for (int i = 0; i < 1000; i++)
        strcat(body, "[{");
    expect("POST", "/api/jobs/1/facts", body, 400);
}

/* Braces inside of texts are no levels. */
static void braces_in_text(void **state) {
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    serve_fact(&here, job,
               "{\"kind\": \"note\", \"body\": {\"text\": \"{{{{{{{{{{{{{{{{{{{{\\\"[[[[\"}}", 200);
}

static void too_large(void **state) {
    (void)state;
    char *body = malloc(HTTP_BODY_MAXIMUM + 64);
    memset(body, ' ', HTTP_BODY_MAXIMUM + 63);
    body[HTTP_BODY_MAXIMUM + 63] = 0;
    expect("POST", "/api/check", body, 413);
    body[HTTP_BODY_MAXIMUM] = 0;
    memcpy(body, "{\"text\": \"x\"}", 13);
    client_answer answer = client_post(here.port, "/api/check", body);
    assert_int_equal(answer.status, 200);
    client_free(&answer);
    free(body);
}

/* Nobody said how long it would be: the limit holds while it is read. */
static void too_large_in_chunks(void **state) {
    char chunk[8200], head[256];
    (void)state;
    int handle = client_open(here.port);
    snprintf(head, sizeof head,
             "POST /api/check HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Type: "
             "application/json\r\nTransfer-Encoding: chunked\r\n\r\n",
             here.port);
    client_say(handle, head);
    int length = snprintf(chunk, sizeof chunk, "2000\r\n");
    memset(chunk + length, 'x', 0x2000 - 8);
    memcpy(chunk + length + 0x2000 - 8, "xxxxxxxx", 8);
    bool taken = true;
    for (int i = 0; i < 64 && taken; i++)
        taken = client_send(handle, chunk, (size_t)length + 0x2000) && client_say(handle, "\r\n");
    client_say(handle, "0\r\n\r\n");
    client_answer answer = client_read(handle, false, 5000);
    assert_int_equal(answer.status, 413);
    client_free(&answer);
    close(handle);
    still_there();
}

/* More than can be thrown away: refused at once, and the connection is closed. */
static void announced_too_large(void **state) {
    char head[256];
    (void)state;
    int handle = client_open(here.port);
    snprintf(head, sizeof head,
             "POST /api/jobs/1/photos HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Type: "
             "image/jpeg\r\nContent-Length: 99999999999\r\n\r\n",
             here.port);
    client_say(handle, head);
    client_answer answer = client_read(handle, false, 5000);
    assert_int_equal(answer.status, 413);
    client_free(&answer);
    assert_true(closes(handle, 6000));
    close(handle);
}

/* ---- what is no request -------------------------------------------------------------------- */

static void rubbish(void **state) {
    static const char *const texts[] = {
        "\r\n\r\n\r\n",
        "GET\r\n\r\n",
        "GET /\r\n\r\n",
        "GET / HTTP/9.9\r\n\r\n",
        "GET / HTTP/1.1\r\n\r\n",
        "GET / HTTP/1.1\r\nHost\r\n\r\n",
        "GET / HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
        "POST /api/jobs HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 7\r\n\r\nhello",
        "POST /api/jobs HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        int handle = client_open(here.port);
        client_say(handle, texts[i]);
        client_answer answer = client_read(handle, false, 100);
        assert_true(answer.status == 0 || answer.status >= 400);
        client_free(&answer);
        close(handle);
    }
    still_there();
}

static void long_address(void **state) {
    (void)state;
    char path[4000] = "/api/jobs?q=";
    memset(path + 12, 'a', 3000);
    expect("GET", path, NULL, 414);
}

static void head_and_keep_alive(void **state) {
    static const char *const paths[] = {"/", "/api/ping", "/api/shop", "/api/events"};
    (void)state;
    int handle = client_open(here.port);
    for (size_t i = 0; i < 4; i++) {
        client_answer answer = client_ask_on(
            handle, &(client_ask){.port = here.port, .method = "HEAD", .path = paths[i]});
        assert_int_equal(answer.status, 200);
        assert_int_equal(answer.body_length, 0);
        client_free(&answer);
    }
    client_answer answer = client_ask_on(
        handle, &(client_ask){.port = here.port, .method = "GET", .path = "/api/ping"});
    assert_string_equal(client_text(&answer, "gridleak"), "test");
    client_free(&answer);
    close(handle);
}

/* Several requests at once on one connection come back in their order. */
static void pipelined(void **state) {
    (void)state;
    char text[1024] = "";
    int handle = client_open(here.port);
    const char *paths[] = {"/api/ping", "/api/nothing", "/api/shop"};
    for (size_t i = 0; i < 3; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text),
                 "GET %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%s\r\n", paths[i], here.port,
                 i == 2 ? "Connection: close\r\n" : "");
    client_say(handle, text);
    char data[16384] = "";
    size_t length = 0;
    long got;
    while ((got = client_get(handle, data + length, sizeof data - length - 1, 3000)) > 0)
        length += (size_t)got;
    char *first = strstr(data, "200 OK"), *second = first ? strstr(first, "404") : NULL;
    assert_non_null(second);
    assert_non_null(strstr(second, "200 OK"));
    close(handle);
}

/* ---- the slow ------------------------------------------------------------------------------ */

/* One byte each 100 ms keeps no connection open past its deadline, and nobody else waits. */
static void drips(void **state) {
    static const char head[] = "GET /api/ping HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: aaaaaaaaaa";
    (void)state;
    int handle = client_open(here.port);
    int64_t start = client_ms();
    size_t sent = 0;
    char data[64];
    while (sent < sizeof head && client_get(handle, data, sizeof data, 100) != 0) {
        if (!client_send(handle, head + sent, 1)) break;
        sent++;
        int64_t asked = client_ms();
        still_there();
        assert_true(client_ms() - asked < 1000);
    }
    assert_true(client_ms() - start < 6000);
    assert_true(sent < sizeof head - 1);
    close(handle);
}

static void body_that_never_comes(void **state) {
    char head[256];
    (void)state;
    int handle = client_open(here.port);
    snprintf(head, sizeof head,
             "POST /api/check HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nContent-Type: application/json"
             "\r\nContent-Length: 100\r\n\r\n{",
             here.port);
    client_say(handle, head);
    assert_true(closes(handle, 6000));
    close(handle);
}

static void idle(void **state) {
    (void)state;
    int handle = client_open(here.port);
    assert_true(closes(handle, 6000));
    close(handle);
}

/* Asks for much, takes nothing. */
static void takes_nothing(void **state) {
    (void)state;
    int handle = client_open(here.port), small = 2048;
    setsockopt(handle, SOL_SOCKET, SO_RCVBUF, &small, sizeof small);
    char text[256];
    snprintf(text, sizeof text, "GET /api/amps/choirloft HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n",
             here.port);
    for (int i = 0; i < 200; i++)
        if (!client_say(handle, text)) break;
    for (int i = 0; i < 20; i++) {
        int64_t asked = client_ms();
        still_there();
        assert_true(client_ms() - asked < 1500);
        client_sleep(50);
    }
    close(handle);
}

/* As many as may come from here; the rest is turned away, and room is made when they go. */
static void too_many(void **state) {
    int handles[80];
    char data[16];
    (void)state;
    for (int i = 0; i < 80; i++)
        handles[i] = client_open(here.port);
    int turned_away = 0;
    client_sleep(200);
    for (int i = 0; i < 80; i++)
        turned_away += handles[i] < 0 || client_get(handles[i], data, sizeof data, 0) == 0;
    assert_true(turned_away >= 15);
    for (int i = 0; i < 80; i++)
        if (handles[i] >= 0) close(handles[i]);
    client_sleep(400);
    still_there();
}

/* Gone before the answer is ready. */
static void goes_away(void **state) {
    (void)state;
    char text[256];
    int64_t job = serve_job(&here, "tidemark");
    snprintf(text, sizeof text,
             "GET /api/jobs/%lld/suspects HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n", (long long)job,
             here.port);
    for (int i = 0; i < 10; i++) {
        int handle = client_open(here.port);
        client_say(handle, text);
        close(handle);
    }
    still_there();
    client_answer answer = serve_job_get(&here, job, "/suspects");
    assert_int_equal(answer.status, 200);
    client_free(&answer);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bad_json),
        cmocka_unit_test(deep_json),
        cmocka_unit_test(braces_in_text),
        cmocka_unit_test(too_large),
        cmocka_unit_test(too_large_in_chunks),
        cmocka_unit_test(announced_too_large),
        cmocka_unit_test(rubbish),
        cmocka_unit_test(long_address),
        cmocka_unit_test(head_and_keep_alive),
        cmocka_unit_test(pipelined),
        cmocka_unit_test(drips),
        cmocka_unit_test(body_that_never_comes),
        cmocka_unit_test(idle),
        cmocka_unit_test(takes_nothing),
        cmocka_unit_test(too_many),
        cmocka_unit_test(goes_away),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
