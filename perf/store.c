/* store: a shop of 20,000 jobs with 60 readings each. How long it takes to open it, to search it,
 * to see one job and to add a fact, each beside a bare SQLite query of the same file in the same
 * run. Every name in it is made up. Fails where a time is over what was promised. */
#include "files.h"
#include "job.h"

#include <math.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define READINGS 60
#define RUNS_MOST 1000

static int over; /* times that were over what was promised */

/* ---- made-up jobs -------------------------------------------------------------------------- */

static const char *const first_names[] = {"Ada",  "Bram", "Cleo", "Dario", "Edda", "Finn",
                                          "Gwen", "Hugo", "Ines", "Jory",  "Kaja", "Lore",
                                          "Milo", "Nell", "Otto", "Pia"};
static const char *const last_names[] = {
    "Ashwell", "Birchley",  "Corrow",  "Dunmarsh", "Elmgate", "Fenwhistle", "Gorsely", "Hollin",
    "Ivybeck", "Juniperly", "Kestrow", "Larkmere", "Mossop",  "Nettlow",    "Oakenby", "Pebblen"};
static const char *const complaints[] = {"hums from the first minute",
                                         "no sound at all",
                                         "crackles when warm",
                                         "weak and muddy",
                                         "blows its fuse",
                                         "squeals when turned up"};
static const struct {
    const char *amp, *part, *what;
    const char *place[6];
} repairs[] = {
    {"saltpan", "C11", "leaky", {"V4.7", "V4.9", "V3.1", "B2", "B3", "outk"}},
    {"saltpan", "C18", "dried out", {"V1.6", "V2.1", "B4", "B3", "V1.1", "V2.6"}},
    {"wren-hollow", "V1", "weak", {"V1.1", "V1.3", "V1.6", "V1.8", "B1", "B2"}},
    {"tidemark", "R12", "drifted high", {"V1.1", "V1.3", "V2.1", "V2.3", "V3.3", "V4.3"}},
};
#define COUNT(list) (sizeof(list) / sizeof *(list))

typedef struct writing {
    FILE *file;
    base_random random;
    long fact;
} writing;

static size_t pick(writing *writing, size_t count) {
    return (size_t)(base_random_bits(&writing->random) % count);
}

static void put_head(writing *writing, long job, long long at) {
    fprintf(writing->file, ",\n{\"fact\":%ld,\"job\":%ld,\"at\":%lld,\"kind\":", ++writing->fact,
            job, at);
}

static void put_job(writing *writing, long job) {
    size_t which = pick(writing, COUNT(repairs));
    long long at = 1262304000000 + job * 20000000LL;
    const char *first = first_names[pick(writing, COUNT(first_names))],
               *last = last_names[pick(writing, COUNT(last_names))];
    put_head(writing, job, at);
    fprintf(writing->file,
            "\"take in\",\"body\":{\"owner\":\"%s %s\",\"complaint\":\"%s\",\"amp\":\"%s\"}}",
            first, last, complaints[pick(writing, COUNT(complaints))], repairs[which].amp);
    for (int i = 0; i < READINGS; i++) {
        put_head(writing, job, at + 60000 * i);
        fprintf(writing->file,
                "\"reading\",\"body\":{\"phase\":\"%s\",\"at\":\"%s\",\"volts\":%.1f,\"meter\":"
                "\"10M\"}}",
                i < READINGS / 2 ? "before" : "after", repairs[which].place[i % 6],
                200 + 50 * base_random_normal(&writing->random));
    }
    if (pick(writing, 400) == 0) return; /* still on the bench */
    put_head(writing, job, at + 9000000);
    fprintf(writing->file,
            "\"hand back\",\"body\":{\"found\":\"%s was %s\",\"done\":\"put in a new one\","
            "\"cause_part\":\"%s\",\"cause_what\":\"%s\"}}",
            repairs[which].part, repairs[which].what, repairs[which].part, repairs[which].what);
}

static void put_shop(const char *path, long jobs) {
    writing writing = {.file = fopen(path, "w")};
    if (!writing.file) {
        perror(path);
        exit(1);
    }
    base_random_seed(&writing.random, 20250301);
    fprintf(writing.file,
            "[\n{\"gridleak\":\"store\",\"version\":1,\"drawings from library\":true}");
    for (long job = 1; job <= jobs; job++)
        fprintf(writing.file, ",\n{\"job\":%ld,\"number\":%ld,\"opened\":%lld}", job, job,
                1262304000000 + job * 20000000LL);
    for (long job = 1; job <= jobs; job++)
        put_job(&writing, job);
    fprintf(writing.file, "\n]\n");
    fclose(writing.file);
}

/* ---- the library --------------------------------------------------------------------------- */

