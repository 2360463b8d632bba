/* Requests made wrong at random, with a seed, below the socket: nothing crashes, nothing is a fault
 * of the server, every refusal says why and what to do, and what is stored is what was typed. */
#include "serve.h"

#define ROUNDS 3000
#define SEED 20250301

static serve here;
static base_random chance;
static int64_t job;

static int set_up(void **state) {
    (void)state;
    serve_prepare(&here);
    here.server = http_core_new(here.bench.store, &here.options, here.bench.errors);
    assert_non_null(here.server);
    job = bench_job(&here.bench, "wren-hollow");
    base_random_seed(&chance, SEED);
    return 0;
}

static int tear_down(void **state) {
    (void)state;
    http_core_free(here.server);
    here.server = NULL;
    serve_finish(&here);
    return 0;
}

static size_t any(size_t count) {
    return (size_t)(base_random_bits(&chance) % count);
}

/* ---- asking without a socket --------------------------------------------------------------- */

static http_answer ask(const char *method, const char *target, const void *body, size_t length) {
    char host[32];
    http_request request = {.method = method, .body = body, .length = length};
    http_answer answer = {0};
    snprintf(host, sizeof host, "127.0.0.1:%d", http_port(here.server));
    request.host = host;
    request.content_type = strstr(target, "/photos") ? "image/png" : "application/json";
    if (http_target_read(&request.target, target))
        http_handle(here.server, &request, &answer);
    else
        answer.status = 400;
    return answer;
}

static void is_sound(const http_answer *answer, const char *what) {
    if (answer->status >= 500 || answer->status < 200)
        fail_msg("%.600s: %d %.*s", what, answer->status, (int)answer->length,
                 answer->data ? (char *)answer->data : "");
    if (answer->status < 400 || !answer->data) return;
    json_t *json = json_loadb(answer->data, answer->length, JSON_REJECT_DUPLICATES, NULL);
    const char *cause = json_string_value(client_at(json, "errors.0.cause"));
    const char *remedy = json_string_value(client_at(json, "errors.0.remedy"));
    if (!cause || !*cause || !remedy || !*remedy)
        fail_msg("%.300s: %.*s", what, (int)answer->length, (char *)answer->data);
    json_decref(json);
}

/* ---- nasty values -------------------------------------------------------------------------- */

static const char *const nasty_texts[] = {
    "'; DROP TABLE fact; --",
    "\" OR 1=1 --",
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "&lt;b&gt; & \"quotes\" 'single'",
    "../../../../etc/passwd",
    "%00%0a%2e%2e",
    "%s%n%x",
    "=1+1",
    "a|b|c",
    "line one\nline two\ttab",
    "\u202e right to left \u0301\u0301\u0301",
    "\U0001F50A\U0001F39B",
    "{\"kind\": \"note\"}",
    "NaN",
    "V2.5-V2.5",
    "V2.5=4 V",
    "R12: {value: 1}",
    "* NEAR(\" OR ^",
    "   ",
};
#define TEXTS (sizeof nasty_texts / sizeof *nasty_texts)

static json_t *nasty_value(void) {
    static const double numbers[] = {0, -0.0, 1, -1, 1e308, -1e308, 5e-324, 0.1, 1e15, 255, 60};
    char *long_text;
    json_t *value;
    switch (any(9)) {
    case 0:
        return json_null();
    case 1:
        return json_boolean(any(2));
    case 2:
        return json_real(numbers[any(sizeof numbers / sizeof *numbers)]);
    case 3:
        return json_integer(any(2) ? INT64_MAX : INT64_MIN + (json_int_t)any(3));
    case 4:
        return json_array();
    case 5:
        return json_pack("[[[{s:[i,n]}]]]", "a", 1);
    case 6:
        long_text = malloc(70001);
        memset(long_text, 'w', 70000);
        long_text[70000] = 0;
        value = json_string(long_text);
        free(long_text);
        return value;
    default:
        return json_string(nasty_texts[any(TEXTS)]);
    }
}

