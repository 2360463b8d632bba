#include "report.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "select.h"

/* ---- one line of a table ------------------------------------------------------------------- */

/* Is the rank below `limit`? As marks of 0 and 1. */
static marks ranked(const rows *rows, const want *want, double limit) {
    marks marks = select_marks(rows, want, C_RANK, -1);
    for (size_t i = 0; i < marks.count; i++)
        marks.value[i] = marks.value[i] < limit;
    return marks;
}

static void print_share(marks marks) {
    interval range = marks_interval(&marks);
    if (marks.count == 0)
        printf("      -              ");
    else
        printf(" %5.1f (%4.1f to %5.1f)", 100 * marks_mean(&marks), 100 * range.low,
               100 * range.high);
    marks_free(&marks);
}

static void print_line(const rows *rows, const char *name, const want *want) {
    marks part = select_marks(rows, want, C_PART_FIRST, -1);
    printf("  %-26s %6zu", name, part.count);
    print_share(ranked(rows, want, 1));
    print_share(ranked(rows, want, 3));
    print_share(part);
    printf("\n");
}

static void print_head(const char *what) {
    printf("\n%s: faults that the chart shows (over %.0f deviations of good amps); percent, and "
           "95 %% by amp\n",
           what, SELECT_SHOWN);
    printf("  %-26s %6s %20s %20s %20s\n", "", "cases", "class first", "first three", "very part");
}

static void print_tables(const rows *rows, const char *truth) {
    const char *name[128];
    for (int evidence = 0; evidence <= EVIDENCE_FULL; evidence++) {
        want want = {
            .truth = truth, .kind = KIND_SINGLE, .evidence = evidence, .shown = SELECT_SHOWN};
        print_head(evidence_names[evidence]);
        int count = select_amps(rows, name, 64);
        for (int k = 0; k < count; k++) {
            want.amp = name[k];
            print_line(rows, name[k], &want);
        }
        want.amp = NULL;
        print_line(rows, "all amps", &want);
        count = evidence == EVIDENCE_FULL ? select_modes(rows, name, 128) : 0;
        for (int k = 0; k < count; k++) {
            want.mode = name[k];
            print_line(rows, name[k], &want);
        }
    }
}

/* ---- marks --------------------------------------------------------------------------------- */

typedef struct target {
    double at;
    bool most; /* at most; else at least */
} target;

static void print_mark(const char *name, double found, target target, const char *rest) {
    bool good = target.most ? found <= target.at : found >= target.at;
    printf("  %-58s %8.4f  target %s %.4g  %s%s%s\n", name, found,
           target.most ? "at most" : "at least", target.at,
           isnan(found) ? "no cases"
           : good       ? "PASS"
                        : "SHORT",
           *rest ? "  " : "", rest);
}

static double mean_of(marks marks) {
    double mean = marks_mean(&marks);
    marks_free(&marks);
    return mean;
}

static void print_ranks(const rows *rows, const char *truth, bool own) {
    want want = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_FULL, .shown = SELECT_SHOWN};
    print_mark("class first", mean_of(ranked(rows, &want, 1)), (target){own ? 0.975 : 0.95, false},
               "");
    print_mark("first three", mean_of(ranked(rows, &want, 3)), (target){own ? 0.995 : 0.99, false},
               "");
    want.shown = 0;
    marks limit = select_marks(rows, &want, C_P_FIRST, C_HIT);
    double error, gap = marks_gap(&limit, &error);
    char rest[80];
    snprintf(rest, sizeof rest, "(s.e. %.4f; %s)", error,
             own ? "limit: the mean of its largest probability" : "stated less found");
    print_mark("gap to the Bayes limit, every case", gap, (target){own ? 0.015 : 0.05, true}, rest);
    marks_free(&limit);
    want.over = 0.9;
    print_mark("right where over 0.9 is said", mean_of(select_marks(rows, &want, C_HIT, -1)),
               (target){own ? 0.90 : 0.85, false}, "");
}

