/* Guided probing: which point is worth the hand's way, and when what is shown may be taken. Nothing
 * is taken before the probe has left where it was: what the last point still shows is no reading
 * of the next. */
#include "meter_impl.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* What the hand's way costs, in units of a point's own effort. Judgement, no source. */
#define FROM_NOWHERE 0.3
#define NEXT_SOCKET 0.3
#define EACH_SOCKET 0.1
#define FARTHEST 1.0
#define SMALL_V 0.5     /* an open probe shows as much */
#define KIND_CHANGE 1.0 /* from high voltage to heater pins and back */

static const char *const names[METER_STEPS] = {
    [METER_IDLE] = "idle",         [METER_CAUTION] = "caution", [METER_MOVE] = "move",
    [METER_SETTLING] = "settling", [METER_CONFIRM] = "confirm", [METER_TAKEN] = "taken",
    [METER_DONE] = "done",         [METER_STOPPED] = "stopped"};

const char *meter_step_name(meter_step step) {
    return names[step];
}

/* ---- the order ----------------------------------------------------------------------------- */

typedef struct spot { /* "V5.3": letter V, number 5 */
    char letter;
    long number;
} spot;

static spot spot_of(const char *at) {
    spot spot = {*at, -1};
    while (*at && (*at < '0' || *at > '9') && *at != '.' && *at != '-')
        at++;
    if (*at >= '0' && *at <= '9') spot.number = strtol(at, NULL, 10);
    return spot;
}

double meter_travel(const meter_point *from, const meter_point *to) {
    if (!from || !*from->at) return FROM_NOWHERE;
    spot a = spot_of(from->at), b = spot_of(to->at);
    double way = FARTHEST;
    if (a.letter == b.letter && a.number == b.number)
        way = 0;
    else if (a.letter == b.letter && a.number >= 0 && b.number >= 0)
        way = fmin(FARTHEST, NEXT_SOCKET + EACH_SOCKET * (double)(labs(a.number - b.number) - 1));
    bool heater = (from->kind == METER_HEATER) != (to->kind == METER_HEATER);
    bool high = from->kind == METER_HIGH || to->kind == METER_HIGH;
    return way + (heater && high ? KIND_CHANGE : 0);
}

int meter_choose(const meter_point *point, size_t count, const meter_point *from) {
    double most = -1;
    int best = -1;
    for (size_t i = 0; i < count; i++) {
        double effort = fmax(point[i].cost, 0.1) + meter_travel(from, &point[i]);
        double worth = point[i].bits / effort;
        if (worth > most) best = (int)i;
        most = fmax(most, worth);
    }
    return best;
}

/* ---- what is said -------------------------------------------------------------------------- */

static void say(meter_guide *guide, const char *words) {
    size_t length = strlen(guide->say), more = strlen(words) + (length > 0);
    if (length + more + 1 > sizeof guide->say) return;
    if (length) guide->say[length++] = ' ';
    strcpy(guide->say + length, words);
}

static void say_point(meter_guide *guide) {
    char words[METER_SAY];
    say(guide, meter_say_place(guide->point.at, words, sizeof words));
    if (guide->point.kind == METER_HEATER) say(guide, "heater");
}

typedef enum caution { LIVE = 1, HIGH = 2, HEATER = 4 } caution;

/* What must be said before this point, once; 0: nothing. Going between high voltage and heater
 * pins is said every time. */
static int caution_for(const meter_guide *guide, const meter_point *from) {
    const meter_point *to = &guide->point;
    if (to->kind == METER_HIGH && !(guide->cautioned & HIGH)) return HIGH | LIVE;
    if (!(guide->cautioned & LIVE)) return LIVE;
    if (to->kind == METER_HEATER && from->kind == METER_HIGH) return HEATER;
    if (to->kind == METER_HIGH && from->kind == METER_HEATER) return HIGH;
    return 0;
}

static void write_caution(meter_guide *guide, int what) {
    const char *words =
        what & HIGH && what & LIVE
            ? "The amp is live: high voltage. One hand only, the other in the pocket; the ground "
              "lead clipped on before. Clip, then look. If unsure, stop."
        : what & LIVE ? "The amp is live. One hand only, the other in the pocket; the ground lead "
                        "clipped on before. If unsure, stop."
        : what & HIGH ? "From heater pins to high voltage: one hand, look at the pin before you "
                        "touch it."
                      : "From high voltage to heater pins: set the meter to AC volts, count the "
                        "pins again.";
    snprintf(guide->caution, sizeof guide->caution, "%s", words);
    guide->cautioned |= (unsigned)(what & (LIVE | HIGH));
    say(guide, what & LIVE ? "caution onehand" : "caution");
    if (what & HIGH) say(guide, "high");
    if (what & HEATER) say(guide, "heater");
}

/* ---- points -------------------------------------------------------------------------------- */

void meter_guide_begin(meter_guide *guide) {
    *guide = (meter_guide){.step = METER_IDLE, .volts_then = NAN};
}

static double shown(const meter_now *now) {
    return now && now->status == METER_READING && now->last.word == METER_NUMBER ? now->last.volts
                                                                                 : NAN;
}

static void enter(meter_guide *guide, meter_step step) {
    guide->step = step;
}

