/* Readings as they are written: what is kept, and what is refused with its place. Each file of
 * tests/diagnose/readings begins with the complaints that it must get: `# expect LINE: words`, and
 * `# warn LINE: words` for warnings. */
#include "amp.h"

#include <ctype.h>

static amp wren;

static int open_amp(void **state) {
    (void)state;
    amp_open(&wren, "wren-hollow", NULL);
    return 0;
}

static int close_amp(void **state) {
    (void)state;
    amp_close(&wren);
    return 0;
}

/* ---- files --------------------------------------------------------------------------------- */

static bool complained(const base_errors *errors, int line, const char *words, bool warning) {
    for (size_t i = 0; i < base_errors_count(errors); i++) {
        const base_error *error = base_errors_at(errors, i);
        bool right = error->line == line || line == 0;
        if (right && strstr(error->cause, words) && (error->code == BASE_SUSPICIOUS) == warning &&
            error->remedy[0])
            return true;
    }
    return false;
}

/* Checks one `# expect` or `# warn` line; counts it. */
static size_t check_line(const base_errors *errors, const char *line, const char *path) {
    bool warning = strncmp(line, "# warn ", 7) == 0;
    if (!warning && strncmp(line, "# expect ", 9) != 0) return 0;
    char *rest;
    long number = strtol(line + (warning ? 7 : 9), &rest, 10);
    char words[120];
    snprintf(words, sizeof words, "%.*s", (int)strcspn(rest + 2, "\n"), rest + 2);
    if (!complained(errors, (int)number, words, warning))
        fail_msg("%s: no complaint at line %ld of \"%s\"", path, number, words);
    return 1;
}

static void check_file(const char *path) {
    size_t length, expected = 0, hard = 0;
    char *text = support_file(path, &length);
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = diagnose_readings_read(wren.system, path, text, length, errors);
    for (const char *line = text; line; line = strchr(line, '\n') ? strchr(line, '\n') + 1 : NULL) {
        expected += check_line(errors, line, path);
        hard += strncmp(line, "# expect ", 9) == 0;
    }
    for (size_t i = 0; expected != base_errors_count(errors) && i < base_errors_count(errors); i++)
        print_message("%s:%d: %s\n", path, base_errors_at(errors, i)->line,
                      base_errors_at(errors, i)->cause);
    assert_int_equal(expected, base_errors_count(errors));
    assert_true((readings == NULL) == (hard > 0));
    diagnose_readings_free(readings);
    base_errors_free(errors);
    free(text);
}

static void files(void **state) {
    (void)state;
    glob_t found;
    assert_int_equal(glob(SOURCE_DIR "/tests/diagnose/readings/*.yaml", 0, NULL, &found), 0);
    assert_true(found.gl_pathc >= 5);
    for (size_t i = 0; i < found.gl_pathc; i++)
        check_file(found.gl_pathv[i] + strlen(SOURCE_DIR) + 1);
    globfree(&found);
}

static diagnose_readings *read_text(const char *text, base_errors *errors) {
    return diagnose_readings_read(wren.system, "text", text, strlen(text), errors);
}

static void refuse(const char *text) {
    base_errors *errors = base_errors_new();
    assert_null(read_text(text, errors));
    assert_true(base_errors_count(errors) > 0);
    base_errors_free(errors);
}

static void broken_files(void **state) {
    (void)state;
    refuse("");
    refuse("readings: {V1.1: 3");
    refuse("- V1.1: 3");
    refuse("readings: [1, 2]");
    refuse("readings: &a {V1.1: 3}\nnote: *a");
    size_t size = 10 << 20;
    char *noise = malloc(size + 1);
    base_random random;
    base_random_seed(&random, 3);
    for (size_t i = 0; i < size; i++)
        noise[i] = (char)base_random_bits(&random);
    noise[size] = 0;
    base_errors *errors = base_errors_new();
    assert_null(diagnose_readings_read(wren.system, "noise", noise, size, errors));
    assert_true(base_errors_count(errors) > 0 && base_errors_count(errors) <= 200);
    base_errors_free(errors);
    free(noise);
}

/* ---- what is kept -------------------------------------------------------------------------- */

static const char good[] = "amp: wren hollow 5\nmains: 121\nmeter: 20k per volt on 300\nreadings:\n"
                           "  V1.1: 182\n  V1.3: {volts: 1.55, meter: 10M}\n  B2-B3: 33.5 V\n"
                           "  R16: 12\n  V2.2-V2.7: 6.4\n  V2.8: 0,025 kV\n  V2.5: -15 mV\n";

