#include "sampler.h"

#include "mixture.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NEVER 1e-8       /* of its precision, for a reading that is left out */
#define STEPS 12         /* of one climb */
#define LEFT_OUT 2       /* readings, one after the other, in looking for modes */
#define PILOT 300        /* draws of a pilot run */
#define PILOTS 8         /* pilot runs at most */
#define GOOD_SHARE 0.15  /* effective part of a pilot run from which nothing more is learnt */
#define SAME 0.3         /* deviations between modes that count as one */
#define LEAST_SHARE 0.04 /* of a component in the mixture */
#define PRIOR_SHARE 0.05
#define HOPELESS 12.0 /* nats below the best mode, from which one is not kept */

struct sampler {
    sampler_model model;
    sampler_data data;
    base_random random;
    mixture mixture;
    double *v, *trial, *volts, *sd, *row, *right, *best_v; /* room */
    double most, sum, squares;                             /* ln of a common factor; of weights */
    long draws, unsolved;
};

static double square(double x) {
    return x * x;
}

/* What is read less what the model shows. */
static bool residual_at(void *context, const double *v, double *residual) {
    sampler *one = context;
    if (!one->model.volts(one->model.context, v, residual, NULL)) return false;
    for (int i = 0; i < one->model.readings; i++)
        residual[i] = one->data.y[i] - residual[i];
    return true;
}

sampler *sampler_new(const sampler_model *model, const sampler_data *data, uint64_t seed) {
    sampler *one = calloc(1, sizeof *one);
    size_t d = (size_t)model->latents, n = (size_t)model->readings + 1;
    *one = (sampler){.model = *model, .data = *data, .most = -INFINITY};
    base_random_seed(&one->random, seed);
    one->mixture = (mixture){model->latents, model->readings, .prior_share = PRIOR_SHARE,
                             .residual = residual_at, .context = one};
    mixture_init(&one->mixture);
    one->v = calloc(d, sizeof(double));
    one->trial = calloc(d, sizeof(double));
    one->best_v = calloc(d, sizeof(double));
    one->volts = calloc(n, sizeof(double));
    one->sd = calloc(n, sizeof(double));
    one->right = calloc(n, sizeof(double));
    one->row = calloc(n * d, sizeof(double));
    return one;
}

void sampler_free(sampler *one) {
    if (!one) return;
    mixture_free(&one->mixture);
    double *all[] = {one->v, one->trial, one->best_v, one->volts, one->sd, one->right, one->row};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
    free(one);
}

/* ---- the likelihood ------------------------------------------------------------------------ */

static double log_normal(double r, double sd) {
    return -0.5 * square(r / sd) - log(sd) - 0.5 * log(2 * M_PI);
}

static double log_wrong(const sampler *one, int i) {
    const sampler_data *data = &one->data;
    double near = data->near_part * fabs(one->volts[i]) + data->near_volts;
    if (!(near > 0)) return data->broad[i];
    double by = log_normal(data->y[i] - one->volts[i], hypot(one->sd[i], near));
    double most = fmax(by, data->broad[i]);
    return most + log(exp(by - most) + exp(data->broad[i] - most)) - M_LN2;
}

/* ln density of the readings given volts and noise; right[i] (may be NULL): the chance that
 * reading i is not a wrong one. */
static double log_likelihood(const sampler *one, double *right) {
    double sum = 0, wrong = one->data.wrong;
    for (int i = 0; i < one->model.readings; i++) {
        double good = log1p(-wrong) + log_normal(one->data.y[i] - one->volts[i], one->sd[i]);
        double bad = wrong > 0 ? log(wrong) + log_wrong(one, i) : -INFINITY;
        double most = fmax(good, bad), both = most + log(exp(good - most) + exp(bad - most));
        if (right) right[i] = exp(good - both);
        sum += both;
    }
    return sum;
}

static bool visit(sampler *one, const double *v, double *row) {
    if (!one->model.volts(one->model.context, v, one->volts, row)) return false;
    one->model.noise(one->model.context, v, one->sd);
    return true;
}

/* ---- climbing ------------------------------------------------------------------------------ */

/* What is climbed: ln posterior; with `weight`, that of a Gaussian with these parts of each
 * reading's precision. */
