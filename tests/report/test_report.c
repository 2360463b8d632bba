/* The repair report, read back. */
#include "photo.h"
#include "report_support.h"

typedef struct bench {
    amp found, repaired;
    service_chart *before, *after;
    json_t *job, *shop;
    report_given given;
} bench;

static bench *bench_open(const char *job) {
    bench *to = calloc(1, sizeof *to);
    amp_open(&to->found, "wren-hollow", NULL, NULL);
    amp_open(&to->repaired, "wren-hollow", "value: 470, at: [V2.8", "value: 680, at: [V2.8");
    to->before = service_chart_new(to->found.system, to->found.priors, 121, NULL, to->found.errors);
    to->after =
        service_chart_new(to->repaired.system, to->repaired.priors, 121, NULL, to->found.errors);
    to->job = view_of(job);
    to->shop = view_of("shop");
    to->given = (report_given){
        .job = to->job, .shop = to->shop, .before = to->before, .after = to->after, .now = NOW};
    return to;
}

static void bench_close(bench *to) {
    service_chart_free(to->before);
    service_chart_free(to->after);
    amp_close(&to->found);
    amp_close(&to->repaired);
    json_decref(to->job);
    json_decref(to->shop);
    free(to);
}

static pdf report_of(const report_given *given) {
    base_errors *errors = base_errors_new();
    size_t length = 0;
    unsigned char *bytes = report_job(given, &length, errors);
    if (!bytes) fail_msg("%s", base_errors_at(errors, 0)->cause);
    base_errors_free(errors);
    return pdf_of(bytes, length);
}

/* The text of page `page` alone, from 1. */
static pdf page_of(const pdf *all, int page) {
    const char *from = all->text;
    for (int i = 1; i < page; i++)
        from = strchr(from, '\f') + 1;
    return (pdf){.text = strndup(from, strcspn(from, "\f"))};
}

static void page_says(const pdf *all, int page, const char *const *words, size_t count) {
    pdf one = page_of(all, page);
    for (size_t i = 0; i < count; i++)
        assert_says(&one, words[i]);
    free(one.text);
}
#define ASSERT_PAGE(all, page, ...)                                                                \
    page_says((all), (page), (const char *const[]){__VA_ARGS__},                                   \
              sizeof((const char *const[]){__VA_ARGS__}) / sizeof(const char *))

/* ---- contents ------------------------------------------------------------------------------ */

static void test_owner(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    pdf all = report_of(&to->given);
    assert_int_equal(all.pages, 3);
    ASSERT_PAGE(&all, 1, "Lantern Street Amplifier Repair", "Repair report", "Job 12",
                "Odile Farrow", "11 November 2025", "21 November 2025", "WH-20417",
                "slip cover, spare 6V6GT in a box", "Loud hum, and it gets quieter",
                "as original as can be, but", "had begun to leak", "now 680 ohms instead of 470",
                "the speaker and both transformers included", "Left running for 60 minutes: good.",
                "5 controls, jacks and switches tried: 4 good, 1 not",
                "Play it for an hour a month",
                "Lantern Street Amplifier Repair · Job 12 · Wren Hollow 5", "page 1 of 3");
    pdf_free(&all);
    bench_close(to);
}

static void test_cautions(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    pdf all = report_of(&to->given);
    ASSERT_PAGE(&all, 1, "Before you plug it in", "The mains cord has two wires",
                "A capacitor joins the mains to the chassis", "Still poor: input 2",
                "Do not use the spare 6V6GT from the box");
    pdf one = page_of(&all, 1);
    assert_false(says(&one, "C10 was found bulged")); /* it was replaced */
    assert_false(says(&one, "Still original among the filter capacitors"));
    free(one.text);
    pdf_free(&all);
    json_array_remove(json_object_get(to->job, "decisions"), 1); /* C10: nobody replaced it */
    json_object_set_new(json_object_get(to->job, "amp"), "transformerless", json_true());
    json_object_set_new(
        json_array_get(json_object_get(json_object_get(to->job, "readings"), "after"), 7), "volts",
        json_real(41));
    all = report_of(&to->given);
    ASSERT_PAGE(
        &all, 1, "This amp has no power transformer", "C10 was found bulged, and was not replaced",
        "Still original among the filter capacitors: C10", "out of the ordinary: V2.8 high");
    assert_false(says(&all, "The mains cord has two wires"));
    pdf_free(&all);
    bench_close(to);
}

