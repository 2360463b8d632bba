/* --lan: the code, guesses at it, and what a device may do before and after; over real TLS. */
#include "serve.h"

#include <gnutls/gnutls.h>
#include <sys/stat.h>

static serve here;

static int set_up(void **state) {
    (void)state;
    serve_prepare(&here);
    here.options.lan = true;
    here.options.clock = NULL; /* a certificate holds by the true date */
    serve_start(&here);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    serve_finish(&here);
    return 0;
}

/* ---- guesses ------------------------------------------------------------------------------- */

static void bare_code(http_pairing *pairing, char code[9]) {
    http_lan lan = {0};
    http_pairing_now(pairing, 0, &lan);
    snprintf(code, 9, "%.4s%.4s", lan.code, lan.code + 5);
}

static void wrong_code(const char *right, char wrong[9]) {
    strcpy(wrong, right);
    wrong[7] = wrong[7] == '0' ? '1' : '0';
}

static void a_right_guess(void **state) {
    char code[9], next[9], spaced[16], token[HTTP_TOKEN];
    (void)state;
    http_pairing *pairing = http_pairing_new();
    bare_code(pairing, code);
    assert_int_equal(strspn(code, "0123456789"), 8);
    snprintf(spaced, sizeof spaced, " %.4s-%.4s", code, code + 4);
    assert_int_equal(http_pairing_try(pairing, spaced, 0, token), HTTP_PAIRED);
    assert_int_equal(strlen(token), HTTP_TOKEN - 1);
    assert_true(http_pairing_knows(pairing, token));
    token[3] = token[3] == 'a' ? 'b' : 'a';
    assert_false(http_pairing_knows(pairing, token));
    assert_false(http_pairing_knows(pairing, ""));
    bare_code(pairing, next);
    assert_string_not_equal(code, next); /* each code pairs one device */
    assert_int_equal(http_pairing_try(pairing, code, 0, token), HTTP_WRONG);
    http_pairing_free(pairing);
}

static void odd_guesses(void **state) {
    static const char *const odd[] = {"", "1", "        ", "123456789", "aaaaaaaa", "%s%s%s%n"};
    char token[HTTP_TOKEN];
    (void)state;
    for (size_t i = 0; i < sizeof odd / sizeof *odd; i++) {
        http_pairing *pairing = http_pairing_new();
        assert_int_equal(http_pairing_try(pairing, odd[i], 0, token), HTTP_WRONG);
        http_pairing_free(pairing);
    }
}

/* Five are free; then each costs a wait twice as long, up to a quarter of an hour; the right code
 * is not looked at while it lasts. */
static void waits_grow(void **state) {
    char code[9], wrong[9], token[HTTP_TOKEN];
    http_lan lan;
    int64_t now = 1000, before = 0;
    (void)state;
    http_pairing *pairing = http_pairing_new();
    bare_code(pairing, code);
    wrong_code(code, wrong);
    for (int i = 0; i < 4; i++)
        assert_int_equal(http_pairing_try(pairing, wrong, now, token), HTTP_WRONG);
    http_pairing_now(pairing, now, &lan);
    assert_int_equal(lan.locked_s, 0);
    for (int i = 0; i < 12; i++) {
        assert_int_equal(http_pairing_try(pairing, wrong, now, token), HTTP_WRONG);
        assert_int_equal(http_pairing_try(pairing, code, now, token), HTTP_LOCKED);
        http_pairing_now(pairing, now, &lan);
        assert_true(lan.locked_s >= before && lan.locked_s >= 10 && lan.locked_s <= 900);
        before = lan.locked_s;
        now += (int64_t)lan.locked_s * 1000;
    }
    assert_int_equal(before, 900);
    assert_int_equal(http_pairing_try(pairing, code, now, token), HTTP_PAIRED);
    http_pairing_free(pairing);
}

/* How likely is it to guess the code in a day? Under one in a hundred thousand. */
static void a_day_of_guessing(void **state) {
    char code[9], wrong[9], token[HTTP_TOKEN];
    (void)state;
    http_pairing *pairing = http_pairing_new();
    bare_code(pairing, code);
    wrong_code(code, wrong);
    int looked_at = 0;
    for (int64_t now = 0; now < 86400000; now += 1000)
        looked_at += http_pairing_try(pairing, wrong, now, token) == HTTP_WRONG;
    assert_true(looked_at < 1e8 / 1e5);
    http_pairing_free(pairing);
}