/* Replaces, removes or adds one value somewhere below. */
static void spoil(json_t *json) {
    size_t count = json_is_object(json) ? json_object_size(json) : json_array_size(json);
    size_t chosen = count ? any(count) : 0, i = 0;
    const char *key;
    json_t *each;
    void *next;
    if (json_is_array(json)) {
        each = json_array_get(json, chosen);
        if ((json_is_object(each) || json_is_array(each)) && any(3))
            spoil(each);
        else if (count)
            json_array_set_new(json, chosen, nasty_value());
        else
            json_array_append_new(json, nasty_value());
        return;
    }
    json_object_foreach_safe(json, next, key, each) {
        if (i++ != chosen) continue;
        if ((json_is_object(each) || json_is_array(each)) && any(4))
            spoil(each);
        else if (any(5) == 0)
            json_object_del(json, key);
        else
            json_object_set_new(json, key, nasty_value());
        break;
    }
    if (any(8) == 0) json_object_set_new(json, nasty_texts[any(TEXTS)], nasty_value());
}

/* Now and then the text itself is broken, too. */
static char *spoiled_text(json_t *json, size_t *length) {
    char *text = json_dumps(json, JSON_ENCODE_ANY);
    *length = strlen(text);
    size_t way = any(6);
    if (way == 0 && *length) *length = any(*length);
    if (way == 1)
        for (int i = 0; i < 4; i++)
            text[any(*length)] = (char)base_random_bits(&chance);
    return text;
}

/* ---- bodies -------------------------------------------------------------------------------- */

static const char *const facts[] = {
    "{'kind':'reading','body':{'phase':'before','at':'V2.5','volts':4.1,'meter':'10M',"
    "'mains':121},'token':'t'}",
    "{'kind':'drain','body':{'at':'C12','volts':0.4,'through':470}}",
    "{'kind':'power','body':{'on':true,'mains':120}}",
    "{'kind':'look','body':{'part':'R12','state':'original','condition':['burnt'],"
    "'code':'285-642','note':'n'}}",
    "{'kind':'decision','body':{'part':'C3','action':'replace','reason':'failing','price':250,"
    "'minutes':20,'bag':true}}",
    "{'kind':'estimate','body':{'lines':[{'text':'C3','amount':250}],'total':250}}",
    "{'kind':'edit','body':{'phase':'found','part':'R12','key':'value','to':'430',"
    "'does':'change'}}",
    "{'kind':'work','body':{'text':'replace C3','part':'C3','done':false}}",
    "{'kind':'note','body':{'text':'n'},'replaces':1}",
    "{'kind':'hand back','body':{'found':'f','done':'d','cause_part':'C3','cause_what':'leaky'}}",
    "{'kind':'invoice','body':{'lines':[{'text':'C3','amount':250}],'tax_percent':20,"
    "'total':300}}",
};

static void posts(void **state) {
    static const struct {
        const char *method, *target, *body; /* body NULL: one of the facts */
    } asks[] = {
        {"POST", "/api/jobs/%lld/facts", NULL},
        {"POST", "/api/jobs/%lld/facts", NULL},
        {"POST", "/api/jobs/%lld/facts", NULL},
        {"POST", "/api/jobs",
         "{'owner':'A','complaint':'c','amp':'granary','accessories':['a'],'keep':'k'}"},
        {"POST", "/api/jobs/%lld/undo", "{'fact':3}"},
        {"POST", "/api/jobs/%lld/edit",
         "{'phase':'repaired','part':'R9','key':'value','to':'100k','does':'change'}"},
        {"PUT", "/api/shop",
         "{'name':'n','address':'a','currency':'EUR','tax_percent':20,'hourly':6000,'paper':'A4'}"},
        {"POST", "/api/check", "{'text':'amp: x'}"},
        {"PUT", "/api/amps/mine", "{'text':'amp: x'}"},
    };
    char target[128];
    (void)state;
    for (int round = 0; round < ROUNDS; round++) {
        size_t which = any(sizeof asks / sizeof *asks), length;
        const char *body =
            asks[which].body ? asks[which].body : facts[any(sizeof facts / sizeof *facts)];
        json_t *json = bench_json(body);
        snprintf(target, sizeof target, asks[which].target, (long long)job);
        for (size_t times = any(3) + (asks[which].body != NULL); times > 0; times--)
            spoil(json);
        char *text = spoiled_text(json, &length);
        http_answer answer = ask(asks[which].method, target, text, length);
        is_sound(&answer, text);
        http_answer_clear(&answer);
        free(text);
        json_decref(json);
    }
}

/* ---- paths and queries --------------------------------------------------------------------- */

static void append_escaped(char *text, size_t size, const char *value) {
    size_t length = strlen(text);
    for (; *value && length + 4 < size; value++)
        length += (size_t)snprintf(text + length, size - length, "%%%02x", (unsigned char)*value);
}

