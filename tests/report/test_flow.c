/* Long jobs and odd words: nothing lost, no row or line alone on a page, no page forgotten. */
#include "report_support.h"

#include <time.h>

static pdf report_of(const json_t *job) {
    report_given given = {.job = job, .now = NOW};
    base_errors *errors = base_errors_new();
    size_t length = 0;
    unsigned char *bytes = report_job(&given, &length, errors);
    if (!bytes) fail_msg("%s", base_errors_at(errors, 0)->cause);
    base_errors_free(errors);
    return pdf_of(bytes, length);
}

static json_t *with(const char *key, json_t *value) {
    return json_pack("{so}", key, value);
}

static size_t count_of(const char *text, const char *word) {
    size_t count = 0;
    for (const char *at = text; (at = strstr(at, word)); at++)
        count++;
    return count;
}

/* ---- long tables --------------------------------------------------------------------------- */

static json_t *looks_of(size_t count) {
    json_t *looks = json_array();
    for (size_t i = 0; i < count; i++) {
        char part[16];
        snprintf(part, sizeof part, "X%05zu", i);
        json_t *look = json_pack("{ssss}", "part", part, "state", "original");
        if (i % 7 == 3)
            json_object_set_new(
                look, "note",
                json_string("two lines of words, so that "
                            "this row is higher than its neighbours are on the page"));
        json_array_append_new(looks, look);
    }
    return looks;
}

/* For each length: every row is there once, each page with rows has the head, and no page but a
 * one-row table has a single row. */
static void check_rows(size_t count) {
    json_t *job = with("looks", looks_of(count));
    pdf all = report_of(job);
    size_t seen = 0;
    char *rest = all.text;
    for (char *page; (page = strsep(&rest, "\f"));) {
        size_t rows = count_of(page, "\nX0"), heads = count_of(page, "Date code");
        if (rows == 1 && count > 1) fail_msg("%zu rows: one alone on a page", count);
        assert_int_equal(heads, rows > 0);
        seen += rows;
    }
    assert_int_equal(seen, count);
    pdf_free(&all);
    json_decref(job);
}

static void test_rows(void **state) {
    (void)state;
    for (size_t count = 1; count < 90; count++)
        check_rows(count);
}