static void test_record(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    pdf all = report_of(&to->given);
    ASSERT_PAGE(
        &all, 2, "For the next technician",
        "C6 .022 mfd 400 V paper, leaky 22n 630 V film, axial V1.6 to V2.5 side of R10 returned",
        "C2 left originality", "P1 cleaned failing quiet again",
        "On 11 November 2025: C8 0.6 V, C9 0.4 V, C10 1.3 V",
        "V2.5 grid about 0 V 9.5 V ▲ high about 0 V 0.02 V ✓ inside",
        "Figures named \"computed\" come from a calculation", "Output tubes at idle, computed",
        "V2 6V6GT", "14 W design-maximum");
    assert_says(&all, "V1.1 plate 200 to 238 V 196 V ▼ low 206 to 246 V 223 V ✓ inside");
    assert_says(&all, "C6 190 V"); /* no line of the chart: no band, no verdict */
    assert_says(&all, "input 2 poor its contact spring is tired");
    assert_says(&all, "left running 60 minutes good chassis 41 C at the end");
    assert_says(&all, "C10 original bulged 999-8-14 white paste at the rubber");
    assert_says(&all, "R18 it came so added, 220k 2 W bleeder, not on the drawing");
    assert_says(&all, "C10 this repair value: 8u to 10u bulged");
    assert_says(&all, "Worked out beforehand, on paper");
    assert_says(&all, "R12 value 470 to 1k mended: V2 plate dissipation V2: 119 to 78 %");
    assert_says(&all, "loud hum from cold");
    assert_says(&all, "bulged: C10");
    assert_says(&all, "B2 hum 4.8 V");
    assert_false(says(&all, "bigger speaker")); /* notes stay in the shop */
    pdf_free(&all);
    bench_close(to);
}

/* A reading with another meter gets no verdict from this meter's band. */
static void test_other_meter(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    json_t *before = json_object_get(json_object_get(to->job, "readings"), "before");
    json_object_set_new(json_array_get(before, 0), "meter", json_string("20k per volt on 300"));
    json_object_set_new(json_array_get(before, 1), "meter", json_string("10M"));
    pdf all = report_of(&to->given);
    assert_says(&all, "V3.8 cathode 373 to 412 V 362 V * ");
    assert_says(&all, "B2 supply 367 to 406 V 352 V ▼ low");
    assert_says(&all, "*: read with another meter.");
    pdf_free(&all);
    bench_close(to);
}

/* Work that is not ticked is not told as done. */
static void test_not_done(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    json_object_set_new(json_array_get(json_object_get(to->job, "work"), 0), "done", json_false());
    json_object_set_new(json_array_get(json_object_get(to->job, "work"), 3), "done", json_false());
    pdf all = report_of(&to->given);
    assert_says(&all, "C6 not replaced yet");
    assert_says(&all, "P1 not cleaned yet");
    pdf_free(&all);
    bench_close(to);
}

/* ---- what is missing ----------------------------------------------------------------------- */

/* What is no fact leaves its section out; no view and no shop at all still make a paper. */
static void test_missing(void **state) {
    static const char *const views[] = {
        "{}",
        "{\"owner\": \"O\"}",
        "{\"readings\": {}}",
        "{\"looks\": [], \"photos\": [{}]}",
        "{\"owner\": 3, \"hand_back\": [], \"amp\": \"x\", \"cord\": 1, \"soak\": []}",
        "{\"decisions\": [{}, 3, null, {\"action\": \"replace\"}], \"work\": [null], \"checks\": "
        "[7]}",
        "{\"readings\": {\"before\": [{}, 1, {\"at\": 5, \"volts\": \"x\"}], \"after\": 7}}",
        "{\"opened\": -5, \"closed\": 1e300, \"year\": 1e30, \"drained\": {\"capacitors\": [{}]}}"};
    (void)state;
    for (size_t i = 0; i < sizeof views / sizeof *views; i++) {
        json_t *job = json_loads(views[i], 0, NULL);
        assert_non_null(job);
        report_given given = {.job = job, .now = NOW};
        pdf all = report_of(&given);
        assert_int_equal(all.pages, 2);
        assert_false(says(&all, "What you told us"));
        assert_false(says(&all, "Readings"));
        assert_false(says(&all, "Photos"));
        pdf_free(&all);
        json_decref(job);
    }
    report_given nothing = {0};
    pdf all = report_of(&nothing);
    assert_int_equal(all.pages, 2);
    pdf_free(&all);
}