static void wait_for_move(meter_guide *guide, const meter_now *now) {
    guide->volts_then = shown(now);
    guide->moved = false;
    enter(guide, METER_MOVE);
}

void meter_guide_point(meter_guide *guide, const meter_point *point, const meter_now *now) {
    meter_point from = guide->point;
    *guide->say = *guide->caution = 0;
    if (guide->taken_count && guide->taken.tone) say(guide, guide->taken.tone);
    guide->taken.tone = NULL; /* said once */
    if (!point) {
        enter(guide, METER_DONE);
        say(guide, "done");
        return;
    }
    guide->point = *point;
    wait_for_move(guide, now);
    int what = caution_for(guide, &from);
    if (what) {
        write_caution(guide, what);
        enter(guide, METER_CAUTION);
    }
    say(guide, strcmp(from.at, point->at) == 0 ? "again" : "next");
    say_point(guide);
}

/* ---- samples ------------------------------------------------------------------------------- */

/* Has the probe left? A first point, or one given while nothing was shown, needs no leaving. */
static bool has_moved(const meter_guide *guide, const meter_now *now) {
    double then = guide->volts_then, volts = shown(now);
    meter_state state = now->settled.state;
    bool restless = state == METER_OPEN || state == METER_UNSTABLE;
    if (isnan(then) || (fabs(then) < SMALL_V && restless)) return true; /* in the air */
    if (isnan(volts)) return false;
    return fabs(volts - then) > fmax(0.02 * fabs(then), fmax(0.2, 20 * now->digit_v));
}

static const char *tone_for(const meter_guide *guide, double volts) {
    const meter_point *point = &guide->point;
    double far = fmax(4 * point->spread_v, 0.1 * fabs(point->expected_v));
    return fabs(volts - point->expected_v) > fmax(far, 0.2) ? "far" : "taken";
}

static void take(meter_guide *guide, double volts, const meter_now *now, bool by_hand) {
    strcpy(guide->taken.at, guide->point.at);
    guide->taken.volts = volts;
    guide->taken.s = meter_ticks();
    guide->taken.spread_v = now->settled.spread_v;
    guide->taken.by_hand = by_hand;
    guide->taken.tone = tone_for(guide, volts);
    guide->taken_count++;
    enter(guide, METER_TAKEN);
    *guide->say = 0; /* its tone comes at once, its word with the next point */
}

static bool settle(meter_guide *guide, const meter_now *now) {
    const meter_settled *settled = &now->settled;
    if (settled->state != METER_SETTLED || now->last.word != METER_NUMBER) return false;
    if (!settled->quiet_zero) {
        take(guide, settled->volts, now, false);
        return true;
    }
    enter(guide, METER_CONFIRM);
    *guide->say = 0;
    say(guide, "confirm");
    return true;
}

bool meter_guide_sample(meter_guide *guide, const meter_now *now) {
    if (now->status != METER_READING) return false;
    if (now->ac != (guide->point.kind == METER_HEATER)) return false; /* still to be switched */
    if (guide->step == METER_MOVE && has_moved(guide, now)) {
        guide->moved = true;
        *guide->say = 0;
        enter(guide, METER_SETTLING);
        return true;
    }
    if (guide->step == METER_CONFIRM && !now->settled.quiet_zero) {
        enter(guide, METER_SETTLING);
        return true;
    }
    return guide->step == METER_SETTLING && settle(guide, now);
}

/* ---- the pedal ----------------------------------------------------------------------------- */

static bool press_take(meter_guide *guide, const meter_now *now) {
    double volts = shown(now);
    if (guide->step == METER_CAUTION) {
        *guide->say = 0;
        wait_for_move(guide, now);
        return true;
    }
    bool waits =
        guide->step == METER_MOVE || guide->step == METER_SETTLING || guide->step == METER_CONFIRM;
    if (!waits || isnan(volts)) return false;
    bool settled = now->settled.state == METER_SETTLED;
    take(guide, settled ? now->settled.volts : volts, now, !settled);
    return true;
}

static bool press_skip(meter_guide *guide) {
    bool waits = guide->step >= METER_CAUTION && guide->step <= METER_CONFIRM;
    if (!waits) return false;
    if (guide->skips < METER_SKIPS) strcpy(guide->skipped[guide->skips++], guide->point.at);
    enter(guide, METER_IDLE);
    *guide->say = 0;
    guide->taken.tone = NULL;
    say(guide, "skip");
    return true;
}

bool meter_guide_press(meter_guide *guide, meter_press press, const meter_now *now) {
    switch (press) {
    case METER_TAKE:
        return press_take(guide, now);
    case METER_SKIP:
        return press_skip(guide);
    case METER_BACK:
        if (guide->step == METER_IDLE || guide->step == METER_TAKEN) return false;
        enter(guide, METER_IDLE);
        guide->taken.tone = NULL;
        *guide->say = 0;
        say(guide, "back");
        return true;
    default:
        if (guide->step == METER_STOPPED) return false;
        enter(guide, METER_STOPPED);
        *guide->say = *guide->caution = 0;
        say(guide, "stop");
        return true;
    }
}

bool meter_guide_skipped(const meter_guide *guide, const char *at) {
    for (size_t i = 0; i < guide->skips; i++)
        if (strcasecmp(guide->skipped[i], at) == 0) return true;
    return false;
}
