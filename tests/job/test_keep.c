/* Backups, restoring, export and import, readings as CSV: whole or not at all. */
#include "bench.h"

#include "pictures.h"

#include <dirent.h>
#include <sqlite3.h>
#include <sys/mount.h>
#include <sys/stat.h>

static char *get_file(const char *path) {
    FILE *file = fopen(path, "rb");
    if (!file) fail_msg("no %s", path);
    fseek(file, 0, SEEK_END);
    size_t length = (size_t)ftell(file);
    rewind(file);
    char *bytes = calloc(1, length + 1);
    assert_int_equal(fread(bytes, 1, length, file), length);
    fclose(file);
    return bytes;
}

static void put_file(const char *path, const char *text) {
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

/* A few jobs with something of everything. */
static void fill(bench *bench) {
    json_t *shop = bench_json("{'name':'Bench under the stairs','tax_percent':7.7}");
    assert_int_equal(job_shop_set(bench->store, shop, NOON, bench->errors), BASE_OK);
    json_decref(shop);
    size_t length = 0;
    const char *text = bench_amp(bench, "wren-hollow", &length);
    assert_int_equal(job_amp_save(bench->store, "Wicket", text, NOON, bench->errors), BASE_OK);
    int64_t job = bench_job(bench, "saltpan"), own = bench_job(bench, "Wicket");
    char hash[65], body[128];
    picture photo = picture_png((picture_wish){.width = 400, .height = 300});
    assert_int_equal(job_photo_add(bench->store, photo.bytes, photo.length, hash, bench->errors),
                     BASE_OK);
    free(photo.bytes);
    snprintf(body, sizeof body, "{'hash':'%s','caption':'the \u00dcbertrager'}", hash);
    bench_add(bench, job, "photo", body);
    bench_add(bench, job, "reading", "{'phase':'before','at':'V1.1','volts':0.1,'meter':'10M'}");
    bench_add(bench, job, "reading", "{'phase':'before','at':'V1.1','volts':1e-3}");
    bench_add(bench, job, "reading",
              "{'phase':'after','at':'V4.3-ground','volts':-77.30000000000001,'mains':239}");
    bench_add(bench, own, "note", "{'text':'quote \\u0022 and\\nline \u2713'}");
    assert_int_equal(job_undo(bench->store, own, 0, bench->now, NULL, bench->errors), BASE_OK);
    json_t *note = bench_json("{'text':'with a token'}");
    job_fact fact = {.kind = "note", .body = note, .token = "tab-1"};
    assert_int_equal(job_add(bench->store, own, &fact, NOON, NULL, bench->errors), BASE_OK);
    json_decref(note);
}

/* ---- export -------------------------------------------------------------------------------- */

static void test_round_trip(void **state) {
    (void)state;
    bench one, two;
    char path[2][128];
    bench_open(&one);
    bench_open(&two);
    fill(&one);
    for (int i = 0; i < 2; i++)
        snprintf(path[i], sizeof path[i], "%s/out-%d.json", one.folder, i);
    assert_int_equal(job_export(one.store, path[0], one.errors), BASE_OK);
    assert_int_equal(job_import(two.store, path[0], two.errors), BASE_OK);
    assert_int_equal(job_export(two.store, path[1], two.errors), BASE_OK);
    char *first = get_file(path[0]), *second = get_file(path[1]);
    assert_string_equal(first, second);
    /* It is plain JSON, and every view is the same. */
    json_t *whole = json_loads(first, JSON_REJECT_DUPLICATES, NULL);
    assert_int_equal(json_array_size(whole), 17);
    json_decref(whole);
    for (int64_t job = 1; job <= 2; job++) {
        json_t *was = bench_view(&one, job), *is = bench_view(&two, job);
        assert_true(json_equal(was, is));
        json_decref(was);
        json_decref(is);
    }
    free(first);
    free(second);
    bench_close(&one);
    bench_close(&two);
}

static void test_not_into_a_full_store(void **state) {
    (void)state;
    bench bench;
    char path[128];
    bench_open(&bench);
    snprintf(path, sizeof path, "%s/out.json", bench.folder);
    bench_job(&bench, "saltpan");
    assert_int_equal(job_export(bench.store, path, bench.errors), BASE_OK);
    assert_int_equal(job_import(bench.store, path, bench.errors), BASE_USAGE);
    bench_complained(&bench, "the store is not empty");
    snprintf(path, sizeof path, "%s/none.json", bench.folder);
    assert_int_equal(job_import(bench.store, path, bench.errors), BASE_FILE);
    bench_complained(&bench, "cannot be opened");
    snprintf(path, sizeof path, "%s/no/folder/out.json", bench.folder);
    assert_int_equal(job_export(bench.store, path, bench.errors), BASE_FILE);
    bench_complained(&bench, "cannot be written");
    bench_close(&bench);
}

#define HEAD "{'gridleak':'store','version':2}"
#define TAKEN                                                                                      \
    "{'fact':1,'job':1,'at':0,'kind':'take in','body':{'owner':'A','complaint':'c','amp':'x'}}"

/* Broken exports: a sentence with the line, and the store stays empty. */
static void test_broken_exports(void **state) {
    (void)state;
    static const struct {
        const char *text, *words;
    } cases[] = {
        {"", "no export"},
        {"words", "no export"},
        {"{}", "no export"},
        {"[", "cannot be read"},
        {"[]", "cannot be read"},
        {"[{}]", "no export"},
        {"[7]", "cannot be read"},
        {"[{'gridleak':'store','version':9}]", "is of version 9"},
        {"[" HEAD, "ends too soon"},
        {"[" HEAD "] more", "something stands behind"},
        {"[" HEAD ",]", "cannot be read"},
        {"[" HEAD ",{'x':1}]", "of no kind that is known"},
        {"[" HEAD ",{'job':1,'number':1,'opened':0}]", "has no take in"},
        {"[" HEAD ",{'job':0,'number':1,'opened':0}]", "is there twice"},
        {"[" HEAD "," TAKEN "]", "names what is not there"},
        {"[" HEAD ",{'job':1,'number':1,'opened':0}," TAKEN "," TAKEN "]", "is there twice"},
        {"[" HEAD ",{'job':1,'number':1,'opened':0}," TAKEN
         ",{'fact':2,'job':1,'at':0,'kind':'note','body':{'txt':'x'}}]",
         "`note` has no key `txt`"},
        {"[" HEAD ",{'job':1,'number':1,'opened':0}," TAKEN
         ",{'fact':2,'job':1,'at':0,'kind':'lunch','body':{}}]",
         "kind that is not known"},
        {"[" HEAD ",{'job':1,'number':1,'opened':0}," TAKEN
         ",{'fact':2,'job':1,'at':0,'kind':'note','body':{'text':'x'},'replaces':7}]",
         "is there twice"},
        {"[" HEAD ",{'text':'00','yaml':'amp: x'}]", "not the one that its hash names"},
        {"[" HEAD ",{'photo':'00','jpeg':'AAAA','small':'AAAA'}]",
         "not the one that its hash names"},
        {"[" HEAD ",{'photo':'00','jpeg':'!','small':7}]", "not the one that its hash names"},
        {"[" HEAD ",{'shop':1,'at':0,'body':{'name':7}}]", "`name` of `shop` must be a text"},
        {"[" HEAD ",{'amp':1,'at':0,'name':'x','text':'00'}]", "names what is not there"},
        {"[" HEAD ",{'job':1,'job':2}]", "cannot be read"},
    };
    bench bench;
    char path[128];
    bench_open(&bench);
    snprintf(path, sizeof path, "%s/in.json", bench.folder);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *text = strdup(cases[i].text);
        for (char *c = text; (c = strchr(c, '\''));)
            *c = '"';
        put_file(path, text);
        free(text);
        if (job_import(bench.store, path, bench.errors) == BASE_OK)
            fail_msg("taken: %s", cases[i].text);
        bench_complained(&bench, cases[i].words);
        json_t *none = job_search(bench.store, "", false, 9, bench.errors);
        assert_int_equal(json_array_size(none), 0);
        json_decref(none);
    }
    bench_close(&bench);
}

