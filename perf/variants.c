/* variants: how many variants of an amp are solved in a second, beside a general-purpose solver.
 *
 * The largest amp of the library, from its healthy point: (1) parts off by their tolerance, (2) one
 * fault on top of that. Ours is solve_point. Beside it SUNDIALS KINSOL with KLU, a full Newton step
 * each time (MaxSetupCalls 1), called once per variant on the same residual and Jacobian, to the
 * same closeness, in the same run. Usage: perf_variants [SEED [VARIANTS]] */
#include <kinsol/kinsol.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_klu.h>
#include <sunmatrix/sunmatrix_sparse.h>
#include <time.h>

#include "solve/faults.h"

#include "files.h"
#include "solve_impl.h"

static void die(const char *what) {
    fprintf(stderr, "variants: %s\n", what);
    exit(1);
}

static double now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* ---- the library's largest amp ---- */

static tube_library *read_tubes(base_errors *errors) {
    tube_library *tubes = tube_library_new();
    size_t count;
    const cli_file *file = cli_files(&count);
    for (size_t i = 0; tubes && i < count; i++)
        if (strncmp(file[i].name, "tubes/", 6) == 0)
            tube_library_add(tubes, file[i].name, file[i].data, file[i].length, errors);
    return tubes;
}

/* An amp ready to solve, at its healthy point. */
static bool open_bench(bench *b, const tube_library *tubes, const cli_file *file) {
    *b = (bench){.errors = base_errors_new()};
    b->amp = circuit_read(file->name, file->data, file->length, tubes, b->errors);
    b->system = b->amp ? solve_system_new(b->amp, b->errors) : NULL;
    b->work = b->system ? solve_work_new(b->system) : NULL;
    if (!b->work) return false;
    b->slots = solve_slots(b->system);
    b->unknowns = solve_unknowns(b->system);
    b->numbers = malloc(b->slots * sizeof(double));
    b->x = calloc(b->unknowns, sizeof(double));
    memcpy(b->numbers, solve_nominal(b->system), b->slots * sizeof(double));
    return bench_solved(solve_point(b->work, b->numbers, NULL, b->x));
}

static const char *open_largest(bench *b, const tube_library *tubes) {
    size_t count, most = 0;
    const cli_file *file = cli_files(&count);
    const char *name = NULL;
    for (size_t i = 0; i < count; i++) {
        bench other;
        if (strncmp(file[i].name, "amps/", 5) != 0) continue;
        if (!open_bench(&other, tubes, &file[i])) die(file[i].name);
        bool larger = other.unknowns > most;
        if (larger && name) bench_free(b);
        if (larger) *b = other, most = other.unknowns, name = file[i].name;
        if (!larger) bench_free(&other);
    }
    return name;
}

/* ---- the general-purpose solver on the same equations ---- */

typedef struct reference {
    const solve_system *system;
    solve_work *work;
    const double *numbers;
    SUNContext context;
    N_Vector x, x_scale, f_scale;
    SUNMatrix jacobian;
    SUNLinearSolver linear;
    void *kinsol;
} reference;

static int residual(N_Vector x, N_Vector f, void *given) {
    reference *r = given;
    solve_evaluate(r->work, r->numbers, N_VGetArrayPointer(x));
    memcpy(N_VGetArrayPointer(f), r->work->residual, (size_t)r->system->unknowns * sizeof(double));
    return 0;
}

/* The residual was asked for at this x last, so the Jacobian is at hand: no second evaluation. */
static int jacobian(N_Vector x, N_Vector f, SUNMatrix into, void *given, N_Vector t1, N_Vector t2) {
    (void)x, (void)f, (void)t1, (void)t2;
    reference *r = given;
    const solve_system *system = r->system;
    sunindextype *start = SUNSparseMatrix_IndexPointers(into);
    sunindextype *row = SUNSparseMatrix_IndexValues(into);
    for (int i = 0; i <= system->unknowns; i++)
        start[i] = system->column_start[i];
    for (int i = 0; i < system->nonzeros; i++)
        row[i] = system->row[i];
    memcpy(SUNSparseMatrix_Data(into), r->work->value, (size_t)system->nonzeros * sizeof(double));
    return 0;
}

/* Residuals are weighed so that 1 is our own closeness: 0.1 nA and 1e-8 of the node's current. */
static void set_scales(reference *r, const bench *b) {
    solve_fix(r->work, b->numbers);
    solve_evaluate(r->work, b->numbers, b->x);
    for (int i = 0; i < r->system->unknowns; i++) {
        NV_Ith_S(r->x_scale, i) = 1 / (1 + fabs(b->x[i]));
        NV_Ith_S(r->f_scale, i) = 1 / (1e-10 + 1e-8 * r->work->flow[i]);
    }
}