static void sixteen_devices(void **state) {
    char code[9], token[HTTP_TOKEN], first[HTTP_TOKEN];
    (void)state;
    http_pairing *pairing = http_pairing_new();
    for (int i = 0; i < 16; i++) {
        bare_code(pairing, code);
        assert_int_equal(http_pairing_try(pairing, code, 0, token), HTTP_PAIRED);
        if (i == 0) strcpy(first, token);
    }
    bare_code(pairing, code);
    assert_int_equal(http_pairing_try(pairing, code, 0, token), HTTP_FULL);
    assert_true(http_pairing_knows(pairing, first));
    http_pairing_renew(pairing, true);
    assert_false(http_pairing_knows(pairing, first));
    http_pairing_free(pairing);
}

/* ---- the certificate ----------------------------------------------------------------------- */

static void certificate_is_kept(void **state) {
    http_names names;
    http_certificate one, other;
    struct stat about;
    char path[128];
    (void)state;
    http_names_find(&names);
    const char *folder = here.bench.folder;
    int64_t now = NOON;
    assert_int_equal(http_certificate_open(folder, &names, now, &one, here.bench.errors), BASE_OK);
    assert_int_equal(http_certificate_open(folder, &names, now, &other, here.bench.errors),
                     BASE_OK);
    assert_string_equal(one.pem, other.pem);
    assert_int_equal(strlen(one.fingerprint), 95);
    snprintf(path, sizeof path, "%s/lan-certificate.pem", folder);
    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(about.st_mode & 0777, 0600);
    http_certificate_free(&other);
    /* Others could have read it; a year has gone by; the machine has another name: a new one. */
    assert_int_equal(chmod(path, 0644), 0);
    assert_int_equal(http_certificate_open(folder, &names, now, &other, here.bench.errors),
                     BASE_OK);
    assert_string_not_equal(one.pem, other.pem);
    http_certificate_free(&one);
    assert_int_equal(
        http_certificate_open(folder, &names, now + 392LL * 86400000, &one, here.bench.errors),
        BASE_OK);
    assert_string_not_equal(one.pem, other.pem);
    http_certificate_free(&other);
    strcpy(names.name[names.count++], "bench.example");
    assert_int_equal(http_certificate_open(folder, &names, now, &other, here.bench.errors),
                     BASE_OK);
    assert_string_not_equal(one.pem, other.pem);
    http_certificate_free(&one);
    http_certificate_free(&other);
}

static void certificate_file_is_rubbish(void **state) {
    http_names names = {0};
    http_certificate one;
    char path[128];
    (void)state;
    snprintf(path, sizeof path, "%s/lan-certificate.pem", here.bench.folder);
    FILE *file = fopen(path, "w");
    fputs("-----BEGIN CERTIFICATE-----\nrubbish\n", file);
    fclose(file);
    assert_int_equal(chmod(path, 0600), 0);
    assert_int_equal(
        http_certificate_open(here.bench.folder, &names, NOON, &one, here.bench.errors), BASE_OK);
    assert_non_null(strstr(one.pem, "BEGIN EC PRIVATE KEY"));
    http_certificate_free(&one);
    base_errors *errors = base_errors_new();
    assert_int_equal(http_certificate_open("/proc/none", &names, NOON, &one, errors), BASE_FILE);
    base_errors_free(errors);
}

/* ---- a device ------------------------------------------------------------------------------ */

typedef struct device {
    int handle;
    gnutls_session_t session;
    gnutls_certificate_credentials_t trust;
} device;

