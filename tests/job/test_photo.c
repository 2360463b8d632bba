/* Photos: turned, made smaller, without what the camera wrote into them; broken ones refused. */
#include "bench.h"

#include "pictures.h"

#include <sys/resource.h>

static base_code add(bench *bench, const picture *picture, char hash[65]) {
    return job_photo_add(bench->store, picture->bytes, picture->length, hash, bench->errors);
}

static picture stored(bench *bench, const char *hash, bool small) {
    picture kept;
    kept.bytes = job_photo(bench->store, hash, small, &kept.length, bench->errors);
    assert_non_null(kept.bytes);
    return kept;
}

/* 'r', 'g', 'b', 'w' (or '?') of the corner. */
static char corner(const unsigned char *pixels, int width, int height, int which) {
    int x = which % 2 ? width - 1 - width / 10 : width / 10,
        y = which / 2 ? height - 1 - height / 10 : height / 10;
    const unsigned char *at = pixels + 3 * (y * width + x);
    bool on[3] = {at[0] > 200, at[1] > 200, at[2] > 200}, off[3];
    for (int c = 0; c < 3; c++)
        off[c] = at[c] < 60;
    if (on[0] && on[1] && on[2]) return 'w';
    if (on[0] && off[1] && off[2]) return 'r';
    if (off[0] && on[1] && off[2]) return 'g';
    if (off[0] && off[1] && on[2]) return 'b';
    return '?';
}

/* The picture must be stored `width` by `height` with these corners: top left, top right, bottom
 * left, bottom right. */
static void becomes(bench *bench, picture picture, int width, int height, const char *corners) {
    char hash[65], found[5] = "";
    int w, h;
    if (add(bench, &picture, hash) != BASE_OK) {
        bench_say(bench->errors);
        fail_msg("not taken");
    }
    free(picture.bytes);
    for (int small = 0; small < 2; small++) {
        struct picture kept = stored(bench, hash, small);
        unsigned char *pixels = picture_read(&kept, &w, &h);
        for (int i = 0; i < 4; i++)
            found[i] = corner(pixels, w, h, i);
        if (strcmp(found, corners) != 0) fail_msg("%d x %d: %s, not %s", w, h, found, corners);
        if (!small && (w != width || h != height)) fail_msg("%d x %d", w, h);
        if (small) assert_true((w > h ? w : h) <= 320);
        assert_null(memmem(kept.bytes, kept.length, "SECRET", 6));
        assert_null(memmem(kept.bytes, kept.length, "Exif", 4));
        free(pixels);
        free(kept.bytes);
    }
}

/* The eight orientations of EXIF 2.3, tag 0x0112. */
static void test_turned(void **state) {
    (void)state;
    static const char *const corners[9] = {"rgbw", "rgbw", "grwb", "wbgr", "bwrg",
                                           "rbgw", "brwg", "wgbr", "gwrb"};
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    for (int turn = 0; turn <= 8; turn++) {
        int width = turn >= 5 ? 120 : 200, height = turn >= 5 ? 200 : 120;
        becomes(&bench, picture_jpeg((picture_wish){.width = 200, .height = 120, .turn = turn}),
                width, height, corners[turn]);
    }
    bench_close(&bench);
}

static void test_sizes(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    becomes(&bench, picture_jpeg((picture_wish){.width = 5000, .height = 3000}), 2400, 1440,
            "rgbw");
    becomes(&bench, picture_jpeg((picture_wish){.width = 3000, .height = 6001, .turn = 6}), 2400,
            1200, "brwg");
    becomes(&bench, picture_jpeg((picture_wish){.width = 2400, .height = 400}), 2400, 400, "rgbw");
    becomes(&bench, picture_png((picture_wish){.width = 4801, .height = 2000}), 2400, 1000, "rgbw");
    becomes(&bench, picture_png((picture_wish){.width = 40, .height = 30}), 40, 30, "rgbw");
    bench_close(&bench);
}