static void open_reference(reference *r, const bench *b) {
    *r = (reference){.system = b->system, .work = solve_work_new(b->system)};
    sunindextype n = b->system->unknowns;
    bool fine = r->work && SUNContext_Create(NULL, &r->context) == 0;
    if (!fine) die("no reference solver");
    r->x = N_VNew_Serial(n, r->context);
    r->x_scale = N_VNew_Serial(n, r->context);
    r->f_scale = N_VNew_Serial(n, r->context);
    r->jacobian = SUNSparseMatrix(n, n, b->system->nonzeros, CSC_MAT, r->context);
    r->linear = SUNLinSol_KLU(r->x, r->jacobian, r->context);
    r->kinsol = KINCreate(r->context);
    set_scales(r, b);
    fine = KINInit(r->kinsol, residual, r->x) == KIN_SUCCESS &&
           KINSetUserData(r->kinsol, r) == KIN_SUCCESS &&
           KINSetLinearSolver(r->kinsol, r->linear, r->jacobian) == KIN_SUCCESS &&
           KINSetJacFn(r->kinsol, jacobian) == KIN_SUCCESS &&
           KINSetMaxSetupCalls(r->kinsol, 1) == KIN_SUCCESS &&
           KINSetNumMaxIters(r->kinsol, 60) == KIN_SUCCESS &&
           KINSetFuncNormTol(r->kinsol, 1) == KIN_SUCCESS &&
           KINSetScaledStepTol(r->kinsol, 1e-12) == KIN_SUCCESS &&
           KINSetPrintLevel(r->kinsol, 0) == KIN_SUCCESS &&
           KINSetErrFile(r->kinsol, NULL) == KIN_SUCCESS;
    if (!fine) die("the reference solver cannot be set up");
}

static bool solve_reference(reference *r, const double *numbers, const double *start, double *x) {
    size_t size = (size_t)r->system->unknowns * sizeof *x;
    r->numbers = numbers;
    memcpy(N_VGetArrayPointer(r->x), start, size);
    solve_fix(r->work, numbers);
    int flag = KINSol(r->kinsol, r->x, KIN_LINESEARCH, r->x_scale, r->f_scale);
    memcpy(x, N_VGetArrayPointer(r->x), size);
    return flag == KIN_SUCCESS || flag == KIN_INITIAL_GUESS_OK;
}

static void close_reference(reference *r) {
    KINFree(&r->kinsol);
    SUNLinSolFree(r->linear);
    SUNMatDestroy(r->jacobian);
    N_VDestroy(r->x);
    N_VDestroy(r->x_scale);
    N_VDestroy(r->f_scale);
    SUNContext_Free(&r->context);
    solve_work_free(r->work);
}

/* ---- the race ---- */

typedef struct race {
    const bench *b;
    reference *r;
    base_random random;
    bool faulty;
    long variants, failed, reference_failed;
    double seconds, reference_seconds, apart; /* largest difference between the two, V */
} race;

static void make_variant(race *race, double *numbers) {
    faults_tolerate(race->b, &race->random, numbers);
    if (!race->faulty) return;
    size_t slot = base_random_bits(&race->random) % race->b->slots;
    numbers[slot] = faults_number(solve_slot_at(race->b->system, slot), &race->random);
}

static void run_variant(race *race, double *numbers, double *ours, double *theirs) {
    const bench *b = race->b;
    make_variant(race, numbers);
    double start = now();
    bool solved = bench_solved(solve_point(b->work, numbers, b->x, ours));
    double middle = now();
    bool also = solve_reference(race->r, numbers, b->x, theirs);
    race->reference_seconds += now() - middle;
    race->seconds += middle - start;
    race->failed += !solved;
    race->reference_failed += !also;
    for (size_t i = 0; solved && also && i < b->unknowns; i++)
        race->apart = fmax(race->apart, fabs(ours[i] - theirs[i]) / (1 + fabs(ours[i])));
}

static void run_race(race *race, const char *what) {
    const bench *b = race->b;
    double *numbers = malloc(b->slots * sizeof *numbers);
    double *ours = malloc(b->unknowns * sizeof *ours), *theirs = malloc(b->unknowns * sizeof *ours);
    for (long k = 0; k < race->variants; k++)
        run_variant(race, numbers, ours, theirs);
    double own = (double)race->variants / race->seconds;
    double other = (double)race->variants / race->reference_seconds;
    printf("%s, %ld variants:\n"
           "  ours              %9.0f a second (%6.1f us), %ld not solved\n"
           "  KINSOL with KLU   %9.0f a second (%6.1f us), %ld not solved\n"
           "  ratio %.2f; where both solved, at most %.1g apart\n",
           what, race->variants, own, 1e6 / own, race->failed, other, 1e6 / other,
           race->reference_failed, own / other, race->apart);
    free(numbers);
    free(ours);
    free(theirs);
}

int main(int count, char **argument) {
    uint64_t seed = count > 1 ? strtoull(argument[1], NULL, 10) : 1;
    long variants = count > 2 ? strtol(argument[2], NULL, 10) : 5000;
    base_errors *errors = base_errors_new();
    tube_library *tubes = read_tubes(errors);
    bench b;
    reference r;
    const char *name = tubes ? open_largest(&b, tubes) : NULL;
    if (!name) die("no amps in the library");
    open_reference(&r, &b);
    printf("%s: %zu unknowns, %zu numbers; seed %llu\n", name, b.unknowns, b.slots,
           (unsigned long long)seed);
    for (int faulty = 0; faulty < 2; faulty++) {
        race race = {.b = &b, .r = &r, .faulty = faulty, .variants = variants};
        base_random_seed(&race.random, seed + (uint64_t)faulty);
        run_race(&race, faulty ? "one fault and tolerance" : "tolerance");
    }
    close_reference(&r);
    bench_free(&b);
    tube_library_free(tubes);
    base_errors_free(errors);
    return 0;
}
