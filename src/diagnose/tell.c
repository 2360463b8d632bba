/* What tells the members of a group apart where no reading can: the bench's other ways. */
#include "diagnose_impl.h"

#include <stdio.h>
#include <string.h>

#define MOST_PARTS 4
#define SHARE 0.05 /* of its group's probability, for a member to be named */

#define POWER_OFF " First: unplugged, capacitors drained, and measured to be empty."

/* Who is in the group, by what they are. */
typedef struct members {
    const char *cap[MOST_PARTS], *ohmic[MOST_PARTS], *tube[MOST_PARTS];
    int caps, ohmics, tubes;
    bool cold;    /* some tube may be unlit, dead or without contact */
    bool gassy;   /* some tube may give grid current */
    bool nothing; /* a good amp is among them */
    int modes;
} members;

static void add_name(const char **list, int *count, const char *name) {
    for (int i = 0; i < *count; i++)
        if (strcmp(list[i], name) == 0) return;
    if (*count < MOST_PARTS) list[(*count)++] = name;
}

static void add_member(const diagnose_engine *engine, const diagnose_fault *fault,
                       members *members) {
    const char *name = diagnose_words_part(engine, fault);
    members->modes++;
    if (fault->mode == DIAGNOSE_NOTHING) members->nothing = true;
    if (fault->part < 0) return;
    const circuit_part *part = circuit_part_at(engine->bench.amp, (size_t)fault->part);
    if (part->kind == CIRCUIT_CAPACITOR)
        add_name(members->cap, &members->caps, name);
    else if (part->kind == CIRCUIT_TUBE)
        add_name(members->tube, &members->tubes, name);
    else
        add_name(members->ohmic, &members->ohmics, name);
    if (part->kind != CIRCUIT_TUBE) return;
    members->gassy |= fault->mode == DIAGNOSE_GASSY || fault->mode == DIAGNOSE_PLATE_GRID_LEAK;
    members->cold |= fault->mode == DIAGNOSE_NO_EMISSION || fault->mode == DIAGNOSE_HEATER_OPEN ||
                     fault->mode == DIAGNOSE_PIN_OPEN;
}

static void add_list(base_text *text, const char *const *list, int count) {
    for (int i = 0; i < count; i++)
        base_text_add(text, "%s%s", i == 0 ? "" : i + 1 < count ? ", " : " and ", list[i]);
}

static void say_capacitors(base_text *text, const members *members) {
    if (members->gassy && members->tubes == 1) {
        base_text_add(text, "Pull %s: if its grid keeps its volts it is ", members->tube[0]);
        add_list(text, members->cap, members->caps);
        base_text_add(text, ", if they go it is %s. Or lift one end of %s.", members->tube[0],
                      members->cap[0]);
    } else {
        base_text_add(text, "Lift one end of ");
        add_list(text, members->cap, members->caps);
        base_text_add(text, members->caps > 1 ? ", one at a time: the volts return when the bad "
                                                "one is off."
                                              : ": if the volts return it is that one.");
    }
}

static void say_tubes(base_text *text, const members *members) {
    if (members->cold) {
        base_text_add(text, "Look whether ");
        add_list(text, members->tube, members->tubes);
        base_text_add(text, members->tubes > 1 ? " glow" : " glows");
        base_text_add(text, ", read the heater volts at the pins, then swap the tube: if nothing "
                            "changes it is the socket.");
    } else {
        base_text_add(text, "Swap ");
        add_list(text, members->tube, members->tubes);
        base_text_add(text,
                      members->tubes > 1 ? ", one at a time, for good ones." : " for a good one.");
    }
}

static void say_ohms(base_text *text, const members *members) {
    base_text_add(text, "Measure ");
    add_list(text, members->ohmic, members->ohmics);
    base_text_add(text, " in ohms with the power off and one end lifted.");
}

static void say_healthy(base_text *text) {
    base_text_add(text, "DC readings do not show an open capacitor, a grid stopper, a somewhat "
                        "weak tube or rectifier: bridge capacitors with good ones, swap tubes, "
                        "look at ripple and gain.");
}

static void say_all(base_text *text, const members *members) {
    bool pulled = members->caps && members->gassy && members->tubes == 1;
    if (members->caps) say_capacitors(text, members);
    if (members->tubes && !pulled) {
        if (members->caps) base_text_add(text, " ");
        say_tubes(text, members);
    }
    if (members->ohmics) {
        if (members->caps || members->tubes) base_text_add(text, " ");
        say_ohms(text, members);
    }
    if (members->caps || members->ohmics) base_text_add(text, POWER_OFF);
}

bool diagnose_words_tell(const diagnose_run_state *run, const diagnose_belief *belief, size_t group,
                         const char **text) {
    members members = {0};
    double least = SHARE * belief->group[group].probability;
    for (size_t i = 0; i < belief->suspects; i++) {
        const diagnose_suspect *suspect = &belief->suspect[i];
        if (suspect->group != (int)group || !(suspect->probability >= least)) continue;
        add_member(run->engine, &run->engine->catalogue.fault[suspect->fault], &members);
    }
    *text = NULL;
    int parts = members.caps + members.ohmics + members.tubes;
    bool one = parts + members.nothing < 2 && !(members.cold && members.modes > 1);
    if (one && !members.nothing) return true;
    base_text said;
    base_text_init(&said, 2000);
    if (members.nothing)
        say_healthy(&said);
    else
        say_all(&said, &members);
    *text = said.failed ? NULL : base_arena_text(belief->arena, said.data);
    base_text_free(&said);
    return *text != NULL;
}