static void test_kinds(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    picture_wish wish = {.width = 2500, .height = 1000};
    wish.progressive = true;
    becomes(&bench, picture_jpeg(wish), 2400, 960, "rgbw");
    wish = (picture_wish){.width = 400, .height = 300, .inks = true};
    becomes(&bench, picture_jpeg(wish), 400, 300, "rgbw");
    wish = (picture_wish){.width = 2500, .height = 1000, .interlaced = true};
    becomes(&bench, picture_png(wish), 2400, 960, "rgbw");
    wish = (picture_wish){.width = 400, .height = 300, .clear = true};
    becomes(&bench, picture_png(wish), 400, 300, "wwww");
    bench_close(&bench);
}

/* The same photo twice is kept once; another is another. */
static void test_by_content(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    char hash[3][65];
    picture one = picture_jpeg((picture_wish){.width = 200, .height = 120}),
            two = picture_jpeg((picture_wish){.width = 202, .height = 120});
    assert_int_equal(add(&bench, &one, hash[0]), BASE_OK);
    assert_int_equal(add(&bench, &one, hash[1]), BASE_OK);
    assert_int_equal(add(&bench, &two, hash[2]), BASE_OK);
    assert_string_equal(hash[0], hash[1]);
    assert_string_not_equal(hash[0], hash[2]);
    assert_int_equal(strlen(hash[0]), 64);
    size_t length;
    static const char *const odd[] = {"", "0", "' OR 1", "../../etc/passwd"};
    for (size_t i = 0; i < 4; i++) {
        assert_null(job_photo(bench.store, odd[i], false, &length, bench.errors));
        bench_complained(&bench, "the store has no photo");
    }
    free(one.bytes);
    free(two.bytes);
    bench_close(&bench);
}

static void refused(bench *bench, const void *bytes, size_t length, const char *words) {
    char hash[65] = "x";
    if (job_photo_add(bench->store, bytes, length, hash, bench->errors) == BASE_OK)
        fail_msg("taken: %s", words);
    assert_string_equal(hash, "");
    bench_complained(bench, words);
}

/* Cut at any point between head and end. */
static void test_cut(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    picture_wish wish = {.width = 300, .height = 200, .turn = 3};
    picture made[4];
    made[0] = picture_jpeg(wish);
    wish.progressive = true;
    made[1] = picture_jpeg(wish);
    made[2] = picture_png(wish);
    wish.interlaced = true;
    made[3] = picture_png(wish);
    for (int i = 0; i < 4; i++) {
        for (size_t part = 1; part < 16; part++) {
            size_t length = made[i].length * part / 16;
            /* Cut in the head it may be damaged, later it is too short. */
            char *cut = malloc(length);
            memcpy(cut, made[i].bytes, length);
            refused(&bench, cut, length, "the photo ");
            free(cut);
        }
        refused(&bench, made[i].bytes, made[i].length * 7 / 8, "ends too soon");
        free(made[i].bytes);
    }
    bench_close(&bench);
}

static void test_foreign(void **state) {
    (void)state;
    static const char *const texts[] = {"",
                                        "x",
                                        "GIF89a and so on",
                                        "<svg xmlns='http://www.w3.org/2000/svg'/>",
                                        "RIFF....WEBPVP8 ",
                                        "....ftypheic",
                                        "%PDF-1.4",
                                        "\xff\xd8"};
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        refused(&bench, texts[i], strlen(texts[i]), "no JPEG and no PNG");
    refused(&bench, "\xff\xd8\xff\xff\xff\xff\xff\xff", 8, "the photo ");
    refused(&bench, "\x89PNG\r\n\x1a\n and more", 17, "the photo ");
    char *large = calloc(1, (40 << 20) + 1);
    memcpy(large, "\xff\xd8\xff", 3);
    refused(&bench, large, (40 << 20) + 1, "at most 40 are taken");
    refused(&bench, large, 40 << 20, "the photo ");
    free(large);
    bench_close(&bench);
}