/* ---- the file ------------------------------------------------------------------------------ */

static void test_same_bytes(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    pdf one = report_of(&to->given), two = report_of(&to->given);
    assert_int_equal(one.length, two.length);
    assert_memory_equal(one.bytes, two.bytes, one.length);
    pdf_free(&two);
    to->given.now += 86400000;
    two = report_of(&to->given);
    assert_true(one.length != two.length || memcmp(one.bytes, two.bytes, one.length) != 0);
    assert_string_equal(one.text, two.text); /* the pages do not carry the clock */
    pdf_free(&one);
    pdf_free(&two);
    bench_close(to);
}

static void test_paper(void **state) {
    static const char *const boxes[] = {"595.276 x 841.89 pts (A4)", "612 x 792 pts (letter)"};
    (void)state;
    bench *to = bench_open("hum");
    for (int paper = 0; paper < 2; paper++) {
        char path[] = "/tmp/gridleak_paper_XXXXXX", command[128];
        to->given.paper = paper ? REPORT_LETTER : REPORT_A4;
        pdf all = report_of(&to->given);
        int file = mkstemp(path);
        assert_int_equal(write(file, all.bytes, all.length), (ssize_t)all.length);
        close(file);
        snprintf(command, sizeof command, "pdfinfo %s", path);
        char *told = printed(command);
        assert_non_null(strstr(told, boxes[paper]));
        unlink(path);
        free(told);
        pdf_free(&all);
    }
    bench_close(to);
}

/* ---- photos -------------------------------------------------------------------------------- */

/* "bb" is cut short within its header, "cc" is no JPEG, "dd" is not there. */
static void *photo(void *asked, const char *hash, size_t *length) {
    ++*(int *)asked;
    if (strcmp(hash, "dd") == 0) return NULL;
    void *bytes = photo_new(320, strcmp(hash, "aa") == 0 ? 240 : 900, length);
    if (strcmp(hash, "bb") == 0) *length = 100;
    if (strcmp(hash, "cc") == 0) memset(bytes, 'x', *length);
    return bytes;
}

static size_t count_of(const pdf *pdf, const char *word) {
    size_t count = 0, length = strlen(word);
    for (size_t i = 0; i + length <= pdf->length; i++)
        count += memcmp(pdf->bytes + i, word, length) == 0;
    return count;
}

static void test_photos(void **state) {
    (void)state;
    bench *to = bench_open("hum");
    int asked = 0;
    json_t *photos = json_object_get(to->job, "photos");
    json_array_append_new(photos, json_pack("{ss}", "hash", "dd"));
    json_array_append_new(photos, json_pack("{ssss}", "hash", "aa", "caption", "The tall chassis"));
    to->given.photo = photo;
    to->given.photos = &asked;
    pdf all = report_of(&to->given);
    assert_int_equal(asked, 10);
    assert_int_equal(count_of(&all, "/DCTDecode"), 2);
    assert_says(&all, "As it came");
    assert_says(&all, "The tall chassis");
    assert_false(says(&all, "C10 with paste at its rubber"));
    pdf_free(&all);
    bench_close(to);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_owner),      cmocka_unit_test(test_cautions),
        cmocka_unit_test(test_record),     cmocka_unit_test(test_other_meter),
        cmocka_unit_test(test_not_done),   cmocka_unit_test(test_missing),
        cmocka_unit_test(test_same_bytes), cmocka_unit_test(test_paper),
        cmocka_unit_test(test_photos)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