static void print_calibration(const rows *rows, const char *truth, bool own) {
    static const evidence kinds[] = {EVIDENCE_PINS, EVIDENCE_FULL, EVIDENCE_STEP, EVIDENCE_STOP};
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        want want = {truth, .kind = KIND_SINGLE, .evidence = (int)kinds[k]};
        marks marks = select_marks(rows, &want, C_P_FIRST, C_HIT);
        double raw, ece = marks_ece(&marks, &raw);
        char name[80], rest[80];
        snprintf(name, sizeof name, "calibration error of the first group, %s",
                 evidence_names[kinds[k]]);
        snprintf(rest, sizeof rest, "(raw %.4f, %zu beliefs)", raw, marks.count);
        print_mark(name, ece, (target){own ? 0.015 : 0.05, true}, rest);
        marks_free(&marks);
    }
    want want = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_STOP, .stopped = true};
    print_mark("right where it stops, settled", mean_of(select_marks(rows, &want, C_HIT, -1)),
               (target){own ? 0.90 : 0.85, false}, "");
}

static void print_identity(const char *name, marks marks) {
    double error, gap = marks_gap(&marks, &error);
    printf("  %-58s %8.4f  s.e. %.4f (%+.1f)  %s\n", name, gap, error, gap / error,
           fabs(gap) <= 2 * error ? "PASS" : "SHORT");
    marks_free(&marks);
}

static marks surprise(const rows *rows, const want *want) {
    marks marks = select_marks(rows, want, C_P_TRUTH, C_ENTROPY);
    for (size_t i = 0; i < marks.count; i++)
        marks.value[i] = -log(fmax(marks.value[i], 1e-9));
    return marks;
}

static void print_identities(const rows *rows, const char *truth) {
    for (int evidence = 0; evidence <= EVIDENCE_STOP; evidence++) {
        want want = {truth, .kind = KIND_SINGLE, .evidence = evidence};
        printf("  %s\n", evidence_names[evidence]);
        print_identity("  hit less largest p (groups)",
                       select_marks(rows, &want, C_HIT, C_P_FIRST));
        print_identity("  hit less largest p (faults)",
                       select_marks(rows, &want, C_TOP_HIT, C_P_TOP));
        print_identity("  p of truth less sum of p^2",
                       select_marks(rows, &want, C_P_TRUTH, C_SQUARES));
        print_identity("  -ln p of truth less entropy", surprise(rows, &want));
        double cover = mean_of(select_marks(rows, &want, C_COVER, -1));
        printf("  %-58s %8.4f  target 0.88 to 0.92  %s\n", "  90 % sets hold the truth", cover,
               cover >= 0.88 && cover <= 0.92 ? "PASS" : "SHORT");
        marks squares = select_marks(rows, &want, C_SQUARES, C_P_TRUTH);
        double brier = 0;
        for (size_t i = 0; i < squares.count; i++)
            brier += (1 + squares.value[i] - 2 * squares.other[i]) / (double)squares.count;
        printf("  %-58s %8.4f, %.4f\n", "  log loss, Brier (faults)",
               mean_of(surprise(rows, &want)), brier);
        marks_free(&squares);
    }
}

/* ---- other kinds of case ------------------------------------------------------------------- */

static void print_healthy(const rows *rows, const char *truth, bool own) {
    want want = {truth, .kind = KIND_HEALTHY, .evidence = EVIDENCE_FULL};
    marks marks = select_marks(rows, &want, C_VERDICT, C_P_OTHER);
    double called = 0, strange = 0, settled = 0;
    for (size_t i = 0; i < marks.count; i++) {
        bool fault = marks.other[i] > 0;
        settled += fault && marks.value[i] == DIAGNOSE_SETTLED;
        called +=
            fault && (marks.value[i] == DIAGNOSE_SETTLED || marks.value[i] == DIAGNOSE_LEANING);
        strange += marks.value[i] == DIAGNOSE_STRANGE;
    }
    double n = (double)marks.count;
    char rest[100];
    snprintf(rest, sizeof rest, "(settled %.3f, strange %.3f; %zu amps)", settled / n, strange / n,
             marks.count);
    print_mark("healthy but aged, called faulty", called / n, (target){own ? 0.03 : 0.05, true},
               rest);
    marks_free(&marks);
}

static bool same_case(const row *a, const row *b) {
    return a->at[C_CASE] == b->at[C_CASE] && a->at[C_VARIATION] == b->at[C_VARIATION] &&
           a->at[C_SEED] == b->at[C_SEED] && strcmp(a->amp, b->amp) == 0 &&
           strcmp(a->truth, b->truth) == 0;
}