static const char *amp_text(void *library, const char *name, size_t *length) {
    char wanted[96];
    size_t count;
    const cli_file *files = cli_files(&count);
    (void)library;
    snprintf(wanted, sizeof wanted, "amps/%s.yaml", name);
    for (size_t i = 0; i < count; i++)
        if (strcmp(files[i].name, wanted) == 0) {
            *length = files[i].length;
            return files[i].data;
        }
    return NULL;
}

static tube_library *tubes_read(base_errors *errors) {
    size_t count;
    const cli_file *files = cli_files(&count);
    tube_library *tubes = tube_library_new();
    for (size_t i = 0; i < count; i++)
        if (strncmp(files[i].name, "tubes/", 6) == 0)
            tube_library_add(tubes, files[i].name, files[i].data, files[i].length, errors);
    return tubes;
}

/* ---- timing -------------------------------------------------------------------------------- */

static double now_ms(void) {
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec * 1e3 + (double)time.tv_nsec / 1e6;
}

typedef struct times {
    double ms[RUNS_MOST];
    size_t count;
} times;

static int by_size(const void *a, const void *b) {
    double one = *(const double *)a, two = *(const double *)b;
    return (one > two) - (one < two);
}

static double part_of(times *times, double part) {
    qsort(times->ms, times->count, sizeof(double), by_size);
    size_t at = (size_t)ceil(part * (double)times->count);
    return times->ms[at ? at - 1 : 0];
}

/* One line: ours, the bare query, what was promised of the 99th percentile. */
static void tell(const char *what, times *ours, times *bare, double promised) {
    double median = part_of(ours, 0.5), slow = part_of(ours, 0.99);
    double query = part_of(bare, 0.5), query_slow = part_of(bare, 0.99);
    bool late = promised > 0 && slow - (query_slow - query) > promised;
    over += late;
    printf("%-34s %9.3f %9.3f %9.3f %9.3f %7.1f   ", what, median, slow, query, query_slow,
           median / query);
    if (promised > 0) printf("within %.0f: %s", promised, late ? "NO" : "yes");
    printf("\n");
}

typedef struct shop {
    const char *path;
    job_store *store;
    sqlite3 *bare; /* the same file, opened by nothing but SQLite */
    base_errors *errors;
    base_random random;
    long jobs;
} shop;

static void time_bare(shop *shop, const char *sql, long value, times *times) {
    sqlite3_stmt *row = NULL;
    double start = now_ms();
    sqlite3_prepare_v2(shop->bare, sql, -1, &row, NULL);
    if (value) sqlite3_bind_int64(row, 1, value);
    while (sqlite3_step(row) == SQLITE_ROW) {
    }
    sqlite3_finalize(row);
    times->ms[times->count++] = now_ms() - start;
}

static void die(const shop *shop, const char *what) {
    fprintf(stderr, "%s\n", what);
    for (size_t i = 0; i < base_errors_count(shop->errors); i++)
        fprintf(stderr, "%s\n", base_errors_at(shop->errors, i)->cause);
    exit(1);
}

/* ---- what is timed ------------------------------------------------------------------------- */

static void time_open(shop *shop) {
    times ours = {0}, bare = {0};
    for (int i = 0; i < 30; i++) {
        double start = now_ms();
        job_store *store = job_store_open(shop->path, shop->errors);
        ours.ms[ours.count++] = now_ms() - start;
        if (!store) die(shop, "the store was not opened");
        job_store_close(store);
        sqlite3 *db;
        start = now_ms();
        sqlite3_open(shop->path, &db);
        sqlite3_exec(db, "SELECT count(*) FROM sqlite_schema", NULL, NULL, NULL);
        bare.ms[bare.count++] = now_ms() - start;
        sqlite3_close(db);
    }
    tell("open the store", &ours, &bare, 100);
}

static void time_search(shop *shop, const char *words, const char *sql, bool open) {
    times ours = {0}, bare = {0};
    char what[64];
    for (int i = 0; i < 400; i++) {
        double start = now_ms();
        json_t *found = job_search(shop->store, words, open, 50, shop->errors);
        ours.ms[ours.count++] = now_ms() - start;
        if (!found) die(shop, "nothing was searched");
        json_decref(found);
        time_bare(shop, sql, 0, &bare);
    }
    snprintf(what, sizeof what, "search \"%s\"%s", words, open ? " on the bench" : "");
    tell(what, &ours, &bare, 50);
}

static void time_view(shop *shop) {
    times ours = {0}, bare = {0};
    for (int i = 0; i < RUNS_MOST; i++) {
        long job = 1 + (long)(base_random_bits(&shop->random) % (uint64_t)shop->jobs);
        double start = now_ms();
        json_t *view = job_view(shop->store, job, shop->errors);
        ours.ms[ours.count++] = now_ms() - start;
        if (!view) die(shop, "no job was seen");
        json_decref(view);
        time_bare(shop, "SELECT body FROM fact WHERE job = ?", job, &bare);
    }
    tell("see one job of 60 readings", &ours, &bare, 5);
}

