#include "select.h"

#include <string.h>

static bool is_shown(const row *row, double shown) {
    return row->at[C_FAULT] > 1 && row->at[C_SHOWS] >= shown;
}

bool select_row(const want *want, const row *row) {
    if (want->truth && strcmp(want->truth, row->truth) != 0) return false;
    if (want->amp && strcmp(want->amp, row->amp) != 0) return false;
    if (want->mode && strcmp(want->mode, row->mode) != 0) return false;
    if (want->kind != SELECT_ANY && row->at[C_KIND] != want->kind) return false;
    if (want->evidence != SELECT_ANY && row->at[C_EVIDENCE] != want->evidence) return false;
    if (want->shown > 0 && !is_shown(row, want->shown)) return false;
    if (want->two != (row->at[C_SECOND] >= 0) && want->kind == KIND_PAIR) return false;
    if (want->over > 0 && !(row->at[C_P_FIRST] > want->over)) return false;
    return !want->stopped || row->at[C_VERDICT] == DIAGNOSE_SETTLED;
}

int select_amps(const rows *rows, const char *amp[], int most) {
    int count = 0;
    for (size_t i = 0; i < rows->count && count < most; i++) {
        int k = 0;
        while (k < count && strcmp(amp[k], rows->row[i].amp) != 0)
            k++;
        if (k == count) amp[count++] = rows->row[i].amp;
    }
    return count;
}

int select_modes(const rows *rows, const char *mode[], int most) {
    int count = 0;
    for (size_t i = 0; i < rows->count && count < most; i++) {
        const row *row = &rows->row[i];
        int k = 0;
        if (row->at[C_KIND] != KIND_SINGLE || row->at[C_FAULT] < 2) continue;
        while (k < count && strcmp(mode[k], row->mode) != 0)
            k++;
        if (k == count) mode[count++] = row->mode;
    }
    return count;
}

marks select_marks(const rows *rows, const want *want, int value, int other) {
    marks marks = marks_new(rows->count);
    const char *amp[64];
    int amps = select_amps(rows, amp, 64);
    for (size_t i = 0; i < rows->count; i++) {
        const row *row = &rows->row[i];
        int cluster = 0;
        if (!select_row(want, row)) continue;
        while (cluster + 1 < amps && strcmp(amp[cluster], row->amp) != 0)
            cluster++;
        marks_add(&marks, row->at[value], other < 0 ? 0 : row->at[other], cluster);
    }
    return marks;
}