static double height(sampler *one, const double *v, const double *weight) {
    double sum = 0;
    for (int l = 0; l < one->model.latents; l++)
        sum -= 0.5 * square(v[l]);
    if (!weight) return sum + log_likelihood(one, NULL);
    for (int i = 0; i < one->model.readings; i++)
        sum += weight[i] * log_normal(one->data.y[i] - one->volts[i], one->sd[i]);
    return sum;
}

/* The readings linearised at v, where each has `weight` of its precision. */
typedef struct linearised {
    gsl_matrix *c; /* A A' + D / weight, factored, or its inverse */
    gsl_vector *e; /* C^-1 (y - m + A v) */
} linearised;

static bool linearise(const sampler *one, const double *v, const double *weight, linearised *out) {
    size_t n = (size_t)one->model.readings, d = (size_t)one->model.latents;
    if (n == 0) return false;
    gsl_matrix_const_view a = gsl_matrix_const_view_array(one->row, n, d);
    gsl_vector_const_view at = gsl_vector_const_view_array(v, d);
    *out = (linearised){gsl_matrix_alloc(n, n), gsl_vector_alloc(n)};
    gsl_blas_dsyrk(CblasLower, CblasNoTrans, 1, &a.matrix, 0, out->c);
    for (size_t i = 0; i < n; i++) {
        *gsl_matrix_ptr(out->c, i, i) += square(one->sd[i]) / fmax(weight[i], NEVER);
        gsl_vector_set(out->e, i, one->data.y[i] - one->volts[i]);
    }
    gsl_blas_dgemv(CblasNoTrans, 1, &a.matrix, &at.vector, 1, out->e);
    if (gsl_linalg_cholesky_decomp1(out->c) == 0 && gsl_linalg_cholesky_svx(out->c, out->e) == 0)
        return true;
    gsl_matrix_free(out->c);
    gsl_vector_free(out->e);
    return false;
}

static void linearised_free(linearised *given) {
    gsl_matrix_free(given->c);
    gsl_vector_free(given->e);
}

/* The top of the linearised posterior: A' C^-1 (y - m + A v). */
static bool linear_top(const sampler *one, const double *v, const double *weight, double *top) {
    size_t n = (size_t)one->model.readings, d = (size_t)one->model.latents;
    linearised at;
    if (!linearise(one, v, weight, &at)) return false;
    gsl_matrix_const_view a = gsl_matrix_const_view_array(one->row, n, d);
    gsl_vector_view to = gsl_vector_view_array(top, d);
    gsl_blas_dgemv(CblasTrans, 1, &a.matrix, at.e, 0, &to.vector);
    linearised_free(&at);
    return true;
}

/* Goes from v towards `top`, half as far each time until it is higher. */
static bool step_up(sampler *one, double *v, const double *top, const double *weight, double *h) {
    size_t d = (size_t)one->model.latents;
    double *trial = one->trial, before = *h;
    for (double part = 1; part > 0.01; part /= 2) {
        for (size_t l = 0; l < d; l++)
            trial[l] = v[l] + part * (top[l] - v[l]);
        if (!visit(one, trial, NULL)) continue;
        double now = height(one, trial, weight);
        if (!(now > before)) continue;
        memcpy(v, trial, d * sizeof *v);
        *h = now;
        return now > before + 1e-4;
    }
    return false;
}

/* Gauss and Newton. Each reading with a fixed part of its precision, or, `weight` NULL, with what
 * its chance of being right makes of it. Leaves row, volts and sd at v. */
static bool climb(sampler *one, double *v, const double *weight) {
    double *top = calloc((size_t)one->model.latents, sizeof *top);
    bool good = visit(one, v, one->row);
    double h = good ? height(one, v, weight) : -INFINITY;
    for (int step = 0; good && step < STEPS; step++) {
        if (!weight) log_likelihood(one, one->right);
        if (!linear_top(one, v, weight ? weight : one->right, top)) break;
        if (!step_up(one, v, top, weight, &h)) break;
        good = visit(one, v, one->row);
    }
    if (good) good = visit(one, v, one->row);
    free(top);
    return good;
}

/* A component at v, where row, volts and sd are at hand; -inf where one stands there already. */
static double keep_mode(sampler *one, const double *v) {
    double likelihood = log_likelihood(one, one->right), length = 0;
    for (int l = 0; l < one->model.latents; l++)
        length += square(v[l]);
    const mixture_place place = {v, one->row, one->sd, one->right};
    return mixture_add(&one->mixture, &place, likelihood - 0.5 * length, SAME);
}

