/* An amp in time against a general-purpose integrator of differential-algebraic equations (SUNDIALS
 * IDA with KLU): the library's amps on the same equations; and a supply whose equations are written
 * out here, apart from the program's. */
#include "ida.h"

#include <sunlinsol/sunlinsol_dense.h>
#include <sunmatrix/sunmatrix_dense.h>

#include "solve/bench.h"

#define WITHIN 0.002

/* ---- the library's amps -------------------------------------------------------------------- */

/* Nodes where a filter capacitor stands. */
static bool *supply_nodes(const bench *b) {
    bool *supply = calloc(circuit_nodes(b->amp), sizeof *supply);
    for (size_t i = 0; i < circuit_parts(b->amp); i++) {
        const circuit_part *part = circuit_part_at(b->amp, i);
        if (part->kind != CIRCUIT_CAPACITOR || part->material != CIRCUIT_ELECTROLYTIC) continue;
        for (int k = 0; k < 2 && part->volts >= 100; k++)
            if (part->end[k] >= 0) supply[part->end[k]] = true;
    }
    return supply;
}

typedef struct pair { /* one course by both */
    bench *b;
    solve_run *run, *asked;
    ida reference;
    const bool *supply; /* the nodes that count; NULL: all */
    double *most;       /* by node: the most volts that it has stood at, or 10 V */
} pair;

static double gap(const pair *p) {
    double worst = 0;
    for (size_t n = 1; n < circuit_nodes(p->b->amp); n++) {
        double ours = solve_run_volts(p->run, (int)n);
        if (isnan(ours) || (p->supply && !p->supply[n])) continue;
        double theirs = ida_volts(&p->reference, (int)n);
        p->most[n] = fmax(p->most[n], fmax(fabs(theirs), 10));
        worst = fmax(worst, fabs(ours - theirs) / p->most[n]);
    }
    return worst;
}

/* The start from cold, or with warm tubes into empty capacitors: the surge, and the tubes in it.
 * IDA's tolerance is 1e-7. */
static double apart(bench *b, double tolerance, bool warm, const bool *supply) {
    solve_course course = {.numbers = b->numbers, .warm = warm, .tolerance = tolerance};
    pair p = {b, solve_run_new(b->system), solve_run_new(b->system), {0}, supply, NULL};
    double worst = 0;
    p.most = calloc(circuit_nodes(b->amp), sizeof *p.most);
    assert_int_equal(solve_run_start(p.run, &course, NULL), SOLVE_CONVERGED);
    assert_int_equal(solve_run_start(p.asked, &course, NULL), SOLVE_CONVERGED);
    assert_true(ida_open(&p.reference, p.asked, 1e-7));
    for (double t = 0.004; t < 0.2; t += 0.0037) {
        assert_int_equal(solve_run_to(p.run, t, NULL, NULL), SOLVE_CONVERGED);
        assert_true(ida_to(&p.reference, t));
        worst = fmax(worst, gap(&p));
    }
    ida_close(&p.reference);
    solve_run_free(p.asked);
    solve_run_free(p.run);
    free(p.most);
    return worst;
}

/* Every node with a fine tolerance; the supply with the usual one. */
static void amp_agrees(bench *b, const char *file, void *extra) {
    (void)extra;
    bool *supply = supply_nodes(b);
    for (int warm = 0; warm < 2; warm++) {
        double all = apart(b, 1e-6, warm, NULL), usual = apart(b, 0, warm, supply);
        print_message("%-28s %s: at most %.3f %% apart; at the usual tolerance, in the supply, "
                      "%.3f %%\n",
                      file, warm ? "warm" : "cold", 100 * all, 100 * usual);
        assert_true(all <= WITHIN);
        assert_true(usual <= WITHIN);
    }
    free(supply);
}

static void test_library(void **state) {
    (void)state;
    bench_each_amp(amp_agrees, NULL);
}

/* ---- a supply written out ------------------------------------------------------------------ */

/* 350-0-350 V, 60 ohm each side, a 5Y3GT (2.782e-4 A / V^1.5 a plate, its data file), 16 uF, 10 H
 * of 200 ohm, 16 uF, 3.9 kohm. y: the first capacitor, the choke, the second. */
enum { FIRST, CHOKE, SECOND };

