/* gridleak tube: a type's basing, ratings and curve; or its currents at a point. */
#include "cli.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* ---- the list ------------------------------------------------------------------------------ */

static void also(base_text *out, const tube_type *type) {
    for (size_t i = 0; type->also && type->also[i]; i++)
        base_text_add(out, "%s%s", i ? ", " : "", type->also[i]);
}

static void list_types(cli *cli, const tube_library *library) {
    json_t *types = cli_json_list_in(cli, cli->json, "types");
    for (size_t i = 0; i < tube_library_count(library); i++) {
        const tube_type *type = tube_library_at(library, i);
        base_text_add(&cli->out, "  %s%-8s%s %-30s %-12s ", cli_style_on(cli, CLI_STRONG),
                      type->name, cli_style_on(cli, CLI_PLAIN), type->class_name, type->base_name);
        also(&cli->out, type);
        cli_end_line(cli);
        json_t *row = cli_json_row_in(cli, types);
        cli_json_set(cli, row, "type", http_json_text(type->name));
        cli_json_set(cli, row, "class", http_json_text(type->class_name));
        cli_json_set(cli, row, "base", http_json_text(type->base_name));
    }
}

/* ---- one type ------------------------------------------------------------------------------ */

static const struct {
    const char *words;
    base_quantity quantity;
} limits[TUBE_LIMITS] = {
    [TUBE_PLATE_V] = {"plate volts", BASE_VOLTS},
    [TUBE_PLATE_W] = {"plate watts", BASE_WATTS},
    [TUBE_PLATE_W_BOTH] = {"plate watts, both units", BASE_WATTS},
    [TUBE_SCREEN_V] = {"screen volts", BASE_VOLTS},
    [TUBE_SCREEN_W] = {"screen watts", BASE_WATTS},
    [TUBE_CATHODE_A] = {"cathode current", BASE_AMPERES},
    [TUBE_HEATER_CATHODE_V] = {"heater to cathode", BASE_VOLTS},
    [TUBE_GRID_OHMS_FIXED] = {"grid leak, fixed bias", BASE_OHMS},
    [TUBE_GRID_OHMS_CATHODE] = {"grid leak, cathode bias", BASE_OHMS},
    [TUBE_PEAK_INVERSE_V] = {"peak inverse volts", BASE_VOLTS},
    [TUBE_AC_V_CAP_INPUT] = {"AC a plate, capacitor in", BASE_VOLTS},
    [TUBE_AC_V_CHOKE_INPUT] = {"AC a plate, choke in", BASE_VOLTS},
    [TUBE_DC_A] = {"DC output", BASE_AMPERES},
    [TUBE_PEAK_PLATE_A] = {"peak plate current", BASE_AMPERES},
    [TUBE_FIRST_CAP_F] = {"first capacitor", BASE_FARADS},
    [TUBE_SOURCE_OHMS] = {"least source ohms", BASE_OHMS},
};

/* `before` is the source that the line above named. */
static void tell_limit(cli *cli, const tube_rating *rating, int limit, const char *before) {
    char value[40];
    base_text_add(
        &cli->out, "    %-26s %-10s ", limits[limit].words,
        base_value_write(rating->limit[limit], limits[limit].quantity, value, sizeof value));
    const char *source = rating->source[limit];
    bool same = source && before && strcmp(source, before) == 0;
    cli_fill(cli, 42, 42, same ? "the same" : source ? source : "");
}

static const char *unit_words(const tube_type *type, int unit) {
    return unit >= 0 && unit < type->units ? type->unit[unit].name : "";
}

static void tell_ratings(cli *cli, const tube_type *type) {
    cli_heading(cli, "RATINGS");
    for (size_t i = 0; i < type->ratings; i++) {
        const tube_rating *rating = &type->rating[i];
        const char *unit = unit_words(type, rating->unit);
        base_text_add(&cli->out, "  %s%s%s\n", rating->system, *unit ? ", " : "", unit);
        const char *before = NULL;
        for (int limit = 0; limit < TUBE_LIMITS; limit++) {
            if (isnan(rating->limit[limit])) continue;
            tell_limit(cli, rating, limit, before);
            before = rating->source[limit];
        }
    }
    if (type->ratings == 0) base_text_add(&cli->out, "  none is known\n");
}

