/* The bench's own certificate, for the local network: made here, kept in the state folder, where
 * only its owner can read it. */
#include "http_impl.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <gnutls/gnutls.h>
#include <gnutls/x509.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define DAY_S 86400
#define LASTS_DAYS 397 /* longer ones are refused by some browsers; common practice, no source */
#define RENEW_DAYS 7
#define FILE_NAME "lan-certificate.pem" /* the certificate, then its key */
#define LONGEST 65536

typedef struct maker {
    gnutls_x509_crt_t certificate;
    gnutls_x509_privkey_t key;
    int failed; /* the first GnuTLS error, or 0 */
} maker;

static void keep(maker *maker, int code) {
    if (code < 0 && maker->failed == 0) maker->failed = code;
}

static maker maker_new(void) {
    maker maker = {0};
    keep(&maker, gnutls_x509_crt_init(&maker.certificate));
    keep(&maker, gnutls_x509_privkey_init(&maker.key));
    return maker;
}

static void maker_free(maker *maker) {
    if (maker->certificate) gnutls_x509_crt_deinit(maker->certificate);
    if (maker->key) gnutls_x509_privkey_deinit(maker->key);
}

static base_code complain(const maker *maker, base_errors *errors) {
    return base_errors_add(errors, BASE_FILE, (base_place){0},
                           "the certificate for --lan cannot be made: %s|leave --lan out, or look "
                           "at the installation of GnuTLS",
                           gnutls_strerror(maker->failed));
}

/* ---- one that is there --------------------------------------------------------------------- */

/* The file's text, to be freed; NULL where it is not there, or others may read it. */
static char *read_own(const char *path) {
    struct stat about;
    int handle = open(path, O_RDONLY | O_CLOEXEC);
    char *text = NULL;
    if (handle < 0) return NULL;
    bool own = fstat(handle, &about) == 0 && (about.st_mode & 077) == 0 &&
               about.st_uid == geteuid() && about.st_size < LONGEST;
    if (own) text = calloc(1, (size_t)about.st_size + 1);
    if (text && read(handle, text, (size_t)about.st_size) != about.st_size) {
        free(text);
        text = NULL;
    }
    close(handle);
    return text;
}

static bool serves(maker *maker, const char *text, const http_names *names, int64_t now_s) {
    gnutls_datum_t data = {(unsigned char *)text, (unsigned)strlen(text)};
    keep(maker, gnutls_x509_crt_import(maker->certificate, &data, GNUTLS_X509_FMT_PEM));
    keep(maker, gnutls_x509_privkey_import(maker->key, &data, GNUTLS_X509_FMT_PEM));
    if (maker->failed) return false;
    time_t ends = gnutls_x509_crt_get_expiration_time(maker->certificate);
    bool good = ends > now_s + RENEW_DAYS * DAY_S;
    for (int i = 0; i < names->count; i++)
        good = good && gnutls_x509_crt_check_hostname(maker->certificate, names->name[i]);
    return good;
}

/* ---- a new one ----------------------------------------------------------------------------- */

static void add_name(maker *maker, const char *name) {
    struct in_addr address;
    if (inet_pton(AF_INET, name, &address) == 1)
        keep(maker,
             gnutls_x509_crt_set_subject_alt_name(maker->certificate, GNUTLS_SAN_IPADDRESS,
                                                  &address, sizeof address, GNUTLS_FSAN_APPEND));
    else
        keep(maker,
             gnutls_x509_crt_set_subject_alt_name(maker->certificate, GNUTLS_SAN_DNSNAME, name,
                                                  (unsigned)strlen(name), GNUTLS_FSAN_APPEND));
}

static void fill(maker *maker, const http_names *names, int64_t now_s) {
    gnutls_x509_crt_t certificate = maker->certificate;
    unsigned char serial[16];
    randombytes_buf(serial, sizeof serial);
    serial[0] = (serial[0] & 0x7f) | 1; /* positive, and of full length */
    keep(maker, gnutls_x509_crt_set_version(certificate, 3));
    keep(maker, gnutls_x509_crt_set_serial(certificate, serial, sizeof serial));
    keep(maker, gnutls_x509_crt_set_activation_time(certificate, now_s - DAY_S));
    keep(maker, gnutls_x509_crt_set_expiration_time(certificate, now_s + LASTS_DAYS * DAY_S));
    keep(maker, gnutls_x509_crt_set_dn(certificate, "CN=gridleak bench", NULL));
    keep(maker, gnutls_x509_crt_set_key(certificate, maker->key));
    keep(maker, gnutls_x509_crt_set_basic_constraints(certificate, 0, -1));
    keep(maker, gnutls_x509_crt_set_key_usage(certificate, GNUTLS_KEY_DIGITAL_SIGNATURE));
    keep(maker, gnutls_x509_crt_set_key_purpose_oid(certificate, GNUTLS_KP_TLS_WWW_SERVER, 0));
    add_name(maker, "localhost");
    add_name(maker, "127.0.0.1");
    for (int i = 0; i < names->count; i++)
        add_name(maker, names->name[i]);
}

