/* Every kind of fact and the keys of its body: one table for the checks, the page and the docs. */
#include "job_impl.h"

#include <string.h>

#define VOLTS_MOST 3000 /* no place in these amps shows more */
#define MINUTES_MOST 100000
#define MONEY_MOST 1e9
#define STAGES "take in|make safe|look over|measure|find|decide|repair|prove|hand back|done"

/* One row each: the key, whether it must be given, its limits. */
#define TEXT(key, needed)                                                                          \
    { .name = key, .type = 's', .must = needed }
#define TEXTS(key, needed)                                                                         \
    { .name = key, .type = 'l', .must = needed }
#define YES_NO(key, needed)                                                                        \
    { .name = key, .type = 'b', .must = needed }
#define PLACE(key, needed)                                                                         \
    { .name = key, .type = 'p', .must = needed }
#define LINES(key, needed)                                                                         \
    { .name = key, .type = 'o', .must = needed }
#define WORDS(key, needed, list)                                                                   \
    { .name = key, .type = 's', .must = needed, .words = list }
#define WORD_LIST(key, needed, list)                                                               \
    { .name = key, .type = 'l', .must = needed, .words = list }
#define NUMBER(key, needed, low, high)                                                             \
    { .name = key, .type = 'n', .must = needed, .least = low, .most = high }
#define WHOLE(key, needed, low, high)                                                              \
    { .name = key, .type = 'i', .must = needed, .least = low, .most = high }

/* What a reading that came over a wire keeps of its meter. */
#define CAPTURED                                                                                   \
    TEXT("device", false), NUMBER("range", false, 0, 1e5), NUMBER("spread", false, 0, VOLTS_MOST), \
        YES_NO("by_hand", false), TEXT("stream", false)

static const job_key take_in[] = {
    TEXT("owner", true),   TEXT("contact", false),           TEXT("complaint", true),
    TEXT("keep", false),   TEXTS("accessories", false),      TEXT("amp", true),
    TEXT("serial", false), WHOLE("year", false, 1900, 2100), {0}};
static const job_key drawing[] = {TEXT("amp", true), TEXT("note", false), {0}};
static const job_key power[] = {YES_NO("on", true), NUMBER("mains", false, 20, 300), {0}};
static const job_key drain[] = {PLACE("at", true),
                                NUMBER("volts", true, -VOLTS_MOST, VOLTS_MOST),
                                NUMBER("through", false, 1, 1e7),
                                CAPTURED,
                                {0}};
static const job_key look[] = {
    PLACE("part", true),
    WORDS("state", false, "original|replaced|changed"),
    WORD_LIST("condition", false,
              "bulged|leaking|cracked|burnt|cold joint|scratchy|loose|noisy|fine"),
    TEXT("code", false),
    TEXT("note", false),
    {0}};
static const job_key cord[] = {WHOLE("wires", true, 2, 3), YES_NO("chassis_capacitor", false), {0}};
static const job_key edit[] = {WORDS("phase", true, "found|repaired"),
                               TEXT("part", true),
                               TEXT("key", false),
                               TEXT("from", false),
                               TEXT("to", false),
                               TEXT("yaml", false),
                               WORDS("does", true, "change|add|remove"),
                               TEXT("reason", false),
                               {0}};
static const job_key reading[] = {WORDS("phase", true, "before|after"),
                                  PLACE("at", true),
                                  NUMBER("volts", true, -VOLTS_MOST, VOLTS_MOST),
                                  TEXT("written", false),
                                  TEXT("meter", false),
                                  NUMBER("mains", false, 20, 300),
                                  CAPTURED,
                                  {0}};
static const job_key test[] = {WORDS("phase", true, "before|after"),
                               TEXT("at", true),
                               TEXT("value", true),
                               TEXT("meter", false),
                               NUMBER("mains", false, 20, 300),
                               {0}};
static const job_key symptom[] = {
    TEXT("said", true), WORDS("phase", false, "before|after"), TEXT("note", false), {0}};
