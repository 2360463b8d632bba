/* The chart sheet: every place of the chart is on it once, with its band, and room to write. */
#include "report_support.h"

static pdf sheet_of(const char *name, const json_t *job, report_paper paper,
                    const diagnose_meter *meter) {
    amp amp;
    amp_open(&amp, name, NULL, NULL);
    service_chart *chart = service_chart_new(amp.system, amp.priors, NAN, meter, amp.errors);
    assert_non_null(chart);
    report_given given = {.job = job, .paper = paper, .now = NOW};
    size_t length = 0;
    unsigned char *bytes = report_chart(chart, &given, &length, amp.errors);
    pdf all = pdf_of(bytes, length);
    for (size_t i = 0; i < chart->lines; i++) {
        char line[128];
        snprintf(line, sizeof line, "\n%s ", chart->line[i].at);
        if (!strstr(all.text, line)) fail_msg("%s has no line %s", name, chart->line[i].at);
        if (chart->line[i].heater || fabs(chart->line[i].shown) < 1) continue;
        snprintf(line, sizeof line, "%s %s %g V %g to", chart->line[i].at, chart->line[i].what,
                 base_value_round(chart->line[i].shown, 3),
                 base_value_round(chart->line[i].low, 3));
        assert_says(&all, line);
    }
    service_chart_free(chart);
    amp_close(&amp);
    return all;
}

static void test_sheet(void **state) {
    (void)state;
    json_t *job = view_of("hum");
    pdf all = sheet_of("wren-hollow", job, REPORT_A4, NULL);
    assert_says(&all, "Voltage chart Job 12");
    assert_says(&all, "Odile Farrow");
    assert_says(&all, "10 Mohm");
    assert_says(&all, "V1 12AX7, both preamp stages");
    assert_says(&all, "215 V");       /* printed at V1.1 */
    assert_says(&all, "V2.5 grid 0"); /* read back, the space before its V is narrow */
    assert_says(&all, "Read before");
    assert_says(&all, "each measured under 60 V DC");
    assert_says(&all, "Local electrical codes");
    assert_false(says(&all, "isolation transformer"));
    assert_int_equal(all.pages, 2);
    pdf_free(&all);
    json_decref(job);
}

/* Without a job, on the other paper, with a moving-coil meter; the largest amp. */
static void test_others(void **state) {
    diagnose_meter meter = {.ohms = NAN, .ohms_per_volt = 20e3, .range = NAN};
    (void)state;
    pdf all = sheet_of("millrace", NULL, REPORT_LETTER, &meter);
    assert_says(&all, "20000 ohm per volt");
    assert_says(&all, "Supply nodes");
    assert_says(&all, "Across parts");
    pdf_free(&all);
    json_t *job = json_pack("{s{sb}}", "amp", "transformerless", 1);
    all = sheet_of("porchlight", job, REPORT_A4, NULL);
    assert_says(&all, "This amp has no power transformer");
    pdf_free(&all);
    json_decref(job);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_sheet), cmocka_unit_test(test_others)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
