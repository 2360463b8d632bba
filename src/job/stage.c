/* Where a job stands, and one sentence on what comes next. */
#include "job_impl.h"

#include <stdlib.h>
#include <string.h>

static bool has(const job_record *record, const char *kind) {
    return job_last(record, kind) != NULL;
}

static bool has_reading(const job_record *record, const char *phase) {
    for (size_t i = 0; i < record->count; i++)
        if (job_is(&record->fact[i], "reading") && job_stands(&record->fact[i]) &&
            strcmp(job_text_of(record->fact[i].body, "phase"), phase) == 0)
            return true;
    return false;
}

static bool work_is_done(const job_record *record) {
    for (size_t i = 0; i < record->count; i++)
        if (job_is(&record->fact[i], "work") && job_stands(&record->fact[i]) &&
            !json_is_true(json_object_get(record->fact[i].body, "done")))
            return false;
    return true;
}

static bool accepted(const job_record *record) {
    const job_stored *word = job_last(record, "acceptance");
    return word && json_is_true(json_object_get(word->body, "accepted"));
}

/* From the work that was done, where nobody said where the job is: the last kind of work counts. */
static const char *stage_by_work(const job_record *record) {
    const job_stored *soak = job_last(record, "soak");
    if (soak && strcmp(job_text_of(soak->body, "result"), "good") == 0) return "hand back";
    if (soak || has(record, "check") || has_reading(record, "after")) return "prove";
    if (has(record, "work")) return work_is_done(record) ? "prove" : "repair";
    if (accepted(record)) return "repair";
    if (has(record, "decision") || has(record, "estimate")) return "decide";
    if (has_reading(record, "before")) return "measure";
    if (has(record, "look") || has(record, "cord")) return "look over";
    return "make safe";
}

/* The later of what was said last and the hand-over: a job can be opened again. */
static const job_stored *last_word(const job_record *record) {
    const job_stored *said = job_last(record, "stage"), *back = job_last(record, "hand back");
    if (!said || !back) return said ? said : back;
    return said->id > back->id ? said : back;
}

static bool says_done(const job_stored *word) {
    return job_is(word, "hand back") || strcmp(job_text_of(word->body, "stage"), "done") == 0;
}

int64_t job_closed(const job_record *record) {
    const job_stored *word = last_word(record);
    return word && says_done(word) ? word->at : 0;
}

const char *job_stage(const job_record *record) {
    const job_stored *word = last_word(record);
    if (!word) return stage_by_work(record);
    return says_done(word) ? "done" : job_text_of(word->body, "stage");
}

/* ---- what comes next ----------------------------------------------------------------------- */

/* What the stage itself asks for. */
static const char *stage_words(const char *stage) {
    static const char *const words[][2] = {
        {"take in", "Write down the owner, the complaint and what is to be kept."},
        {"make safe", "Pull the mains plug, drain the capacitors and measure each one."},
        {"look over", "Look at each part: what was replaced, what is bulged, leaking or cracked."},
        {"measure", "Take the next reading of the voltage chart."},
        {"find", "Look at the suspects, and take the reading that would settle it."},
        {"decide", "Decide part by part, and get the owner's word on the estimate."},
        {"repair", "Do the next line of the work list and tick it."},
        {"prove", "Take the chart again, try every control, and let it run."},
        {"hand back", "Write the report and hand the amp back."},
        {"done", "Nothing: the amp went home."}};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        if (strcmp(words[i][0], stage) == 0) return words[i][1];
    return "Go on.";
}

static bool is_one_of(const char *text, const char *const *list) {
    for (; *list; list++)
        if (strcmp(*list, text) == 0) return true;
    return false;
}

/* "C20, C21 and C22": those with no reading under 60 V since the amp was last on; at most four. */
static size_t to_measure(const json_t *drained, base_text *names) {
    size_t i, count = 0, most = 4;
    json_t *one;
    json_array_foreach(json_object_get(drained, "capacitors"), i,
                       one) if (!json_is_true(json_object_get(one, "below_60")) && count++ < most)
        base_text_add(names, "%s%s", names->length ? ", " : "", job_text_of(one, "part"));
    if (count > most) base_text_add(names, " and %zu more", count - most);
    return count;
}

static void say_danger(base_text *text, const char *state, const json_t *drained) {
    base_text names;
    base_text_init(&names, 1024);
    size_t count = to_measure(drained, &names);
    if (strcmp(state, "on") == 0)
        base_text_add(text, "The amp is on: before hands go in, switch off, pull the mains plug, "
                            "drain and measure.");
    else if (count == 0)
        base_text_add(text, "Pull the mains plug, drain the capacitors and measure each one: no "
                            "drawing says which they are.");
    else
        base_text_add(text, "Pull the mains plug, drain and measure %s%s.", names.data,
                      strcmp(state, "powered since") == 0 ? " again: the amp was on since" : "");
    if (names.failed) text->failed = true;
    base_text_free(&names);
}

char *job_next(const char *stage, const json_t *drained) {
    static const char *const inside[] = {"make safe", "look over", "repair", NULL};
    const char *state = job_text_of(drained, "state");
    bool below = json_is_true(json_object_get(drained, "measured_below_60"));
    base_text text;
    base_text_init(&text, 4096);
    if (!below && is_one_of(stage, inside))
        say_danger(&text, state, drained);
    else if (below && strcmp(stage, "make safe") == 0)
        base_text_add(&text, "All capacitors were measured under 60 V: look the amp over, part by "
                             "part.");
    else
        base_text_add(&text, "%s", stage_words(stage));
    char *sentence = text.failed ? NULL : strdup(text.data);
    base_text_free(&text);
    return sentence;
}
