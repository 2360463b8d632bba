/* The live stream: many listeners, two on one job, what was missed, and the server's end. */
#include "serve.h"

static serve here;

static int set_up(void **state) {
    (void)state;
    serve_prepare(&here);
    here.limits.comment_ms = 200;
    serve_start(&here);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    serve_finish(&here);
    return 0;
}

typedef struct listener {
    int handle;
    char text[65536];
    size_t length;
} listener;

static void listen_from(listener *one, const char *last) {
    char text[256];
    one->handle = client_open(here.port);
    one->length = 0;
    one->text[0] = 0;
    assert_true(one->handle >= 0);
    snprintf(text, sizeof text, "GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n%s%s%s\r\n",
             here.port, last ? "Last-Event-ID: " : "", last ? last : "", last ? "\r\n" : "");
    client_say(one->handle, text);
}

/* Reads on until `words` have come; false at the end of the stream or after `ms`. */
static bool hears(listener *one, const char *words, int ms) {
    int64_t until = client_ms() + ms;
    while (!strstr(one->text, words) && client_ms() < until) {
        long got = client_get(one->handle, one->text + one->length,
                              sizeof one->text - one->length - 1, 50);
        if (got == 0) return false;
        if (got < 0) continue;
        one->length += (size_t)got;
        one->text[one->length] = 0;
    }
    return strstr(one->text, words) != NULL;
}

/* The last chunk came, or the connection was closed. */
static bool ends(listener *one, int ms) {
    static const char last[] = "\r\n0\r\n\r\n";
    int64_t until = client_ms() + ms;
    char data[65536 + 8] = "\r\n"; /* the ends of two reads are looked at together */
    size_t kept = 2;
    while (client_ms() < until) {
        long got = client_get(one->handle, data + kept, 65536, 50);
        if (got == 0) return true;
        if (got < 0) continue;
        size_t length = kept + (size_t)got;
        if (memmem(data, length, last, sizeof last - 1)) return true;
        kept = length < 7 ? length : 7;
        memmove(data, data + length - kept, kept);
    }
    return false;
}

static void note(int64_t job, const char *text) {
    char fact[128];
    snprintf(fact, sizeof fact, "{\"kind\": \"note\", \"body\": {\"text\": \"%s\"}}", text);
    serve_fact(&here, job, fact, 200);
}

static void wait_for_listeners(size_t count) {
    int64_t until = client_ms() + 5000;
    while (http_events_listeners(here.server->events) != count && client_ms() < until)
        client_sleep(20);
    assert_int_equal(http_events_listeners(here.server->events), count);
}

/* ---- tests --------------------------------------------------------------------------------- */

static void two_on_one_job(void **state) {
    static listener one, other;
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    listen_from(&one, NULL);
    listen_from(&other, NULL);
    assert_true(hears(&one, ": gridleak", 2000));
    assert_non_null(strstr(one.text, "Content-Type: text/event-stream"));
    assert_true(hears(&other, ": gridleak", 2000));
    serve_fact(&here, job,
               "{\"kind\": \"reading\", \"body\": {\"phase\": \"before\", \"at\": \"V2.5\", "
               "\"volts\": 4.1}}",
               200);
    assert_true(hears(&one, "event: suspects", 1000));
    assert_true(hears(&other, "event: suspects", 1000));
    assert_non_null(strstr(one.text, "\"kind\":\"reading\""));
    char job_words[64];
    snprintf(job_words, sizeof job_words, "\"job\":%lld", (long long)job);
    assert_non_null(strstr(other.text, job_words));
    close(one.handle);
    close(other.handle);
    wait_for_listeners(0); /* found out by the next comments */
}

static void comments(void **state) {
    static listener one;
    (void)state;
    listen_from(&one, NULL);
    assert_true(hears(&one, ": gridleak", 2000));
    one.length = 0;
    one.text[0] = 0;
    assert_true(hears(&one, ":\n\n", 1500));
    one.length = 0;
    one.text[0] = 0;
    assert_true(hears(&one, ":\n\n", 1500));
    close(one.handle);
    wait_for_listeners(0);
}

