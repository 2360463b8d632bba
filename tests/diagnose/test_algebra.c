/* The algebra of beliefs against brute force: leave-one-out against refactoring, wrong readings
 * against the sum written out, information against random draws. */
#include "support.h"

#include "diagnose_impl.h"

#include <math.h>

#define N 6
#define assert_close(a, b, by) assert_true(fabs((a) - (b)) <= (by))

/* A positive definite matrix with correlations as strong as an amp's: a few common causes. */
static void make_case(uint64_t seed, double *c, double *r, int n) {
    base_random random;
    base_random_seed(&random, seed);
    double a[N][3];
    for (int i = 0; i < n; i++)
        for (int k = 0; k < 3; k++)
            a[i][k] = 10 * base_random_normal(&random);
    for (int i = 0; i < n; i++)
        for (int k = 0; k < n; k++) {
            c[i * n + k] = i == k ? 0.5 + base_random_unit(&random) : 0;
            for (int l = 0; l < 3; l++)
                c[i * n + k] += a[i][l] * a[k][l];
        }
    for (int i = 0; i < n; i++)
        r[i] = 10 * base_random_normal(&random);
}

/* ln N(r; 0, c) by elimination without any library. */
static double direct(const double *c, const double *r, int n) {
    double m[N][N + 1], log_det = 0, sum = 0, x[N];
    for (int i = 0; i < n; i++) {
        for (int k = 0; k < n; k++)
            m[i][k] = c[i * n + k];
        m[i][n] = r[i];
    }
    for (int i = 0; i < n; i++) {
        log_det += log(m[i][i]);
        for (int j = i + 1; j < n; j++) {
            double f = m[j][i] / m[i][i];
            for (int k = i; k <= n; k++)
                m[j][k] -= f * m[i][k];
        }
    }
    for (int i = n - 1; i >= 0; i--) {
        x[i] = m[i][n];
        for (int k = i + 1; k < n; k++)
            x[i] -= m[i][k] * x[k];
        x[i] /= m[i][i];
        sum += x[i] * r[i];
    }
    return -0.5 * (sum + log_det + n * log(2 * M_PI));
}

/* The same with the readings in `out` (bits) left out. */
static double direct_without(const double *c, const double *r, unsigned out) {
    double d[N * N], s[N];
    int n = 0, kept[N];
    for (int i = 0; i < N; i++)
        if (!(out & (1U << i))) kept[n++] = i;
    for (int i = 0; i < n; i++) {
        s[i] = r[kept[i]];
        for (int k = 0; k < n; k++)
            d[i * n + k] = c[kept[i] * N + kept[k]];
    }
    return direct(d, s, n);
}

static void leaving_out(void **state) {
    (void)state;
    double c[N * N], r[N], q[N * N], e[N];
    for (uint64_t seed = 1; seed <= 40; seed++) {
        make_case(seed, c, r, N);
        diagnose_gauss gauss = {.q = q, .e = e};
        assert_true(diagnose_gauss_make(&gauss, c, r, N));
        assert_close(gauss.log_density, direct(c, r, N), 1e-6);
        for (int i = 0; i < N; i++) {
            double others = direct_without(c, r, 1U << i);
            assert_close(gauss.log_density - diagnose_gauss_given(&gauss, i), others, 1e-6);
            for (int k = i + 1; k < N; k++) {
                double rest = direct_without(c, r, 1U << i | 1U << k);
                assert_close(gauss.log_density - diagnose_gauss_pair(&gauss, i, k), rest, 1e-6);
            }
        }
    }
}

/* The density when none, one or two readings are wrong; of those cases only where `must` are. */
static double written_out(const double *c, const double *r, const double *broad, unsigned must) {
    double chance = 0.03, sum = 0;
    for (unsigned wrong = 0; wrong < 1U << N; wrong++) {
        int w = __builtin_popcount(wrong);
        if (w > 2 || (must & ~wrong)) continue;
        double term = direct_without(c, r, wrong);
        for (int i = 0; i < N; i++)
            if (wrong & (1U << i)) term += broad[i];
        sum += exp(term) * pow(chance, w) * pow(1 - chance, N - w);
    }
    return log(sum);
}

