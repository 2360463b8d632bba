/* Which readings other than plain volts are in play: those that were given, and beside each signal
 * and each hum that was looked at, the other places where it could be. */
#include "symptoms_impl.h"

#include <string.h>

#define MOST_STAGES 64

static bool known(const diagnose_run_state *run, const diagnose_test *test,
                  const solve_probe *probe) {
    for (int i = 0; i < run->plays; i++) {
        const diagnose_ask *one = &run->play[i];
        bool same = one->probe->plus == probe->plus && one->probe->minus == probe->minus;
        if (same && diagnose_test_same(one->test, test)) return true;
    }
    return false;
}

static void add_given(diagnose_run_state *run, const diagnose_ask *ask) {
    if (run->plays < DIAGNOSE_PLAYS && !known(run, ask->test, ask->probe))
        run->play[run->plays++] = *ask;
}

/* A place that has no answer is left out. */
static void add_place(diagnose_run_state *run, const diagnose_ask *like, solve_probe probe) {
    if (run->plays == DIAGNOSE_PLAYS || known(run, like->test, &probe)) return;
    solve_probe *own = base_arena_take(run->arena, 1, sizeof *own);
    if (!own || !solve_probe_exists(run->engine->bench.system, &probe)) return;
    *own = probe;
    own->meter_ohms = like->probe->meter_ohms;
    if (diagnose_ask_open(run->engine, like->test, own, run->arena, &run->play[run->plays]))
        run->plays++;
}

static void add_supply(diagnose_run_state *run, const diagnose_ask *like) {
    const diagnose_engine *engine = run->engine;
    for (size_t n = 1; n < circuit_nodes(engine->bench.amp); n++)
        if (engine->places.supply[n]) add_place(run, like, (solve_probe){.plus = (int)n});
}

static void add_stages(diagnose_run_state *run, const diagnose_ask *like) {
    solve_stage stage[MOST_STAGES];
    size_t count = solve_stages(run->engine->bench.system, stage, MOST_STAGES);
    for (size_t i = 0; i < count && i < MOST_STAGES; i++)
        add_place(run, like, (solve_probe){.plus = stage[i].plus, .minus = stage[i].minus});
}

static void add_like(diagnose_run_state *run, const diagnose_ask *ask) {
    if (ask->test->quantity == DIAGNOSE_HUM) add_supply(run, ask);
    if (ask->test->quantity == DIAGNOSE_SIGNAL) add_stages(run, ask);
}

bool diagnose_play(diagnose_run_state *run) {
    run->play = base_arena_take(run->arena, DIAGNOSE_PLAYS, sizeof *run->play);
    if (!run->play) return false;
    for (int i = 0; i < run->given; i++)
        if (diagnose_asked(run, i)) add_given(run, &run->ask[i]);
    int given = run->plays;
    for (int i = 0; i < given; i++) {
        const diagnose_ask ask = run->play[i];
        add_like(run, &ask);
    }
    return true;
}
