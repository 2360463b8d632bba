/* A machine without any font: a complaint that says what to install. */
#include "report_support.h"

static void test_no_font(void **state) {
    char path[] = "/tmp/gridleak_fonts_XXXXXX";
    (void)state;
    int file = mkstemp(path);
    assert_true(file >= 0);
    assert_true(write(file, "<fontconfig/>", 13) == 13);
    close(file);
    assert_int_equal(setenv("FONTCONFIG_FILE", path, 1), 0);
    json_t *job = view_of("hum");
    report_given given = {.job = job, .now = NOW};
    base_errors *errors = base_errors_new();
    size_t length;
    assert_null(report_job(&given, &length, errors));
    assert_int_equal(base_errors_worst(errors), BASE_FILE);
    assert_non_null(strstr(base_errors_at(errors, 0)->cause, "no font is installed"));
    base_errors_free(errors);
    json_decref(job);
    unlink(path);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_no_font)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