/* An export cut at any byte is refused. */
static void test_cut_export(void **state) {
    (void)state;
    bench one, two;
    char path[128];
    bench_open(&one);
    bench_open(&two);
    bench_job(&one, "a cabinet");
    bench_add(&one, 1, "note", "{'text':'one'}");
    snprintf(path, sizeof path, "%s/out.json", one.folder);
    assert_int_equal(job_export(one.store, path, one.errors), BASE_OK);
    char *whole = get_file(path);
    size_t length = strlen(whole) - 3; /* without the last "\n]\n" it is not whole */
    for (size_t cut = 0; cut <= length; cut += 3) {
        char byte = whole[cut];
        whole[cut] = 0;
        put_file(path, whole);
        whole[cut] = byte;
        if (job_import(two.store, path, two.errors) == BASE_OK) fail_msg("taken at %zu", cut);
        bench_complained(&two, "");
    }
    put_file(path, whole);
    assert_int_equal(job_import(two.store, path, two.errors), BASE_OK);
    free(whole);
    bench_close(&one);
    bench_close(&two);
}

/* ---- CSV ----------------------------------------------------------------------------------- */

static void test_csv(void **state) {
    (void)state;
    bench bench;
    char path[128];
    bench_open(&bench);
    snprintf(path, sizeof path, "%s/out.csv", bench.folder);
    json_t *body = bench_json("{'owner':'=1+1','complaint':'hum','amp':'saltpan'}");
    assert_int_equal(job_create(bench.store, body, NOON, NULL, bench.errors), BASE_OK);
    json_decref(body);
    bench_add(&bench, 1, "reading",
              "{'phase':'before','at':'V1.1','volts':-78.3,'meter':'20k per volt','mains':239}");
    body = bench_json("{'owner':'Ada \\u0022the\\u0022 Elm, jr','complaint':'hum','amp':'x'}");
    assert_int_equal(job_create(bench.store, body, NOON, NULL, bench.errors), BASE_OK);
    json_decref(body);
    bench_add(&bench, 2, "reading", "{'phase':'after','at':'B1','volts':300}");
    assert_int_equal(job_csv(bench.store, 0, path, bench.errors), BASE_OK);
    char *text = get_file(path);
    assert_string_equal(text, "number,owner,amp,phase,place,volts,meter,mains,taken,fact\r\n"
                              "1,\"'=1+1\",saltpan,before,V1.1,-78.3,20k per volt,239,"
                              "2025-03-01T12:00:01Z,2\r\n"
                              "2,\"Ada \"\"the\"\" Elm, jr\",x,after,B1,300,,,"
                              "2025-03-01T12:00:02Z,4\r\n");
    free(text);
    assert_int_equal(job_csv(bench.store, 2, path, bench.errors), BASE_OK);
    text = get_file(path);
    assert_null(strstr(text, "saltpan"));
    free(text);
    assert_int_equal(job_csv(bench.store, 9, path, bench.errors), BASE_UNKNOWN);
    bench_complained(&bench, "there is no job 9");
    bench_close(&bench);
}

