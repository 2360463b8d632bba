/* Pairing: the code on the bench screen, guesses at it, and the devices that gave it. Of a device
 * only the hash of its token is kept, and only in memory. */
#include "http_impl.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#define DIGITS 8
#define DEVICES 16
#define FREE_GUESSES 5      /* before the first wait */
#define FIRST_WAIT_MS 10000 /* doubled at each further wrong guess */
#define LONGEST_WAIT_MS 900000
#define HASH crypto_generichash_BYTES

struct http_pairing {
    pthread_mutex_t lock;
    char code[DIGITS + 1];
    int wrong;      /* guesses since the last right one, or the last new code */
    int64_t locked; /* no guess is looked at before */
    unsigned char device[DEVICES][HASH];
    int devices;
};

static void new_code(http_pairing *pairing) {
    for (int i = 0; i < DIGITS; i++)
        pairing->code[i] = (char)('0' + randombytes_uniform(10));
    pairing->wrong = 0;
    pairing->locked = 0;
}

http_pairing *http_pairing_new(void) {
    http_pairing *pairing = calloc(1, sizeof *pairing);
    if (!pairing) return NULL;
    pthread_mutex_init(&pairing->lock, NULL);
    new_code(pairing);
    return pairing;
}

void http_pairing_free(http_pairing *pairing) {
    if (!pairing) return;
    pthread_mutex_destroy(&pairing->lock);
    sodium_memzero(pairing, sizeof *pairing);
    free(pairing);
}

/* The digits alone: people put blanks and dashes between them. */
static void digits_of(const char *text, char code[DIGITS + 1]) {
    size_t count = 0;
    memset(code, 0, DIGITS + 1);
    for (; *text; text++) {
        if (*text == ' ' || *text == '-') continue;
        if (count < DIGITS) code[count] = *text;
        count++;
    }
    if (count != DIGITS) memset(code, 0, DIGITS + 1);
}

static void add_device(http_pairing *pairing, char token[HTTP_TOKEN]) {
    unsigned char secret[(HTTP_TOKEN - 1) / 2];
    randombytes_buf(secret, sizeof secret);
    sodium_bin2hex(token, HTTP_TOKEN, secret, sizeof secret);
    crypto_generichash(pairing->device[pairing->devices++], HASH, (unsigned char *)token,
                       HTTP_TOKEN - 1, NULL, 0);
    sodium_memzero(secret, sizeof secret);
}

static void count_wrong(http_pairing *pairing, int64_t now) {
    int over = ++pairing->wrong - FREE_GUESSES;
    if (over < 0) return;
    int64_t wait = over < 12 ? (int64_t)FIRST_WAIT_MS << over : LONGEST_WAIT_MS;
    pairing->locked = now + (wait < LONGEST_WAIT_MS ? wait : LONGEST_WAIT_MS);
}

static http_guess judge(http_pairing *pairing, const char *code, int64_t now,
                        char token[HTTP_TOKEN]) {
    char given[DIGITS + 1];
    digits_of(code, given);
    if (now < pairing->locked) return HTTP_LOCKED;
    if (sodium_memcmp(given, pairing->code, sizeof given) != 0) {
        count_wrong(pairing, now);
        return HTTP_WRONG;
    }
    if (pairing->devices == DEVICES) return HTTP_FULL;
    add_device(pairing, token);
    new_code(pairing);
    return HTTP_PAIRED;
}

http_guess http_pairing_try(http_pairing *pairing, const char *code, int64_t now_ms,
                            char token[HTTP_TOKEN]) {
    pthread_mutex_lock(&pairing->lock);
    http_guess guess = judge(pairing, code, now_ms, token);
    pthread_mutex_unlock(&pairing->lock);
    return guess;
}

bool http_pairing_knows(http_pairing *pairing, const char *token) {
    unsigned char hash[HASH];
    bool known = false;
    crypto_generichash(hash, sizeof hash, (const unsigned char *)token, strlen(token), NULL, 0);
    pthread_mutex_lock(&pairing->lock);
    for (int i = 0; i < pairing->devices; i++)
        known |= sodium_memcmp(hash, pairing->device[i], HASH) == 0;
    pthread_mutex_unlock(&pairing->lock);
    return known;
}

void http_pairing_renew(http_pairing *pairing, bool forget) {
    pthread_mutex_lock(&pairing->lock);
    new_code(pairing);
    if (forget) pairing->devices = 0;
    pthread_mutex_unlock(&pairing->lock);
}

void http_pairing_now(http_pairing *pairing, int64_t now_ms, http_lan *lan) {
    pthread_mutex_lock(&pairing->lock);
    memcpy(lan->code, pairing->code, DIGITS / 2);
    lan->code[DIGITS / 2] = ' ';
    memcpy(lan->code + DIGITS / 2 + 1, pairing->code + DIGITS / 2, DIGITS / 2 + 1);
    lan->devices = pairing->devices;
    int64_t left = pairing->locked - now_ms;
    lan->locked_s = left > 0 ? (int)((left + 999) / 1000) : 0;
    pthread_mutex_unlock(&pairing->lock);
}