/* The reading that the others least foretell, of those not yet left out; -1: all lie within two
 * deviations. With e = C^-1 r it lies e_i^2 / (C^-1)_ii deviations, squared, from what they say. */
static int worst_reading(const sampler *one, const double *v, const double *weight) {
    linearised at;
    int worst = -1;
    double most = 4;
    if (!linearise(one, v, weight, &at)) return -1;
    gsl_linalg_cholesky_invert(at.c);
    for (int i = 0; i < one->model.readings; i++) {
        size_t k = (size_t)i;
        double off = square(gsl_vector_get(at.e, k)) / gsl_matrix_get(at.c, k, k);
        if (weight[i] < 1 || !(off > most)) continue;
        most = off;
        worst = i;
    }
    linearised_free(&at);
    return worst;
}

double sampler_climb(sampler *one, const double *start) {
    size_t d = (size_t)one->model.latents, n = (size_t)one->model.readings;
    double *weight = calloc(n + 1, sizeof *weight), best = -INFINITY;
    double *base = calloc(d, sizeof *base);
    memcpy(base, start, d * sizeof *base);
    for (size_t i = 0; i < n; i++)
        weight[i] = 1;
    for (int out = 0; out <= LEFT_OUT; out++) {
        if (!climb(one, base, weight)) break;
        int worst = worst_reading(one, base, weight);
        memcpy(one->v, base, d * sizeof *base);
        if (climb(one, one->v, NULL)) best = fmax(best, keep_mode(one, one->v));
        if (worst < 0 || !(one->data.wrong > 0)) break;
        weight[worst] = NEVER;
    }
    free(weight);
    free(base);
    return best;
}

/* ---- drawing ------------------------------------------------------------------------------- */

/* ln weight of one draw, left in v. */
static double draw(sampler *one) {
    mixture_draw(&one->mixture, &one->random, one->v);
    if (!visit(one, one->v, NULL)) {
        one->unsolved++;
        return -INFINITY;
    }
    return log_likelihood(one, NULL) - mixture_log_ratio(&one->mixture, one->v);
}

static void count(sampler *one, double log_weight) {
    one->draws++;
    if (log_weight == -INFINITY) return;
    if (log_weight > one->most) {
        double factor = exp(one->most - log_weight);
        one->sum *= factor;
        one->squares *= factor * factor;
        one->most = log_weight;
        memcpy(one->best_v, one->v, (size_t)one->model.latents * sizeof *one->v);
    }
    double weight = exp(log_weight - one->most);
    one->sum += weight;
    one->squares += weight * weight;
}

static void forget(sampler *one) {
    one->most = -INFINITY;
    one->sum = one->squares = 0;
    one->draws = one->unsolved = 0;
}

void sampler_draw(sampler *one, long draws) {
    for (long k = 0; k < draws; k++)
        count(one, draw(one));
}

/* Effective part of a pilot run. */
static double pilot(sampler *one) {
    forget(one);
    sampler_draw(one, PILOT);
    return one->squares > 0 ? one->sum * one->sum / one->squares / PILOT : 0;
}

/* A component about the draw of most weight: at the mode above it, else where it is. */
static void learn_from_best(sampler *one) {
    memcpy(one->v, one->best_v, (size_t)one->model.latents * sizeof *one->v);
    if (climb(one, one->v, NULL) && keep_mode(one, one->v) > -INFINITY) return;
    if (visit(one, one->best_v, one->row)) keep_mode(one, one->best_v);
}

void sampler_learn(sampler *one) {
    mixture_settle(&one->mixture, LEAST_SHARE, HOPELESS);
    for (int run = 0; run < PILOTS && pilot(one) < GOOD_SHARE; run++) {
        if (one->squares > 0) learn_from_best(one);
        mixture_settle(&one->mixture, LEAST_SHARE, HOPELESS);
    }
    forget(one);
}

void sampler_learn_more(sampler *one) {
    if (one->squares > 0) learn_from_best(one);
    sampler_learn(one);
}

sampler_evidence sampler_says(const sampler *one) {
    double n = (double)one->draws, mean = one->sum / n;
    sampler_evidence says = {.draws = one->draws, .unsolved = one->unsolved, .log = -INFINITY};
    says.modes = one->mixture.count;
    if (!(one->sum > 0)) return says;
    says.log = one->most + log(mean);
    says.effective = one->sum * one->sum / one->squares;
    says.error = sqrt(fmax(one->squares / n / (mean * mean) - 1, 0) / n);
    return says;
}
