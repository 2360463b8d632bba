/* time: ten seconds of an amp at work, beside a general-purpose integrator.
 *
 * The largest amp of the library, hot and on 60 Hz mains, for ten seconds at the usual tolerance:
 * solve_run_to, and SUNDIALS IDA with KLU on the same residual and Jacobian, to the same tolerance
 * of the same norm, in the same run; best of three, by the process's own time. Then how far each is
 * off a run a hundred times as fine, in the supply. Usage: perf_time [SECONDS] */
#include <time.h>

#include "ida.h"
#include "solve/bench.h"

#define ROUNDS 3
#define CHECKS 200 /* instants at which the supply is compared */

static void die(const char *what) {
    fprintf(stderr, "time: %s\n", what);
    exit(1);
}

static double now(void) {
    struct timespec t;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* ---- the library's largest amp on 60 Hz ---- */

static const char *largest(const tube_library *tubes, bench *out) {
    static const char *const folder = SOURCE_DIR "/data/amps/*.yaml";
    static char name[256];
    size_t most = 0;
    glob_t found;
    if (glob(folder, 0, NULL, &found) != 0) die("no amps in the library");
    for (size_t i = 0; i < found.gl_pathc; i++) {
        const char *relative = found.gl_pathv[i] + strlen(SOURCE_DIR) + 1;
        bench b = bench_of_file(tubes, relative);
        bool larger = b.unknowns > most && circuit_about_of(b.amp)->mains_hertz == 60;
        if (larger && most > 0) bench_free(out);
        if (!larger) {
            bench_free(&b);
            continue;
        }
        *out = b;
        most = b.unknowns;
        snprintf(name, sizeof name, "%s", relative);
    }
    globfree(&found);
    return name;
}

static solve_run *open_run(bench *b, double tolerance) {
    solve_run *run = solve_run_new(b->system);
    solve_course course = {.numbers = b->numbers, .tolerance = tolerance};
    if (!run || solve_run_start(run, &course, b->x) != SOLVE_CONVERGED) die("no start");
    return run;
}

/* ---- the race ---- */

static double time_ours(bench *b, double seconds, solve_run_count *count) {
    solve_run *run = open_run(b, 0);
    double from = now();
    if (solve_run_to(run, seconds, NULL, NULL) != SOLVE_CONVERGED) die("ours came to nothing");
    double spent = now() - from;
    *count = solve_run_counted(run);
    solve_run_free(run);
    return spent;
}

static double time_theirs(bench *b, double seconds, long *steps, long *residuals) {
    solve_run *run = open_run(b, 0);
    ida reference;
    if (!ida_open(&reference, run, SOLVE_TOLERANCE)) die("IDA did not start");
    double from = now();
    if (!ida_to(&reference, seconds)) die("IDA came to nothing");
    double spent = now() - from;
    IDAGetNumSteps(reference.memory, steps);
    IDAGetNumResEvals(reference.memory, residuals);
    ida_close(&reference);
    solve_run_free(run);
    return spent;
}

/* ---- how true each is ---- */

static bool in_supply(const bench *b, size_t node) {
    for (size_t i = 0; i < circuit_parts(b->amp); i++) {
        const circuit_part *part = circuit_part_at(b->amp, i);
        bool filter = part->kind == CIRCUIT_CAPACITOR && part->volts >= 100 &&
                      part->material == CIRCUIT_ELECTROLYTIC;
        if (filter && (part->end[0] == (int)node || part->end[1] == (int)node)) return true;
    }
    return false;
}

/* The first half second: afterwards a tremolo that has begun to swing tells them apart. */
static void compare(bench *b) {
    solve_run *ours = open_run(b, 0), *asked = open_run(b, 0),
              *fine = open_run(b, SOLVE_TOLERANCE / 100);
    ida theirs;
    double off[2] = {0, 0};
    if (!ida_open(&theirs, asked, SOLVE_TOLERANCE)) die("IDA did not start");
    for (int k = 1; k <= CHECKS; k++) {
        double t = 0.5 * k / CHECKS;
        if (solve_run_to(ours, t, NULL, NULL) || solve_run_to(fine, t, NULL, NULL) ||
            !ida_to(&theirs, t))
            die("the comparison came to nothing");
        for (size_t n = 1; n < circuit_nodes(b->amp); n++) {
            if (!in_supply(b, n)) continue;
            double truth = solve_run_volts(fine, (int)n);
            off[0] = fmax(off[0], fabs(solve_run_volts(ours, (int)n) / truth - 1));
            off[1] = fmax(off[1], fabs(ida_volts(&theirs, (int)n) / truth - 1));
        }
    }
    printf("  off a run 100 times as fine, in the supply: ours %.4f %%, IDA %.4f %%\n",
           100 * off[0], 100 * off[1]);
    ida_close(&theirs);
    solve_run_free(ours);
    solve_run_free(asked);
    solve_run_free(fine);
}

int main(int count, char **argument) {
    double seconds = count > 1 ? strtod(argument[1], NULL) : 10;
    if (!(seconds > 0)) die("say how many seconds: perf_time 10");
    tube_library *tubes = bench_tubes();
    bench b;
    const char *name = largest(tubes, &b);
    bench_solve(&b);
    double ours = INFINITY, theirs = INFINITY;
    solve_run_count counted = {0};
    long steps = 0, residuals = 0;
    for (int k = 0; k < ROUNDS; k++) {
        ours = fmin(ours, time_ours(&b, seconds, &counted));
        theirs = fmin(theirs, time_theirs(&b, seconds, &steps, &residuals));
    }
    printf("%s: %zu unknowns, %g s of amp time at 60 Hz, tolerance %g\n", name, b.unknowns, seconds,
           SOLVE_TOLERANCE);
    printf("  ours %.3f s (%ld steps, %ld refused, %ld evaluations, %ld factors)\n", ours,
           counted.steps, counted.refused, counted.evaluations, counted.factors);
    printf("  IDA  %.3f s (%ld steps, %ld residuals)\n", theirs, steps, residuals);
    printf("  ratio %.2f\n", theirs / ours);
    compare(&b);
    bench_free(&b);
    tube_library_free(tubes);
    return 0;
}
