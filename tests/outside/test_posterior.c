/* Posteriors by importance sampling (perf/reference): the sampler against evidences that are known,
 * from closed forms and quadrature of a general-purpose library; then what diagnose says against
 * the sampler. perf/reference.c does the last with many more cases. */
#include "support.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_randist.h>
#include <math.h>

#include "cases.h"

#define CLOSE 4.0       /* standard errors that an evidence may lie off */
#define MOST_APART 0.12 /* total variation in one of a few cases */
#define MEAN_APART 0.05

static void check_evidence(sampler *one, double wanted, long draws, double most_error) {
    sampler_learn(one);
    sampler_draw(one, draws);
    sampler_evidence says = sampler_says(one);
    assert_true(says.error < most_error);
    assert_true(says.effective > 0.1 * (double)draws);
    assert_true(fabs(says.log - wanted) < CLOSE * says.error);
}

/* ---- a linear circuit: its evidence is a Gaussian's ---- */

enum { LATENTS = 20, READINGS = 6 };

typedef struct linear {
    double m[READINGS], sd[READINGS], a[READINGS * LATENTS], y[READINGS], broad[READINGS];
} linear;

static bool linear_volts(void *context, const double *v, double *volts, double *row) {
    const linear *given = context;
    for (int i = 0; i < READINGS; i++) {
        volts[i] = given->m[i];
        for (int l = 0; l < LATENTS; l++)
            volts[i] += given->a[i * LATENTS + l] * v[l];
    }
    if (row) memcpy(row, given->a, sizeof given->a);
    return true;
}

static void linear_noise(void *context, const double *v, double *sd) {
    const linear *given = context;
    (void)v;
    memcpy(sd, given->sd, sizeof given->sd);
}

/* Readings of which the first is far off. */
static linear make_linear(double off) {
    linear made;
    base_random random;
    base_random_seed(&random, 11);
    for (int i = 0; i < READINGS; i++) {
        made.m[i] = 10 * (i + 1);
        made.sd[i] = 0.02 * (i + 1);
        made.broad[i] = -log(300);
        for (int l = 0; l < LATENTS; l++)
            made.a[i * LATENTS + l] = 0.3 * base_random_normal(&random);
        made.y[i] = made.m[i] + base_random_normal(&random) + (i == 0 ? off : 0);
    }
    return made;
}

/* ln density of the readings in `good` (bits) together. */
static double log_gauss(const linear *given, unsigned good) {
    int at[READINGS];
    size_t n = 0;
    for (int i = 0; i < READINGS; i++)
        if (good & (1U << i)) at[n++] = i;
    if (n == 0) return 0;
    gsl_matrix *l = gsl_matrix_calloc(n, n);
    gsl_vector *y = gsl_vector_alloc(n), *m = gsl_vector_alloc(n), *work = gsl_vector_alloc(n);
    double result;
    for (size_t i = 0; i < n; i++) {
        gsl_vector_set(y, i, given->y[at[i]]);
        gsl_vector_set(m, i, given->m[at[i]]);
        for (size_t k = 0; k < n; k++) {
            double sum = i == k ? pow(given->sd[at[i]], 2) : 0;
            for (int j = 0; j < LATENTS; j++)
                sum += given->a[at[i] * LATENTS + j] * given->a[at[k] * LATENTS + j];
            gsl_matrix_set(l, i, k, sum);
        }
    }
    gsl_linalg_cholesky_decomp1(l);
    gsl_ran_multivariate_gaussian_log_pdf(y, m, l, &result, work);
    gsl_matrix_free(l);
    gsl_vector_free(y);
    gsl_vector_free(m);
    gsl_vector_free(work);
    return result;
}

/* Over every set of wrong readings. */
static double log_mixed(const linear *given, double wrong) {
    double sum = 0;
    for (unsigned good = 0; good < 1U << READINGS; good++) {
        int count = __builtin_popcount(good);
        sum += exp(log_gauss(given, good) + count * log1p(-wrong) +
                   (READINGS - count) * (log(wrong) + given->broad[0]));
    }
    return log(sum);
}