static double seconds_now(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void test_ten_thousand(void **state) {
    (void)state;
    json_t *job = with("looks", looks_of(10000));
    double from = seconds_now();
    pdf all = report_of(job);
    double took = seconds_now() - from;
    assert_true(all.pages > 150);
    assert_int_equal(count_of(all.text, "\nX0"), 10000);
    char last[64];
    snprintf(last, sizeof last, "page %d of %d", all.pages, all.pages);
    assert_says(&all, last);
    assert_true(took < 100); /* some 2 s without sanitizers */
    pdf_free(&all);
    json_decref(job);
}

/* ---- long texts ---------------------------------------------------------------------------- */

/* A row that no page holds goes on over the pages. */
static void test_tall_row(void **state) {
    char *note = malloc(60000);
    (void)state;
    for (int i = 0; i < 6000; i++)
        sprintf(note + 9 * i, "w%06d. ", i);
    json_t *looks = json_pack("[{ssss}{ssss}{ssss}]", "part", "C1", "note", "before", "part", "C2",
                              "note", note, "part", "C3", "note", "behind");
    json_t *job = with("looks", looks);
    pdf all = report_of(job);
    assert_true(all.pages > 8);
    for (int i = 0; i < 6000; i += 1) {
        char word[16];
        snprintf(word, sizeof word, "w%06d.", i);
        assert_int_equal(count_of(all.text, word), 1);
    }
    assert_says(&all, "behind");
    pdf_free(&all);
    json_decref(job);
    free(note);
}

/* Words in a row, each numbered, in one paragraph or many: all come out, in order. */
static void check_words(size_t count, const char *between) {
    size_t step = 6 + strlen(between);
    char *text = malloc(count * step + 1);
    for (size_t i = 0; i < count; i++)
        sprintf(text + i * step, "%06zu%s", i, between);
    json_t *job = with("complaint", json_string(text));
    pdf all = report_of(job);
    const char *at = strstr(all.text, "What you told us");
    for (size_t i = 0; i < count; i++) {
        char word[8];
        snprintf(word, sizeof word, "%06zu", i);
        at = strstr(at, word);
        if (!at) fail_msg("the %zuth of %zu words is lost", i, count);
    }
    pdf_free(&all);
    json_decref(job);
    free(text);
}

static void test_texts(void **state) {
    (void)state;
    check_words(10, " ");
    check_words(20000, " ");
    check_words(10000, "\n");
    check_words(5000, "\r\n\r\n");
}

/* One word of 200,000 letters wraps, and quickly. */
static void test_long_word(void **state) {
    (void)state;
    size_t length = 200000, found = 0;
    char *word = malloc(length + 1);
    memset(word, 'W', length);
    word[length] = 0;
    json_t *job = with("complaint", json_string(word));
    double from = seconds_now();
    pdf all = report_of(job);
    assert_true(seconds_now() - from < 100);
    for (const char *at = all.text; *at; at++)
        found += *at == 'W';
    assert_int_equal(found, length + 1); /* and that of "What you told us" */
    pdf_free(&all);
    json_decref(job);
    free(word);
}

/* No line of a paragraph stands alone at the foot or the head of a page. */
static void test_lines(void **state) {
    (void)state;
    for (int lines = 2; lines < 70; lines++) {
        base_text text;
        base_text_init(&text, 1 << 16);
        for (int i = 0; i < lines; i++)
            base_text_add(&text, "%sLINE %d", i ? "\n" : "", i);
        json_t *job = with("complaint", json_string(text.data));
        pdf all = report_of(job);
        char *rest = all.text;
        for (char *page; (page = strsep(&rest, "\f"));)
            if (count_of(page, "LINE") == 1) fail_msg("%d lines: one alone on a page", lines);
        pdf_free(&all);
        json_decref(job);
        base_text_free(&text);
    }
}

/* ---- odd words ----------------------------------------------------------------------------- */

static void test_markup(void **state) {
    (void)state;
    json_t *job = with(
        "complaint", json_string("<b>loud</b> & <script>alert(1)</script> &amp; %s %n \\0 (paren) "
                                 "=1+1 'quote' \"double\" ; DROP TABLE job;--"));
    pdf all = report_of(job);
    assert_says(&all,
                "<b>loud</b> & <script>alert(1)</script> &amp; %s %n \\0 (paren) =1+1 'quote' "
                "\"double\" ; DROP TABLE job;--");
    pdf_free(&all);
    json_decref(job);
}

/* Scripts that go the other way, that stack, that no font here may have. */
static void test_scripts(void **state) {
    static const char *const texts[] = {
        "\u05e9\u05dc\u05d5\u05dd \u05e2\u05d5\u05dc\u05dd", /* right to left */
        "\u0645\u0631\u062d\u0628\u0627 6V6GT \u0628\u0643\u0645",
        "\U0001F3B8\U0001F525 \U0001F468\u200d\U0001F527", /* pictures, joined */
        "\u4f60\u597d \u3053\u3093\u306b\u3061\u306f \ud55c\uad6d",
        "Z\u0351\u036b\u0343\u036a\u0302a\u0321\u034al\u0334\u0308g\u0321o",
        "\u202eturned round\u202c and \u2066apart\u2069 \ufeff\u00ad\u200b",
        "tab\there\x01\x02\x1b[31m\x7f\xc2\x85\u2028\u2029 end",
        "\uffff\ufffe\U0010ffff\ue000",
        "\n\n\n",
        "   ",
        "\r"};
    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        json_t *job =
            json_pack("{ssssss}", "complaint", texts[i], "owner", texts[i], "keep", "zuletzt");
        json_object_set_new(job, "amp", json_pack("{ss}", "name", texts[i]));
        json_object_set_new(job, "looks",
                            json_pack("[{ssss}]", "part", texts[i], "note", texts[i]));
        pdf all = report_of(job);
        assert_says(&all, "zuletzt");
        assert_true(all.pages == 2);
        pdf_free(&all);
        json_decref(job);
    }
    json_t *job = with("complaint", json_string(texts[0]));
    pdf all = report_of(job);
    assert_non_null(strstr(all.text, "\u05e9")); /* read back in either order */
    pdf_free(&all);
    json_decref(job);
}

