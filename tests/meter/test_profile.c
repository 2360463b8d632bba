/* Meter profiles: those inside the program, and how a wrong one is refused. */
#include "support.h"

#include "meter.h"

#include <dirent.h>
#include <math.h>

static void all_of_the_library(void **state) {
    meter_profiles *profiles = meter_profiles_new();
    base_errors *errors = base_errors_new();
    DIR *folder = opendir(SOURCE_DIR "/data/meters");
    size_t files = 0;
    (void)state;
    assert_non_null(folder);
    for (struct dirent *entry; (entry = readdir(folder));) {
        if (!strstr(entry->d_name, ".yaml")) continue;
        char path[300];
        size_t length;
        snprintf(path, sizeof path, "data/meters/%s", entry->d_name);
        char *text = support_file(path, &length);
        if (meter_profiles_add(profiles, path, text, length, errors) != BASE_OK)
            fail_msg("%s: %s", path, base_errors_at(errors, 0)->cause);
        free(text);
        files++;
    }
    closedir(folder);
    assert_true(files >= 4);
    assert_int_equal(meter_profiles_count(profiles), files + 1);
    const meter_profile *slow = meter_profile_find(profiles, "Slow Serial");
    assert_non_null(slow);
    assert_string_equal(slow->frame, "8N2");
    assert_string_equal(slow->end, "\r\n");
    assert_true(fabs(slow->delay_s - 0.06) < 1e-9);
    assert_string_equal(meter_profile_for(profiles, "GRIDLEAK,PRACTICE METER,0,1.0")->name,
                        "practice meter");
    assert_string_equal(meter_profile_for(profiles, "SOMEBODY,M1,0,1")->name, "any SCPI meter");
    const meter_profile *plain = meter_profile_find(profiles, "plain serial");
    assert_false(plain->status);
    assert_string_equal(plain->remote, "");
    assert_int_equal(plain->starts, 1);
    base_errors_free(errors);
    meter_profiles_free(profiles);
}

static void refused(void **state) {
    static const struct {
        const char *text, *cause;
    } wrong[] = {
        {"", "no text"},
        {"match: X\n", "no name"},
        {"meter: a\nserial: {frame: 9Z1}\n", "no frame"},
        {"meter: a\nserial: {baud: 5}\n", "`baud` is 5"},
        {"meter: a\ncommands: {end: XY}\n", "`end` is none"},
        {"meter: a\ncommands: {read: \"\"}\n", "`read` is empty"},
        {"meter: a\ncommands: {status: perhaps}\n", "neither yes nor no"},
        {"meter: a\ntiming: {timeout: 900}\n", "`timeout` is 900"},
        {"meter: a\ninput: {ohms: 10}\n", "`ohms` is 10"},
        {"meter: a\nvolts: 3\n", "volts"},
        {"meter: a\ncommands: {start: [a, b, c, d, e, f, g, h, i]}\n", "too many"},
        {"meter: a\ncommands: {read: \"READ?\\nX\"}\n", "no text that can be sent"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        meter_profiles *profiles = meter_profiles_new();
        base_errors *errors = base_errors_new();
        const char *text = wrong[i].text;
        assert_int_not_equal(meter_profiles_add(profiles, "m.yaml", text, strlen(text), errors),
                             BASE_OK);
        assert_int_equal(meter_profiles_count(profiles), 1);
        const base_error *error = base_errors_at(errors, 0);
        if (i > 0 && !strstr(error->cause, wrong[i].cause))
            fail_msg("%s: %s", wrong[i].text, error->cause);
        assert_true(error->remedy[0] != 0);
        base_errors_free(errors);
        meter_profiles_free(profiles);
    }
}

static void a_better_one_replaces(void **state) {
    static const char text[] = "meter: any SCPI meter\ninput: {ohms: 1M}\n";
    meter_profiles *profiles = meter_profiles_new();
    base_errors *errors = base_errors_new();
    (void)state;
    assert_int_equal(meter_profiles_add(profiles, "m.yaml", text, strlen(text), errors), BASE_OK);
    assert_int_equal(meter_profiles_count(profiles), 1);
    assert_true(fabs(meter_profile_at(profiles, 0)->ohms - 1e6) < 1);
    base_errors_free(errors);
    meter_profiles_free(profiles);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_of_the_library),
        cmocka_unit_test(refused),
        cmocka_unit_test(a_better_one_replaces),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