static double plate_current(double volts) {
    if (volts <= 0) return 0;
    double low = 0, high = sqrt(volts); /* u^2 + R k u^3 = V, by halving */
    for (int pass = 0; pass < 60; pass++) {
        double u = (low + high) / 2;
        *(u * u + 60.1 * 2.782e-4 * u * u * u < volts ? &low : &high) = u;
    }
    return 2.782e-4 * low * low * low;
}

static int written_residual(double t, N_Vector y, N_Vector yp, N_Vector out, void *own) {
    const double *v = N_VGetArrayPointer(y), *dv = N_VGetArrayPointer(yp);
    double *f = N_VGetArrayPointer(out), emf = sqrt(2) * 350 * sin(2 * M_PI * 60 * t);
    (void)own;
    f[FIRST] = 16e-6 * dv[FIRST] + v[CHOKE] - plate_current(emf - v[FIRST]) -
               plate_current(-emf - v[FIRST]);
    f[CHOKE] = 10 * dv[CHOKE] + 200 * v[CHOKE] - v[FIRST] + v[SECOND];
    f[SECOND] = 16e-6 * dv[SECOND] + v[SECOND] / 3900 - v[CHOKE];
    return 0;
}

static const char written_text[] =
    "amp: written out\nmains: {volts: 117, hertz: 60, drawn for: 117}\n"
    "power transformer:\n  T1:\n    primary: {volts: 117, ohms: 0.001, at: [line, neutral]}\n"
    "    windings:\n      high: {volts: 350-0-350, ohms: 60+60, at: [V1.4, ground, V1.6]}\n"
    "tubes: {V1: {type: 5Y3GT}}\n"
    "rectifiers: {main: {form: full wave, by: V1, from: T1 high, out: V1.8}}\n"
    "capacitors:\n  C1: {value: 16u, at: [V1.8, ground], kind: film}\n"
    "  C2: {value: 16u, at: [B2, ground], kind: film}\n"
    "inductors: {L1: {henries: 10, ohms: 200, kind: choke, at: [V1.8, B2]}}\n"
    "resistors: {R1: {value: 3k9, at: [B2, ground]}}\n";

static void test_written_out(void **state) {
    (void)state;
    tube_library *tubes = bench_tubes();
    bench b = bench_of_text(tubes, "written out", written_text);
    solve_run *run = solve_run_new(b.system);
    solve_course course = {.numbers = b.numbers, .warm = true, .tolerance = 1e-5};
    assert_int_equal(solve_run_start(run, &course, NULL), SOLVE_CONVERGED);
    SUNContext context;
    SUNContext_Create(NULL, &context);
    N_Vector y = N_VNew_Serial(3, context), yp = N_VClone(y);
    N_VConst(0, y);
    N_VConst(0, yp);
    SUNMatrix matrix = SUNDenseMatrix(3, 3, context);
    SUNLinearSolver solver = SUNLinSol_Dense(y, matrix, context);
    void *memory = IDACreate(context);
    IDAInit(memory, written_residual, 0, y, yp);
    IDASStolerances(memory, 1e-8, 1e-8);
    IDASetMaxNumSteps(memory, -1);
    IDASetLinearSolver(memory, solver, matrix);
    double worst = 0, most = 0, reached;
    for (double t = 0.001; t < 0.5; t += 0.001) {
        assert_int_equal(solve_run_to(run, t, NULL, NULL), SOLVE_CONVERGED);
        assert_true(IDASolve(memory, t, &reached, y, yp, IDA_NORMAL) >= 0);
        const double *v = N_VGetArrayPointer(y);
        double off1 = fabs(solve_run_volts(run, bench_node(&b, "V1.8")) - v[FIRST]);
        double off2 = fabs(solve_run_volts(run, bench_node(&b, "B2")) - v[SECOND]);
        most = fmax(most, v[FIRST]);
        worst = fmax(worst, fmax(off1, off2));
    }
    print_message("written out: at most %.3f V off in %.0f V\n", worst, most);
    assert_true(worst <= WITHIN * most);
    IDAFree(&memory);
    SUNLinSolFree(solver);
    SUNMatDestroy(matrix);
    N_VDestroy(y);
    N_VDestroy(yp);
    SUNContext_Free(&context);
    solve_run_free(run);
    bench_free(&b);
    tube_library_free(tubes);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_written_out),
                                       cmocka_unit_test(test_library)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
