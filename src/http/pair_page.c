/* Pairing, as the device and the bench see it: a form that needs no script, and the code. */
#include "http_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char style[] =
    ":root{color-scheme:light dark;font:18px/1.5 system-ui,sans-serif}"
    "main{max-width:24em;margin:10vh auto;padding:0 1em}"
    "label,input,button{display:block;width:100%;box-sizing:border-box;font:inherit}"
    "input{font-size:2em;letter-spacing:.1em;text-align:center;padding:.3em}"
    "button{margin-top:1em;min-height:48px}"
    ".wrong{border-left:4px solid;padding-left:.6em}";

static const char form[] =
    "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
    "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">"
    "<title>Pair with the bench</title><link rel=\"stylesheet\" href=\"/pair.css\"></head>"
    "<body><main><h1>Pair this device</h1>%s%s%s"
    "<form method=\"post\" action=\"/pair\" autocomplete=\"off\">"
    "<label for=\"code\">The eight digits that the bench shows</label>"
    "<input id=\"code\" name=\"code\" inputmode=\"numeric\" maxlength=\"12\" required autofocus "
    "value=\"%s\"><button>Pair</button></form>"
    "<p>A paired device can read and change everything on this bench: owners, jobs, photos. "
    "It stays paired until the bench is stopped.</p></main></body></html>\n";

static bool is_open(http_call *call) {
    if (call->server->pairing) return true;
    base_errors_add(call->errors, BASE_UNKNOWN, (base_place){0},
                    "this bench is not open to other devices|start it with --lan");
    return false;
}

static void answer_form(http_call *call, const char *code, const char *words) {
    char *page = NULL, digits[16] = "";
    for (const char *c = code; *c && strlen(digits) < 12; c++)
        if ((*c >= '0' && *c <= '9') || *c == ' ') strncat(digits, c, 1);
    int length = asprintf(&page, form, *words ? "<p class=\"wrong\" role=\"alert\">" : "", words,
                          *words ? "</p>" : "", digits);
    http_answer_bytes(call->answer, "text/html; charset=utf-8", length < 0 ? NULL : page,
                      length < 0 ? 0 : (size_t)length);
}

void http_pair_page(http_call *call) {
    if (is_open(call)) answer_form(call, http_param(call, "code", ""), "");
}

void http_pair_style(http_call *call) {
    *call->answer = (http_answer){.status = 200,
                                  .type = "text/css; charset=utf-8",
                                  .data = (void *)style,
                                  .length = sizeof style - 1,
                                  .borrowed = true};
}

/* ---- giving the code ----------------------------------------------------------------------- */

static void refuse(http_call *call, http_guess guess) {
    char words[160];
    http_lan lan;
    http_pairing_now(call->server->pairing, http_ticks(), &lan);
    if (guess == HTTP_FULL)
        strcpy(words, "Sixteen devices are paired, and no more can be. Forget them at the bench.");
    else if (lan.locked_s)
        snprintf(words, sizeof words,
                 "%s Wait %d seconds before the next try, or ask for a new code at the bench.",
                 guess == HTTP_WRONG ? "That is not the code." : "Too many wrong codes.",
                 lan.locked_s);
    else
        strcpy(words, "That is not the code. Look at the bench: it changes with each device.");
    call->answer->status = guess == HTTP_LOCKED ? 429 : 403;
    call->answer->retry_s = guess == HTTP_LOCKED ? lan.locked_s : 0;
    answer_form(call, "", words);
}

void http_pair_try(http_call *call) {
    http_target form_data;
    char token[HTTP_TOKEN], raw[1100];
    if (!is_open(call)) return;
    snprintf(raw, sizeof raw, "/?%.*s", (int)call->request->length,
             call->request->length ? (const char *)call->request->body : "");
    const char *code =
        http_target_read(&form_data, raw) ? http_target_param(&form_data, "code") : NULL;
    http_guess guess =
        http_pairing_try(call->server->pairing, code ? code : "", http_ticks(), token);
    if (guess != HTTP_PAIRED) {
        refuse(call, guess);
        return;
    }
    snprintf(call->answer->set_cookie, sizeof call->answer->set_cookie,
             "gridleak=%s; Path=/; Max-Age=2592000; HttpOnly; Secure; SameSite=Strict", token);
    call->answer->status = 303;
    call->answer->location = "/";
}

/* ---- at the bench -------------------------------------------------------------------------- */

void http_api_pairing(http_call *call) {
    http_lan lan;
    if (!http_lan_now(call->server, &lan))
        http_answer_exact(call, json_pack("{s:b}", "lan", false));
    else
        http_answer_exact(call, json_pack("{s:b,s:s,s:o,s:s,s:i,s:i}", "lan", true, "code",
                                          lan.code, "address", http_json_text(lan.address),
                                          "fingerprint", lan.fingerprint, "devices", lan.devices,
                                          "locked_s", lan.locked_s));
}

void http_api_pairing_new(http_call *call) {
    bool forget = json_is_true(json_object_get(call->body, "forget"));
    if (!is_open(call)) return;
    http_pairing_renew(call->server->pairing, forget);
    if (forget) http_events_drop_lan(call->server->events);
    http_api_pairing(call);
}

void http_api_pairing_qr(http_call *call) {
    char link[160];
    http_lan lan;
    if (!is_open(call) || !http_lan_now(call->server, &lan)) return;
    snprintf(link, sizeof link, "%spair?code=%.4s%.4s", lan.address ? lan.address : "", lan.code,
             lan.code + 5);
    char *drawn = http_qr_svg(link);
    http_answer_bytes(call->answer, "image/svg+xml", drawn, drawn ? strlen(drawn) : 0);
}
