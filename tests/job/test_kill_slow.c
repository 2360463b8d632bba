/* A thousand times, at random moments, the program is killed while it writes (SIGKILL): every fact
 * that it had acknowledged is there, with what it said, and the store is sound. */
#include "bench.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/wait.h>
#include <time.h>

#define KILLS 1000
#define DELAY_MOST 45000 /* us from its start until it is killed */
#define ACKS_MOST 400    /* in one life */

typedef struct ack {
    int64_t job, id;
    int run, number;
} ack;

/* What fact `number` of life `run` says: of very different lengths. */
static json_t *body_of(int run, int number) {
    size_t length = (size_t)(number * 37 + run * 11) % 97;
    if (number % 13 == 5) length = 20000;
    char *text = malloc(length + 64);
    int head = sprintf(text, "life %d fact %d ", run, number);
    memset(text + head, 'a' + number % 26, length);
    text[head + (int)length] = 0;
    json_t *body = json_pack("{s:s}", "text", text);
    free(text);
    return body;
}

/* ---- the one that is killed ---------------------------------------------------------------- */

static void tell(int pipe, ack ack) {
    if (write(pipe, &ack, sizeof ack) != sizeof ack) _exit(3);
}

static void live(const char *path, int run, int pipe) {
    job_store *store = job_store_open(path, NULL);
    int64_t job, id;
    if (!store) _exit(1);
    json_t *taken = json_pack("{s:s, s:s, s:s}", "owner", "Ada", "complaint", "hum", "amp", "x");
    if (job_create(store, taken, NOON, &job, NULL) != BASE_OK) _exit(2);
    tell(pipe, (ack){job, 0, run, 0});
    for (int number = 1; number < ACKS_MOST; number++) {
        json_t *body = body_of(run, number);
        job_fact fact = {.kind = "note", .body = body};
        if (job_add(store, job, &fact, NOON, &id, NULL) != BASE_OK) _exit(2);
        tell(pipe, (ack){job, id, run, number});
        json_decref(body);
    }
    for (;;)
        pause();
}

/* ---- the one that looks -------------------------------------------------------------------- */

static void sleep_us(long us) {
    struct timespec time = {0, us * 1000};
    nanosleep(&time, NULL);
}

/* Lets it live and kills it; returns how many facts it acknowledged. */
static int kill_one(const bench *bench, int run, base_random *random, ack *acks) {
    int ends[2], count = 0, status;
    assert_int_equal(pipe(ends), 0);
    pid_t child = fork();
    if (child == 0) {
        close(ends[0]);
        live(bench->path, run, ends[1]);
    }
    close(ends[1]);
    sleep_us((long)(base_random_unit(random) * DELAY_MOST));
    kill(child, SIGKILL);
    waitpid(child, &status, 0);
    if (!WIFSIGNALED(status)) fail_msg("it ended by itself: %d", WEXITSTATUS(status));
    while (count < ACKS_MOST && read(ends[0], &acks[count], sizeof *acks) == sizeof *acks)
        count++;
    close(ends[0]);
    return count;
}

static void check_facts(bench *bench, const ack *acks, int count) {
    json_t *facts = job_facts(bench->store, acks->job, bench->errors);
    if (!facts) bench_say(bench->errors);
    assert_non_null(facts);
    size_t there = json_array_size(facts);
    if (there != (size_t)count && there != (size_t)count + 1) /* one more may be unanswered */
        fail_msg("%zu facts, %d acknowledged", there, count);
    for (int i = 1; i < count; i++) {
        const json_t *fact = json_array_get(facts, (size_t)i);
        json_t *body = body_of(acks[i].run, acks[i].number);
        assert_int_equal(json_integer_value(json_object_get(fact, "id")), acks[i].id);
        assert_true(json_equal(json_object_get(fact, "body"), body));
        json_decref(body);
    }
    json_decref(facts);
}

static void check_sound(const char *path, const char *sql) {
    sqlite3 *db;
    sqlite3_stmt *row;
    assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, sql, -1, &row, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(row), SQLITE_ROW);
    assert_string_equal((const char *)sqlite3_column_text(row, 0), "ok");
    sqlite3_finalize(row);
    sqlite3_close(db);
}

/* The lines kept for searching are those that the facts give. */
static void check_derived(bench *bench) {
    json_t *before = job_search(bench->store, "ada", true, 2000, bench->errors);
    assert_int_equal(job_rebuild(bench->store, bench->errors), BASE_OK);
    json_t *after = job_search(bench->store, "ada", true, 2000, bench->errors);
    assert_non_null(before);
    assert_true(json_equal(before, after));
    json_decref(before);
    json_decref(after);
}

static void test_killed(void **state) {
    (void)state;
    bench bench;
    base_random random;
    ack acks[ACKS_MOST], *first = calloc(KILLS, sizeof *first);
    int *counts = calloc(KILLS, sizeof *counts), facts = 0;
    bench_folder(&bench);
    base_random_seed(&random, 20250301);
    for (int run = 0; run < KILLS; run++) {
        counts[run] = kill_one(&bench, run, &random, acks);
        facts += counts[run];
        bench_reopen(&bench);
        if (counts[run]) check_facts(&bench, acks, counts[run]);
        first[run] = acks[0];
        job_store_close(bench.store);
        bench.store = NULL;
        if (run % 50 == 49) check_sound(bench.path, "PRAGMA integrity_check");
    }
    bench_reopen(&bench);
    for (int run = 0; run < KILLS; run++) { /* and nothing of an earlier life went later */
        json_t *list =
            counts[run] ? job_facts(bench.store, first[run].job, bench.errors) : json_array();
        assert_true(json_array_size(list) >= (size_t)counts[run]);
        json_decref(list);
    }
    check_derived(&bench);
    print_message("%d kills, %d facts acknowledged, none lost\n", KILLS, facts);
    assert_true(facts > KILLS);
    free(first);
    free(counts);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_killed)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
