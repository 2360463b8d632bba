/* What `check` finds odd in a healthy amp: each kind made to happen by one changed line. */
#include "amp.h"

typedef struct odd {
    const char *amp, *from, *to; /* the line changed; NULL: as it is */
    const char *words;           /* of the cause */
} odd;

static const odd odds[] = {
    {"wren-hollow", NULL, NULL, "V2 6V6GT burns on its plate"},
    {"wren-hollow", NULL, NULL, "its design-maximum rating is 14 W"},
    {"wren-hollow", "R12: {value: 470, at: [V2.8, ground], kind: wirewound, watts: 5",
     "R12: {value: 470, at: [V2.8, ground], kind: wirewound, watts: 0.5", "R12 burns"},
    {"wren-hollow", "heaters: {volts: 6.3", "heaters: {volts: 5.0", "heater volts are off"},
    {"wren-hollow", "R10: {value: 220k", "R10: {value: 2M2", "grid circuit (cathode bias)"},
    {"wren-hollow", "B2: 380", "B2: 250", "the schematic prints 250 V at B2"},
    {"wren-hollow", "C9: {value: 16u, at: [B2, ground]", "C9: {value: 16u, at: [ground, B2]",
     "the wrong way round"},
    {"wren-hollow", "C10: {value: 8u, at: [B3, ground], kind: electrolytic, volts: 450",
     "C10: {value: 8u, at: [B3, ground], kind: electrolytic, volts: 300", "C10 stands"},
    {"wren-hollow", "C8: {value: 16u", "C8: {value: 60u", "charges a first capacitor of 60u"},
    {"wren-hollow", "R11: {value: 1k5, at: [drive, V2.5]", "R11: {value: 1k5, at: [B3, V2.5]",
     "the grid of V2"},
    {"saltpan", "R24: {value: 130", "R24: {value: 82", "its design-centre rating is 12 W"},
};

static void test_odd(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof odds / sizeof *odds; i++) {
        amp amp;
        amp_open(&amp, odds[i].amp, odds[i].from, odds[i].to);
        service_suspicious(amp.system, amp.errors);
        assert_int_equal(base_errors_worst(amp.errors), BASE_OK);
        if (!amp_complains(&amp, odds[i].words)) fail_msg("nothing says: %s", odds[i].words);
        amp_close(&amp);
    }
}

/* Each amp of the library: warnings at most, each with a place and a remedy. */
static void test_library(void **state) {
    static const char *const names[] = {"tidemark", "millrace", "granary", "thimble", "choirloft"};
    (void)state;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        amp amp;
        amp_open(&amp, names[i], NULL, NULL);
        service_suspicious(amp.system, amp.errors);
        assert_int_equal(base_errors_worst(amp.errors), BASE_OK);
        for (size_t k = 0; k < base_errors_count(amp.errors); k++) {
            assert_true(base_errors_at(amp.errors, k)->line > 0);
            assert_true(*base_errors_at(amp.errors, k)->remedy != 0);
        }
        amp_close(&amp);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_odd), cmocka_unit_test(test_library)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