/* Bytes flipped anywhere: taken or refused, with a sentence, never a crash. */
static void test_damaged(void **state) {
    (void)state;
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    base_random random;
    base_random_seed(&random, 7);
    picture_wish wish = {.width = 120, .height = 90, .turn = 6};
    for (int i = 0; i < 400; i++) {
        char hash[65];
        wish.progressive = i % 3 == 0;
        wish.interlaced = i % 5 == 0;
        picture made = i % 2 ? picture_jpeg(wish) : picture_png(wish);
        for (int k = 0; k < 1 + i % 4; k++)
            made.bytes[3 + base_random_bits(&random) % (made.length - 3)] =
                (unsigned char)base_random_bits(&random);
        if (add(&bench, &made, hash) != BASE_OK) bench_complained(&bench, "");
        free(made.bytes);
    }
    bench_close(&bench);
}

/* ---- too large ----------------------------------------------------------------------------- */

static void put_size(unsigned char *at, uint32_t value) {
    for (int i = 0; i < 4; i++)
        at[i] = (unsigned char)(value >> (24 - 8 * i));
}

/* CRC of PNG 1.2, annex D, so that only the size is wrong. */
static uint32_t crc(const unsigned char *bytes, size_t length) {
    uint32_t sum = 0xffffffff;
    for (size_t i = 0; i < length; i++) {
        sum ^= bytes[i];
        for (int k = 0; k < 8; k++)
            sum = sum & 1 ? 0xedb88320 ^ (sum >> 1) : sum >> 1;
    }
    return ~sum;
}

#ifdef __SANITIZE_ADDRESS__
#define LITTLE_ROOM RLIM_INFINITY /* the sanitizer itself needs more */
#else
#define LITTLE_ROOM (1u << 30)
#endif

/* A few bytes that say that they are a very large picture are refused before a pixel of it is
 * given room. */
static void test_bombs(void **state) {
    (void)state;
    static const uint32_t sizes[][2] = {
        {20000, 20000}, {65000, 2000}, {1, 0x7fffffff}, {0x7fffffff, 1}, {100000, 1000}};
    bench bench;
    bench_folder(&bench);
    bench_reopen(&bench);
    struct rlimit before, tight;
    getrlimit(RLIMIT_DATA, &before);
    tight = (struct rlimit){LITTLE_ROOM, before.rlim_max};
    setrlimit(RLIMIT_DATA, &tight);
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        picture made = picture_png((picture_wish){.width = 40, .height = 30});
        put_size(made.bytes + 16, sizes[i][0]);
        put_size(made.bytes + 20, sizes[i][1]);
        put_size(made.bytes + 29, crc(made.bytes + 12, 17));
        refused(&bench, made.bytes, made.length, "points");
        free(made.bytes);
    }
    picture made = picture_jpeg((picture_wish){.width = 40, .height = 30, .progressive = true});
    unsigned char *frame = memmem(made.bytes, made.length, "\xff\xc2", 2);
    assert_non_null(frame);
    memcpy(frame + 5, "\xf0\x00\xf0\x00", 4); /* 61440 by 61440 */
    refused(&bench, made.bytes, made.length, "points");
    memcpy(frame + 5, "\x20\x00\x20\x00", 4); /* 8192 by 8192, to be held whole */
    refused(&bench, made.bytes, made.length, "interlaced or progressive");
    free(made.bytes);
    setrlimit(RLIMIT_DATA, &before);
    bench_close(&bench);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_turned),  cmocka_unit_test(test_sizes),
        cmocka_unit_test(test_kinds),   cmocka_unit_test(test_by_content),
        cmocka_unit_test(test_cut),     cmocka_unit_test(test_foreign),
        cmocka_unit_test(test_damaged), cmocka_unit_test(test_bombs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
