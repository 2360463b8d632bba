/* EIA source-date codes: maker, year, week as stamped on pots, transformers, speakers and
 * capacitors; and what a set of them says of the amp. Makers are numbers here and nothing else.
 * Source of the forms: the standards body's page of source codes (lists of 1946 to 2001). */
#include "service_impl.h"

#include <ctype.h>

#define FIRST_YEAR 1945      /* the codes came into use in the 1940s */
#define LAST_DIGIT_YEAR 1979 /* later codes write two digits; common practice, no source */
#define RUN_YEARS 4 /* parts of one amp date from within this; common practice, no source */
#define DIGITS_MOST 8

/* ---- reading one code ---------------------------------------------------------------------- */

typedef struct form {
    int maker, year, week; /* digits of each */
} form;
static const form forms[] = {{3, 1, 2}, {3, 2, 2}, {4, 1, 2}, {4, 2, 2}, {3, 1, 1}};

/* The digits in a row, and where the text parts them: bit i, before digit i. */
typedef struct stamped {
    char digits[DIGITS_MOST + 1];
    int count;
    unsigned parted;
} stamped;

static bool stamp(const char *text, stamped *out) {
    bool gap = false;
    *out = (stamped){.count = 0};
    for (const char *at = text; *at; at++) {
        if (strchr(" -./", *at)) {
            gap = true;
            continue;
        }
        if (!isdigit((unsigned char)*at) || out->count == DIGITS_MOST) return false;
        if (gap && out->count > 0) out->parted |= 1u << out->count;
        gap = false;
        out->digits[out->count++] = *at;
    }
    return true;
}

/* Every parting of the text must fall between two fields. */
static bool fits(const stamped *code, const form *form) {
    unsigned allowed = 1u << form->maker | 1u << (form->maker + form->year);
    return code->count == form->maker + form->year + form->week && (code->parted & ~allowed) == 0;
}

static int number(const char *digits, int count) {
    int value = 0;
    for (int i = 0; i < count; i++)
        value = 10 * value + digits[i] - '0';
    return value;
}

static service_date_reading read_as(const stamped *code, const form *form) {
    service_date_reading reading = {
        .year = number(code->digits + form->maker, form->year),
        .year_digits = form->year,
        .week = number(code->digits + form->maker + form->year, form->week)};
    memcpy(reading.maker, code->digits, (size_t)form->maker);
    return reading;
}

base_code service_date_read(const char *text, base_place place, service_date_code *code,
                            base_errors *errors) {
    stamped digits;
    int week = -1;
    *code = (service_date_code){.readings = 0};
    bool clean = stamp(text, &digits);
    for (size_t i = 0; clean && i < sizeof forms / sizeof *forms; i++) {
        if (!fits(&digits, &forms[i])) continue;
        service_date_reading reading = read_as(&digits, &forms[i]);
        week = reading.week;
        if (week >= 1 && week <= 53) code->reading[code->readings++] = reading;
    }
    if (code->readings > 0) return BASE_OK;
    if (week >= 0)
        return base_errors_add(errors, BASE_VALUE, place,
                               "\"%.40s\" would mean week %02d, and a year has weeks 01 to 53|look "
                               "at the stamp again: maker, year, week",
                               text, week);
    return base_errors_add(errors, BASE_SYNTAX, place,
                           "\"%.40s\" is no date code|write the digits as stamped: a maker of 3 or "
                           "4, a year of 1 or 2, a week of 2, such as 999-5-17 or 9995717",
                           text);
}

/* ---- the years of one code ----------------------------------------------------------------- */

static int add_year(int year, int latest, int count, int years[SERVICE_DATE_YEARS]) {
    int at = count;
    if (latest > 0 && year > latest) return count;
    for (int i = 0; i < count; i++)
        if (years[i] == year) return count;
    for (; at > 0 && years[at - 1] > year; at--)
        years[at] = years[at - 1];
    years[at] = year;
    return count + 1;
}

int service_date_years(const service_date_code *code, int latest, int years[SERVICE_DATE_YEARS]) {
    int count = 0;
    for (int i = 0; i < code->readings; i++) {
        const service_date_reading *reading = &code->reading[i];
        if (reading->year_digits == 2) {
            int year = 1900 + reading->year;
            count = add_year(year < FIRST_YEAR ? year + 100 : year, latest, count, years);
            continue;
        }
        for (int year = 1940 + reading->year; year <= LAST_DIGIT_YEAR; year += 10)
            if (year >= FIRST_YEAR) count = add_year(year, latest, count, years);
    }
    return count;
}