static void kept(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = read_text(good, errors);
    assert_non_null(readings);
    assert_int_equal(base_errors_count(errors), 0);
    assert_int_equal(readings->count, 7);
    assert_close(readings->mains, 121, 0);
    static const double volts[] = {182, 1.55, 33.5, 12, 6.4, 25, -0.015};
    static const double digits[] = {1, 0.01, 0.1, 1, 0.1, 1, 0.001};
    for (size_t i = 0; i < 7; i++) {
        assert_close(readings->reading[i].volts, volts[i], 1e-9);
        assert_close(readings->reading[i].resolution, digits[i], 1e-12);
    }
    assert_close(readings->reading[0].probe.meter_ohms, 6e6, 1); /* 20k x 300 */
    assert_close(readings->reading[1].probe.meter_ohms, 10e6, 1);
    assert_int_equal(readings->reading[0].place.line, 5);
    assert_true(readings->reading[2].probe.minus > 0); /* a difference */
    assert_true(readings->reading[4].probe.heater);
    assert_false(readings->reading[3].probe.heater);
    diagnose_readings_free(readings);
    base_errors_free(errors);
}

/* Across a part: its first end less its second; R16 is [V3.8, B2]. */
static void across_a_part(void **state) {
    (void)state;
    solve_probe probe, difference;
    base_place here = {0};
    assert_int_equal(diagnose_probe_read(wren.system, "R16", here, &probe, wren.errors), BASE_OK);
    assert_int_equal(
        diagnose_probe_read(wren.system, " V3.8 - B2 ", here, &difference, wren.errors), BASE_OK);
    assert_int_equal(probe.plus, difference.plus);
    assert_int_equal(probe.minus, difference.minus);
    /* the filament end of a rectifier tube is the supply, not heater volts */
    assert_int_equal(diagnose_probe_read(wren.system, "V3.8", here, &probe, wren.errors), BASE_OK);
    assert_false(probe.heater);
    /* nor is what a dropping resistor takes from there */
    assert_int_equal(diagnose_probe_read(wren.system, "V3.8-B2", here, &probe, wren.errors),
                     BASE_OK);
    assert_false(probe.heater);
    assert_int_equal(diagnose_probe_read(wren.system, "V3.2-V3.8", here, &probe, wren.errors),
                     BASE_OK);
    assert_true(probe.heater);
    assert_int_equal(diagnose_probe_read(wren.system, "heatA-heatB", here, &probe, wren.errors),
                     BASE_OK);
    assert_true(probe.heater);
}

static void meters(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double ohms, per_volt, range;
    } rows[] = {{"10M", 10e6, NAN, NAN},
                {"1 meg", 1e6, NAN, NAN},
                {"20k per volt", NAN, 20e3, NAN},
                {"20k/V on 300", NAN, 20e3, 300},
                {"1000 ohms per volt", NAN, 1000, NAN}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        diagnose_meter meter;
        assert_int_equal(diagnose_meter_read(rows[i].text, (base_place){0}, &meter, wren.errors),
                         BASE_OK);
        assert_true(isnan(rows[i].ohms) ? isnan(meter.ohms) : meter.ohms == rows[i].ohms);
        assert_true(isnan(rows[i].per_volt) ? isnan(meter.ohms_per_volt)
                                            : meter.ohms_per_volt == rows[i].per_volt);
        assert_true(isnan(rows[i].range) ? isnan(meter.range) : meter.range == rows[i].range);
    }
    diagnose_meter meter;
    base_errors *errors = base_errors_new();
    static const char *const bad[] = {"", "10 V", "per volt", "20k per volt at 300", "3", "-10M"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_int_not_equal(diagnose_meter_read(bad[i], (base_place){0}, &meter, errors), BASE_OK);
    base_errors_free(errors);
}

static void on_the_command_line(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    diagnose_readings *readings = diagnose_readings_new();
    static const char *const fine[] = {"V2.3=362", "B2-B3 = 3.1 V", "R12=24.4"};
    static const char *const bad[] = {"V2.3", "=3", "V2.3=", "V2.33=1", "V2.3=abc", "V2.3=inf"};
    for (size_t i = 0; i < 3; i++)
        assert_int_equal(diagnose_readings_add(readings, wren.system, fine[i], NULL, errors),
                         BASE_OK);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_int_not_equal(diagnose_readings_add(readings, wren.system, bad[i], NULL, errors),
                             BASE_OK);
    assert_int_equal(readings->count, 3);
    for (int i = 0; i < 400; i++)
        diagnose_readings_add(readings, wren.system, "V1.3=1.6", NULL, errors);
    assert_int_equal(readings->count, 300);
    diagnose_readings_free(readings);
    base_errors_free(errors);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(files),  cmocka_unit_test(broken_files),
        cmocka_unit_test(kept),   cmocka_unit_test(across_a_part),
        cmocka_unit_test(meters), cmocka_unit_test(on_the_command_line),
    };
    return cmocka_run_group_tests(tests, open_amp, close_amp);
}