static bool device_open(device *device) {
    device->handle = client_open(here.server->far.port);
    assert_true(device->handle >= 0);
    gnutls_certificate_allocate_credentials(&device->trust);
    gnutls_certificate_set_x509_trust_mem(
        device->trust,
        &(gnutls_datum_t){(unsigned char *)here.server->certificate.pem,
                          (unsigned)strlen(here.server->certificate.pem)},
        GNUTLS_X509_FMT_PEM);
    gnutls_init(&device->session, GNUTLS_CLIENT);
    gnutls_set_default_priority(device->session);
    gnutls_credentials_set(device->session, GNUTLS_CRD_CERTIFICATE, device->trust);
    gnutls_session_set_verify_cert(device->session, "localhost", 0);
    gnutls_transport_set_int(device->session, device->handle);
    gnutls_handshake_set_timeout(device->session, 5000);
    int code;
    while ((code = gnutls_handshake(device->session)) < 0 && !gnutls_error_is_fatal(code))
        continue;
    if (code < 0) print_message("%s\n", gnutls_strerror(code));
    return code == 0;
}

static void device_close(device *device) {
    gnutls_deinit(device->session);
    gnutls_certificate_free_credentials(device->trust);
    close(device->handle);
}

/* One request over TLS, `Connection: close`. */
static client_answer device_ask(client_ask ask) {
    device device;
    char *text, more[512], host[64];
    client_answer answer = {.text = calloc(1, CLIENT_MOST)};
    snprintf(host, sizeof host, "127.0.0.1:%d", here.server->far.port);
    snprintf(more, sizeof more, "%sConnection: close\r\n", ask.more ? ask.more : "");
    ask.more = more;
    if (!ask.host) ask.host = host;
    assert_true(device_open(&device));
    size_t length = client_request(&ask, &text);
    gnutls_record_send(device.session, text, length);
    free(text);
    ssize_t got;
    while ((got = gnutls_record_recv(device.session, answer.text + answer.length,
                                     CLIENT_MOST - answer.length - 1)) > 0)
        answer.length += (size_t)got;
    answer.status = answer.length > 12 ? atoi(answer.text + 9) : 0;
    char *body = strstr(answer.text, "\r\n\r\n");
    answer.body = body ? body + 4 : "";
    answer.body_length = strlen(answer.body);
    answer.json = json_loads(answer.body, 0, NULL);
    device_close(&device);
    return answer;
}

static int device_status(const char *method, const char *path, const char *more) {
    client_answer answer = device_ask((client_ask){.method = method, .path = path, .more = more});
    int status = answer.status;
    client_free(&answer);
    return status;
}

static client_answer give_code(const char *code, const char *more) {
    char body[64];
    snprintf(body, sizeof body, "code=%s", code);
    return device_ask((client_ask){.method = "POST",
                                   .path = "/pair",
                                   .body = body,
                                   .more = more,
                                   .type = "application/x-www-form-urlencoded"});
}

static void not_paired(void **state) {
    (void)state;
    assert_int_equal(device_status("GET", "/api/jobs", NULL), 401);
    assert_int_equal(device_status("GET", "/api/events", NULL), 401);
    assert_int_equal(device_status("GET", "/api/ping", NULL), 401);
    assert_int_equal(device_status("GET", "/api/pairing", NULL), 401);
    assert_int_equal(device_status("GET", "/app-1a2b.js", NULL), 401);
    assert_int_equal(device_status("GET", "/", NULL), 303);
    assert_int_equal(device_status("GET", "/pair", NULL), 200);
    assert_int_equal(device_status("GET", "/pair.css", NULL), 200);
    assert_int_equal(device_status("GET", "/api/jobs", "Cookie: gridleak=\r\n"), 401);
    client_answer wrong_host =
        device_ask((client_ask){.method = "GET", .path = "/pair", .host = "a.example"});
    assert_int_equal(wrong_host.status, 403);
    client_free(&wrong_host);
    /* The form shows digits alone of what the link says. */
    client_answer form =
        device_ask((client_ask){.method = "GET", .path = "/pair?code=12%3Cscript%3E34%22%27x56"});
    assert_non_null(strstr(form.body, "value=\"123456\""));
    assert_null(strstr(form.body, "<script"));
    /* With `no-referrer` a browser sends the form with `Origin: null`, which is refused. */
    assert_string_equal(client_header(&form, "Referrer-Policy"), "same-origin");
    client_free(&form);
}