/* Certificate and key as PEM, one after the other; NULL where that failed. */
static char *make(maker *maker, const http_names *names, int64_t now_s) {
    gnutls_datum_t certificate = {0}, key = {0};
    char *text = NULL;
    unsigned bits = GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1);
    keep(maker, gnutls_x509_privkey_generate(maker->key, GNUTLS_PK_ECDSA, bits, 0));
    if (!maker->failed) fill(maker, names, now_s);
    if (!maker->failed)
        keep(maker, gnutls_x509_crt_sign2(maker->certificate, maker->certificate, maker->key,
                                          GNUTLS_DIG_SHA256, 0));
    if (!maker->failed)
        keep(maker, gnutls_x509_crt_export2(maker->certificate, GNUTLS_X509_FMT_PEM, &certificate));
    if (!maker->failed)
        keep(maker, gnutls_x509_privkey_export2(maker->key, GNUTLS_X509_FMT_PEM, &key));
    if (!maker->failed && asprintf(&text, "%.*s%.*s", (int)certificate.size,
                                   (char *)certificate.data, (int)key.size, (char *)key.data) < 0)
        text = NULL;
    gnutls_free(certificate.data);
    gnutls_free(key.data);
    return text;
}

/* ---- on the disk --------------------------------------------------------------------------- */

static bool write_whole(int handle, const char *text) {
    size_t length = strlen(text);
    while (length) {
        ssize_t sent = write(handle, text, length);
        if (sent < 0 && errno == EINTR) continue;
        if (sent <= 0) return false;
        text += sent;
        length -= (size_t)sent;
    }
    return fsync(handle) == 0;
}

static base_code save(const char *folder, const char *path, const char *text, base_errors *errors) {
    char part[4200];
    snprintf(part, sizeof part, "%s.part", path);
    if (mkdir(folder, 0700) == 0 || errno == EEXIST) {
        unlink(part);
        int handle = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
        bool good = handle >= 0 && write_whole(handle, text);
        if (handle >= 0) good = close(handle) == 0 && good;
        if (good && rename(part, path) == 0) return BASE_OK;
    }
    return base_errors_add(errors, BASE_FILE, (base_place){.file = path},
                           "cannot be written: %s|look at the disk and at who owns the folder",
                           strerror(errno));
}

static void tell_fingerprint(maker *maker, http_certificate *certificate) {
    unsigned char hash[32];
    size_t size = sizeof hash;
    keep(maker,
         gnutls_x509_crt_get_fingerprint(maker->certificate, GNUTLS_DIG_SHA256, hash, &size));
    for (size_t i = 0; i < sizeof hash; i++)
        sprintf(certificate->fingerprint + 3 * i, i + 1 < sizeof hash ? "%02X:" : "%02X", hash[i]);
}

base_code http_certificate_open(const char *folder, const http_names *names, int64_t now_ms,
                                http_certificate *certificate, base_errors *errors) {
    char path[4160];
    int64_t now_s = now_ms / 1000;
    base_code code = BASE_OK;
    maker maker = maker_new();
    *certificate = (http_certificate){0};
    snprintf(path, sizeof path, "%s/" FILE_NAME, folder);
    char *text = maker.failed ? NULL : read_own(path);
    if (text && !serves(&maker, text, names, now_s)) {
        free(text);
        text = NULL;
        maker_free(&maker);
        maker = maker_new();
    }
    if (!text) {
        text = maker.failed ? NULL : make(&maker, names, now_s);
        code = text ? save(folder, path, text, errors) : complain(&maker, errors);
    }
    if (code == BASE_OK) tell_fingerprint(&maker, certificate);
    if (code == BASE_OK) certificate->pem = text;
    if (code != BASE_OK) free(text);
    maker_free(&maker);
    return code;
}

void http_certificate_free(http_certificate *certificate) {
    if (certificate->pem) sodium_memzero(certificate->pem, strlen(certificate->pem));
    free(certificate->pem);
    *certificate = (http_certificate){0};
}
