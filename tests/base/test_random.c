/* The generators against published values, and their numbers against their distributions. */
#include "base.h"
#include "support.h"

#include <math.h>

/* splitmix64 from seed 0: the values that its reference implementation gives (Vigna, public domain;
 * from memory). They are the state that a seed makes. */
static void test_seed(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 0);
    assert_true(random.s[0] == UINT64_C(0xe220a8397b1dcdaf));
    assert_true(random.s[1] == UINT64_C(0x6e789e6aa1b965f4));
    assert_true(random.s[2] == UINT64_C(0x06c45d188009454f));
    assert_true(random.s[3] == UINT64_C(0xf88bb8a8724c81ec));
}

/* xoshiro256++ 1.0 from state 1, 2, 3, 4: the values that its reference implementation gives
 * (Blackman and Vigna, public domain; from memory). */
static void test_bits(void **state) {
    (void)state;
    static const uint64_t expected[] = {
        UINT64_C(41943041),
        UINT64_C(58720359),
        UINT64_C(3588806011781223),
        UINT64_C(3591011842654386),
        UINT64_C(9228616714210784205),
        UINT64_C(9973669472204895162),
    };
    base_random random = {{1, 2, 3, 4}};
    for (size_t i = 0; i < sizeof expected / sizeof *expected; i++)
        assert_true(base_random_bits(&random) == expected[i]);
}

enum { DRAWS = 1000000 };

/* Moments of the uniform law: 1/2, 1/12; five standard errors. */
static void test_unit(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 42);
    double sum = 0, squares = 0;
    for (int i = 0; i < DRAWS; i++) {
        double u = base_random_unit(&random);
        assert_true(u >= 0 && u < 1);
        sum += u;
        squares += (u - 0.5) * (u - 0.5);
    }
    assert_true(fabs(sum / DRAWS - 0.5) < 5 * sqrt(1 / 12.0 / DRAWS));
    assert_true(fabs(squares / DRAWS - 1 / 12.0) < 5 * sqrt(1 / 180.0 / DRAWS));
}

/* Moments of the normal law: 0, 1, 0, 3; and the share beyond two, 4.550 %; five standard errors.
 */
static void test_normal(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 43);
    double sum[5] = {0}, beyond = 0;
    for (int i = 0; i < DRAWS; i++) {
        double z = base_random_normal(&random), power = 1;
        assert_true(isfinite(z));
        for (int k = 0; k < 5; k++, power *= z)
            sum[k] += power / DRAWS;
        beyond += fabs(z) > 2;
    }
    assert_true(fabs(sum[1]) < 5 * sqrt(1.0 / DRAWS));
    assert_true(fabs(sum[2] - 1) < 5 * sqrt(2.0 / DRAWS));
    assert_true(fabs(sum[3]) < 5 * sqrt(15.0 / DRAWS));
    assert_true(fabs(sum[4] - 3) < 5 * sqrt(96.0 / DRAWS));
    assert_true(fabs(beyond / DRAWS - 0.0455003) < 5 * sqrt(0.0455 / DRAWS));
}

static void test_same_seed_same_numbers(void **state) {
    (void)state;
    base_random one, same, other;
    base_random_seed(&one, 7);
    base_random_seed(&same, 7);
    base_random_seed(&other, 8);
    int equal = 0;
    for (int i = 0; i < 1000; i++) {
        double z = base_random_normal(&one);
        assert_true(z == base_random_normal(&same));
        equal += z == base_random_normal(&other);
    }
    assert_int_equal(equal, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_seed),
        cmocka_unit_test(test_bits),
        cmocka_unit_test(test_unit),
        cmocka_unit_test(test_normal),
        cmocka_unit_test(test_same_seed_same_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
