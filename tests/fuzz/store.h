/* One store for a whole run of a fuzz target, whose files are gone as soon as it is open. */
#ifndef GRIDLEAK_TESTS_FUZZ_STORE_H
#define GRIDLEAK_TESTS_FUZZ_STORE_H

#include "job.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static inline void demand(bool holds) {
    if (!holds) abort();
}

static inline job_store *fuzz_store(void) {
    static const char *const tails[] = {"", "-wal", "-shm"};
    static job_store *store;
    char folder[] = "/tmp/gridleak-fuzz-XXXXXX", path[64], file[72];
    if (store) return store;
    demand(mkdtemp(folder) != NULL);
    snprintf(path, sizeof path, "%s/shop.store", folder);
    store = job_store_open(path, NULL);
    demand(store != NULL);
    for (size_t i = 0; i < sizeof tails / sizeof *tails; i++) {
        snprintf(file, sizeof file, "%s%s", path, tails[i]);
        unlink(file);
    }
    rmdir(folder);
    return store;
}

#endif
