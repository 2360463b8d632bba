/* Replies to READ?: the numbers of IEEE 488.2 (NR1, NR2, NR3), the words and values of SCPI-99 for
 * overload and not-a-number, units as meters append them. */
#include "support.h"

#include "meter.h"

#include <math.h>

typedef struct reply {
    const char *text;
    meter_word word;
    double volts;
} reply;

static const reply replies[] = {
    {"+1.68200000E+02", METER_NUMBER, 168.2},
    {"168.2", METER_NUMBER, 168.2},
    {"-3", METER_NUMBER, -3},
    {" 168.2 ", METER_NUMBER, 168.2},
    {"168.2 VDC", METER_NUMBER, 168.2},
    {"168.2V", METER_NUMBER, 168.2},
    {"+0168.2 V DC", METER_NUMBER, 168.2},
    {"168.2mV", METER_NUMBER, 0.1682},
    {"0.3 kV", METER_NUMBER, 300},
    {".5", METER_NUMBER, 0.5},
    {"5.", METER_NUMBER, 5},
    {"1e-3", METER_NUMBER, 0.001},
    {"-0.000000E+00", METER_NUMBER, 0},
    {"+9.90000000E+37", METER_OVERLOAD, NAN},
    {"-9.9E37", METER_OVERLOAD, NAN},
    {"9.9e+37 V", METER_OVERLOAD, NAN},
    {"OL", METER_OVERLOAD, NAN},
    {"ovld", METER_OVERLOAD, NAN},
    {"O.L", METER_OVERLOAD, NAN},
    {"9.91E37", METER_NAN, NAN},
    {"NAN", METER_NAN, NAN},
    {"", METER_GARBLED, NAN},
    {"+", METER_GARBLED, NAN},
    {"E5", METER_GARBLED, NAN},
    {"1.2.3", METER_GARBLED, NAN},
    {"1,5", METER_GARBLED, NAN},
    {"1.5 2.5", METER_GARBLED, NAN},
    {"168.2 VAC", METER_GARBLED, NAN},
    {"168.2 A", METER_GARBLED, NAN},
    {"168.2 OHM", METER_GARBLED, NAN},
    {"168.2 MV", METER_GARBLED, NAN},
    {"0x10", METER_GARBLED, NAN},
    {"inf0", METER_GARBLED, NAN},
    {"1E9999", METER_GARBLED, NAN},
    {"1E12", METER_GARBLED, NAN},
    {"-113,\"Undefined header\"", METER_GARBLED, NAN},
    {"GRIDLEAK,PRACTICE METER,0,1.0", METER_GARBLED, NAN},
    {"16\x80.2", METER_GARBLED, NAN},
};

static void each_reply(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof replies / sizeof *replies; i++) {
        double volts = 1;
        meter_word word = meter_reply_read(replies[i].text, strlen(replies[i].text), &volts);
        double wanted = replies[i].volts;
        bool same = isnan(wanted) ? isnan(volts) : fabs(volts - wanted) <= 1e-12 * fabs(wanted);
        if (word != replies[i].word || !same)
            fail_msg("`%s` was read as %d, %.17g", replies[i].text, (int)word, volts);
    }
}

/* A reply that lost its end is no reply of another size, wherever that can be told: within the
 * figure it cannot, and settling must catch it. */
static void cut_short(void **state) {
    static const char whole[] = "+1.68200000E+02 VDC";
    (void)state;
    for (size_t length = 0; length < sizeof whole - 1; length++) {
        double volts;
        meter_word word = meter_reply_read(whole, length, &volts);
        assert_true(word == METER_NUMBER || word == METER_GARBLED);
        assert_true((word == METER_NUMBER) == isfinite(volts));
    }
}

static void a_zero_byte(void **state) {
    double volts;
    (void)state;
    assert_int_equal(meter_reply_read("16\0008.2", 6, &volts), METER_GARBLED);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_reply),
        cmocka_unit_test(cut_short),
        cmocka_unit_test(a_zero_byte),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