/* ---- a set of codes ------------------------------------------------------------------------ */

typedef struct set {
    const service_dated *code;
    size_t count;
    int (*years)[SERVICE_DATE_YEARS]; /* by code */
    int *options;                     /* how many years each can mean */
    int latest, about;
    int first, last; /* of all the years */
    service_dates *dates;
} set;

/* A run of years and what it explains. */
typedef struct run {
    int from, to; /* the oldest and the newest code in it */
    size_t count; /* codes with a year in it */
} run;

/* The newest year within [from, from + RUN_YEARS) that the code can mean, or 0. */
static int year_within(const set *set, size_t code, int from) {
    for (int i = set->options[code] - 1; i >= 0; i--)
        if (set->years[code][i] >= from && set->years[code][i] < from + RUN_YEARS)
            return set->years[code][i];
    return 0;
}

static run run_from(const set *set, int from) {
    run run = {.from = from, .to = 0};
    for (size_t i = 0; i < set->count; i++) {
        int year = year_within(set, i, from);
        if (!year) continue;
        run.count++;
        if (year > run.to) run.to = year;
    }
    return run;
}

static bool begins_here(const set *set, int from) {
    for (size_t i = 0; i < set->count; i++)
        for (int k = 0; k < set->options[i]; k++)
            if (set->years[i][k] == from) return true;
    return false;
}

/* More codes first, then fewer years. */
static int compare_runs(const run *a, const run *b) {
    if (a->count != b->count) return a->count > b->count ? -1 : 1;
    return (a->to - a->from) - (b->to - b->from);
}

/* The runs that no other beats, by rising year, into `runs` (room for each year). */
static size_t best_runs(const set *set, run *runs) {
    size_t found = 0;
    for (int from = set->first; from <= set->last; from++) {
        if (!begins_here(set, from)) continue;
        run run = run_from(set, from);
        int order = found ? compare_runs(&run, &runs[0]) : -1;
        if (order < 0) found = 0;
        if (order <= 0) runs[found++] = run;
    }
    return found;
}

/* Of runs in several decades, the one that holds the believed year or is nearest to it. */
static size_t choose(const set *set, run *runs, size_t count) {
    size_t best = 0;
    if (count < 2 || set->about <= 0) return count;
    for (size_t i = 1; i < count; i++)
        if (abs(runs[i].to - set->about) < abs(runs[best].to - set->about)) best = i;
    runs[0] = runs[best];
    return 1;
}

/* ---- words --------------------------------------------------------------------------------- */

enum { WORDS_MOST = 4096 };

static void say_years(base_text *text, const int *years, size_t count, const char *last) {
    for (size_t i = 0; i < count; i++)
        base_text_add(text, "%s%d", i == 0 ? "" : i + 1 == count ? last : ", ", years[i]);
}

/* Takes the text into the arena; NULL: no memory. */
static const char *keep(service_dates *dates, base_text *text) {
    const char *kept = text->failed ? NULL : base_arena_text(dates->arena, text->data);
    base_text_free(text);
    return kept;
}

/* Beside the oldest and the newest of the runs that remain. */
static const char *say_odd(const set *set, size_t code, const run *oldest, const run *newest) {
    base_text text;
    base_text_init(&text, WORDS_MOST);
    const int *years = set->years[code];
    size_t count = (size_t)set->options[code];
    base_text_add(&text, "%s: ", set->code[code].part);
    say_years(&text, years, count, " or ");
    if (count == 0)
        base_text_add(&text, "no year up to now: look at the stamp again");
    else if (years[0] > newest->to)
        base_text_add(&text, ", newer than the rest: likely a replacement");
    else if (years[count - 1] < oldest->from)
        base_text_add(&text, ", older than the rest: from stock, or out of another amp");
    else
        base_text_add(&text, ", and no year of the rest: likely a replacement, or from old stock");
    return keep(set->dates, &text);
}

static void say_amp(base_text *text, const set *set, const run *run) {
    const service_dates *dates = set->dates;
    base_text_add(text, "Not built before ");
    if (dates->earliest) base_text_add(text, "week %d of ", dates->week);
    say_years(text, dates->alternative, dates->alternatives, ", or ");
    if (set->count == 1)
        base_text_add(text, ": one code alone, of a part that may have been replaced.");
    else if (run->from == run->to)
        base_text_add(text, ": %zu of %zu codes are of that year.", run->count, set->count);
    else
        base_text_add(text, ": %zu of %zu codes lie within %d years.", run->count, set->count,
                      run->to - run->from + 1);
    if (dates->alternatives > 1)
        base_text_add(text, " The decade stays open: a code with two digits for the year, or the "
                            "circuit itself, would settle it.");
}

