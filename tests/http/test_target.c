/* The address of a request: taken apart strictly, so that no trick reaches a file or a table. */
#include "../support.h"

#include "http_impl.h"

static void good_targets(void **state) {
    (void)state;
    http_target target;
    assert_true(http_target_read(&target, "/"));
    assert_int_equal(target.segments, 0);
    assert_true(http_target_read(&target, "/api/amps/my%20amp%2f2?q=a+b%2Bc&open=1&flag"));
    assert_int_equal(target.segments, 3);
    assert_string_equal(target.segment[2], "my amp/2");
    assert_string_equal(http_target_param(&target, "q"), "a b+c");
    assert_string_equal(http_target_param(&target, "open"), "1");
    assert_string_equal(http_target_param(&target, "flag"), "");
    assert_null(http_target_param(&target, "Q"));
    assert_true(http_target_read(&target, "/api/amps/caf%C3%A9"));
    assert_string_equal(target.segment[2], "caf\xc3\xa9");
}

static void bad_targets(void **state) {
    static const char *const bad[] = {"",
                                      "x",
                                      "*",
                                      "http://127.0.0.1/",
                                      "//",
                                      "/api//jobs",
                                      "/api/jobs/",
                                      "/../etc/passwd",
                                      "/api/%2e%2e/x",
                                      "/.",
                                      "/%2E%2e",
                                      "/a%00b",
                                      "/a%0ab",
                                      "/a%zz",
                                      "/a%2",
                                      "/a%",
                                      "/a\x7f",
                                      "/caf\xc3",
                                      "/%c3%28",
                                      "/%ed%a0%80",
                                      "/%f4%90%80%80",
                                      "/%ff",
                                      "/a/b/c/d/e/f/g/h/i",
                                      "/?q=%00",
                                      "/?%ff=1",
                                      "/?q=%1b[2J"};
    (void)state;
    http_target target;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        if (http_target_read(&target, bad[i])) fail_msg("`%s` was read", bad[i]);
}

static void long_targets(void **state) {
    char raw[HTTP_TARGET + 8];
    (void)state;
    http_target target;
    memset(raw, 'a', sizeof raw);
    raw[0] = '/';
    raw[HTTP_TARGET] = 0;
    assert_true(http_target_read(&target, raw));
    raw[HTTP_TARGET] = 'a';
    raw[HTTP_TARGET + 1] = 0;
    assert_false(http_target_read(&target, raw));
}

static void many_parameters(void **state) {
    char raw[256] = "/?";
    (void)state;
    http_target target;
    for (int i = 0; i <= HTTP_PARAMS; i++)
        strcat(raw, "a=1&");
    assert_false(http_target_read(&target, raw));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_targets), cmocka_unit_test(bad_targets),
        cmocka_unit_test(long_targets), cmocka_unit_test(many_parameters)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