static void linear_evidence(void **state) {
    (void)state;
    linear given = make_linear(0);
    const sampler_model model = {LATENTS, READINGS, &given, linear_volts, linear_noise};
    const sampler_data data = {given.y, given.broad, .wrong = 0};
    sampler *one = sampler_new(&model, &data, 1);
    double wanted = log_gauss(&given, (1U << READINGS) - 1), start[LATENTS] = {0};
    assert_true(fabs(sampler_climb(one, start) - wanted) < 1e-6); /* Laplace's method is exact */
    check_evidence(one, wanted, 20000, 0.01);
    sampler_free(one);
}

static void wrong_readings(void **state) {
    (void)state;
    const double offs[] = {0, 4, 60};
    for (int k = 0; k < 3; k++) {
        linear given = make_linear(offs[k]);
        const sampler_model model = {LATENTS, READINGS, &given, linear_volts, linear_noise};
        const sampler_data data = {given.y, given.broad, .wrong = 0.05};
        sampler *one = sampler_new(&model, &data, 2);
        double start[LATENTS] = {0};
        sampler_climb(one, start);
        check_evidence(one, log_mixed(&given, 0.05), 20000, 0.02);
        sampler_free(one);
    }
}

/* ---- a bent sheet with two modes: its evidence by quadrature ---- */

static const double bent_y[2] = {130, 40}, bent_sd[2] = {0.6, 0.4};

static bool bent_volts(void *context, const double *v, double *volts, double *row) {
    (void)context;
    volts[0] = 100 * exp(0.3 * v[0] + 0.2 * v[1]);
    volts[1] = 50 * exp(0.3 * v[0] - 0.2 * v[1] * v[1]);
    if (!row) return true;
    row[0] = 0.3 * volts[0];
    row[1] = 0.2 * volts[0];
    row[2] = 0.3 * volts[1];
    row[3] = -0.4 * v[1] * volts[1];
    return true;
}

static void bent_noise(void *context, const double *v, double *sd) {
    (void)context;
    (void)v;
    memcpy(sd, bent_sd, sizeof bent_sd);
}

static double bent_density(double x, void *other) {
    double v[2] = {x, *(const double *)other}, volts[2];
    bent_volts(NULL, v, volts, NULL);
    double density = gsl_ran_ugaussian_pdf(v[0]) * gsl_ran_ugaussian_pdf(v[1]);
    for (int i = 0; i < 2; i++)
        density *= gsl_ran_gaussian_pdf(bent_y[i] - volts[i], bent_sd[i]);
    return density;
}

static double bent_inner(double x, void *nothing) {
    gsl_integration_cquad_workspace *work = gsl_integration_cquad_workspace_alloc(200);
    gsl_function density = {bent_density, &x};
    double result = 0, part;
    (void)nothing;
    for (int k = -12; k < 12; k++) {
        gsl_integration_cquad(&density, k / 2.0, (k + 1) / 2.0, 1e-14, 1e-7, work, &part, NULL,
                              NULL);
        result += part;
    }
    gsl_integration_cquad_workspace_free(work);
    return result;
}

static double bent_evidence(void) {
    gsl_integration_cquad_workspace *work = gsl_integration_cquad_workspace_alloc(200);
    gsl_function inner = {bent_inner, NULL};
    double result = 0, part;
    for (int k = -12; k < 12; k++) {
        gsl_integration_cquad(&inner, k / 2.0, (k + 1) / 2.0, 1e-12, 1e-5, work, &part, NULL, NULL);
        result += part;
    }
    gsl_integration_cquad_workspace_free(work);
    return log(result);
}

