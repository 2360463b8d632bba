/* The part is good, but a lead of it stands on the wrong node.
 *
 * Each mistake is an edit of the circuit that keeps its nodes and its numbers: the amp is solved as
 * another system with the same slots and unknowns, so that all else treats it as any point. */
#include "wiring_impl.h"

#include <stdlib.h>
#include <string.h>

#define KEPT 48 /* systems of other wirings that stand ready at once */

/* ---- another system ------------------------------------------------------------------------ */

static void close_bench(diagnose_bench *bench) {
    solve_signal_free(bench->signal);
    solve_work_free(bench->work);
    solve_system_free((solve_system *)bench->system);
    circuit_free((circuit *)bench->amp);
    *bench = (diagnose_bench){0};
}

static bool open_bench(const diagnose_engine *engine, const diagnose_wiring *wiring,
                       diagnose_bench *bench) {
    base_errors *errors = base_errors_new();
    circuit *amp =
        errors ? circuit_rewired(engine->bench.amp, wiring->lead, (size_t)wiring->leads) : NULL;
    solve_system *system = amp ? solve_system_new(amp, errors) : NULL;
    bool same = system && solve_slots(system) == solve_slots(engine->bench.system) &&
                solve_unknowns(system) == solve_unknowns(engine->bench.system);
    *bench = (diagnose_bench){.system = system,
                              .amp = amp,
                              .work = same ? solve_work_new(system) : NULL,
                              .numbers = engine->bench.numbers,
                              .x = engine->bench.x};
    base_errors_free(errors);
    if (bench->work) return true;
    close_bench(bench);
    return false;
}

/* The one whose turn is longest ago makes room. */
diagnose_bench *diagnose_wired_bench(diagnose_engine *engine, int index) {
    diagnose_wirings *wirings = engine->wirings;
    wired_bench *oldest = &wirings->ready[0];
    for (int k = 0; k < KEPT; k++) {
        wired_bench *one = &wirings->ready[k];
        if (one->bench.work && one->index == index) {
            one->turn = ++wirings->turns;
            return &one->bench;
        }
        if (one->turn < oldest->turn) oldest = one;
    }
    close_bench(&oldest->bench);
    oldest->index = index;
    oldest->turn = ++wirings->turns;
    return open_bench(engine, &wirings->wiring[index], &oldest->bench) ? &oldest->bench : NULL;
}

diagnose_bench *diagnose_bench_of(diagnose_engine *engine, const diagnose_point *point) {
    return point->wired ? diagnose_wired_bench(engine, point->wired - 1) : &engine->bench;
}

void diagnose_wirings_free(diagnose_engine *engine) {
    if (!engine->wirings) return;
    for (int k = 0; k < KEPT; k++)
        close_bench(&engine->wirings->ready[k].bench);
    engine->wirings = NULL;
}

void diagnose_wirings_drop(diagnose_engine *engine, int scene) {
    for (int w = 0; engine->wirings && w < engine->wirings->count; w++)
        if (engine->wirings->point[w].field) engine->wirings->point[w].field[scene] = NULL;
}

int diagnose_singles(const diagnose_engine *engine) {
    return (int)engine->catalogue.count + (engine->wirings ? engine->wirings->count : 0);
}

bool diagnose_pins_moved(const diagnose_engine *engine, const diagnose_point *point) {
    return point->wired && engine->wirings->wiring[point->wired - 1].pins;
}

const solve_probe *diagnose_wired_probe(diagnose_engine *engine, const diagnose_point *point,
                                        const char *at, const solve_probe *drawn,
                                        solve_probe *room) {
    if (!diagnose_pins_moved(engine, point)) return drawn;
    diagnose_bench *bench = diagnose_wired_bench(engine, point->wired - 1);
    base_errors *errors = base_errors_new();
    bool found = bench && errors &&
                 diagnose_probe_read(bench->system, at, (base_place){0}, room, errors) == BASE_OK;
    base_errors_free(errors);
    if (!found || room->heater != drawn->heater) return drawn;
    room->meter_ohms = drawn->meter_ohms;
    return room;
}

/* ---- all of them --------------------------------------------------------------------------- */

/* A catalogue entry that sets no number: its point is of another amp. */
static void add_fault(diagnose_engine *engine, const diagnose_wiring *wiring, int index,
                      double prior) {
    diagnose_fault *fault = &engine->catalogue.fault[engine->catalogue.count + (size_t)index];
    *fault = (diagnose_fault){.mode = wiring->mode,
                              .part = wiring->part,
                              .which = index,
                              .prior = prior * wiring->share,
                              .severities = 1};
    fault->severity[0] = NAN;
    fault->weight[0] = 1;
}