static void time_history(shop *shop, bool same) {
    times ours = {0}, bare = {0};
    for (int i = 0; i < 400; i++) {
        double start = now_ms();
        json_t *history = job_history(shop->store, "saltpan", same, shop->errors);
        ours.ms[ours.count++] = now_ms() - start;
        if (!history) die(shop, "no history");
        json_decref(history);
        time_bare(shop, "SELECT count(*) FROM summary WHERE amp = 'saltpan' AND handed_back", 0,
                  &bare);
    }
    tell(same ? "history of this amp" : "history of its family", &ours, &bare, 5);
}

/* The bare commit is one row in a file of its own, with the same care for the disk. */
static void time_add(shop *shop, const char *beside) {
    times ours = {0}, bare = {0};
    sqlite3 *db;
    json_t *body = json_pack("{s:s, s:s, s:f}", "phase", "after", "at", "B2", "volts", 301.5);
    job_fact fact = {.kind = "reading", .body = body};
    sqlite3_open(beside, &db);
    sqlite3_exec(db, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; CREATE TABLE t (x);",
                 NULL, NULL, NULL);
    for (int i = 0; i < 200; i++) {
        long job = 1 + (long)(base_random_bits(&shop->random) % (uint64_t)shop->jobs);
        double start = now_ms();
        base_code code = job_add(shop->store, job, &fact, 1740830400000, NULL, shop->errors);
        ours.ms[ours.count++] = now_ms() - start;
        if (code != BASE_OK) die(shop, "no fact was added");
        start = now_ms();
        sqlite3_exec(db, "INSERT INTO t VALUES (1)", NULL, NULL, NULL);
        bare.ms[bare.count++] = now_ms() - start;
    }
    sqlite3_close(db);
    json_decref(body);
    tell("add a reading, on the disk", &ours, &bare, 0);
}

static void time_all(shop *shop, const char *beside) {
    printf("%-34s %9s %9s %9s %9s %7s\n", "ms", "median", "99 %", "bare", "bare 99 %", "ratio");
    time_open(shop);
    time_search(shop, "", "SELECT job FROM summary ORDER BY job DESC LIMIT 50", false);
    time_search(shop, "", "SELECT job FROM summary WHERE closed IS NULL ORDER BY job DESC LIMIT 50",
                true);
    time_search(shop, "gorsely leaky",
                "SELECT rowid FROM words WHERE words MATCH 'gorsely leaky' ORDER BY rowid DESC "
                "LIMIT 50",
                false);
    time_search(shop, "c11",
                "SELECT rowid FROM words WHERE words MATCH 'c11*' ORDER BY rowid DESC "
                "LIMIT 50",
                false);
    time_search(shop, "a",
                "SELECT rowid FROM words WHERE words MATCH 'a*' ORDER BY rowid DESC "
                "LIMIT 50",
                false);
    time_search(shop, "s w h",
                "SELECT rowid FROM words WHERE words MATCH 's* w* h*' ORDER BY rowid "
                "DESC LIMIT 50",
                false);
    time_view(shop);
    time_history(shop, true);
    time_history(shop, false);
    time_add(shop, beside);
}

/* ---- the whole ----------------------------------------------------------------------------- */

static void make(shop *shop, const char *list, const tube_library *tubes) {
    struct stat about;
    put_shop(list, shop->jobs);
    shop->store = job_store_open(shop->path, shop->errors);
    if (!shop->store) die(shop, "no store was made");
    job_store_use_library(shop->store, tubes, amp_text, NULL);
    double start = now_ms();
    if (job_import(shop->store, list, shop->errors) != BASE_OK) die(shop, "nothing was imported");
    double imported = now_ms();
    stat(shop->path, &about);
    printf("%ld jobs, %ld readings: imported in %.1f s, %.0f MB\n", shop->jobs,
           shop->jobs * READINGS, (imported - start) / 1e3, (double)about.st_size / 1e6);
    unlink(list);
}

int main(int count, char **arguments) {
    char folder[] = "/tmp/gridleak-perf-XXXXXX", path[64], list[64], beside[64], command[128];
    if (!mkdtemp(folder)) return 1;
    snprintf(path, sizeof path, "%s/shop.store", folder);
    snprintf(list, sizeof list, "%s/shop.json", folder);
    snprintf(beside, sizeof beside, "%s/bare", folder);
    shop shop = {.path = path, .errors = base_errors_new()};
    shop.jobs = count > 1 ? atol(arguments[1]) : 20000;
    base_random_seed(&shop.random, 1);
    tube_library *tubes = tubes_read(shop.errors);
    make(&shop, list, tubes);
    sqlite3_open(path, &shop.bare);
    time_all(&shop, beside);
    sqlite3_close(shop.bare);
    job_store_close(shop.store);
    tube_library_free(tubes);
    base_errors_free(shop.errors);
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command) != 0 || over;
}
