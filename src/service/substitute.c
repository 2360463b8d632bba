/* What to order for an old part: the nearest that is made today, with margin. All figures here are
 * common practice with no source, but for the series of IEC 60063. */
#include "effects_impl.h"
#include "standing_impl.h"

#define MARGIN_ELECTROLYTIC                                                                        \
    1.1 /* over what it stands at idle; none over the seconds of warming                           \
         */
#define MARGIN_FILM 1.2
#define CLOSE 0.95 /* of the rating, while the tubes are cold: say so */
#define MARGIN_WATTS 2.0
#define HALF_WATT_V 250.0 /* a half-watt film resistor stands some 250 to 350 V */
#define FILM_WATTS 3.0    /* above, wirewound */
#define ELECTROLYTIC_V 500.0
#define BIAS_F 100e-6 /* a bias supply's capacitors today */
#define BIAS_V 100.0
#define FILTER_V 100.0
#define SAME SERVICE_SAME

#define UNKNOWN_VOLTS "Find out first what it must stand."

enum { CHOICES = 6, NOTE = 512 };

typedef struct chooser {
    service_substitute *out;
    const service_old *old;
    char note[NOTE]; /* of the choice in hand */
    bool failed;
} chooser;

/* ---- stock --------------------------------------------------------------------------------- */

/* Old electrolytics by what is fitted today; 0: no second. */
static const double electrolytic_for[][3] = {
    {4e-6, 4.7e-6},   {5e-6, 4.7e-6},        {8e-6, 10e-6},         {10e-6, 10e-6},
    {12e-6, 15e-6},   {15e-6, 15e-6},        {16e-6, 15e-6, 22e-6}, {20e-6, 22e-6},
    {24e-6, 22e-6},   {25e-6, 22e-6, 33e-6}, {30e-6, 33e-6},        {32e-6, 33e-6},
    {40e-6, 47e-6},   {50e-6, 47e-6},        {60e-6, 68e-6},        {80e-6, 100e-6},
    {100e-6, 100e-6}, {150e-6, 150e-6},      {250e-6, 220e-6},      {500e-6, 470e-6}};

static bool alike(double a, double b) {
    return fabs(a - b) <= SAME * b;
}

/* The larger of two, either of which may be unknown. */
static double larger(double a, double b) {
    return isnan(a) ? b : isnan(b) ? a : fmax(a, b);
}

/* ---- one choice ---------------------------------------------------------------------------- */

