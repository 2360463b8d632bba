/* Targets in the trade's words: `V3 dissipation 85%`, `B2 at 310V`, `tremolo at 5/s`. */
#include "service_impl.h"

#include <ctype.h>

#define WORDS 6
#define WORD 64

typedef struct words {
    const char *text;
    char word[WORDS][WORD];
    int count;
    base_errors *errors;
} words;

#define EXAMPLES "write `V3 dissipation 85%%`, `V3 current 40mA`, `B2 at 310V` or `tremolo at 5/s`"

static base_place place_of(const words *in) {
    return (base_place){.file = in->text};
}

static base_code unreadable(const words *in) {
    return base_errors_add(in->errors, BASE_SYNTAX, (base_place){0},
                           "`%.60s` is no target|" EXAMPLES, in->text);
}

/* The words without a leading `for`; a number and its unit may stand apart. */
static bool split(words *in) {
    const char *at = in->text;
    while (*at) {
        at += strspn(at, " ");
        size_t length = strcspn(at, " ");
        if (length == 0) break;
        if (in->count == WORDS || length >= WORD) return false;
        snprintf(in->word[in->count++], WORD, "%.*s", (int)length, at);
        at += length;
        if (in->count == 1 && strcasecmp(in->word[0], "for") == 0) in->count = 0;
    }
    return in->count >= 3;
}

static bool is(const words *in, int index, const char *word) {
    return index < in->count && strcasecmp(in->word[index], word) == 0;
}

/* The number from word `from` on, which must be the rest: "45", "mA" are joined. */
static base_code number(const words *in, int from, base_quantity quantity, double *value) {
    char text[2 * WORD + 1] = "";
    if (from >= in->count || from + 2 < in->count) return unreadable(in);
    snprintf(text, sizeof text, "%s%s", in->word[from],
             from + 1 < in->count ? in->word[from + 1] : "");
    return base_value_read(text, quantity, place_of(in), value, in->errors);
}

/* ---- the tremolo --------------------------------------------------------------------------- */

static base_code read_tremolo(words *in, service_target *target) {
    char *last = in->word[in->count - 1], *slash = strstr(last, "/s");
    if (!is(in, 1, "at")) return unreadable(in);
    if (slash && !slash[2]) *slash = 0;
    if (!*last) in->count--;
    base_code code = number(in, 2, BASE_HERTZ, &target->wanted);
    target->aim = SERVICE_AIM_TREMOLO;
    target->at = "tremolo";
    if (code != BASE_OK || (target->wanted >= 0.3 && target->wanted <= 20)) return code;
    return base_errors_add(in->errors, BASE_VALUE, place_of(in),
                           "no tremolo swings %.3g times a second|give 0.3 to 20", target->wanted);
}

/* ---- tubes --------------------------------------------------------------------------------- */

static base_code no_rating(const words *in, const circuit_part *tube) {
    return base_errors_add(in->errors, BASE_VALUE, place_of(in),
                           "no such rating of a %s is published here|give the target in W",
                           tube->tube->name);
}

/* "85%" of the rating, or "12W". */
static base_code read_watts(words *in, int from, const circuit_part *tube, service_target *target) {
    tube_limit limit = target->aim == SERVICE_AIM_SCREEN_W ? TUBE_SCREEN_W : TUBE_PLATE_W;
    const char *last = in->word[in->count - 1];
    target->rating = service_limit(tube->tube, target->unit, limit, NULL);
    if (last[strlen(last) - 1] != '%') return number(in, from, BASE_WATTS, &target->wanted);
    base_code code = number(in, from, BASE_PERCENT, &target->wanted);
    if (code != BASE_OK) return code;
    if (isnan(target->rating)) return no_rating(in, tube);
    target->wanted *= target->rating;
    return BASE_OK;
}

/* "unit 2" behind the name; the number of words that it takes, or -1. */
static int unit_words(const words *in, const circuit_part *tube, int *unit) {
    *unit = 0;
    while (*unit < tube->tube->units && tube->tube->unit[*unit].kind == TUBE_DIODE)
        ++*unit;
    if (*unit == tube->tube->units) return -1;
    if (!is(in, 1, "unit")) return 0;
    *unit = in->count > 2 ? atoi(in->word[2]) - 1 : -1;
    bool there = *unit >= 0 && *unit < tube->tube->units;
    return there && tube->tube->unit[*unit].kind != TUBE_DIODE ? 2 : -1;
}

static base_code read_tube(words *in, const circuit_part *tube, service_target *target) {
    int more = unit_words(in, tube, &target->unit), at = 1 + more;
    if (more < 0)
        return base_errors_add(in->errors, BASE_UNKNOWN, place_of(in),
                               "%s, a %s, has no such unit with a grid|write `%s unit 2 ...` for "
                               "the second of a twin",
                               tube->name, tube->tube->name, tube->name);
    target->at = tube->name;
    bool screen = is(in, at, "screen");
    target->aim = screen ? SERVICE_AIM_SCREEN_W : SERVICE_AIM_PLATE_W;
    if (screen && tube->tube->unit[target->unit].kind != TUBE_PENTODE)
        return base_errors_add(in->errors, BASE_VALUE, place_of(in), "%s has no screen|" EXAMPLES,
                               tube->name);
    at += screen || is(in, at, "plate");
    if (is(in, at, "dissipation")) return read_watts(in, at + 1, tube, target);
    if (screen || !is(in, at, "current")) return unreadable(in);
    target->aim = SERVICE_AIM_PLATE_A;
    return number(in, at + 1, BASE_AMPERES, &target->wanted);
}

/* ---- places -------------------------------------------------------------------------------- */

static base_code read_place(words *in, const solve_system *system, base_arena *arena,
                            service_target *target) {
    if (!is(in, 1, "at")) return unreadable(in);
    target->aim = SERVICE_AIM_VOLTS;
    base_code code =
        diagnose_probe_read(system, in->word[0], place_of(in), &target->probe, in->errors);
    if (code == BASE_OK) code = number(in, 2, BASE_VOLTS, &target->wanted);
    target->probe.meter_ohms = INFINITY;
    target->at = base_arena_text(arena, in->word[0]);
    return code == BASE_OK && !target->at ? service_no_memory(in->errors) : code;
}

base_code service_target_read(const solve_system *system, const char *text, base_arena *arena,
                              service_target *target, base_errors *errors) {
    words in = {.text = text, .errors = errors};
    const circuit *amp = solve_circuit(system);
    *target = (service_target){.part = -1, .wanted = NAN, .rating = NAN};
    if (!split(&in)) return unreadable(&in);
    if (is(&in, 0, "tremolo")) return read_tremolo(&in, target);
    int part = circuit_part_find(amp, in.word[0]);
    const circuit_part *tube = part >= 0 ? circuit_part_at(amp, (size_t)part) : NULL;
    if (tube && tube->kind == CIRCUIT_TUBE && !is(&in, 1, "at")) {
        target->part = part;
        return read_tube(&in, tube, target);
    }
    if (is(&in, 1, "dissipation") || is(&in, 1, "current"))
        return base_errors_add(errors, BASE_UNKNOWN, place_of(&in),
                               "the amp has no tube \"%s\"|write a tube as the drawing names it",
                               in.word[0]);
    return read_place(&in, system, arena, target);
}
