#include "mixture.h"

#include <gsl/gsl_blas.h>
#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_PART 1e-12 /* of a reading's precision */
#define FREEDOM 12       /* of the Student t */
#define WEAK 0.3         /* singular values below which a direction keeps its prior */
#define TIGHT 2.0        /* from which its middle is found anew for each draw */
#define STEPS 1          /* for that */
#define WIDER 1.05       /* than the linearised posterior */

void mixture_init(mixture *mixture) {
    size_t n = (size_t)mixture->readings + 1, d = (size_t)mixture->latents;
    mixture->v = calloc(d, sizeof(double));
    mixture->off = calloc(n, sizeof(double));
    mixture->apart = calloc(n, sizeof(double));
    mixture->middle = calloc(n, sizeof(double));
    mixture->drawn = -1;
}

static void free_part(mixture_part *part) {
    free(part->direction);
    free(part->mean);
    free(part->sd);
    free(part->pull);
}

void mixture_free(mixture *mixture) {
    for (int k = 0; k < mixture->count; k++)
        free_part(&mixture->part[k]);
    double *all[] = {mixture->v, mixture->off, mixture->apart, mixture->middle};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
}

static double dot(const double *a, const double *b, int n) {
    double sum = 0;
    for (int i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* ---- making -------------------------------------------------------------------------------- */

/* Eigenvalues (rising) and eigenvectors (one after the other) of B B'. */
static bool decompose(const gsl_matrix *b, double *squares, double *vectors) {
    int n = (int)b->size1;
    gsl_matrix_view gram = gsl_matrix_view_array(vectors, b->size1, b->size1);
    gsl_blas_dgemm(CblasNoTrans, CblasTrans, 1, b, b, 0, &gram.matrix);
    return LAPACKE_dsyev(LAPACK_COL_MAJOR, 'V', 'L', n, vectors, n, squares) == 0;
}

/* One direction: B'u / s. Rounding spoils those of the smallest s, so each is made orthogonal to
 * those before it. */
static void add_direction(mixture_part *part, const gsl_matrix *b, const gsl_vector *u, double s) {
    int d = (int)b->size2;
    double *own = part->direction + (size_t)part->rank * (size_t)d;
    gsl_vector_view to = gsl_vector_view_array(own, (size_t)d);
    gsl_blas_dgemv(CblasTrans, 1 / s, b, u, 0, &to.vector);
    for (int k = 0; k < part->rank; k++) {
        const double *other = part->direction + (size_t)k * (size_t)d;
        double along = dot(own, other, d);
        for (int l = 0; l < d; l++)
            own[l] -= along * other[l];
    }
    double length = sqrt(dot(own, own, d));
    for (int l = 0; l < d; l++)
        own[l] /= length;
    part->sd[part->rank++] = WIDER / sqrt(1 + s * s);
}

static double part_of(const mixture_place *place, size_t i) {
    return sqrt(fmax(place->weight[i], LEAST_PART)) / place->sd[i];
}

/* How a tight direction follows the residuals. */
static void add_pull(mixture_part *part, const mixture_place *place, const double *u, double square,
                     size_t n) {
    double *own = part->pull + (size_t)part->tight++ * n;
    for (size_t i = 0; i < n; i++)
        own[i] = sqrt(square) / (1 + square) * u[i] * part_of(place, i);
}

/* B = D^-1/2 A, each reading by its part. */
static gsl_matrix *whitened(const mixture *mixture, const mixture_place *place) {
    size_t n = (size_t)mixture->readings, d = (size_t)mixture->latents;
    gsl_matrix *b = gsl_matrix_alloc(n, d);
    for (size_t i = 0; i < n; i++) {
        double scale = part_of(place, i);
        for (size_t l = 0; l < d; l++)
            gsl_matrix_set(b, i, l, place->row[i * d + l] * scale);
    }
    return b;
}

static mixture_part make_part(const mixture *mixture, const mixture_place *place, double height) {
    size_t n = (size_t)mixture->readings, d = (size_t)mixture->latents;
    mixture_part part = {.log_laplace = height};
    part.direction = calloc(n * d + 1, sizeof(double));
    part.mean = calloc(n + 1, sizeof(double));
    part.sd = calloc(n + 1, sizeof(double));
    part.pull = calloc(n * n + 1, sizeof(double));
    if (n == 0) return part;
    gsl_matrix *b = whitened(mixture, place);
    double *squares = calloc(n, sizeof *squares), *vectors = calloc(n * n, sizeof *vectors);
    bool good = decompose(b, squares, vectors);
    for (size_t k = n; good && k-- > 0;) {
        gsl_vector_const_view u = gsl_vector_const_view_array(vectors + k * n, n);
        part.log_laplace -= 0.5 * log1p(fmax(squares[k], 0));
        if (squares[k] > TIGHT * TIGHT) add_pull(&part, place, u.vector.data, squares[k], n);
        if (squares[k] > WEAK * WEAK) add_direction(&part, b, &u.vector, sqrt(squares[k]));
    }
    for (int k = 0; k < part.rank; k++)
        part.mean[k] = dot(part.direction + (size_t)k * d, place->v, (int)d);
    gsl_matrix_free(b);
    free(squares);
    free(vectors);
    return part;
}

static void set_fixed(mixture_part *part) {
    double r = part->rank, freedom = FREEDOM;
    part->fixed = lgamma((freedom + r) / 2) - lgamma(freedom / 2) - 0.5 * r * log(freedom / 2);
    for (int k = 0; k < part->rank; k++)
        part->fixed -= log(part->sd[k]);
}

/* Within `same` deviations of a part that is about as wide? */
static bool stands(const mixture_part *old, const mixture_part *part, const double *v, int d,
                   double same) {
    if (old->rank != part->rank) return false;
    for (int k = 0; k < old->rank; k++) {
        double c = dot(old->direction + (size_t)k * (size_t)d, v, d);
        if (fabs(c - old->mean[k]) > same * old->sd[k]) return false;
        if (fabs(log(old->sd[k] / part->sd[k])) > 0.3) return false;
    }
    return true;
}

double mixture_add(mixture *mixture, const mixture_place *place, double height, double same) {
    if (mixture->count == MIXTURE_MOST) return -INFINITY;
    mixture_part part = make_part(mixture, place, height);
    for (int k = 0; k < mixture->count; k++)
        if (stands(&mixture->part[k], &part, place->v, mixture->latents, same)) {
            free_part(&part);
            return -INFINITY;
        }
    set_fixed(&part);
    mixture->part[mixture->count++] = part;
    return part.log_laplace;
}

void mixture_settle(mixture *mixture, double least, double hopeless) {
    double best = -INFINITY, sum = 0;
    int kept = 0;
    for (int k = 0; k < mixture->count; k++)
        best = fmax(best, mixture->part[k].log_laplace);
    for (int k = 0; k < mixture->count; k++) {
        if (mixture->part[k].log_laplace < best - hopeless)
            free_part(&mixture->part[k]);
        else
            mixture->part[kept++] = mixture->part[k];
    }
    mixture->count = kept;
    for (int k = 0; k < kept; k++) {
        mixture->part[k].share = fmax(exp(mixture->part[k].log_laplace - best), least);
        sum += mixture->part[k].share;
    }
    for (int k = 0; k < kept; k++)
        mixture->part[k].share *= (1 - mixture->prior_share) / sum;
}

/* ---- drawing ------------------------------------------------------------------------------- */

static const double *direction_of(const mixture *mixture, const mixture_part *part, int k) {
    return part->direction + (size_t)k * (size_t)mixture->latents;
}

/* Moves v along direction k to the coordinate `to`. */
static void put(const mixture *mixture, const mixture_part *part, int k, double to, double *v) {
    const double *direction = direction_of(mixture, part, k);
    double move = to - dot(direction, v, mixture->latents);
    for (int l = 0; l < mixture->latents; l++)
        v[l] += move * direction[l];
}

/* The middle of the tight directions, given v in all others. */
static void find_middle(mixture *mixture, const mixture_part *part, const double *v,
                        double *middle) {
    double *at = mixture->v, *residual = mixture->apart;
    memcpy(at, v, (size_t)mixture->latents * sizeof *at);
    memcpy(middle, part->mean, (size_t)part->tight * sizeof *middle);
    for (int step = 0; step < STEPS && part->tight > 0; step++) {
        for (int k = 0; k < part->tight; k++)
            put(mixture, part, k, middle[k], at);
        if (!mixture->residual(mixture->context, at, residual)) return;
        for (int k = 0; k < part->tight; k++) {
            double sd = part->sd[k] / WIDER;
            middle[k] += dot(part->pull + k * mixture->readings, residual, mixture->readings) -
                         middle[k] * sd * sd;
        }
    }
}

static int pick(const mixture *mixture, base_random *random) {
    double at = base_random_unit(random);
    for (int k = 0; k < mixture->count; k++)
        if ((at -= mixture->part[k].share) < 0) return k;
    return -1;
}

void mixture_draw(mixture *mixture, base_random *random, double *v) {
    double square = 0;
    mixture->drawn = pick(mixture, random);
    for (int l = 0; l < mixture->latents; l++)
        v[l] = base_random_normal(random);
    if (mixture->drawn < 0) return;
    const mixture_part *part = &mixture->part[mixture->drawn];
    for (int k = 0; k < FREEDOM; k++)
        square += pow(base_random_normal(random), 2);
    double stretch = sqrt(FREEDOM / square);
    for (int k = part->tight; k < part->rank; k++)
        put(mixture, part, k, part->mean[k] + part->sd[k] * stretch * base_random_normal(random),
            v);
    find_middle(mixture, part, v, mixture->middle);
    for (int k = 0; k < part->tight; k++)
        put(mixture, part, k,
            mixture->middle[k] + part->sd[k] * stretch * base_random_normal(random), v);
}

static double part_log_ratio(mixture *mixture, int which, const double *v) {
    const mixture_part *part = &mixture->part[which];
    double quad = 0, prior = 0, *middle = mixture->off;
    if (which == mixture->drawn)
        memcpy(middle, mixture->middle, (size_t)part->tight * sizeof *middle);
    else
        find_middle(mixture, part, v, middle);
    for (int k = 0; k < part->rank; k++) {
        double c = dot(direction_of(mixture, part, k), v, mixture->latents);
        double off = (c - (k < part->tight ? middle[k] : part->mean[k])) / part->sd[k];
        quad += off * off;
        prior += c * c;
    }
    return part->fixed - 0.5 * (FREEDOM + part->rank) * log1p(quad / FREEDOM) + 0.5 * prior;
}

double mixture_log_ratio(mixture *mixture, const double *v) {
    double term[MIXTURE_MOST], most = 0, sum = 0;
    double prior = mixture->count ? mixture->prior_share : 1;
    for (int k = 0; k < mixture->count; k++) {
        term[k] = log(mixture->part[k].share) + part_log_ratio(mixture, k, v);
        most = fmax(most, term[k]);
    }
    for (int k = 0; k < mixture->count; k++)
        sum += exp(term[k] - most);
    return most + log(sum + prior * exp(-most));
}
