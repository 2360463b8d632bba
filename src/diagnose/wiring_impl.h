/* Between wiring.c and the list of mistakes in wiring_list.c. */
#ifndef GRIDLEAK_DIAGNOSE_WIRING_IMPL_H
#define GRIDLEAK_DIAGNOSE_WIRING_IMPL_H

#include "diagnose_impl.h"

#define WIRING_LEADS 8

/* Leads on other nodes than drawn. */
typedef struct diagnose_wiring {
    diagnose_mode mode; /* DIAGNOSE_MISWIRED or DIAGNOSE_HALVES_EXCHANGED */
    int part;
    int leads;
    circuit_lead lead[WIRING_LEADS];
    bool pins;         /* of a tube: what is read at a pin is read elsewhere */
    double share;      /* of the prior, against the others */
    const char *words; /* "joined to V2.7 instead of V2.6" */
} diagnose_wiring;

/* An amp that is wired so, ready to be solved. */
typedef struct wired_bench {
    int index;
    unsigned turn;
    diagnose_bench bench;
} wired_bench;

struct diagnose_wirings {
    diagnose_wiring *wiring;
    int count;
    diagnose_point *point; /* by wiring: solved */
    wired_bench *ready;
    unsigned turns;
};

/* Every mistake that is looked for. false: no memory. */
bool diagnose_wirings_list(const diagnose_engine *engine, diagnose_wirings *wirings);

#endif