/* "plate +1 %" for each published figure of one point. */
static void tell_fit(cli *cli, const tube_type *type, const tube_fit *fit) {
    static const char *const words[] = {"plate mA", "screen mA", "mu", "rp", "gm"};
    const char *unit = unit_words(type, fit->unit);
    char line[320] = "";
    base_text_add(&cli->out, "  %s%s%s\n      ", fit->name, *unit ? ", " : "", unit);
    for (int i = 0; i < 5; i++) {
        if (isnan(fit->published[i]) || fit->published[i] == 0) continue;
        double error = 100 * (fit->fitted[i] / fit->published[i] - 1);
        double scale = i < 2 ? 1e3 : i == 4 ? 1e6 : 1;
        double shown = fit->published[i] * scale;
        snprintf(line + strlen(line), sizeof line - strlen(line), "%s%s %.*f (%+.0f %%)",
                 *line ? ", " : "", words[i], shown < 100 ? 2 : 0, shown,
                 fabs(error) < 0.5 ? 0.0 : error);
    }
    cli_fill(cli, 6, 6, line);
    if (!fit->exception) return;
    base_text_add(&cli->out, "      off target: ");
    cli_fill(cli, 18, 6, fit->exception);
}

static void tell_basing(cli *cli, const tube_type *type) {
    cli_heading(cli, "BASING");
    cli_socket(cli, type, 0, "");
}

static void tell_head(cli *cli, const tube_type *type) {
    base_text_add(&cli->out, "%s%s%s  %s, %s%s%s", cli_style_on(cli, CLI_HEAD), type->name,
                  cli_style_on(cli, CLI_PLAIN), type->class_name, type->base_name,
                  type->basing && *type->basing ? ", basing " : "",
                  type->basing ? type->basing : "");
    if (type->also && type->also[0]) {
        base_text_add(&cli->out, "; also ");
        also(&cli->out, type);
    }
    base_text_add(&cli->out, "\nheater %.4g V, %.4g A", type->heater_v, type->heater_a);
    if (type->direct) base_text_add(&cli->out, ", the filament is the cathode");
    base_text_add(&cli->out, "\n");
}

static void tell_type(cli *cli, const tube_type *type) {
    cli_json_take(cli, http_json_tube(type));
    tell_head(cli, type);
    tell_basing(cli, type);
    tell_ratings(cli, type);
    cli_heading(cli, "PUBLISHED POINTS, AND HOW FAR THE CURVE IS FROM THEM");
    for (size_t i = 0; i < type->fits; i++)
        tell_fit(cli, type, &type->fit[i]);
    if (!type->notes || !type->notes[0]) return;
    cli_heading(cli, "NOTES");
    for (size_t i = 0; type->notes[i]; i++) {
        base_text_add(&cli->out, "  ");
        cli_fill(cli, 2, 2, type->notes[i]);
    }
}

/* ---- a point ------------------------------------------------------------------------------- */

/* The unit that --unit names. Without it: the first with a screen if --screen is given, else the
 * first that is no diode, else the first. */
static bool suits(const cli *cli, const tube_unit *unit, const char *wanted) {
    if (wanted) return strcasecmp(unit->name, wanted) == 0;
    return cli_option(cli, CLI_SCREEN) ? unit->kind == TUBE_PENTODE : unit->kind != TUBE_DIODE;
}

static int pick_unit(cli *cli, const tube_type *type) {
    const char *wanted = cli_option(cli, CLI_UNIT), *names[TUBE_UNITS];
    for (int i = 0; i < type->units; i++) {
        names[i] = type->unit[i].name;
        if (suits(cli, &type->unit[i], wanted)) return i;
    }
    if (!wanted) return 0;
    const char *near = base_nearest_name(wanted, names, (size_t)type->units);
    char list[256] = "";
    for (int i = 0; i < type->units; i++)
        snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", i ? ", " : "",
                 *names[i] ? names[i] : "one unit, leave --unit out");
    base_errors_add(cli->errors, BASE_UNKNOWN, (base_place){.file = "--unit"},
                    "%s has no unit `%.40s`|%s%s%sit has: %s", type->name, wanted,
                    near ? "did you mean " : "", near ? near : "", near ? "? " : "", list);
    return -1;
}

static void demand(cli *cli, cli_key key, const char *name, const char *why) {
    if (!cli_option(cli, key)) cli_usage(cli, "--%s is missing|%s", name, why);
}

