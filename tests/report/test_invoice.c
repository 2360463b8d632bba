/* The invoice: its sum, its currency, its pages. */
#include "report_support.h"

static unsigned char *make(const json_t *job, const json_t *shop, size_t *length,
                           base_errors *errors) {
    report_given given = {.job = job, .shop = shop, .now = NOW};
    return report_invoice(&given, length, errors);
}

static pdf invoice_of(const json_t *job, const json_t *shop) {
    base_errors *errors = base_errors_new();
    size_t length = 0;
    unsigned char *bytes = make(job, shop, &length, errors);
    if (!bytes) fail_msg("%s", base_errors_at(errors, 0)->cause);
    base_errors_free(errors);
    return pdf_of(bytes, length);
}

static void test_usual(void **state) {
    (void)state;
    json_t *job = view_of("hum"), *shop = view_of("shop");
    pdf all = invoice_of(job, shop);
    assert_int_equal(all.pages, 1);
    assert_says(&all, "Lantern Street Amplifier Repair");
    assert_says(&all, "For Odile Farrow");
    assert_says(&all, "21 November 2025");
    assert_says(&all, "Work, 78 minutes 78.00 EUR");
    assert_says(&all, "Together 88.50 EUR");
    assert_says(&all, "Tax 21 % 18.59 EUR");
    assert_says(&all, "Total 107.09 EUR");
    assert_says(&all, "Estimate 200.00 EUR");
    assert_says(&all, "Odile Farrow, telephone");
    assert_says(&all, "page 1 of 1");
    pdf_free(&all);
    json_decref(job);
    json_decref(shop);
}

static json_t *bill(json_int_t amount, double percent, json_int_t total) {
    return json_pack("{s{s[{sssI}]sfsI}}", "invoice", "lines", "text", "Work", "amount", amount,
                     "tax_percent", percent, "total", total);
}

static void test_sums(void **state) {
    static const struct {
        const char *currency;
        json_int_t amount, total;
        double percent;
        const char *words, *none;
    } rows[] = {
        {"EUR", 10000, 10000, 0, "Total 100.00 EUR", "Tax"},
        {"EUR", 12100, 12100, 21, "Tax in it, 21 % 21.00 EUR", "Together"},
        {"USD", 9999, 10824, 8.25, "Tax 8.25 % 8.25 USD", "Tax in it"},
        {"JPY", 8800, 9680, 10, "Total 9680 JPY", "9680."},
        {"BHD", 1234, 1234, 0, "Total 1.234 BHD", "1.23 BHD"},
        {"", 105, 105, 0, "Total 1.05", "EUR"},
        {"$", -500, -500, 0, "Total -5.00 $", "--"},
        {"EUR", 5, 5, 0, "Total 0.05 EUR", "Tax"},
        {"EUR", 0, 0, 21, "Total 0.00 EUR", "nan"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        json_t *job = bill(rows[i].amount, rows[i].percent, rows[i].total);
        json_t *shop = json_pack("{ss}", "currency", rows[i].currency);
        pdf all = invoice_of(job, shop);
        assert_says(&all, rows[i].words);
        assert_false(says(&all, rows[i].none));
        pdf_free(&all);
        json_decref(job);
        json_decref(shop);
    }
}

/* A sum that does not add up is never printed. */
static void test_wrong_sum(void **state) {
    (void)state;
    json_t *views[] = {bill(10000, 21, 12000), bill(10000, 0, 9990), bill(10000, 21, 12103),
                       json_pack("{s{s[]}}", "invoice", "lines"), json_object()};
    static const char *const words[] = {"come to 10000 and its tax of 21 % to 2100, but its total "
                                        "says 12000",
                                        "says 9990", "says 12103", "has no total",
                                        "no invoice yet"};
    for (size_t i = 0; i < sizeof views / sizeof *views; i++) {
        base_errors *errors = base_errors_new();
        size_t length;
        assert_null(make(views[i], NULL, &length, errors));
        assert_int_equal(base_errors_worst(errors), BASE_VALUE);
        if (!strstr(base_errors_at(errors, 0)->cause, words[i]))
            fail_msg("%s", base_errors_at(errors, 0)->cause);
        base_errors_free(errors);
        json_decref(views[i]);
    }
}

static void test_ten_thousand(void **state) {
    (void)state;
    json_t *lines = json_array();
    for (int i = 0; i < 10000; i++) {
        char text[32];
        snprintf(text, sizeof text, "Line %05d", i);
        json_array_append_new(lines, json_pack("{sssi}", "text", text, "amount", 1));
    }
    json_t *job = json_pack("{s{sosi}}", "invoice", "lines", lines, "total", 10000);
    pdf all = invoice_of(job, NULL);
    assert_says(&all, "Line 00000 0.01");
    assert_says(&all, "Line 09999 0.01");
    assert_says(&all, "Total 100.00");
    assert_true(all.pages > 150);
    size_t heads = 0, lost = 0;
    for (const char *at = all.text; (at = strstr(at, "Amount")); at++)
        heads++;
    for (int i = 0; i < 10000; i += 17) {
        char text[32];
        snprintf(text, sizeof text, "Line %05d", i);
        lost += strstr(all.text, text) == NULL;
    }
    assert_int_equal(lost, 0);
    assert_int_equal(heads, all.pages);
    pdf_free(&all);
    json_decref(job);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_usual), cmocka_unit_test(test_sums),
                                       cmocka_unit_test(test_wrong_sum),
                                       cmocka_unit_test(test_ten_thousand)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