static const job_key decision[] = {
    PLACE("part", true),
    WORDS("action", true, "replace|leave|clean|test"),
    WORDS("reason", true, "safety|failing|reliability|originality|owner's wish"),
    TEXT("what", false),
    TEXT("substitute", false),
    WHOLE("price", false, 0, MONEY_MOST),
    WHOLE("minutes", false, 0, MINUTES_MOST),
    YES_NO("bag", false),
    TEXT("note", false),
    {0}};
static const job_key estimate[] = {
    LINES("lines", true), WHOLE("total", true, -MONEY_MOST, MONEY_MOST), TEXT("note", false), {0}};
static const job_key acceptance[] = {YES_NO("accepted", true),
                                     TEXT("by", true),
                                     WORDS("how", false, "in person|telephone|letter|message"),
                                     TEXT("note", false),
                                     {0}};
static const job_key work[] = {TEXT("text", true),
                               PLACE("part", false),
                               TEXT("pins", false),
                               YES_NO("done", true),
                               WHOLE("minutes", false, 0, MINUTES_MOST),
                               {0}};
static const job_key check[] = {
    TEXT("what", true), WORDS("result", true, "good|poor|not tried"), TEXT("note", false), {0}};
static const job_key soak[] = {WHOLE("minutes", true, 0, MINUTES_MOST),
                               WORDS("result", true, "good|poor"),
                               TEXT("note", false),
                               {0}};
static const job_key note[] = {TEXT("text", true), {0}};
static const job_key paper[] = {TEXT("what", true), TEXTS("lines", true), {0}};
static const job_key photo[] = {
    TEXT("hash", true), TEXT("caption", false), PLACE("part", false), {0}};
static const job_key stage[] = {WORDS("stage", true, STAGES), {0}};
static const job_key hand_back[] = {TEXT("found", true),       TEXT("done", true),
                                    TEXT("kept", false),       TEXT("cautions", false),
                                    TEXT("advice", false),     TEXT("cause_part", false),
                                    TEXT("cause_what", false), {0}};
static const job_key invoice[] = {LINES("lines", true),
                                  NUMBER("tax_percent", false, 0, 100),
                                  WHOLE("total", true, -MONEY_MOST, MONEY_MOST),
                                  TEXT("note", false),
                                  {0}};
static const job_key undo[] = {WHOLE("fact", true, 1, 9e15), {0}};

static const job_kind kinds[] = {
    {"take in", take_in, "what came in and why; a later one replaces it"},
    {"drawing", drawing, "from here on the job follows this amp's file as it now stands"},
    {"power", power, "the amp was switched on or off; then it counts as charged until measured"},
    {"drain", drain, "volts measured on a filter capacitor"},
    {"look", look, "what was seen"},
    {"cord", cord, "the mains cord"},
    {"edit", edit, "the amp differs from the drawing, or was changed by the repair"},
    {"reading", reading, "one reading"},
    {"test", test, "a reading other than plain volts, or after something was done to the amp"},
    {"symptom", symptom, "what is heard, smelt or told, from the fixed list"},
    {"finding", symptom, "what was seen or found by hand, from the fixed list"},
    {"decision", decision, "what is to be done with a part"},
    {"estimate", estimate, "what it will cost"},
    {"acceptance", acceptance, "the owner's word on the estimate"},
    {"work", work, "a line of the work list; a later one that replaces it ticks it"},
    {"check", check, "control by control"},
    {"soak", soak, "left running"},
    {"note", note, "anything"},
    {"paper", paper, "worked out beforehand, and kept for the report"},
    {"photo", photo, "a photo in the store"},
    {"stage", stage, "the technician moved on, or back"},
    {"hand back", hand_back, "the end of the visit, in words"},
    {"invoice", invoice, "the bill"},
    {"undo", undo, "takes back a fact"},
};
enum { KINDS = sizeof kinds / sizeof *kinds };

const job_kind *job_kinds(size_t *count) {
    *count = KINDS;
    return kinds;
}

const job_kind *job_kind_find(const char *name) {
    for (size_t i = 0; name && i < KINDS; i++)
        if (strcmp(kinds[i].name, name) == 0) return &kinds[i];
    return NULL;
}