/* Names as long as a fact may be stay on the paper and off each other. */
static void test_long_names(void **state) {
    (void)state;
    char *name = malloc(8001);
    memset(name, 'n', 8000);
    name[8000] = 0;
    json_t *job = json_pack("{sssssi}", "owner", name, "contact", name, "number", 7);
    json_object_set_new(job, "amp", json_pack("{ss}", "name", name));
    json_t *shop = json_pack("{ssssss}", "name", name, "address", name, "currency", name);
    report_given given = {.job = job, .shop = shop, .now = NOW};
    size_t length;
    base_errors *errors = base_errors_new();
    void *bytes = report_job(&given, &length, errors);
    pdf all = pdf_of(bytes, length);
    assert_says(&all, "Job 7");
    char last[64];
    snprintf(last, sizeof last, "page %d of %d", all.pages, all.pages);
    assert_says(&all, last);
    pdf_free(&all);
    base_errors_free(errors);
    json_decref(job);
    json_decref(shop);
    free(name);
}

/* Any JSON of the right keys: a paper, whatever it holds. */
static json_t *anything(base_random *random, int depth) {
    static const char *const keys[] = {
        "owner",  "amp",       "name",      "readings",  "before",   "after",      "at",
        "volts",  "looks",     "part",      "condition", "drained",  "capacitors", "cord",
        "wires",  "decisions", "action",    "work",      "done",     "checks",     "result",
        "soak",   "minutes",   "hand_back", "found",     "cautions", "edits",      "phase",
        "photos", "hash",      "opened",    "number"};
    static const char *const texts[] = {"",     "C6",           "replace", "original",
                                        "V1.1", "20k per volt", "\n"};
    switch (base_random_bits(random) % (depth > 3 ? 5 : 7)) {
    case 0:
        return json_string(texts[base_random_bits(random) % 7]);
    case 1:
        return json_integer((json_int_t)base_random_bits(random));
    case 2:
        return json_real(base_random_normal(random) * 1e3);
    case 3:
        return json_boolean(base_random_bits(random) % 2);
    case 4:
        return json_null();
    case 5: {
        json_t *list = json_array();
        for (size_t i = base_random_bits(random) % 4; i > 0; i--)
            json_array_append_new(list, anything(random, depth + 1));
        return list;
    }
    default: {
        json_t *object = json_object();
        for (size_t i = 0; i < 12; i++)
            json_object_set_new(object, keys[base_random_bits(random) % 32],
                                anything(random, depth + 1));
        return object;
    }
    }
}

static void test_anything(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 11);
    for (int i = 0; i < 300; i++) {
        json_t *job = json_object();
        json_t *more = anything(&random, 0);
        if (json_is_object(more)) json_object_update(job, more);
        report_given given = {.job = job, .shop = more, .now = (int64_t)base_random_bits(&random)};
        base_errors *errors = base_errors_new();
        size_t length;
        void *bytes = report_job(&given, &length, errors);
        assert_non_null(bytes);
        free(bytes);
        bytes = report_invoice(&given, &length, errors);
        free(bytes);
        base_errors_free(errors);
        json_decref(more);
        json_decref(job);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rows),       cmocka_unit_test(test_ten_thousand),
        cmocka_unit_test(test_tall_row),   cmocka_unit_test(test_texts),
        cmocka_unit_test(test_long_word),  cmocka_unit_test(test_lines),
        cmocka_unit_test(test_markup),     cmocka_unit_test(test_scripts),
        cmocka_unit_test(test_long_names), cmocka_unit_test(test_anything)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
