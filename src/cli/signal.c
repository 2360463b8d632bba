/* An amp solved and linearised. */
#include "cli_impl.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

bool cli_no_memory(cli *cli) {
    base_errors_add(cli->errors, BASE_MEMORY, (base_place){0},
                    "no memory left|close other programs");
    return false;
}

static bool make_room(cli *cli, cli_signal *at) {
    const solve_system *system = at->amp.system;
    size_t size = solve_slots(system) * sizeof(double);
    at->work = solve_work_new(system);
    at->signal = solve_signal_new(system);
    at->numbers = malloc(size);
    at->x = calloc(solve_unknowns(system) + 1, sizeof(double));
    if (!at->work || !at->signal || !at->numbers || !at->x) return cli_no_memory(cli);
    memcpy(at->numbers, solve_nominal(system), size);
    return true;
}

bool cli_signal_open(cli *cli, const char *name, cli_signal *at) {
    *at = (cli_signal){0};
    double mains = cli_number(cli, CLI_MAINS, BASE_VOLTS, 50, 300);
    if (base_errors_worst(cli->errors) != BASE_OK) return false;
    if (!cli_amp_open(cli, name, &at->amp) || !make_room(cli, at)) return false;
    int slot = solve_slot_find(at->amp.system, -1, SOLVE_MAINS, 0);
    if (slot >= 0 && isfinite(mains)) at->numbers[slot] = mains;
    return true;
}

bool cli_signal_solve(cli *cli, cli_signal *at) {
    solve_result result = solve_point(at->work, at->numbers, NULL, at->x);
    if (result.outcome == SOLVE_NO_MEMORY) return cli_no_memory(cli);
    if (result.outcome > SOLVE_CONTINUED) {
        base_errors_add(cli->errors, BASE_UNSOLVED,
                        (base_place){.file = circuit_about_of(at->amp.amp)->file},
                        "the amp as drawn has no operating point that was found: %s|gridleak check "
                        "says what is odd in the file",
                        solve_outcome_text(result.outcome));
        return false;
    }
    solve_signal_set(at->signal, at->work, at->numbers, at->x);
    return true;
}

void cli_signal_close(cli_signal *at) {
    free(at->x);
    free(at->numbers);
    solve_signal_free(at->signal);
    solve_work_free(at->work);
    cli_amp_close(&at->amp);
}