static void pair_and_use(void **state) {
    char code[9], wrong[9], cookie[160], more[256];
    (void)state;
    bare_code(here.server->pairing, code);
    wrong_code(code, wrong);
    client_answer refused = give_code(wrong, NULL);
    assert_int_equal(refused.status, 403);
    assert_non_null(strstr(refused.body, "not the code"));
    client_free(&refused);
    /* From another page's form: not even a guess. */
    refused = give_code(code, "Origin: https://a.example\r\n");
    assert_int_equal(refused.status, 403);
    client_free(&refused);
    client_answer paired = give_code(code, NULL);
    assert_int_equal(paired.status, 303);
    snprintf(cookie, sizeof cookie, "%.150s", client_header(&paired, "Set-Cookie"));
    assert_non_null(strstr(cookie, "HttpOnly"));
    assert_non_null(strstr(cookie, "Secure"));
    assert_non_null(strstr(cookie, "SameSite=Strict"));
    client_free(&paired);
    cookie[strcspn(cookie, ";")] = 0;
    snprintf(more, sizeof more, "Cookie: a=b; %s; c=d\r\n", cookie);
    assert_int_equal(device_status("GET", "/api/jobs", more), 200);
    assert_int_equal(device_status("GET", "/", more), 200);
    assert_int_equal(device_status("GET", "/api/pairing", more), 403);
    cookie[20] = cookie[20] == '0' ? '1' : '0';
    char other[256];
    snprintf(other, sizeof other, "Cookie: %s\r\n", cookie);
    assert_int_equal(device_status("GET", "/api/jobs", other), 401);
    /* Sent away from the bench. */
    client_answer forget = client_post(here.port, "/api/pairing", "{\"forget\": true}");
    assert_int_equal(forget.status, 200);
    assert_int_equal(json_integer_value(client_at(forget.json, "devices")), 0);
    client_free(&forget);
    assert_int_equal(device_status("GET", "/api/jobs", more), 401);
}

static void guesses_over_the_network(void **state) {
    char code[9], wrong[9];
    (void)state;
    bare_code(here.server->pairing, code);
    wrong_code(code, wrong);
    for (int i = 0; i < 5; i++) {
        client_answer answer = give_code(wrong, NULL);
        assert_int_equal(answer.status, 403);
        client_free(&answer);
    }
    client_answer answer = give_code(code, NULL);
    assert_int_equal(answer.status, 429);
    assert_true(atoi(client_header(&answer, "Retry-After")) >= 1);
    client_free(&answer);
    client_answer renewed = client_post(here.port, "/api/pairing", "{}");
    assert_int_equal(json_integer_value(client_at(renewed.json, "locked_s")), 0);
    assert_string_not_equal(client_text(&renewed, "code"), code);
    client_free(&renewed);
}

static void at_the_bench(void **state) {
    (void)state;
    client_answer pairing = client_fetch(here.port, "/api/pairing");
    assert_true(json_is_true(client_at(pairing.json, "lan")));
    assert_int_equal(strlen(client_text(&pairing, "code")), 9);
    client_free(&pairing);
    client_answer qr = client_fetch(here.port, "/api/pairing.svg");
    assert_string_equal(client_header(&qr, "Content-Type"), "image/svg+xml");
    assert_non_null(strstr(qr.body, "<svg"));
    client_free(&qr);
    char *text = http_qr_text("https://192.0.2.1:8474/pair?code=12345678");
    assert_non_null(strstr(text, "▀"));
    free(text);
}

/* Plain HTTP at the TLS port gets nothing. */
static void plain_at_the_tls_port(void **state) {
    (void)state;
    int handle = client_open(here.server->far.port);
    client_say(handle, "GET /api/jobs HTTP/1.1\r\nHost: localhost\r\n\r\n");
    client_answer answer = client_read(handle, false, 1000);
    assert_int_equal(answer.status, 0);
    client_free(&answer);
    close(handle);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_right_guess),
        cmocka_unit_test(odd_guesses),
        cmocka_unit_test(waits_grow),
        cmocka_unit_test(a_day_of_guessing),
        cmocka_unit_test(sixteen_devices),
        cmocka_unit_test(certificate_is_kept),
        cmocka_unit_test(certificate_file_is_rubbish),
        cmocka_unit_test(not_paired),
        cmocka_unit_test(pair_and_use),
        cmocka_unit_test(guesses_over_the_network),
        cmocka_unit_test(at_the_bench),
        cmocka_unit_test(plain_at_the_tls_port),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