/* Of the same cases, clean and with one entry spoilt. */
static void print_entries(const rows *rows, const char *truth) {
    want spoilt = {truth, .kind = KIND_ENTRY, .evidence = EVIDENCE_FULL, .shown = SELECT_SHOWN};
    want clean = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_FULL, .shown = SELECT_SHOWN};
    double lost = 0, count = 0;
    for (size_t i = 0; i < rows->count; i++)
        for (size_t k = 0; select_row(&spoilt, &rows->row[i]) && k < rows->count; k++) {
            if (!select_row(&clean, &rows->row[k]) || !same_case(&rows->row[i], &rows->row[k]))
                continue;
            lost += (rows->row[k].at[C_RANK] == 0) - (rows->row[i].at[C_RANK] == 0);
            count++;
        }
    spoilt.shown = 0;
    print_mark("a wrong entry is flagged", mean_of(select_marks(rows, &spoilt, C_FLAGGED, -1)),
               (target){0.80, false}, "");
    char rest[60];
    snprintf(rest, sizeof rest, "(%.0f cases)", count);
    print_mark("and costs, of class first", lost / count, (target){0.03, true}, rest);
}

static void print_outside(const rows *rows, const char *truth) {
    want outside = {truth, .kind = KIND_OUTSIDE, .evidence = EVIDENCE_FULL};
    want inside = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_FULL};
    marks yes = select_marks(rows, &outside, C_UNMODELLED, C_SHOWS), shown = marks_new(yes.count);
    marks verdicts = select_marks(rows, &outside, C_VERDICT, C_SHOWS);
    marks no = select_marks(rows, &inside, C_UNMODELLED, -1);
    double strange = 0;
    for (size_t i = 0; i < yes.count; i++) {
        if (yes.other[i] < 2 * SELECT_SHOWN) continue;
        marks_add(&shown, yes.value[i], 0, 0);
        strange += verdicts.value[i] == DIAGNOSE_STRANGE;
    }
    char rest[80];
    snprintf(rest, sizeof rest, "(%zu that show; %.2f of them called strange)", shown.count,
             strange / (double)shown.count);
    if (yes.count)
        print_mark("outside the catalogue: area under the curve", marks_area(&shown, &no),
                   (target){0.9, false}, rest);
    marks_free(&yes);
    marks_free(&no);
    marks_free(&shown);
    marks_free(&verdicts);
}

static void print_pairs(const rows *rows, const char *truth) {
    want want = {truth, .kind = KIND_PAIR, .evidence = EVIDENCE_FULL, .shown = SELECT_SHOWN,
                 .two = true};
    print_mark("two faults: at least one in the first class", mean_of(ranked(rows, &want, 1)),
               (target){0.90, false}, "");
    marks pair = select_marks(rows, &want, C_PAIR, -1);
    double offered = 0, right = 0;
    for (size_t i = 0; i < pair.count; i++) {
        offered += pair.value[i] >= 0;
        right += pair.value[i] >= 0 && pair.value[i] < 3;
    }
    char rest[80];
    snprintf(rest, sizeof rest, "(pairs offered in %.2f of %zu)", offered / (double)pair.count,
             pair.count);
    print_mark("two faults: the pair in the first three pairs", right / (double)pair.count,
               (target){0.85, false}, rest);
    marks_free(&pair);
}

/* ---- effort -------------------------------------------------------------------------------- */

/* Cost until it is settled on the right class; a wrong or an open end costs the whole chart too. */
static double effort_of(const row *row) {
    bool right = row->at[C_VERDICT] == DIAGNOSE_SETTLED && row->at[C_RANK] == 0;
    return row->at[C_COST] + (right ? 0 : row->at[C_TAIL]);
}

/* Only cases that were read in all ways: those with a row at random. */
static marks efforts(const rows *rows, const char *truth, int policy) {
    want every = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_STOP_RANDOM};
    want own = {truth, .kind = KIND_SINGLE, .evidence = policy};
    marks marks = marks_new(rows->count);
    const row *last = NULL;
    for (size_t i = rows->count; i-- > 0;) {
        const row *row = &rows->row[i];
        if (select_row(&every, row)) last = row;
        if (!last || !select_row(&own, row) || !same_case(row, last)) continue;
        bool right = row->at[C_VERDICT] == DIAGNOSE_SETTLED && row->at[C_RANK] == 0;
        marks_add(&marks, effort_of(row), right, 0);
    }
    return marks;
}