static void wrong_readings(void **state) {
    (void)state;
    double c[N * N], r[N], q[N * N], e[N], term[N], wrong[N], left[N], broad[N];
    for (int i = 0; i < N; i++)
        broad[i] = -log(200.0 + 50 * i);
    for (uint64_t seed = 1; seed <= 40; seed++) {
        make_case(seed, c, r, N);
        r[seed % N] += 100; /* one is far off */
        diagnose_gauss gauss = {.q = q, .e = e};
        diagnose_mix mix = {.term = term, .wrong = wrong, .without = left};
        assert_true(diagnose_gauss_make(&gauss, c, r, N));
        diagnose_mix_make(&gauss, 0.03, broad, &mix);
        double all = written_out(c, r, broad, 0);
        assert_close(mix.log_density, all, 1e-6);
        for (int i = 0; i < N; i++) {
            /* left out: only one more may be wrong, so the pairs are dropped on both sides */
            double chance = 0.03, sum = exp(direct_without(c, r, 1U << i)) * pow(1 - chance, N - 1);
            for (int k = 0; k < N; k++)
                if (k != i)
                    sum += chance * pow(1 - chance, N - 2) *
                           exp(broad[k] + direct_without(c, r, 1U << i | 1U << k));
            assert_close(left[i], log(sum), 1e-6);
            assert_close(wrong[i], exp(written_out(c, r, broad, 1U << i) - all), 1e-6);
        }
    }
}

static void never_nan(void **state) {
    (void)state;
    double q[4], e[2], r[2] = {1, 2};
    const double singular[4] = {1, 1, 1, 1}, bad[4] = {1, NAN, NAN, 1};
    diagnose_gauss gauss = {.q = q, .e = e};
    diagnose_gauss_make(&gauss, singular, r, 2);
    assert_false(isnan(gauss.log_density));
    assert_false(diagnose_gauss_make(&gauss, bad, r, 2));
    assert_true(gauss.log_density == -INFINITY);
    assert_true(diagnose_gauss_make(&gauss, singular, r, 0));
    assert_true(diagnose_log_sum(-INFINITY, -INFINITY) == -INFINITY);
    assert_close(diagnose_log_sum(-1000, -1000), -1000 + log(2), 1e-12);
    assert_true(diagnose_log_sum(0, -INFINITY) == 0);
}

/* ---- information --------------------------------------------------------------------------- */

#define CASES 12

static double density(double v, double mean, double sd) {
    return exp(-0.5 * (v - mean) * (v - mean) / (sd * sd)) / (sd * sqrt(2 * M_PI));
}

static double by_draws(const diagnose_cases *cases, base_random *random) {
    double bits = 0, group[CASES] = {0};
    int draws = 200000;
    for (int i = 0; i < cases->count; i++)
        group[cases->group[i]] += cases->weight[i];
    for (int d = 0; d < draws; d++) {
        double u = base_random_unit(random);
        int i = 0;
        while (i + 1 < cases->count && u > cases->weight[i])
            u -= cases->weight[i++];
        double v = cases->mean[i] + cases->sd[i] * base_random_normal(random), own = 0, all = 0;
        for (int k = 0; k < cases->count; k++) {
            double p = cases->weight[k] * density(v, cases->mean[k], cases->sd[k]);
            all += p;
            if (cases->group[k] == cases->group[i]) own += p;
        }
        bits += log2(own / (group[cases->group[i]] * all));
    }
    return bits / draws;
}

static void information(void **state) {
    (void)state;
    base_random random;
    base_random_seed(&random, 7);
    for (int trial = 0; trial < 12; trial++) {
        double weight[CASES], mean[CASES], sd[CASES], sum = 0;
        int group[CASES];
        for (int i = 0; i < CASES; i++) {
            weight[i] = base_random_unit(&random) + 0.01;
            mean[i] = 100 * base_random_unit(&random);
            sd[i] = exp(3 * base_random_unit(&random) - 1);
            group[i] = i % 5;
            sum += weight[i];
        }
        for (int i = 0; i < CASES; i++)
            weight[i] /= sum;
        diagnose_cases cases = {CASES, 5, weight, mean, sd, group};
        double found = diagnose_information(&cases), drawn = by_draws(&cases, &random);
        assert_true(found < drawn + 0.01); /* from below */
        assert_true(found > 0.93 * drawn - 0.02);
    }
}

static void information_ends(void **state) {
    (void)state;
    double weight[2] = {0.5, 0.5}, same[2] = {3, 3}, apart[2] = {0, 100}, sd[2] = {1, 1};
    int group[2] = {0, 1}, one[2] = {0, 0};
    diagnose_cases cases = {2, 2, weight, same, sd, group};
    assert_close(diagnose_information(&cases), 0, 1e-9);
    cases.mean = apart;
    assert_close(diagnose_information(&cases), 1, 1e-6);
    cases.group = one;
    assert_close(diagnose_information(&cases), 0, 1e-9);
    cases.count = 0;
    assert_true(diagnose_information(&cases) == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(leaving_out),      cmocka_unit_test(wrong_readings),
        cmocka_unit_test(never_nan),        cmocka_unit_test(information),
        cmocka_unit_test(information_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
