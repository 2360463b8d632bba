/* Every allocation of our own made to fail in turn: no paper and a complaint, or the whole paper.
 * (GLib, under the text setting, ends the program when it finds no memory: those are not ours.) */
#include "report_support.h"

#include "../oom.h"

static json_t *job, *shop;
static service_chart chart; /* the first lines of one */
static size_t whole[3];     /* length of each document when nothing fails */

static void make(bool failing, int which) {
    report_given given = {.job = job, .shop = shop, .before = &chart, .now = NOW};
    base_errors *errors = base_errors_new();
    size_t length = 0;
    void *bytes = which == 0   ? report_job(&given, &length, errors)
                  : which == 1 ? report_invoice(&given, &length, errors)
                               : report_chart(&chart, &given, &length, errors);
    if (!failing) whole[which] = length;
    if (bytes) assert_int_equal(length, whole[which]);
    if (!bytes && errors) assert_int_equal(base_errors_worst(errors), BASE_MEMORY);
    if (!failing) assert_non_null(bytes);
    free(bytes);
    base_errors_free(errors);
}

static void make_report(bool failing) {
    make(failing, 0);
}

static void make_invoice(bool failing) {
    make(failing, 1);
}

static void make_chart(bool failing) {
    make(failing, 2);
}

static void cut(const char *list, size_t most) {
    json_t *all = json_object_get(job, list);
    while (json_array_size(all) > most)
        json_array_remove(all, json_array_size(all) - 1);
}

static void test_all(void **state) {
    (void)state;
    amp amp;
    amp_open(&amp, "wren-hollow", NULL, NULL);
    service_chart *all = service_chart_new(amp.system, amp.priors, NAN, NULL, amp.errors);
    chart = *all;
    chart.lines = 3;
    shop = view_of("shop");
    job = view_of("hum");
    cut("looks", 1); /* shorter: each failure makes the whole anew */
    cut("edits", 2);
    cut("checks", 1);
    cut("work", 1);
    cut("decisions", 2);
    json_object_del(job, "readings");
    json_object_set_new(job, "readings",
                        json_pack("{s[{sssf}]}", "after", "at", "V1.1", "volts", 9.));
    static const char *const left_out[] = {"complaint", "keep", "drained", "contact", "acceptance"};
    for (size_t i = 0; i < sizeof left_out / sizeof *left_out; i++)
        json_object_del(job, left_out[i]);
    json_t *back = json_object_get(job, "hand_back");
    json_object_del(back, "done");
    json_object_del(back, "kept");
    json_object_del(back, "advice");
    assert_true(oom_each(make_invoice) > 20);
    assert_true(oom_each(make_chart) > 20);
    assert_true(oom_each(make_report) > 50);
    service_chart_free(all);
    json_decref(job);
    json_decref(shop);
    amp_close(&amp);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_all)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
