/* What a start does that a rating does not allow, in words; and what the file leaves out. */
#include "powerup_impl.h"

#define MICRO 1e6
#define REVERSE_V 1.5 /* an electrolytic's own oxide bears this much backwards; common practice */
#define MUCH 0.9      /* of a rating: near */

static void remark(follower *f, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void remark(follower *f, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    f->out->remark[f->out->remarks++] = base_arena_print_list(f->out->arena, format, arguments);
    va_end(arguments);
}

static void of_capacitor(follower *f, const service_powerup_capacitor *one) {
    double peak = fabs(one->peak_v);
    if (peak > one->rating_v)
        remark(f,
               "%s is rated %.0f V and is charged to %.0f V %.1f s after the switch: fit one rated "
               "above that.",
               one->part, one->rating_v, peak, one->peak_s);
    else if (one->filter && peak > MUCH * one->rating_v)
        remark(f,
               "%s is charged to %.0f V, %.0f %% of its %.0f V: little is left for a high mains.",
               one->part, peak, 100 * peak / one->rating_v, one->rating_v);
    if (one->filter && one->reverse_v > REVERSE_V)
        remark(f,
               "%s stands %.1f V the wrong way round for a moment while the others fill. A short "
               "pulse of this kind is common; look at it where the capacitor is old.",
               one->part, one->reverse_v);
}

static void of_rectifier(follower *f, const service_powerup_rectifier *one) {
    const char *type = one->type ? one->type : "rectifier";
    if (one->first_cap_f > 1.05 * one->first_cap_limit_f)
        remark(f, "%s: the first capacitor is %.3g uF, and %.3g uF is the most for a %s: fit less.",
               one->name, MICRO * one->first_cap_f, MICRO * one->first_cap_limit_f, type);
    if (one->source_ohms < one->source_limit_ohms)
        remark(f,
               "%s: %.0f ohm stand before each plate, and a %s wants %.0f ohm at least: a resistor "
               "in each plate lead makes up the rest.",
               one->name, one->source_ohms, type, one->source_limit_ohms);
    if (one->working_peak_a > one->peak_limit_a)
        remark(f, "%s: peaks of %.0f mA at rest, over the %.0f mA that a %s may give.", one->name,
               1e3 * one->working_peak_a, 1e3 * one->peak_limit_a, type);
    if (one->working_a > one->dc_limit_a)
        remark(f, "%s: %.0f mA at rest, over the %.0f mA that a %s may give.", one->name,
               1e3 * one->working_a, 1e3 * one->dc_limit_a, type);
    if (one->type && one->again_a > one->peak_limit_a)
        remark(f,
               "%s: switched off and on again while the %s is warm, its plates give up to %.2g A "
               "(%.2g A is the limit of its repeated peaks). Leave it off for half a minute first.",
               one->name, type, one->again_a, one->peak_limit_a);
}

static void of_fuse(follower *f, const service_powerup_fuse *one) {
    bool lag = one->kind == CIRCUIT_TIME_LAG, quick = one->kind == CIRCUIT_QUICK;
    double heat = one->tenth_i2t;
    if (one->running_a > one->rating_a)
        remark(f, "%s: %.2g A flow at rest through a fuse of %.3g A.", one->name, one->running_a,
               one->rating_a);
    if (!quick && heat > one->slow_i2t)
        remark(
            f,
            "%s: %.2g A2s in the first tenth of a second at the worst instant; a time-lag fuse of "
            "%.3g A is sure to hold %.2g A2s only. See gridleak fuse.",
            one->name, heat, one->rating_a, one->slow_i2t);
    else if (!lag && heat > one->fast_i2t)
        remark(f,
               "%s: %.2g A2s in the first tenth of a second at the worst instant; a fast fuse of "
               "%.3g A is sure to hold %.2g A2s only, a time-lag one %.2g A2s.",
               one->name, heat, one->rating_a, one->fast_i2t, one->slow_i2t);
}

/* ---- what is missing ---- */

static const char *add_name(base_arena *arena, const char *list, const char *name) {
    return list ? base_arena_print(arena, "%s, %s", list, name) : name;
}

static void missing(follower *f) {
    base_arena *arena = f->out->arena;
    const char *capacitors = NULL, *fuses = NULL, *words = NULL;
    for (size_t i = 0; i < f->out->capacitors; i++)
        if (isnan(f->out->capacitor[i].rating_v))
            capacitors = add_name(arena, capacitors, f->out->capacitor[i].part);
    for (size_t i = 0; i < f->out->fuses; i++)
        if (isnan(f->out->fuse[i].rating_a)) fuses = add_name(arena, fuses, f->out->fuse[i].name);
    if (capacitors)
        words = base_arena_print(arena,
                                 "No `volts` in the file: %s. Whether they bear their peak cannot "
                                 "be said; read it off the part.",
                                 capacitors);
    if (fuses)
        words = base_arena_print(arena,
                                 "%s%sNo `amps` in the file: %s. Whether they hold the inrush "
                                 "cannot be said; read it off the holder or the schematic.",
                                 words ? words : "", words ? " " : "", fuses);
    f->out->missing = words;
}

bool powerup_words(follower *f) {
    service_powerup *out = f->out;
    size_t most = 2 * out->capacitors + 5 * out->rectifiers + 2 * out->fuses + 1;
    out->remark = base_arena_take(out->arena, most, sizeof *out->remark);
    if (!out->remark) return false;
    for (size_t i = 0; i < out->capacitors; i++)
        of_capacitor(f, &out->capacitor[i]);
    for (size_t i = 0; i < out->rectifiers; i++)
        of_rectifier(f, &out->rectifier[i]);
    for (size_t i = 0; i < out->fuses; i++)
        of_fuse(f, &out->fuse[i]);
    for (size_t i = 0; i < out->remarks; i++)
        if (!out->remark[i]) return false;
    missing(f);
    return true;
}
