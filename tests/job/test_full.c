/* A disk that fills up while facts are written: a sentence, nothing acknowledged is lost, and with
 * room again the work goes on in the same program. */
#include "bench.h"

#include "pictures.h"

#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>

#define FACTS_MOST 2000

/* Adds notes of 3 kB until one is refused; returns how many were taken. */
static int add_until_full(bench *bench, int64_t job, const char *words) {
    char *text = calloc(1, 3000);
    memset(text, 'n', 2999);
    json_t *body = json_pack("{s:s}", "text", text);
    job_fact fact = {.kind = "note", .body = body};
    int count = 0;
    while (count < FACTS_MOST &&
           job_add(bench->store, job, &fact, NOON, NULL, bench->errors) == BASE_OK)
        count++;
    if (count == FACTS_MOST) fail_msg("it never filled up");
    bench_complained(bench, words);
    json_decref(body);
    free(text);
    return count;
}

static void has_facts(bench *bench, int64_t job, int count) {
    char wanted[16];
    snprintf(wanted, sizeof wanted, "%d", count);
    bench_is(bench, job, "facts", wanted);
}

/* What must hold while it is full, and after it has room again. */
static void works(bench *bench, int64_t job, int facts) {
    has_facts(bench, job, facts);
    json_t *found = job_search(bench->store, "ada", true, 5, bench->errors);
    assert_int_equal(json_array_size(found), 1);
    json_decref(found);
}

static void fill_photo(bench *bench, const char *words) {
    char hash[65];
    picture photo = picture_jpeg((picture_wish){.width = 1600, .height = 1200});
    assert_int_equal(job_photo_add(bench->store, photo.bytes, photo.length, hash, bench->errors),
                     BASE_FILE);
    bench_complained(bench, words);
    free(photo.bytes);
}

/* The kernel refuses to let a file grow past a size: it shows as a full disk does. */
static void test_size_limit(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    int64_t job = bench_job(&bench, "a cabinet");
    struct rlimit before, tight;
    getrlimit(RLIMIT_FSIZE, &before);
    tight = (struct rlimit){400 << 10, before.rlim_max};
    signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &tight);
    int count = add_until_full(&bench, job, "the disk ");
    works(&bench, job, count + 1);
    fill_photo(&bench, "the disk ");
    setrlimit(RLIMIT_FSIZE, &before);
    bench_add(&bench, job, "note", "{'text':'room again'}");
    works(&bench, job, count + 2);
    bench_reopen(&bench);
    works(&bench, job, count + 2);
    bench_close(&bench);
}

/* A small disk of its own, which only root can make. */
static void test_small_disk(void **state) {
    (void)state;
    bench bench;
    char filler[96];
    bench_folder(&bench);
    if (mount("none", bench.folder, "tmpfs", 0, "size=900k") != 0) {
        print_message("no small disk can be made here\n");
        bench_close(&bench);
        skip();
    }
    snprintf(filler, sizeof filler, "%s/filler", bench.folder);
    FILE *file = fopen(filler, "wb");
    for (int i = 0; i < 200 << 10; i++)
        fputc('x', file);
    fclose(file);
    bench_reopen(&bench);
    int64_t job = bench_job(&bench, "a cabinet");
    int count = add_until_full(&bench, job, "the disk is full");
    works(&bench, job, count + 1);
    bench_reopen(&bench); /* it opens on a full disk too */
    works(&bench, job, count + 1);
    assert_int_equal(remove(filler), 0);
    bench_add(&bench, job, "note", "{'text':'room again'}");
    works(&bench, job, count + 2);
    job_store_close(bench.store);
    bench.store = NULL;
    umount(bench.folder);
    bench_close(&bench);
}

/* A folder on a full disk: no store, and a sentence. */
static void test_no_room_to_begin(void **state) {
    (void)state;
    bench bench;
    struct rlimit before, tight;
    bench_folder(&bench);
    getrlimit(RLIMIT_FSIZE, &before);
    tight = (struct rlimit){20 << 10, before.rlim_max};
    signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &tight);
    assert_null(job_store_open(bench.path, bench.errors));
    setrlimit(RLIMIT_FSIZE, &before);
    bench_complained(&bench, "the disk ");
    bench_reopen(&bench); /* what was begun does not stand in the way */
    bench_job(&bench, "a cabinet");
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_size_limit),
        cmocka_unit_test(test_small_disk),
        cmocka_unit_test(test_no_room_to_begin),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
