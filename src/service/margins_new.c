/* Margins of a healthy amp: opened, the worst moments found, the rows made. */
#include "margins_impl.h"

const char *service_state_word(service_state state) {
    static const char *const words[] = {"well", "no rating given", "close", "over"};
    return words[state];
}

double service_mains_of(const service_bench *bench) {
    int slot = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    return slot >= 0 ? bench->numbers[slot] : circuit_about_of(bench->amp)->mains_volts;
}

/* The same amp on a tenth more; NULL: no point there. *memory false: none left. */
static double *on_high_mains(service_bench *bench, base_arena *arena, bool *memory) {
    size_t slots = solve_slots(bench->system), unknowns = solve_unknowns(bench->system);
    int mains = solve_slot_find(bench->system, -1, SOLVE_MAINS, 0);
    service_bench high = *bench;
    high.numbers = base_arena_take(arena, slots, sizeof(double));
    high.x = base_arena_take(arena, unknowns, sizeof(double));
    *memory = high.numbers && high.x;
    if (!*memory || mains < 0) return NULL;
    memcpy(high.numbers, bench->numbers, slots * sizeof(double));
    high.numbers[mains] *= 1.1;
    solve_outcome outcome = solve_point(high.work, high.numbers, bench->x, high.x).outcome;
    *memory = outcome != SOLVE_NO_MEMORY;
    if (outcome > SOLVE_CONTINUED) return NULL;
    double *most = service_standing(&high, arena);
    *memory = most != NULL;
    return most;
}

bool service_worst_find(service_bench *bench, base_arena *arena, service_worst *worst) {
    bool memory = false;
    worst->in_time = false;
    worst->cold = service_standing(bench, arena);
    worst->high = worst->cold ? on_high_mains(bench, arena, &memory) : NULL;
    /* `work` has the factors of another point by now. */
    solve_outcome outcome = solve_point(bench->work, bench->numbers, bench->x, bench->x).outcome;
    return worst->cold && memory && outcome != SOLVE_NO_MEMORY;
}

service_powerup *service_follow(const service_bench *bench) {
    service_powerup_asked how = {.mains = service_mains_of(bench)};
    base_errors *quiet = base_errors_new();
    service_powerup *powerup = quiet ? service_powerup_new(bench->system, &how, quiet) : NULL;
    base_errors_free(quiet);
    return powerup;
}

/* What the capacitors truly came to in place of the bound, where the amp could be followed. */
static void follow(service_bench *bench, service_worst *worst) {
    service_powerup *powerup = service_follow(bench);
    if (!powerup) return;
    for (size_t i = 0; i < powerup->capacitors; i++)
        worst->cold[powerup->capacitor[i].index] = powerup->capacitor[i].peak_v;
    worst->in_time = true;
    service_powerup_free(powerup);
}

base_code service_margins_open(const solve_system *system, double mains, service_bench *bench,
                               service_margins *margins, base_errors *errors) {
    service_worst worst;
    base_code code = service_bench_open(bench, system, mains, errors);
    if (code != BASE_OK) return code;
    bool found = service_worst_find(bench, margins->arena, &worst);
    if (found && margins->in_time) follow(bench, &worst);
    margins->in_time = found && worst.in_time;
    if (found && service_margins_fill(bench, &worst, margins)) return BASE_OK;
    service_bench_close(bench);
    return base_errors_add(errors, BASE_MEMORY, (base_place){0},
                           "no memory left|close other programs");
}

const service_margin *service_margins_same(const service_margins *in, const service_margin *row) {
    for (size_t i = 0; i < in->margins; i++) {
        const service_margin *one = &in->margin[i];
        if (strcmp(one->part, row->part) == 0 && strcmp(one->what, row->what) == 0 &&
            strcmp(one->unit, row->unit) == 0)
            return one;
    }
    return NULL;
}

const char *service_margins_news(const service_margins *now, const service_margins *then,
                                 const char *except) {
    char text[512] = "";
    for (size_t i = 0; i < now->margins; i++) {
        const service_margin *row = &now->margin[i];
        const service_margin *was = then ? service_margins_same(then, row) : NULL;
        size_t used = strlen(text);
        if (row->state != SERVICE_OVER || (was && was->state == SERVICE_OVER)) continue;
        if (except && strcmp(row->part, except) == 0) continue;
        snprintf(text + used, sizeof text - used, "%s%s %s", used ? ", " : "", row->part,
                 row->what);
    }
    return base_arena_text(now->arena, text);
}

service_margins *service_margins_new(const solve_system *system, double mains, bool in_time,
                                     base_errors *errors) {
    base_arena *arena = base_arena_new();
    service_margins *margins = arena ? base_arena_take(arena, 1, sizeof *margins) : NULL;
    service_bench bench;
    if (!margins) {
        base_arena_free(arena);
        service_no_memory(errors);
        return NULL;
    }
    margins->arena = arena;
    margins->in_time = in_time;
    if (service_margins_open(system, mains, &bench, margins, errors) == BASE_OK) {
        service_bench_close(&bench);
        return margins;
    }
    service_margins_free(margins);
    return NULL;
}

void service_margins_free(service_margins *margins) {
    if (margins) base_arena_free(margins->arena);
}