static void bent_sheet(void **state) {
    (void)state;
    const double broad[2] = {-6, -6};
    const sampler_model model = {2, 2, NULL, bent_volts, bent_noise};
    const sampler_data data = {bent_y, broad, .wrong = 0};
    sampler *one = sampler_new(&model, &data, 3);
    sampler_climb(one, (const double[]){0, 1});
    sampler_climb(one, (const double[]){0, -1});
    check_evidence(one, bent_evidence(), 20000, 0.02);
    sampler_free(one);
}

/* ---- an amp ---- */

static char *one_tube(void) {
    return support_file("perf/reference/one-tube.yaml", NULL);
}

/* Two readings of a leak somewhere in a cell, by draws from the prior alone. */
static void amp_from_the_prior(void **state) {
    (void)state;
    enum { DRAWS = 5000 };
    char *text = one_tube();
    case_amp amp;
    case_open(&amp, "one-tube", text, 1);
    int fault = 0, place[2] = {1, 6};
    while (diagnose_fault_at(amp.engine, (size_t)fault)->mode != DIAGNOSE_LEAKY)
        fault++;
    double meter[2] = {0.4, 4}, broad[2] = {-6, -6}, v[200], volts[2], sd[2], sum = 0, squares = 0;
    model_hypothesis hypothesis = {amp.model, fault, 3, 1, 2, place, meter};
    sampler_model model = model_of(&hypothesis);
    double *start = calloc((size_t)model.latents, sizeof *start);
    assert_true(model.latents < 200 && model.volts(&hypothesis, start, volts, NULL));
    double y[2] = {1.02 * volts[0], 0.97 * volts[1]};
    for (int k = 0; k < DRAWS; k++) {
        for (int l = 0; l < model.latents; l++)
            v[l] = base_random_normal(&amp.random);
        assert_true(model.volts(&hypothesis, v, volts, NULL));
        model.noise(&hypothesis, v, sd);
        double density = gsl_ran_gaussian_pdf(y[0] - volts[0], sd[0]) *
                         gsl_ran_gaussian_pdf(y[1] - volts[1], sd[1]);
        sum += density;
        squares += density * density;
    }
    double error = sqrt(squares / (sum * sum) - 1.0 / DRAWS);
    const sampler_data data = {y, broad, .wrong = 0};
    sampler *one = sampler_new(&model, &data, 4);
    sampler_climb(one, start);
    sampler_learn(one);
    sampler_draw(one, 3000);
    sampler_evidence says = sampler_says(one);
    assert_true(error < 0.07 && says.error < 0.05);
    assert_true(fabs(says.log - log(sum / DRAWS)) < CLOSE * hypot(error, says.error));
    sampler_free(one);
    free(start);
    case_close(&amp);
    free(text);
}

/* What diagnose says, beside brute force. */
static void diagnose_beside(void **state) {
    (void)state;
    enum { CASES = 3 };
    char *text = one_tube();
    case_amp amp;
    case_open(&amp, "one-tube", text, 2);
    double sum = 0;
    for (int k = 0; k < CASES; k++) {
        posterior_settings settings = {20000, 0.02, 7, (uint64_t)k};
        case_drawn drawn = case_draw(&amp, false, 3 + 3 * k);
        case_result result =
            case_judge(&amp, &drawn, posterior_new(amp.model, drawn.readings, &settings));
        assert_true(result.posterior->variation < 0.05);
        assert_true(result.suspects < MOST_APART + 2 * result.posterior->variation);
        assert_true(result.groups < MOST_APART + 2 * result.posterior->variation);
        sum += result.suspects;
        case_free(&drawn, &result);
    }
    assert_true(sum / CASES < MEAN_APART);
    case_close(&amp);
    free(text);
}

int main(void) {
    gsl_set_error_handler_off();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(linear_evidence), cmocka_unit_test(wrong_readings),
        cmocka_unit_test(bent_sheet),      cmocka_unit_test(amp_from_the_prior),
        cmocka_unit_test(diagnose_beside),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