static void note(chooser *to, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void note(chooser *to, const char *format, ...) {
    size_t used = strlen(to->note);
    va_list arguments;
    if (used > 0 && used + 1 < NOTE) to->note[used++] = ' ';
    va_start(arguments, format);
    vsnprintf(to->note + used, NOTE - used, format, arguments);
    va_end(arguments);
}

/* Says how far a value is from the old one. */
static void note_value(chooser *to, double value, base_quantity quantity) {
    char was[32];
    if (alike(value, to->old->value)) return;
    note(to, "In place of %s (%+.0f %%).",
         base_value_write(to->old->value, quantity, was, sizeof was),
         100 * (value / to->old->value - 1));
}

/* Takes the choice with the note in hand; `style` is what stands behind the kind, or "". */
static void choose(chooser *to, service_choice choice, base_quantity quantity, const char *style) {
    service_substitute *out = to->out;
    char text[256], value[32] = "", rating[64] = "";
    if (!isnan(choice.value)) base_value_write(choice.value, quantity, value, sizeof value);
    if (!isnan(choice.volts)) snprintf(rating, sizeof rating, " %.0f V", choice.volts);
    if (!isnan(choice.watts)) snprintf(rating, sizeof rating, " %.3g W", choice.watts);
    snprintf(text, sizeof text, "%s%s%s%s%s", value, rating, *value || *rating ? " " : "",
             choice.kind, style);
    choice.text = base_arena_text(out->arena, text);
    choice.kind = base_arena_text(out->arena, choice.kind);
    choice.note = base_arena_text(out->arena, to->note);
    *to->note = 0;
    if (!choice.text || !choice.kind || !choice.note)
        to->failed = true;
    else if (out->choices < CHOICES)
        out->choice[out->choices++] = choice;
}

static void keep(chooser *to, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void keep(chooser *to, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    to->out->keep = base_arena_print_list(to->out->arena, format, arguments);
    va_end(arguments);
    if (!to->out->keep) to->failed = true;
}

/* ---- resistors ----------------------------------------------------------------------------- */

static double watts_needed(const service_old *old) {
    double need = larger(old->watts, MARGIN_WATTS * old->burns);
    double watts = service_stock_watts(isnan(need) ? 0 : need);
    return old->across > HALF_WATT_V && watts < 1 ? 1 : watts;
}

static void resistor(chooser *to, double value, double watts, const char *kind) {
    const service_old *old = to->old;
    note_value(to, value, BASE_OHMS);
    if (strcmp(kind, "metal film") == 0) note(to, "Less noise: first stages and plate loads.");
    if (strcmp(kind, "wirewound") == 0) note(to, "Stand it off the board: it gets hot.");
    if (watts > old->watts * (1 + SAME)) {
        if (old->burns * MARGIN_WATTS > old->watts)
            note(to, "It burns %.2g W; the old one was rated %.3g W.", old->burns, old->watts);
        else if (old->across > HALF_WATT_V)
            note(to, "It stands %.0f V, too much for half a watt.", old->across);
    }
    choose(to, (service_choice){.value = value, .volts = NAN, .watts = watts, .kind = kind},
           BASE_OHMS, "");
}

static void keep_resistor(chooser *to) {
    const service_old *old = to->old;
    if (old->material != CIRCUIT_CARBON_COMPOSITION) return;
    if (old->burns * MARGIN_WATTS > old->watts)
        keep(to, "Do not keep it: it burns %.2g W of its %.3g W.", old->burns, old->watts);
    else
        keep(to, "Keep it where originality counts, it measures within its tolerance and it makes "
                 "no noise.");
}

/* The nearest of E24, and of E12 where that is another: shops stock E12. */
static void resistors(chooser *to) {
    double nearest = base_value_nearest(to->old->value, 24);
    double stocked = base_value_nearest(to->old->value, 12);
    double watts = watts_needed(to->old);
    bool wire = to->old->material == CIRCUIT_WIREWOUND || !(watts <= FILM_WATTS);
    const char *first = wire ? "wirewound" : watts >= 1 ? "metal oxide" : "carbon film";
    if (isnan(watts)) {
        watts = SERVICE_MOST_WATTS;
        note(to, "It burns more than the largest stock part should: look at why.");
    }
    resistor(to, nearest, watts, first);
    if (!wire) resistor(to, nearest, watts, watts >= 1 ? "carbon film" : "metal film");
    if (!alike(nearest, stocked) && !alike(nearest, to->old->value))
        resistor(to, stocked, watts, first);
    keep_resistor(to);
}

/* ---- capacitors ---------------------------------------------------------------------------- */

static void electrolytic(chooser *to, double farads, double volts, const char *style) {
    const service_old *old = to->old;
    char most[32];
    note_value(to, farads, BASE_FARADS);
    if (farads > old->most_f)
        note(to, "The rectifier's rating for its first capacitor is %s.",
             base_value_write(old->most_f, BASE_FARADS, most, sizeof most));
    note(to, "%s", old->plus_grounded ? "Plus goes to the chassis." : "Mind the polarity.");
    if (old->can) note(to, "Fit it under the chassis and take the can's lug out of the circuit.");
    if (strcmp(style, ", radial") == 0) note(to, "Fix its body; sleeve its leads.");
    choose(to,
           (service_choice){.value = farads, .volts = volts, .watts = NAN, .kind = "electrolytic"},
           BASE_FARADS, style);
}

/* Above what one electrolytic is made for: two of twice the value, one on top of the other. */
static void electrolytic_pair(chooser *to, double farads, double need) {
    double volts = service_stock_volts(CIRCUIT_ELECTROLYTIC, need / 2 * MARGIN_ELECTROLYTIC);
    char each[32], both[32];
    if (isnan(volts)) volts = ELECTROLYTIC_V;
    base_value_write(farads, BASE_FARADS, each, sizeof each);
    base_value_write(farads / 2, BASE_FARADS, both, sizeof both);
    note(to, "Two of %s in series make %s %.0f V. 220k 1 W across each, so that they share.", each,
         both, 2 * volts);
    choose(to,
           (service_choice){.value = farads, .volts = volts, .watts = NAN, .kind = "electrolytic"},
           BASE_FARADS, ", two in series");
}

/* What is fitted today in place of `farads`; *second gets another, or 0. */
static double electrolytic_value(double farads, double *second) {
    *second = 0;
    for (size_t i = 0; i < sizeof electrolytic_for / sizeof *electrolytic_for; i++)
        if (alike(farads, electrolytic_for[i][0])) {
            *second = electrolytic_for[i][2];
            return electrolytic_for[i][1];
        }
    return base_value_nearest(farads, 6);
}

static double volts_needed(const service_old *old, double margin) {
    return larger(larger(old->volts, margin * old->across), old->surge);
}

static void electrolytics(chooser *to) {
    const service_old *old = to->old;
    double need = volts_needed(old, MARGIN_ELECTROLYTIC), second, unused;
    double farads = electrolytic_value(old->value, &second);
    double volts = service_stock_volts(CIRCUIT_ELECTROLYTIC, need);
    bool close = old->surge > CLOSE * volts;
    if (close)
        note(to, "It stands %.0f V until the tubes are warm, close to its rating.", old->surge);
    bool beyond = need > ELECTROLYTIC_V * (1 + SAME);
    if (isnan(need)) note(to, UNKNOWN_VOLTS);
    if (old->plus_grounded && farads < BIAS_F && need <= BIAS_V) {
        note(to, "Usual in a bias supply: more does no harm, the bias only comes up slower.");
        electrolytic(to, BIAS_F, BIAS_V, ", axial");
    }
    if (!beyond) electrolytic(to, farads, volts, ", axial");
    if (!beyond && second > 0) electrolytic(to, second, volts, ", axial");
    if (volts >= FILTER_V) electrolytic(to, farads, volts, ", radial");
    if (beyond || (close && volts == ELECTROLYTIC_V))
        electrolytic_pair(to, electrolytic_value(2 * old->value, &unused), need);
    if (larger(old->surge, old->across) > old->volts)
        keep(to, "Do not keep it: it stands %.0f V and is made for %.0f V.",
             larger(old->surge, old->across), old->volts);
    else
        keep(to, "Keep it only where it is young, dry, cool, and its leakage has been measured.");
}

static void film(chooser *to, const char *kind, double farads) {
    double need = volts_needed(to->old, MARGIN_FILM);
    bool small = strcmp(kind, "film") != 0;
    double volts = service_stock_volts(small ? CIRCUIT_MICA : CIRCUIT_PLASTIC_FILM, need);
    note_value(to, farads, BASE_FARADS);
    if (isnan(need))
        note(to, UNKNOWN_VOLTS);
    else if (isnan(volts))
        note(to, "No usual one stands the %.0f V that this one must.", need);
    choose(to, (service_choice){.value = farads, .volts = volts, .watts = NAN, .kind = kind},
           BASE_FARADS, small ? "" : ", axial");
}

/* Film is made in E6, small mica and ceramic in E12. */
static void films(chooser *to) {
    const service_old *old = to->old;
    double six = base_value_nearest(old->value, 6), twelve = base_value_nearest(old->value, 12);
    bool close = fabs(log(six / old->value)) < log(1.15);
    if (old->material == CIRCUIT_MICA || old->material == CIRCUIT_CERAMIC) {
        film(to, circuit_material_name(old->material), twelve);
        keep(to, "Mica and ceramic last: keep it unless it is cracked, leaks or drifts.");
        return;
    }
    film(to, "film", close ? six : twelve);
    if (close && !alike(six, twelve) && !alike(six, old->value)) film(to, "film", twelve);
    if (old->material == CIRCUIT_PAPER)
        keep(to, "Keep a paper capacitor only where a leak does no harm, or where it was measured "
                 "at its working volts; between a plate and the next grid replace it.");
}

/* ---- the rest ------------------------------------------------------------------------------ */

static void pots(chooser *to) {
    static const double made[] = {10e3, 25e3, 50e3, 100e3, 250e3, 500e3, 1e6, 2.5e6, 5e6};
    double best = made[0], old = to->old->value;
    for (size_t i = 0; i < sizeof made / sizeof *made; i++)
        if (fabs(log(made[i] / old)) < fabs(log(best / old))) best = made[i];
    note_value(to, best, BASE_OHMS);
    note(to, "Same taper, shaft and bushing.");
    choose(to, (service_choice){.value = best, .volts = NAN, .watts = NAN, .kind = "pot"},
           BASE_OHMS, "");
    keep(to, "A scratchy one with no DC across it may only need cleaning.");
}

static void silicon(chooser *to) {
    if (to->old->material == CIRCUIT_SELENIUM)
        note(to, "It drops less than selenium: the volts rise. Put a resistor in series, and set "
                 "the bias again.");
    note(to, "Mind the polarity.");
    choose(to, (service_choice){.value = 1, .volts = 1000, .watts = NAN, .kind = "silicon diode"},
           BASE_AMPERES, "");
}

static void fuse(chooser *to) {
    note(to, "Same amperes and the same speed, never more.");
    choose(to,
           (service_choice){.value = to->old->value, .volts = NAN, .watts = NAN, .kind = "fuse"},
           BASE_AMPERES, "");
}

static void tube(chooser *to) {
    const tube_type *type = to->old->tube;
    char kind[128];
    snprintf(kind, sizeof kind, "%s", type->name);
    if (type->also && type->also[0]) note(to, "Also sold as");
    for (size_t i = 0; type->also && type->also[i]; i++)
        note(to, "%s%s", type->also[i], type->also[i + 1] ? "," : ": look at the rating of each.");
    choose(to, (service_choice){.value = NAN, .volts = NAN, .watts = NAN, .kind = kind},
           BASE_NUMBER, "");
    keep(to, "A tube that reads right and is quiet stays in.");
}

static bool choices(chooser *to) {
    const service_old *old = to->old;
    bool valued = old->value > 0 && isfinite(old->value);
    if (old->kind == CIRCUIT_TUBE && old->tube)
        tube(to);
    else if (old->kind == CIRCUIT_DIODE || (old->kind == CIRCUIT_RECTIFIER && !old->tube))
        silicon(to);
    else if (!valued)
        return false;
    else if (old->kind == CIRCUIT_RESISTOR)
        resistors(to);
    else if (old->kind == CIRCUIT_CAPACITOR && old->material == CIRCUIT_ELECTROLYTIC)
        electrolytics(to);
    else if (old->kind == CIRCUIT_CAPACITOR)
        films(to);
    else if (old->kind == CIRCUIT_POT)
        pots(to);
    else if (old->kind == CIRCUIT_FUSE)
        fuse(to);
    else
        return false;
    return true;
}

/* ---- of a part described, of a part of an amp ---------------------------------------------- */

static service_substitute *substitute_new(const char *part, const service_old *old) {
    base_arena *arena = base_arena_new();
    service_substitute *out = arena ? base_arena_take(arena, 1, sizeof *out) : NULL;
    if (out) {
        *out = (service_substitute){
            .arena = arena, .keep = "", .can = "", .difference = "", .old = *old};
        out->part = base_arena_text(arena, part);
        out->choice = base_arena_take(arena, CHOICES, sizeof *out->choice);
        if (out->part && out->choice) return out;
    }
    base_arena_free(arena);
    return NULL;
}

static void *no_memory(base_errors *errors) {
    base_errors_add(errors, BASE_MEMORY, (base_place){0}, "no memory left|close other programs");
    return NULL;
}

service_substitute *service_substitute_for(const char *part, const service_old *old,
                                           base_errors *errors) {
    chooser to = {.out = substitute_new(part, old), .old = old};
    if (!to.out) return no_memory(errors);
    bool stocked = choices(&to);
    if (stocked && !to.failed) return to.out;
    service_substitute_free(to.out);
    if (stocked) return no_memory(errors);
    base_errors_add(errors, BASE_VALUE, (base_place){0},
                    "%s is a %s of no stock value|order it by the figures on the drawing and on "
                    "the part itself",
                    part, circuit_kind_name(old->kind));
    return NULL;
}

/* The first-capacitor rating of the rectifier tube that this capacitor stands behind, or NAN. */
static double first_capacitor_limit(const circuit *amp, const circuit_part *capacitor) {
    for (size_t i = 0; i < circuit_parts(amp); i++) {
        const circuit_part *part = circuit_part_at(amp, i);
        if (part->kind != CIRCUIT_RECTIFIER || part->rectifier.tube < 0) continue;
        if (part->end[0] != capacitor->end[0] && part->end[0] != capacitor->end[1]) continue;
        const circuit_part *tube = circuit_part_at(amp, (size_t)part->rectifier.tube);
        return service_limit(tube->tube, 0, TUBE_FIRST_CAP_F, NULL);
    }
    return NAN;
}

static service_old as_drawn(const circuit *amp, const circuit_part *part) {
    bool electrolytic = part->material == CIRCUIT_ELECTROLYTIC;
    bool capacitor = part->kind == CIRCUIT_CAPACITOR;
    service_old old = {.kind = part->kind,
                       .material = part->material,
                       .value = part->value,
                       .volts = part->volts,
                       .watts = part->watts,
                       .across = NAN,
                       .burns = NAN,
                       .surge = NAN,
                       .most_f = capacitor ? first_capacitor_limit(amp, part) : NAN,
                       .can = electrolytic && (part->site == CIRCUIT_CHASSIS || service_can(part)),
                       .plus_grounded = capacitor && part->end[0] == 0,
                       .tube = part->tube};
    if (part->kind != CIRCUIT_RECTIFIER || part->rectifier.tube < 0) return old;
    old.kind = CIRCUIT_TUBE;
    old.tube = circuit_part_at(amp, (size_t)part->rectifier.tube)->tube;
    return old;
}

/* The part as it stands in the solved amp. false: no memory. */
static bool describe(service_bench *bench, int index, service_old *old) {
    const circuit_part *part = circuit_part_at(bench->amp, (size_t)index);
    *old = as_drawn(bench->amp, part);
    if (part->kind != CIRCUIT_CAPACITOR && part->kind != CIRCUIT_RESISTOR) return true;
    old->across = fabs(service_volts(bench, part->end[0], part->end[1]));
    if (part->kind == CIRCUIT_RESISTOR) {
        old->burns = solve_part_watts(bench->system, bench->numbers, bench->x, index);
        return true;
    }
    double *standing = service_standing(bench, bench->arena);
    if (standing) old->surge = fabs(standing[index]);
    return standing != NULL;
}

service_substitute *service_substitute_of(const solve_system *system, double mains,
                                          const char *part, base_errors *errors) {
    const circuit *amp = solve_circuit(system);
    int index = circuit_part_find(amp, part);
    service_bench bench;
    service_old old;
    if (index < 0) {
        base_errors_add(errors, BASE_UNKNOWN, (base_place){.file = circuit_about_of(amp)->file},
                        "the amp has no part \"%.40s\"|write the part as the drawing names it",
                        part);
        return NULL;
    }
    if (service_bench_open(&bench, system, mains, errors) != BASE_OK) return NULL;
    service_substitute *out = NULL;
    const char *name = circuit_part_at(amp, (size_t)index)->name;
    if (!describe(&bench, index, &old))
        no_memory(errors);
    else
        out = service_substitute_for(name, &old, errors);
    bool whole = !out || service_effects(&bench, index, out);
    service_bench_close(&bench);
    if (whole) return out;
    service_substitute_free(out);
    return no_memory(errors);
}

void service_substitute_free(service_substitute *substitute) {
    if (substitute) base_arena_free(substitute->arena);
}