/* ---- backups ------------------------------------------------------------------------------- */

static int count_files(const char *folder, const char *with) {
    DIR *open = opendir(folder);
    struct dirent *entry;
    int count = 0;
    while ((entry = readdir(open)))
        if (strstr(entry->d_name, with)) count++;
    closedir(open);
    return count;
}

static void test_backup(void **state) {
    (void)state;
    bench bench;
    char folder[96], other[128], *made;
    bench_open(&bench);
    fill(&bench);
    snprintf(folder, sizeof folder, "%s/keep", bench.folder);
    assert_int_not_equal(job_backup(bench.store, folder, 3, NOON, &made, bench.errors), BASE_OK);
    bench_complained(&bench, "the folder for backups is not there");
    mkdir(folder, 0700);
    assert_int_not_equal(job_backup(bench.store, "/proc", 3, NOON, &made, bench.errors), BASE_OK);
    bench_complained(&bench, "the copy was not made");
    assert_int_equal(job_backup(bench.store, folder, 0, NOON, NULL, bench.errors), BASE_USAGE);
    bench_complained(&bench, "keeps none");
    snprintf(other, sizeof other, "%s/gridleak-of-mine.txt", folder);
    put_file(other, "not a backup");
    for (int i = 0; i < 5; i++) {
        int64_t at = NOON + (i / 2) * 1000; /* two in one second */
        assert_int_equal(job_backup(bench.store, folder, 3, at, &made, bench.errors), BASE_OK);
        assert_int_equal(access(made, R_OK), 0);
        free(made);
    }
    assert_int_equal(count_files(folder, ".store"), 3);
    assert_int_equal(count_files(folder, ".part"), 0);
    assert_int_equal(count_files(folder, "12-00-02"), 1);
    assert_int_equal(count_files(folder, "12-00-01"), 2);
    assert_int_equal(count_files(folder, "of-mine"), 1);
    bench_close(&bench);
}

/* A clock that went back: the copy just made is not the one that goes. */
static void test_backup_clock(void **state) {
    (void)state;
    bench bench;
    char *made;
    bench_open(&bench);
    for (int i = 0; i < 3; i++) {
        assert_int_equal(
            job_backup(bench.store, bench.folder, 1, NOON - i * 5000, &made, bench.errors), 0);
        assert_int_equal(access(made, R_OK), 0);
        free(made);
    }
    bench_close(&bench);
}

static void test_restore(void **state) {
    (void)state;
    bench bench;
    char *made;
    bench_open(&bench);
    bench_job(&bench, "saltpan");
    assert_int_equal(job_backup(bench.store, bench.folder, 3, NOON, &made, bench.errors), BASE_OK);
    bench_job(&bench, "tidemark");
    assert_int_not_equal(job_restore(bench.path, made, NOON, bench.errors), BASE_OK);
    bench_complained(&bench, "the store is in use");
    job_store_close(bench.store);
    bench.store = NULL;
    assert_int_equal(job_restore(bench.path, made, NOON, bench.errors), BASE_OK);
    bench_reopen(&bench);
    json_t *found = job_search(bench.store, "", false, 9, bench.errors);
    assert_int_equal(json_array_size(found), 1);
    json_decref(found);
    /* What was there before stands beside, with all that it held. */
    char aside[160];
    snprintf(aside, sizeof aside, "%s.before-%lld", bench.path, (long long)NOON);
    job_store *before = job_store_open(aside, bench.errors);
    assert_non_null(before);
    found = job_search(before, "", false, 9, bench.errors);
    assert_int_equal(json_array_size(found), 2);
    json_decref(found);
    job_store_close(before);
    free(made);
    bench_close(&bench);
}

