#include "rows.h"

#include <stdlib.h>
#include <string.h>

const char *const evidence_names[EVIDENCES] = {"pins",           "all places",     "each step",
                                               "stop: proposed", "stop: edges",    "stop: mixture",
                                               "stop: entropy",  "stop: in order", "stop: random"};

const char *const column_names[COLUMNS] = {
    "seed",    "variation", "case",       "kind",        "evidence",   "readings",
    "fault",   "second",    "shows",      "p_first",     "hit",        "p_other",
    "rank",    "p_truth",   "p_top",      "top_hit",     "part_first", "p_part",
    "squares", "entropy",   "cover",      "unmodelled",  "verdict",    "cost",
    "tail",    "flagged",   "risky",      "advices",     "u_fault",    "u_likely",
    "u_prior", "habit",     "dictionary", "prior_first", "pair",       "seconds"};

void rows_head(FILE *to) {
    fprintf(to, "truth,amp,mode");
    for (int c = 0; c < COLUMNS; c++)
        fprintf(to, ",%s", column_names[c]);
    fprintf(to, "\n");
}

void row_write(FILE *to, const row *row) {
    fprintf(to, "%s,%s,%s", row->truth, row->amp, row->mode);
    for (int c = 0; c < COLUMNS; c++)
        fprintf(to, ",%.6g", row->at[c]);
    fprintf(to, "\n");
}

static void take_word(char **from, char *to, size_t room) {
    size_t length = strcspn(*from, ",");
    snprintf(to, room, "%.*s", (int)length, *from);
    *from += length + ((*from)[length] == ',');
}

/* A line that a killed run left half is passed over. */
static bool read_line(char *line, row *row) {
    *row = (struct row){0};
    take_word(&line, row->truth, sizeof row->truth);
    take_word(&line, row->amp, sizeof row->amp);
    take_word(&line, row->mode, sizeof row->mode);
    for (int c = 0; c < COLUMNS; c++) {
        char *end;
        row->at[c] = strtod(line, &end);
        bool last = c + 1 == COLUMNS;
        if (end == line || *end != (last ? '\n' : ',')) return false;
        line = end + 1;
    }
    return true;
}

bool rows_read(rows *rows, const char *file) {
    FILE *from = fopen(file, "r");
    if (!from) return false;
    char line[2000];
    while (fgets(line, sizeof line, from)) {
        if (rows->count == rows->room) {
            rows->room = rows->room ? 2 * rows->room : 4096;
            rows->row = realloc(rows->row, rows->room * sizeof *rows->row);
            if (!rows->row) exit(1);
        }
        rows->count += read_line(line, &rows->row[rows->count]);
    }
    fclose(from);
    return true;
}

void rows_free(rows *rows) {
    free(rows->row);
    *rows = (struct rows){0};
}