static void what_was_missed(void **state) {
    static listener one;
    char last[32];
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    listen_from(&one, NULL);
    assert_true(hears(&one, ": gridleak", 2000));
    note(job, "first");
    assert_true(hears(&one, "event: fact", 1000));
    snprintf(last, sizeof last, "%lld", atoll(strstr(one.text, "id: ") + 4));
    close(one.handle);
    note(job, "second");
    note(job, "third");
    listen_from(&one, last);
    assert_true(hears(&one, "event: fact", 1000));
    char *again = strstr(one.text, "event: fact");
    assert_true(hears(&one, "\"note\"}\n\nid: ", 1000));
    assert_non_null(strstr(again + 1, "event: fact"));
    close(one.handle);
    wait_for_listeners(0);
}

/* Ids of another run, of the future, or no numbers: from now on. */
static void strange_last_ids(void **state) {
    static const char *const lasts[] = {"1", "-5", "99999999999999999999", "abc", "", "7 8"};
    static listener one;
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    for (size_t i = 0; i < sizeof lasts / sizeof *lasts; i++) {
        listen_from(&one, lasts[i]);
        assert_true(hears(&one, ": gridleak", 2000));
        assert_false(hears(&one, "event:", 100));
        note(job, "now");
        assert_true(hears(&one, "event: fact", 1000));
        close(one.handle);
    }
    wait_for_listeners(0);
}

/* One that never reads falls out of the ring and is let go; the others hear everything. */
static void one_that_never_reads(void **state) {
    static listener deaf, keen;
    (void)state;
    listen_from(&deaf, NULL);
    listen_from(&keen, NULL);
    assert_true(hears(&keen, ": gridleak", 2000));
    char *name = malloc(900);
    memset(name, 'x', 899);
    name[899] = 0;
    for (int i = 0; i < 20000; i++) {
        char mark[32];
        http_events_tell(here.server->events, "amp", json_pack("{s:s,s:i}", "name", name, "i", i));
        if (i % 50 != 49) continue;
        snprintf(mark, sizeof mark, "\"i\":%d}", i);
        keen.length = 0;
        keen.text[0] = 0;
        if (!hears(&keen, mark, 2000)) fail_msg("event %d was not heard", i);
    }
    /* What the system holds for it still arrives; then the stream ends. */
    assert_true(ends(&deaf, 20000));
    close(deaf.handle);
    close(keen.handle);
    free(name);
    wait_for_listeners(0);
}

/* Many listen, many facts come, and the server ends in the midst of it; again and again. */
static void stop_in_mid_stream(void **state) {
    static listener all[60];
    (void)state;
    int64_t job = serve_job(&here, "wren-hollow");
    for (int round = 0; round < 4; round++) {
        for (int i = 0; i < 60; i++)
            listen_from(&all[i], NULL);
        for (int i = 0; i < 60; i += 7)
            assert_true(hears(&all[i], ": gridleak", 3000));
        for (int i = 0; i < 5; i++)
            note(job, "on");
        /* A request is on its way, too. */
        int busy = client_open(here.port);
        char text[256];
        snprintf(text, sizeof text,
                 "GET /api/jobs/%lld/suspects HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n",
                 (long long)job, here.port);
        client_say(busy, text);
        int64_t start = client_ms();
        serve_stop(&here);
        assert_true(client_ms() - start < 5000);
        for (int i = 0; i < 60; i++) {
            assert_true(ends(&all[i], 1000));
            close(all[i].handle);
        }
        close(busy);
        serve_start(&here);
        client_answer view = serve_job_get(&here, job, "");
        assert_int_equal(json_array_size(client_at(view.json, "notes")), 5 * (round + 1));
        client_free(&view);
    }
}

static void stop_with_nobody(void **state) {
    (void)state;
    for (int i = 0; i < 3; i++) {
        serve_stop(&here);
        serve_start(&here);
    }
}

static void port_in_use(void **state) {
    (void)state;
    serve_stop(&here);
    serve_start(&here);
    http_options options = here.options;
    base_errors *errors = base_errors_new();
    char words[32];
    options.port = here.port;
    assert_null(http_start(here.bench.store, &options, errors));
    assert_int_equal(base_errors_worst(errors), BASE_FILE);
    snprintf(words, sizeof words, "port %d is in use", here.port);
    assert_non_null(strstr(base_errors_at(errors, 0)->cause, words));
    assert_true(*base_errors_at(errors, 0)->remedy);
    base_errors_free(errors);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_on_one_job),       cmocka_unit_test(comments),
        cmocka_unit_test(what_was_missed),      cmocka_unit_test(strange_last_ids),
        cmocka_unit_test(one_that_never_reads), cmocka_unit_test(stop_in_mid_stream),
        cmocka_unit_test(stop_with_nobody),     cmocka_unit_test(port_in_use)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