static bool read_volts(cli *cli, const tube_unit *unit, tube_volts *volts) {
    demand(cli, CLI_PLATE, "plate", "give the plate's volts to the cathode, as --plate 250");
    if (unit->kind != TUBE_DIODE)
        demand(cli, CLI_GRID, "grid", "give the grid's volts to the cathode, as --grid -2");
    if (unit->kind == TUBE_PENTODE)
        demand(cli, CLI_SCREEN, "screen",
               "give the screen's volts to the cathode, as --screen 250");
    else if (cli_option(cli, CLI_SCREEN))
        cli_usage(cli, "--screen is given, but this unit has no screen|leave it out");
    if (unit->kind == TUBE_DIODE && cli_option(cli, CLI_GRID))
        cli_usage(cli, "--grid is given, but this unit has no grid|leave it out");
    volts->plate = cli_number(cli, CLI_PLATE, BASE_VOLTS, -5000, 5000);
    volts->grid =
        cli_option(cli, CLI_GRID) ? cli_number(cli, CLI_GRID, BASE_VOLTS, -1000, 1000) : 0;
    volts->screen =
        cli_option(cli, CLI_SCREEN) ? cli_number(cli, CLI_SCREEN, BASE_VOLTS, -5000, 5000) : 0;
    return base_errors_worst(cli->errors) == BASE_OK;
}

typedef struct figures {
    double plate_a, screen_a, mu, rp, gm;
    bool trusted;
} figures;

static figures at_point(const tube_unit *unit, const tube_volts *volts) {
    tube_state bogey = TUBE_BOGEY;
    tube_point point;
    figures figures = {.screen_a = NAN, .mu = NAN, .rp = NAN, .gm = NAN};
    if (unit->kind == TUBE_DIODE) {
        double slope = 0;
        figures.plate_a = tube_diode(&unit->curve, 1, volts->plate, &slope);
        figures.rp = slope > 0 ? 1 / slope : NAN;
    } else {
        tube_current(unit, &bogey, volts, &point);
        tube_small small = tube_small_signal(&point);
        figures = (struct figures){.plate_a = point.plate,
                                   .screen_a = unit->kind == TUBE_PENTODE ? point.screen : NAN,
                                   .mu = small.mu,
                                   .rp = small.rp,
                                   .gm = small.gm};
    }
    figures.trusted = tube_in_region(unit, volts, figures.plate_a);
    return figures;
}

static void figure_line(cli *cli, const char *name, double value, const char *unit) {
    if (!isfinite(value)) return;
    if (fabs(value) < 1e-6) value = 0; /* cut off */
    base_text_add(&cli->out, "  %-20s %10.4g %s", name, value, unit);
    cli_end_line(cli);
}

static void tell_watts(cli *cli, const tube_type *type, int unit, double watts) {
    const char *system = NULL;
    double limit = service_limit(type, unit, TUBE_PLATE_W, &system);
    if (!(watts > 1e-6)) return;
    base_text_add(&cli->out, "  %-20s %10.3g W", "the plate burns", watts);
    if (isfinite(limit))
        base_text_add(&cli->out, ", %.0f %% of %.4g W (%s)", 100 * watts / limit, limit, system);
    base_text_add(&cli->out, "\n");
}

static void tell_volts(cli *cli, const tube_type *type, const tube_unit *unit,
                       const tube_volts *volts) {
    base_text_add(&cli->out, "%s%s%s%s%s  plate %g V", cli_style_on(cli, CLI_HEAD), type->name,
                  *unit->name ? ", " : "", unit->name, cli_style_on(cli, CLI_PLAIN), volts->plate);
    if (unit->kind == TUBE_PENTODE) base_text_add(&cli->out, ", screen %g V", volts->screen);
    if (unit->kind != TUBE_DIODE) base_text_add(&cli->out, ", grid %g V", volts->grid);
    base_text_add(&cli->out, ", to the cathode\n");
    cli_json_set(cli, cli->json, "type", http_json_text(type->name));
    cli_json_set(cli, cli->json, "unit", *unit->name ? json_string(unit->name) : json_null());
    cli_json_set(cli, cli->json, "plate_v", http_json_number(volts->plate));
    cli_json_set(cli, cli->json, "screen_v",
                 http_json_number(unit->kind == TUBE_PENTODE ? volts->screen : NAN));
    cli_json_set(cli, cli->json, "grid_v",
                 http_json_number(unit->kind != TUBE_DIODE ? volts->grid : NAN));
}