static const char *say(const set *set, const run *run) {
    base_text text;
    base_text_init(&text, WORDS_MOST);
    if (set->count == 0)
        base_text_add(&text, "No codes yet.");
    else if (set->dates->alternatives == 0)
        base_text_add(&text, "The codes do not agree on a year: some of these parts are "
                             "replacements. More codes would tell which.");
    else
        say_amp(&text, set, run);
    return keep(set->dates, &text);
}

/* ---- the answer ---------------------------------------------------------------------------- */

static bool take_odds(set *set, const run *runs, size_t count) {
    service_dates *dates = set->dates;
    for (size_t i = 0; i < set->count; i++) {
        if (year_within(set, i, runs[0].from)) continue;
        service_date_odd *odd = &dates->odd[dates->odds++];
        int options = set->options[i];
        *odd = (service_date_odd){.code = i, .words = say_odd(set, i, &runs[0], &runs[count - 1])};
        odd->later = options > 0 && set->years[i][options - 1] > runs[0].to;
        if (!odd->words) return false;
    }
    return true;
}

/* One run: each code gets its year, and the newest week of the newest year is known. */
static void take_years(set *set, const run *run) {
    service_dates *dates = set->dates;
    dates->earliest = run->to;
    for (size_t i = 0; i < set->count; i++) {
        dates->year[i] = year_within(set, i, run->from);
        if (dates->year[i] != run->to) continue;
        int week = set->code[i].code.reading[0].week;
        if (week > dates->week) dates->week = week;
    }
}

static void take_alternatives(service_dates *dates, const run *runs, size_t count) {
    for (size_t i = 0; i < count; i++)
        if (i == 0 || runs[i].to != runs[i - 1].to)
            dates->alternative[dates->alternatives++] = runs[i].to;
}

static bool decide(set *set, run *runs) {
    size_t count = choose(set, runs, best_runs(set, runs));
    if (count > 0 && 2 * runs[0].count > set->count) {
        take_alternatives(set->dates, runs, count);
        if (!take_odds(set, runs, count)) return false;
        if (count == 1) take_years(set, &runs[0]);
    }
    set->dates->words = say(set, &runs[0]);
    return set->dates->words != NULL;
}

static void spread_years(set *set) {
    set->first = INT32_MAX;
    for (size_t i = 0; i < set->count; i++) {
        set->options[i] = service_date_years(&set->code[i].code, set->latest, set->years[i]);
        if (set->options[i] == 0) continue;
        int last = set->years[i][set->options[i] - 1];
        if (set->years[i][0] < set->first) set->first = set->years[i][0];
        if (last > set->last) set->last = last;
    }
}

static bool weigh(set *set) {
    base_arena *arena = set->dates->arena;
    service_dates *dates = set->dates;
    set->years = base_arena_take(arena, set->count + 1, sizeof *set->years);
    set->options = base_arena_take(arena, set->count + 1, sizeof *set->options);
    dates->year = base_arena_take(arena, set->count + 1, sizeof *dates->year);
    dates->odd = base_arena_take(arena, set->count + 1, sizeof *dates->odd);
    if (!set->years || !set->options || !dates->year || !dates->odd) return false;
    spread_years(set);
    size_t span = set->last >= set->first ? (size_t)(set->last - set->first) + 2 : 1;
    run *runs = base_arena_take(arena, span, sizeof *runs);
    dates->alternative = base_arena_take(arena, span, sizeof *dates->alternative);
    return runs && dates->alternative && decide(set, runs);
}

service_dates *service_dates_of(const service_dated *codes, size_t count, int latest, int about,
                                base_errors *errors) {
    base_arena *arena = base_arena_new();
    service_dates *dates = arena ? base_arena_take(arena, 1, sizeof *dates) : NULL;
    set set = {.code = codes, .count = count, .latest = latest, .about = about, .dates = dates};
    if (dates) {
        *dates = (service_dates){.arena = arena};
        if (weigh(&set)) return dates;
    }
    base_arena_free(arena);
    base_errors_add(errors, BASE_MEMORY, (base_place){0}, "no memory left|close other programs");
    return NULL;
}

void service_dates_free(service_dates *dates) {
    if (dates) base_arena_free(dates->arena);
}