static void print_efforts(const rows *rows, const char *truth) {
    double mean[EVIDENCES];
    printf("\neffort and risk until it is settled on the right class (else and the whole chart)\n");
    for (int policy = EVIDENCE_STOP; policy < EVIDENCES; policy++) {
        marks marks = efforts(rows, truth, policy);
        double right = 0;
        for (size_t i = 0; i < marks.count; i++)
            right += marks.other[i] / (double)marks.count;
        mean[policy] = marks_mean(&marks);
        printf("  %-20s %6zu cases, cost %6.2f, settled on the right class in %5.1f %%\n",
               evidence_names[policy], marks.count, mean[policy], 100 * right);
        marks_free(&marks);
    }
    print_mark("of what supply-to-input order costs",
               mean[EVIDENCE_STOP] / mean[EVIDENCE_STOP_FIXED], (target){0.6, true}, "");
    print_mark("of what random order costs", mean[EVIDENCE_STOP] / mean[EVIDENCE_STOP_RANDOM],
               (target){0.5, true}, "");
    want stop = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_STOP};
    marks risky = select_marks(rows, &stop, C_RISKY, C_ADVICES);
    double sum = 0, advices = 0;
    for (size_t i = 0; i < risky.count; i++) {
        sum += risky.value[i];
        advices += risky.other[i];
    }
    print_mark("riskier probe advised, a safer one nearly as good", sum / advices,
               (target){0, true}, "");
    marks_free(&risky);
}

static void print_baselines(const rows *rows, const char *truth) {
    static const struct {
        const char *name;
        column column;
    } baseline[] = {{"prior only", C_PRIOR_FIRST},
                    {"part nearest the largest deviation", C_HABIT},
                    {"nearest entry of a fault dictionary", C_DICTIONARY},
                    {"this program", C_PART_FIRST}};
    want want = {truth, .kind = KIND_SINGLE, .evidence = EVIDENCE_FULL, .shown = SELECT_SHOWN};
    printf("\nthe very part, all places\n");
    for (size_t k = 0; k < sizeof baseline / sizeof *baseline; k++) {
        printf("  %-40s", baseline[k].name);
        print_share(select_marks(rows, &want, (int)baseline[k].column, -1));
        printf("\n");
    }
}

/* ---- simulation-based calibration ---------------------------------------------------------- */

static void print_sbc(const rows *rows) {
    static const column columns[] = {C_U_FAULT, C_U_LIKELY, C_U_PRIOR};
    static const char *const names[] = {"rank of the fault", "rank of the log-likelihood",
                                        "rank of the prior"};
    printf("\nsimulation-based calibration: randomised ranks against a uniform distribution "
           "(chance of a chi square as large)\n");
    for (int evidence = 0; evidence <= EVIDENCE_STOP; evidence++) {
        want want = {"own", .kind = KIND_SINGLE, .evidence = evidence};
        for (int k = 0; k < 3; k++) {
            marks marks = select_marks(rows, &want, (int)columns[k], -1);
            double p = marks_uniform(&marks);
            if (evidence != EVIDENCE_STEP) /* beliefs of one walk are not independent */
                printf("  %-18s %-30s %8zu  p %.4f  %s\n", evidence_names[evidence], names[k],
                       marks.count, p, p > 0.01 ? "PASS" : "SHORT");
            marks_free(&marks);
        }
    }
}

static void print_truth(const rows *rows, const char *truth) {
    bool own = strcmp(truth, "own") == 0;
    printf("\n==== truth: %s\n", own ? "the engine's own model" : "another's world");
    print_tables(rows, truth);
    printf("\nmarks\n");
    print_ranks(rows, truth, own);
    print_calibration(rows, truth, own);
    print_healthy(rows, truth, own);
    print_outside(rows, truth);
    print_entries(rows, truth);
    print_pairs(rows, truth);
    print_efforts(rows, truth);
    print_baselines(rows, truth);
    printf("\nidentities of a right posterior\n");
    print_identities(rows, truth);
}

void report_print(const rows *rows, bool sbc) {
    static const char *const truths[] = {"own", "other"};
    bool own = false;
    for (int k = 0; k < 2; k++) {
        bool any = false;
        for (size_t i = 0; i < rows->count && !any; i++)
            any = strcmp(rows->row[i].truth, truths[k]) == 0;
        if (any && !sbc) print_truth(rows, truths[k]);
        own |= any && k == 0;
    }
    if (own) print_sbc(rows);
}