/* Mistakes together are to faults as the priors say; each exchanged pair of halves on its own. */
static void set_priors(diagnose_engine *engine) {
    diagnose_wirings *wirings = engine->wirings;
    double faults = 1 - engine->options.nothing - engine->options.unmodelled, sum = 0;
    for (int w = 0; w < wirings->count; w++)
        if (wirings->wiring[w].mode == DIAGNOSE_MISWIRED) sum += wirings->wiring[w].share;
    for (int w = 0; w < wirings->count; w++) {
        bool mistake = wirings->wiring[w].mode == DIAGNOSE_MISWIRED;
        double all = engine->number[mistake ? NUMBER_WIRING_MISTAKE : NUMBER_HALVES_EXCHANGED];
        add_fault(engine, &wirings->wiring[w], w, faults * all / (mistake ? sum : 1));
    }
}

/* Those without a solution are left unsolved, and so out of all that follows. */
static bool solve_all(diagnose_engine *engine) {
    diagnose_wirings *wirings = engine->wirings;
    for (int w = 0; w < wirings->count; w++) {
        diagnose_point *point = &wirings->point[w];
        *point = (diagnose_point){
            .fault = (int)engine->catalogue.count + w, .wired = w + 1, .arena = engine->arena};
        if (!diagnose_wired_bench(engine, w)) continue;
        if (!diagnose_point_solve(engine, point, engine->bench.x)) return false;
    }
    return true;
}

bool diagnose_wirings_make(diagnose_engine *engine) {
    if (engine->wirings) return true;
    diagnose_wirings *wirings = base_arena_take(engine->arena, 1, sizeof *wirings);
    if (!wirings) return false;
    wirings->ready = base_arena_take(engine->arena, KEPT, sizeof *wirings->ready);
    if (!wirings->ready || !diagnose_wirings_list(engine, wirings)) return false;
    size_t room = engine->catalogue.room - engine->catalogue.count;
    if ((size_t)wirings->count > room) wirings->count = (int)room;
    wirings->point =
        base_arena_take(engine->arena, (size_t)wirings->count + 1, sizeof *wirings->point);
    if (!wirings->point) return false;
    engine->wirings = wirings;
    set_priors(engine);
    return solve_all(engine);
}

const diagnose_point *diagnose_single_point(const diagnose_engine *engine, int label,
                                            int severity) {
    int wiring = label - (int)engine->catalogue.count;
    if (wiring >= 0) return &engine->wirings->point[wiring];
    return &engine->point[engine->first_point[label] + severity];
}

const char *diagnose_wiring_words(const diagnose_engine *engine, int index) {
    return engine->wirings->wiring[index].words;
}

/* ---- in a run ------------------------------------------------------------------------------ */

static int more_promising(const void *a, const void *b) {
    double x = ((const diagnose_case *)a)->promise, y = ((const diagnose_case *)b)->promise;
    return (x < y) - (x > y);
}

#define EXACT 40    /* wirings weighed with all readings */
#define WINDOW 30.0 /* nats below the best single fault that still count */

static bool looked_at(const diagnose_run_state *run) {
    diagnose_look look = run->engine->options.wiring;
    if (run->given < 2 || look == DIAGNOSE_LOOK_NEVER) return false;
    return look == DIAGNOSE_LOOK_ALWAYS || diagnose_unexplained(run);
}

static double best_promise(const diagnose_run_state *run) {
    double best = -INFINITY;
    for (int k = 0; k < run->count; k++)
        if (run->cases[k].exact) best = fmax(best, run->cases[k].promise);
    return best;
}

/* The points of the wirings behind the run's own, each with its screened weight. */
static int screen_all(diagnose_run_state *run, diagnose_weigher *weigher, diagnose_case *spare,
                      diagnose_case *cases) {
    const diagnose_wirings *wirings = run->engine->wirings;
    int count = 0;
    weigher->mix.wrong = spare->wrong;
    weigher->mix.without = spare->without;
    for (int w = 0; w < wirings->count; w++) {
        if (!wirings->point[w].solved) continue;
        diagnose_case *one = &cases[count++];
        diagnose_point *point = &run->extra[run->extras];
        *point = wirings->point[w]; /* what it predicts is kept in the run's own arena */
        point->arena = run->arena;
        point->field = NULL;
        *one = (diagnose_case){.label = point->fault,
                               .point = (int)run->engine->points + run->extras++};
        diagnose_screen(run, &wirings->point[w], weigher, &spare->gauss, one);
    }
    qsort(cases, (size_t)count, sizeof *cases, more_promising);
    return count;
}

bool diagnose_wiring_weigh(diagnose_run_state *run, diagnose_weigher *weigher) {
    if (!looked_at(run)) return true;
    if (!diagnose_wirings_make(run->engine)) return false;
    size_t room = (size_t)run->engine->wirings->count + 1;
    diagnose_case *cases = base_arena_take(run->arena, room, sizeof *cases), spare = {0};
    if (!cases || !diagnose_extras_room(run, (int)room) || !diagnose_case_room(run, &spare))
        return false;
    run->wired = true;
    int count = screen_all(run, weigher, &spare, cases), kept = 0;
    double least = best_promise(run) - WINDOW;
    for (; kept < count && kept < EXACT && cases[kept].promise > least; kept++)
        if (!diagnose_weigh_exactly(run, &cases[kept], weigher)) return false;
    if (!diagnose_cases_append(run, cases, kept)) return false;
    diagnose_normalise(run);
    return true;
}
