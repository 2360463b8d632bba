/* The pattern of the Jacobian: which equation meets which unknown, found once, ordered once. */
#include <stdlib.h>
#include <string.h>

#include "solve_impl.h"

typedef struct entry {
    int row, column, number;
} entry;

static void name(solve_system *system, int row, int column) {
    bool ground = row < 0 || column < 0;
    system->row_name[system->entries] = ground ? -1 : row;
    system->column_name[system->entries++] = ground ? -1 : column;
}

static void name_block(solve_system *system, const int *rows, int row_count, const int *columns,
                       int column_count) {
    for (int r = 0; r < row_count; r++)
        for (int c = 0; c < column_count; c++)
            name(system, rows[r], columns[c]);
}

/* The unknowns that a heater's ratio depends on: both ends of up to two branches. */
static void heat_ends(const solve_system *system, const solve_heat *heat, int ends[4]) {
    for (int k = 0; k < 4; k++)
        ends[k] = -1;
    for (int k = 0; k < heat->branches; k++) {
        ends[2 * k] = system->branch[heat->branch[k]].a;
        ends[2 * k + 1] = system->branch[heat->branch[k]].b;
    }
}

static void name_all(solve_system *system) {
    for (int i = 0; i < system->unknowns; i++)
        name(system, i, i);
    for (size_t i = 0; i < system->branches; i++) {
        solve_branch *branch = &system->branch[i];
        int ends[2] = {branch->a, branch->b};
        branch->at = (int)system->entries;
        name_block(system, ends, 2, ends, 2);
    }
    for (size_t i = 0; i < system->diodes; i++) {
        solve_diode *diode = &system->diode[i];
        int ends[2] = {diode->a, diode->b};
        diode->at = (int)system->entries;
        name_block(system, ends, 2, ends, 2);
    }
    for (size_t i = 0; i < system->units; i++) {
        solve_unit *unit = &system->unit[i];
        int columns[8];
        memcpy(columns, unit->node, sizeof unit->node);
        heat_ends(system, &unit->heat, columns + 4);
        unit->at = (int)system->entries;
        name_block(system, unit->node, 4, columns, 8);
    }
    for (size_t i = 0; i < system->cycles; i++) {
        solve_cycle *cycle = &system->cycle[i];
        int columns[6] = {cycle->out, cycle->ret};
        heat_ends(system, &cycle->heat, columns + 2);
        cycle->at = (int)system->entries;
        name_block(system, columns, 2, columns, 6);
    }
}

static int by_column(const void *a, const void *b) {
    const entry *x = a, *y = b;
    if (x->column != y->column) return x->column < y->column ? -1 : 1;
    return (x->row > y->row) - (x->row < y->row);
}

/* Sorts the entries by column and row; equal ones share one place. */
bool solve_compress(base_arena *arena, solve_pattern *pattern) {
    entry *list = base_arena_take(arena, pattern->entries, sizeof *list);
    pattern->place = base_arena_take(arena, pattern->entries, sizeof(int));
    pattern->row = base_arena_take(arena, pattern->entries, sizeof(int));
    pattern->column_start = base_arena_take(arena, (size_t)pattern->unknowns + 1, sizeof(int));
    if (!list || !pattern->place || !pattern->row || !pattern->column_start) return false;
    size_t count = 0;
    for (size_t i = 0; i < pattern->entries; i++)
        if (pattern->row_name[i] >= 0)
            list[count++] = (entry){pattern->row_name[i], pattern->column_name[i], (int)i};
    qsort(list, count, sizeof *list, by_column);
    int last = -1;
    for (size_t i = 0; i < count; i++) {
        if (i == 0 || by_column(&list[i - 1], &list[i]) != 0) {
            pattern->row[++last] = list[i].row;
            pattern->column_start[list[i].column + 1] = last + 1;
        }
        pattern->place[list[i].number] = last;
    }
    pattern->nonzeros = last + 1;
    for (size_t i = 0; i < pattern->entries; i++)
        if (pattern->row_name[i] < 0)
            pattern->place[i] = pattern->nonzeros; /* ground: written and never read */
    return true;
}

bool solve_make_pattern(solve_system *system) {
    size_t most = (size_t)system->unknowns + 4 * (system->branches + system->diodes) +
                  32 * system->units + 12 * system->cycles;
    system->row_name = base_arena_take(system->arena, most, sizeof(int));
    system->column_name = base_arena_take(system->arena, most, sizeof(int));
    if (!system->row_name || !system->column_name) return false;
    name_all(system);
    solve_pattern pattern = {.unknowns = system->unknowns,
                             .entries = system->entries,
                             .row_name = system->row_name,
                             .column_name = system->column_name};
    if (!solve_compress(system->arena, &pattern)) return false;
    system->place = pattern.place;
    system->column_start = pattern.column_start;
    system->row = pattern.row;
    system->nonzeros = pattern.nonzeros;
    system->symbolic =
        klu_analyze(system->unknowns, system->column_start, system->row, &system->common);
    return system->symbolic != NULL;
}
