/* The same equations in time, integrated by SUNDIALS IDA with KLU: a reference for tests and perf.
 *
 * F(t, y, y') = G y + C y' + i(y, t): G, C and i are those of src/solve; step, order, error and
 * Newton are IDA's. */
#ifndef GRIDLEAK_TESTS_IDA_H
#define GRIDLEAK_TESTS_IDA_H

#include <ida/ida.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_klu.h>
#include <sunmatrix/sunmatrix_sparse.h>

#include <string.h>

#include "time_impl.h"

typedef struct ida {
    solve_run *run; /* whose functions are asked; its state stays where it was started */
    SUNContext context;
    void *memory;
    N_Vector y, yp, id, tolerance;
    SUNMatrix matrix;
    SUNLinearSolver solver;
    double *charge;
} ida;

static inline void ida_currents(ida *it, double t, const double *y) {
    time_emissions_at(it->run, t);
    time_evaluate(it->run, y, t, true);
}

static int ida_residual(double t, N_Vector y, N_Vector yp, N_Vector out, void *own) {
    ida *it = own;
    double *f = N_VGetArrayPointer(out);
    ida_currents(it, t, N_VGetArrayPointer(y));
    time_charge(it->run, N_VGetArrayPointer(yp), it->charge);
    for (int i = 0; i < it->run->net->unknowns; i++)
        f[i] = it->run->residual[i] + it->charge[i];
    return 0;
}

static int ida_jacobian(double t, double cj, N_Vector y, N_Vector yp, N_Vector residual,
                        SUNMatrix out, void *own, N_Vector a, N_Vector b, N_Vector c) {
    ida *it = own;
    (void)yp, (void)residual, (void)a, (void)b, (void)c;
    const solve_signal *net = it->run->net;
    sunindextype *start = SUNSparseMatrix_IndexPointers(out);
    sunindextype *row = SUNSparseMatrix_IndexValues(out);
    double *value = SUNSparseMatrix_Data(out);
    ida_currents(it, t, N_VGetArrayPointer(y));
    for (int j = 0; j <= net->unknowns; j++)
        start[j] = net->pattern.column_start[j];
    for (int k = 0; k < net->pattern.nonzeros; k++) {
        row[k] = net->pattern.row[k];
        value[k] = it->run->value[k] + cj * net->c[k];
    }
    return 0;
}

/* Volts and coil currents have a derivative, windings' currents and a turn's volts none. */
static inline void ida_mark(ida *it) {
    const solve_signal *net = it->run->net;
    double *id = N_VGetArrayPointer(it->id);
    for (int i = 0; i < net->unknowns; i++)
        id[i] = i < net->currents_from;
    for (size_t i = 0; i < net->stores; i++)
        if (net->store[i].a == net->store[i].b) id[net->store[i].a] = 1;
}

/* At the state that `run` has just been started in. `part`: as solve_course.tolerance. */
static inline bool ida_open(ida *it, solve_run *run, double part) {
    int n = run->net->unknowns;
    *it = (ida){.run = run};
    SUNContext_Create(NULL, &it->context);
    it->charge = calloc((size_t)n, sizeof(double));
    it->y = N_VNew_Serial(n, it->context);
    it->yp = N_VClone(it->y);
    it->id = N_VClone(it->y);
    it->tolerance = N_VClone(it->y);
    N_VConst(0, it->yp);
    N_VConst(part, it->tolerance);
    memcpy(N_VGetArrayPointer(it->y), run->step.x, (size_t)n * sizeof(double));
    memcpy(run->fixed, run->net->g, (size_t)run->net->pattern.nonzeros * sizeof(double));
    memset(run->step.right, 0, (size_t)n * sizeof(double));
    run->fixed_for = 0;
    run->near = -1; /* curves, never tangents */
    ida_mark(it);
    it->memory = IDACreate(it->context);
    it->matrix = SUNSparseMatrix(n, n, run->net->pattern.nonzeros, CSC_MAT, it->context);
    it->solver = SUNLinSol_KLU(it->y, it->matrix, it->context);
    return IDAInit(it->memory, ida_residual, run->seconds, it->y, it->yp) == IDA_SUCCESS &&
           IDASVtolerances(it->memory, part, it->tolerance) == IDA_SUCCESS &&
           IDASetUserData(it->memory, it) == IDA_SUCCESS &&
           IDASetId(it->memory, it->id) == IDA_SUCCESS &&
           IDASetMaxNumSteps(it->memory, -1) == IDA_SUCCESS &&
           IDASetLinearSolver(it->memory, it->solver, it->matrix) == IDA_SUCCESS &&
           IDASetJacFn(it->memory, ida_jacobian) == IDA_SUCCESS &&
           IDACalcIC(it->memory, IDA_YA_YDP_INIT, run->seconds + 1e-6) == IDA_SUCCESS;
}

/* On to t: false where IDA fails. */
static inline bool ida_to(ida *it, double t) {
    double reached;
    return IDASolve(it->memory, t, &reached, it->y, it->yp, IDA_NORMAL) >= 0;
}

static inline double ida_volts(const ida *it, int node) {
    int unknown = solve_dc(it->run->system, node);
    return unknown < 0 ? 0 : N_VGetArrayPointer(it->y)[it->run->net->of_unknown[unknown]];
}

static inline void ida_close(ida *it) {
    IDAFree(&it->memory);
    SUNLinSolFree(it->solver);
    SUNMatDestroy(it->matrix);
    N_VDestroy(it->y);
    N_VDestroy(it->yp);
    N_VDestroy(it->id);
    N_VDestroy(it->tolerance);
    SUNContext_Free(&it->context);
    free(it->charge);
}

#endif