static void gets(void **state) {
    static const char *const paths[] = {"/api/jobs/%lld",
                                        "/api/jobs/%lld/facts",
                                        "/api/jobs/%lld/chart?phase=",
                                        "/api/jobs?q=",
                                        "/api/jobs/%lld/chart?meter=",
                                        "/api/jobs/%lld/suspects?phase=",
                                        "/api/photos/",
                                        "/api/jobs/%lld/amp?as=",
                                        "/api/jobs/%lld/substitute?part=",
                                        "/api/amps/",
                                        "/api/history?amp=",
                                        "/api/curves?amp=wren-hollow&tube=",
                                        "/api/curves?job=",
                                        "/api/jobs/%lld/safety?ohms=",
                                        "/api/jobs/%lld/differences?to=",
                                        "/api/jobs/%lld/dates",
                                        "/api/jobs/%lld/compare",
                                        "/api/jobs/%lld/readings.csv",
                                        "/api/jobs/",
                                        "/"};
    char target[1024];
    (void)state;
    for (int round = 0; round < ROUNDS / 3; round++) {
        snprintf(target, sizeof target, paths[any(sizeof paths / sizeof *paths)], (long long)job);
        const char *value = nasty_texts[any(TEXTS)];
        if (any(2))
            append_escaped(target, sizeof target, value);
        else
            strncat(target, value, sizeof target - strlen(target) - 1);
        http_answer answer = ask("GET", target, NULL, 0);
        is_sound(&answer, target);
        http_answer_clear(&answer);
    }
}

/* ---- what is stored ------------------------------------------------------------------------ */

static json_t *value_for(const job_key *key, const char *text) {
    char word[64];
    snprintf(word, sizeof word, "%.*s", key->words ? (int)strcspn(key->words, "|") : 0,
             key->words ? key->words : "");
    switch (key->type) {
    case 's':
        return json_string(*word ? word : text);
    case 'p':
        return json_string("C3");
    case 'b':
        return json_true();
    case 'l':
        return json_pack("[s]", *word ? word : text);
    case 'o':
        return json_pack("[{s:s,s:i}]", "text", text, "amount", 5);
    default:
        return json_integer(key->least < key->most && key->least > 1 ? (json_int_t)key->least : 2);
    }
}

/* SQL and HTML in every text of every kind of fact: refused with a reason, or back as it was. */
static void texts_come_back(void **state) {
    size_t count, taken = 0;
    const job_kind *kinds = job_kinds(&count);
    char target[64];
    (void)state;
    int64_t fresh = bench_job(&here.bench, "wren-hollow");
    snprintf(target, sizeof target, "/api/jobs/%lld/facts", (long long)fresh);
    for (size_t kind = 0; kind < count; kind++)
        for (size_t text = 0; text < TEXTS; text++) {
            json_t *body = json_object();
            for (const job_key *key = kinds[kind].keys; key->name; key++)
                json_object_set_new(body, key->name, value_for(key, nasty_texts[text]));
            json_t *fact = json_pack("{s:s,s:o}", "kind", kinds[kind].name, "body", body);
            char *sent = json_dumps(fact, 0);
            http_answer answer = ask("POST", target, sent, strlen(sent));
            is_sound(&answer, sent);
            if (answer.status == 200) {
                http_answer all = ask("GET", target, NULL, 0);
                json_t *list = json_loadb(all.data, all.length, 0, NULL);
                json_t *last = json_array_get(list, json_array_size(list) - 1);
                if (!json_equal(json_object_get(last, "body"), json_object_get(fact, "body")))
                    fail_msg("changed: %s", sent);
                json_decref(list);
                http_answer_clear(&all);
                taken++;
            }
            http_answer_clear(&answer);
            json_decref(fact);
            free(sent);
        }
    assert_true(taken > count * TEXTS / 4);
}

/* After all of that the store still opens, and every job can be seen. */
static void the_store_is_whole(void **state) {
    (void)state;
    bench_reopen(&here.bench);
    here.server->store = here.bench.store;
    json_t *rows = job_search(here.bench.store, "", false, 500, here.bench.errors);
    json_t *row;
    size_t i;
    assert_true(json_array_size(rows) > 2);
    json_array_foreach(rows, i, row) {
        json_t *view = bench_view(&here.bench, json_integer_value(json_object_get(row, "job")));
        json_decref(view);
    }
    json_decref(rows);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(posts), cmocka_unit_test(gets),
                                       cmocka_unit_test(texts_come_back),
                                       cmocka_unit_test(the_store_is_whole)};
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