/* A backup with one byte gone wrong, of no store, or of a newer one, is not put in place. */
static void test_restore_refused(void **state) {
    (void)state;
    bench bench;
    char *made, bad[128];
    bench_open(&bench);
    fill(&bench);
    assert_int_equal(job_backup(bench.store, bench.folder, 3, NOON, &made, bench.errors), BASE_OK);
    job_store_close(bench.store);
    bench.store = NULL;
    snprintf(bad, sizeof bad, "%s/bad", bench.folder);
    assert_int_not_equal(job_restore(bench.path, bad, NOON, bench.errors), BASE_OK);
    bench_complained(&bench, "cannot be opened");
    put_file(bad, "not a store at all, but some words that are long enough to be read as a head, "
                  "a hundred bytes of them or so");
    assert_int_not_equal(job_restore(bench.path, bad, NOON, bench.errors), BASE_OK);
    bench_complained(&bench, "is no store");
    struct stat about;
    stat(made, &about);
    FILE *file = fopen(made, "r+b");
    for (long at = 8192; at < about.st_size; at += 4096) { /* each page's head */
        fseek(file, at, SEEK_SET);
        fputs("\xff\xff\xff\xff", file);
    }
    fclose(file);
    assert_int_not_equal(job_restore(bench.path, made, NOON, bench.errors), BASE_OK);
    bench_complained(&bench, "");
    bench_reopen(&bench);
    bench_is(&bench, 1, "owner", "'Ada Example'");
    free(made);
    bench_close(&bench);
}

/* A store that is beyond reading is kept beside with its log, and the backup takes its place. */
static void test_restore_over_ruins(void **state) {
    (void)state;
    bench bench;
    char *made, log[128];
    bench_open(&bench);
    bench_job(&bench, "saltpan");
    assert_int_equal(job_backup(bench.store, bench.folder, 3, NOON, &made, bench.errors), BASE_OK);
    job_store_close(bench.store);
    bench.store = NULL;
    put_file(bench.path, "ruins");
    snprintf(log, sizeof log, "%s-wal", bench.path);
    put_file(log, "a log");
    assert_int_equal(job_restore(bench.path, made, NOON, bench.errors), BASE_OK);
    bench_reopen(&bench);
    bench_is(&bench, 1, "owner", "'Ada Example'");
    assert_int_equal(count_files(bench.folder, ".before-"), 2);
    free(made);
    bench_close(&bench);
}

/* ---- a disk that is full ------------------------------------------------------------------- */

/* On a small disk of its own (which only root can make): nothing is written by half, what was there
 * before stays, and with room again all goes on. */
static void test_full_folder(void **state) {
    (void)state;
    bench bench;
    char folder[96], path[128], filler[128], *made = NULL;
    bench_open(&bench);
    fill(&bench);
    snprintf(folder, sizeof folder, "%s/small", bench.folder);
    mkdir(folder, 0700);
    if (mount("none", folder, "tmpfs", 0, "size=64k") != 0) {
        print_message("no small disk can be made here\n");
        bench_close(&bench);
        skip();
    }
    assert_int_equal(job_backup(bench.store, folder, 3, NOON, &made, bench.errors), BASE_FILE);
    bench_complained(&bench, "full");
    assert_int_equal(count_files(folder, "gridleak"), 0);
    snprintf(path, sizeof path, "%s/out.json", folder);
    put_file(path, "what was there");
    char *sized = calloc(1, 50 << 10);
    memset(sized, 'x', (50 << 10) - 1);
    snprintf(filler, sizeof filler, "%s/filler", folder);
    put_file(filler, sized);
    free(sized);
    assert_int_equal(job_export(bench.store, path, bench.errors), BASE_FILE);
    bench_complained(&bench, "No space left");
    char *kept = get_file(path);
    assert_string_equal(kept, "what was there");
    free(kept);
    assert_int_equal(count_files(folder, ".part"), 0);
    umount(folder);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_not_into_a_full_store),
        cmocka_unit_test(test_broken_exports),
        cmocka_unit_test(test_cut_export),
        cmocka_unit_test(test_csv),
        cmocka_unit_test(test_backup),
        cmocka_unit_test(test_backup_clock),
        cmocka_unit_test(test_restore),
        cmocka_unit_test(test_restore_refused),
        cmocka_unit_test(test_restore_over_ruins),
        cmocka_unit_test(test_full_folder),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