static void tell_point(cli *cli, const tube_type *type, int index) {
    const tube_unit *unit = &type->unit[index];
    tube_volts volts;
    if (!read_volts(cli, unit, &volts)) return;
    figures at = at_point(unit, &volts);
    tell_volts(cli, type, unit, &volts);
    figure_line(cli, "plate current", at.plate_a * 1e3, "mA");
    figure_line(cli, "screen current", at.screen_a * 1e3, "mA");
    figure_line(cli, "mu", at.mu, "");
    if (at.rp < 1e4)
        figure_line(cli, "plate resistance", at.rp, "ohm");
    else
        figure_line(cli, "plate resistance", at.rp / 1e3, "kohm");
    figure_line(cli, "transconductance", at.gm * 1e6, "umho");
    tell_watts(cli, type, index, volts.plate * at.plate_a);
    if (!at.trusted)
        base_text_add(&cli->out, "  Outside the region that published figures cover: trust these "
                                 "numbers less.\n");
    cli_json_set(cli, cli->json, "plate_ma", http_json_number(at.plate_a * 1e3));
    cli_json_set(cli, cli->json, "screen_ma", http_json_number(at.screen_a * 1e3));
    cli_json_set(cli, cli->json, "mu", http_json_number(at.mu));
    cli_json_set(cli, cli->json, "rp_ohm", http_json_number(at.rp));
    cli_json_set(cli, cli->json, "gm_umho", http_json_number(at.gm * 1e6));
    cli_json_set(cli, cli->json, "trusted", json_boolean(at.trusted));
}

/* ---- the command --------------------------------------------------------------------------- */

static const tube_type *find(cli *cli, const tube_library *library, const char *name) {
    const tube_type *type = tube_find(library, name);
    const char *near = type ? NULL : tube_nearest(library, name);
    if (!type)
        base_errors_add(cli->errors, BASE_UNKNOWN, (base_place){0},
                        "the library has no tube type `%.40s`|%s%s%s`gridleak tube` lists them",
                        name, near ? "did you mean " : "", near ? near : "", near ? "? " : "");
    return type;
}

static void run(cli *cli) {
    tube_library *library = cli_tubes(cli);
    bool point = cli_option(cli, CLI_PLATE) || cli_option(cli, CLI_GRID) ||
                 cli_option(cli, CLI_SCREEN) || cli_option(cli, CLI_UNIT);
    if (library && cli->arguments == 0 && point)
        cli_usage(cli, "no tube type is given|write it first, as gridleak tube 12AX7 --plate 250");
    else if (library && cli->arguments == 0)
        list_types(cli, library);
    const tube_type *type = library && cli->arguments ? find(cli, library, cli->argument[0]) : NULL;
    int unit = type && point ? pick_unit(cli, type) : -1;
    if (type && !point) tell_type(cli, type);
    if (unit >= 0) tell_point(cli, type, unit);
    tube_library_free(library);
}

static const struct argp_option options[] = {
    {"plate", CLI_PLATE, "VOLTS", 0, "Plate volts, to the cathode", 0},
    {"grid", CLI_GRID, "VOLTS", 0, "Grid volts, to the cathode: --grid -2", 0},
    {"screen", CLI_SCREEN, "VOLTS", 0, "Screen volts, to the cathode", 0},
    {"unit", CLI_UNIT, "NAME", 0, "Which unit of the bulb: \"unit 1\", triode, pentode", 0},
    {0}};

const cli_command cli_tube = {
    .name = "tube",
    .arguments = "[TYPE]",
    .summary = "Show a tube type, or its currents at given volts",
    .about =
        "Without TYPE: the types of the library. With TYPE alone: its basing as seen from below "
        "the socket, its heater, its ratings with their source and their rating system, and how "
        "far its curve is from each published point. With volts: plate and screen current, "
        "amplification factor, plate resistance and transconductance there.",
    .examples = "  gridleak tube\n  gridleak tube 6V6GT\n"
                "  gridleak tube 12AX7 --plate 250 --grid -2\n"
                "  gridleak tube 6V6GT --plate 250 --screen 250 --grid -12.5 --json\n",
    .options = options,
    .most = 1,
    .run = run,
};
