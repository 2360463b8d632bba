/* EIA source-date codes. Forms and examples: the standards body's page of source codes; a list
 * article of 2005 (3 or 4 digits of maker, 5 to 8 digits in all). Makers are invented numbers but
 * in those examples. */
#include "amp.h"

static const base_place nowhere = {0};

static service_date_code code_of(const char *text) {
    base_errors *errors = base_errors_new();
    service_date_code code;
    if (service_date_read(text, nowhere, &code, errors) != BASE_OK)
        fail_msg("%s: %s", text, base_errors_at(errors, 0)->cause);
    base_errors_free(errors);
    return code;
}

/* ---- one code ------------------------------------------------------------------------------ */

static void check_form(const char *text, const char *maker, int year, int digits, int week) {
    service_date_code code = code_of(text);
    assert_int_equal(code.readings, 1);
    const service_date_reading *reading = &code.reading[0];
    assert_string_equal(reading->maker, maker);
    assert_int_equal(reading->year, year);
    assert_int_equal(reading->year_digits, digits);
    assert_int_equal(reading->week, week);
}

static void test_forms(void **state) {
    (void)state;
    check_form("285642", "285", 6, 1, 42);    /* published: maker 285, year ending 6, week 42 */
    check_form("113-9910", "113", 99, 2, 10); /* published: maker 113, 1999, week 10 */
    check_form("999-5-17", "999", 5, 1, 17);
    check_form(" 285 642 ", "285", 6, 1, 42);
    check_form("9995-17", "999", 5, 1, 17);
    check_form("1376-732", "1376", 7, 1, 32);
    check_form("1376.67.32", "1376", 67, 2, 32);
    check_form("13766732", "1376", 67, 2, 32);
    check_form("137/67/32", "137", 67, 2, 32);
    check_form("22047", "220", 4, 1, 7); /* early: the week in one digit */
    check_form("009-0-01", "009", 0, 1, 1);
}

static void check_years(const char *text, int latest, const char *wanted) {
    service_date_code code = code_of(text);
    int years[SERVICE_DATE_YEARS];
    int count = service_date_years(&code, latest, years);
    char got[128] = "";
    for (int i = 0; i < count; i++)
        sprintf(got + strlen(got), "%s%d", i ? " " : "", years[i]);
    assert_string_equal(got, wanted);
}

static void test_years(void **state) {
    (void)state;
    check_years("999-5-17", 0, "1945 1955 1965 1975"); /* one digit: each decade */
    check_years("999-4-17", 0, "1954 1964 1974");      /* the codes begin in 1945 */
    check_years("999-5-17", 1960, "1945 1955");
    check_years("113-9910", 0, "1999");
    check_years("113-0310", 2026, "2003");
    check_years("113-3910", 2026, "");
    /* 7 digits in a row: 137, 67, week 32, or 1376, 7, week 32 */
    check_years("1376732", 0, "1947 1957 1967 1977");
    check_years("1373932", 2026, "1949 1959 1969 1979"); /* 2039 is still to come */
}

static void check_refused(const char *text, base_code wanted, const char *words) {
    base_errors *errors = base_errors_new();
    service_date_code code;
    assert_int_equal(service_date_read(text, nowhere, &code, errors), wanted);
    assert_int_equal(code.readings, 0);
    assert_non_null(strstr(base_errors_at(errors, 0)->cause, words));
    assert_true(base_errors_at(errors, 0)->remedy[0]);
    base_errors_free(errors);
}

static void test_refused(void **state) {
    (void)state;
    check_refused("", BASE_SYNTAX, "is no date code");
    check_refused("1234", BASE_SYNTAX, "is no date code");
    check_refused("123456789", BASE_SYNTAX, "is no date code");
    check_refused("2856x2", BASE_SYNTAX, "is no date code");
    check_refused("28-5642", BASE_SYNTAX, "is no date code"); /* parts no form */
    check_refused("285\xd9\xa3", BASE_SYNTAX, "is no date code");
    check_refused("285654", BASE_VALUE, "week 54");
    check_refused("285600", BASE_VALUE, "week 00");
    check_refused("1376799", BASE_VALUE, "week 99");
}

/* Any bytes: refused or read, never a crash; what is read has a week of the calendar. */
static void test_bytes(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 7);
    for (int i = 0; i < 20000; i++) {
        char text[16] = "";
        size_t length = base_random_bits(&random) % 12;
        for (size_t k = 0; k < length; k++)
            text[k] = "0123456789 -./x\xff"[base_random_bits(&random) % 16];
        base_errors *errors = base_errors_new();
        service_date_code code;
        int years[SERVICE_DATE_YEARS];
        bool read = service_date_read(text, nowhere, &code, errors) == BASE_OK;
        assert_int_equal(read, code.readings > 0);
        assert_int_equal(base_errors_count(errors), read ? 0 : 1);
        for (int k = 0; k < code.readings; k++)
            assert_true(code.reading[k].week >= 1 && code.reading[k].week <= 53);
        assert_true(service_date_years(&code, 0, years) <= SERVICE_DATE_YEARS);
        base_errors_free(errors);
    }
}

/* ---- a set --------------------------------------------------------------------------------- */

enum { CODES = 8 };

static service_dates *dates_of(const char *const texts[CODES], int about) {
    static const char *const parts[CODES] = {"P1", "P2", "T1", "T2", "LS1", "C8", "C9", "C10"};
    service_dated codes[CODES];
    size_t count = 0;
    for (; count < CODES && texts[count]; count++)
        codes[count] = (service_dated){.part = parts[count], .code = code_of(texts[count])};
    base_errors *errors = base_errors_new();
    service_dates *dates = service_dates_of(codes, count, 2026, about, errors);
    assert_non_null(dates);
    base_errors_free(errors);
    return dates;
}

/* Two digits each: 1957 to 1959 and one of 1974. */
static void test_replacement(void **state) {
    (void)state;
    service_dates *dates = dates_of(
        (const char *[CODES]){"999-5732", "998-5810", "997-5902", "999-5911", "996-7440"}, 0);
    assert_int_equal(dates->earliest, 1959);
    assert_int_equal(dates->week, 11);
    assert_int_equal(dates->alternatives, 1);
    assert_int_equal(dates->odds, 1);
    assert_int_equal(dates->odd[0].code, 4);
    assert_true(dates->odd[0].later);
    assert_int_equal(dates->year[0], 1957);
    assert_int_equal(dates->year[4], 0);
    assert_string_equal(dates->odd[0].words,
                        "LS1: 1974, newer than the rest: likely a replacement");
    assert_string_equal(dates->words,
                        "Not built before week 11 of 1959: 4 of 5 codes lie within 3 years.");
    service_dates_free(dates);
}

/* One digit each: the decade stays open, until something says more. */
static void test_open_decade(void **state) {
    static const char *const texts[CODES] = {"999-7-32", "998-8-10", "997-9-02", "996-4-40"};
    (void)state;
    service_dates *dates = dates_of(texts, 0);
    assert_int_equal(dates->earliest, 0);
    assert_int_equal(dates->alternatives, 4);
    assert_int_equal(dates->alternative[0], 1949);
    assert_int_equal(dates->alternative[3], 1979);
    assert_non_null(strstr(dates->words, "Not built before 1949, 1959, 1969, or 1979: 3 of 4"));
    assert_non_null(strstr(dates->words, "The decade stays open"));
    service_dates_free(dates);
    dates = dates_of(texts, 1960); /* the owner says: about 1960 */
    assert_int_equal(dates->earliest, 1959);
    assert_int_equal(dates->week, 2);
    assert_string_equal(dates->odd[0].words, "T2: 1954, 1964 or 1974, and no year of the rest: "
                                             "likely a replacement, or from old stock");
    service_dates_free(dates);
}

/* One code with two digits settles the decade of the others, and the form of one in 7 digits. */
static void test_narrows(void **state) {
    (void)state;
    service_dates *dates = dates_of((const char *[CODES]){"999-6-32", "1376732", "998-6801"}, 0);
    assert_int_equal(dates->earliest, 1968);
    assert_int_equal(dates->odds, 0);
    assert_int_equal(dates->year[0], 1966);
    assert_int_equal(dates->year[1], 1967);
    service_dates_free(dates);
}

/* A run across the turn of a decade: 9, 0, 1. */
static void test_turn(void **state) {
    (void)state;
    service_dates *dates =
        dates_of((const char *[CODES]){"999-9-50", "999-0-10", "999-1-03"}, 1960);
    assert_int_equal(dates->earliest, 1961);
    assert_int_equal(dates->odds, 0);
    service_dates_free(dates);
}

static void test_old_stock(void **state) {
    (void)state;
    service_dates *dates = dates_of((const char *[CODES]){"999-6301", "999-6302", "999-5220"}, 0);
    assert_int_equal(dates->earliest, 1963);
    assert_false(dates->odd[0].later);
    assert_string_equal(dates->odd[0].words,
                        "T1: 1952, older than the rest: from stock, or out of another amp");
    service_dates_free(dates);
}

static void test_no_agreement(void **state) {
    (void)state;
    service_dates *dates = dates_of((const char *[CODES]){"999-5732", "999-7440"}, 0);
    assert_int_equal(dates->earliest, 0);
    assert_int_equal(dates->alternatives, 0);
    assert_non_null(strstr(dates->words, "do not agree"));
    service_dates_free(dates);
    dates = dates_of((const char *[CODES]){NULL}, 0);
    assert_string_equal(dates->words, "No codes yet.");
    service_dates_free(dates);
    dates = dates_of((const char *[CODES]){"999-6732"}, 0);
    assert_int_equal(dates->earliest, 1967);
    assert_non_null(strstr(dates->words, "one code alone"));
    service_dates_free(dates);
    dates = dates_of((const char *[CODES]){"999-6732", "999-6801", "999-4101"}, 0);
    assert_string_equal(dates->odd[0].words, "T1: no year up to now: look at the stamp again");
    service_dates_free(dates);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_forms),       cmocka_unit_test(test_years),
        cmocka_unit_test(test_refused),     cmocka_unit_test(test_bytes),
        cmocka_unit_test(test_replacement), cmocka_unit_test(test_open_decade),
        cmocka_unit_test(test_narrows),     cmocka_unit_test(test_turn),
        cmocka_unit_test(test_old_stock),   cmocka_unit_test(test_no_agreement)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
