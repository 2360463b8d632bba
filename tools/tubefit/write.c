/* Writes a type's YAML: what the figures file says of basing, heater and ratings as it stands, then
 * the units with their curves, the fit and the notes. */
#include <math.h>
#include <string.h>

#include "tubefit.h"

/* 'text' in single quotes, its own doubled. */
static void write_quoted(base_text *out, const char *text) {
    base_text_add(out, "'");
    for (; *text; text++)
        base_text_add(out, *text == '\'' ? "''" : "%c", *text);
    base_text_add(out, "'");
}

static void write_number(base_text *out, const char *name, double value) {
    base_text_add(out, ", %s: %.5g", name, value);
}

static void write_curve(const tube_unit *unit, base_text *out) {
    const tube_curve *c = &unit->curve;
    base_text_add(out, "  curve: {perveance: %.5g", c->perveance);
    if (unit->kind != TUBE_DIODE) {
        write_number(out, "mu", c->mu);
        write_number(out, "kp", c->kp);
        write_number(out, "kvb", c->kvb);
        write_number(out, "contact", c->contact);
        base_text_add(out, ",\n    grid_perveance: %.5g", c->grid_perveance);
        write_number(out, "grid_contact", c->grid_contact);
    }
    if (unit->kind == TUBE_PENTODE) {
        write_number(out, "mu_plate", c->mu_plate);
        write_number(out, "share", c->share);
        write_number(out, "draw", c->draw);
        write_number(out, "knee", c->knee);
    }
    base_text_add(out, "}\n");
}

static void write_range(base_text *out, const char *name, const double range[2]) {
    base_text_add(out, ", %s: [%.5g, %.5g]", name, range[0], range[1]);
}

static void write_region(const tube_unit *unit, base_text *out) {
    const tube_region *r = &unit->region;
    base_text_add(out, "  region: {plate_v: [%.5g, %.5g]", r->plate_v[0], r->plate_v[1]);
    if (unit->kind == TUBE_PENTODE) write_range(out, "screen_v", r->screen_v);
    if (unit->kind != TUBE_DIODE) write_range(out, "grid_v", r->grid_v);
    write_range(out, "plate_a", r->plate_a);
    base_text_add(out, "}\n");
}

static void write_unit(const tube_unit *unit, base_text *out) {
    static const char *const kinds[] = {"diode", "triode", "pentode"};
    base_text_add(out, "- kind: %s\n", kinds[unit->kind]);
    if (unit->name[0]) base_text_add(out, "  name: %s\n", unit->name);
    base_text_add(out, "  spread: %g\n", unit->spread);
    if (unit->kind == TUBE_PENTODE)
        base_text_add(out, "  screen_spread: %g\n", unit->screen_spread);
    write_curve(unit, out);
    write_region(unit, out);
}

/* The figures that are published; of the fitted ones those too. */
static void write_figures(const char *name, const double *figure, const double *published,
                          base_text *out) {
    static const char *const names[] = {"plate_a", "screen_a", "mu", "rp", "gm"};
    const char *before = "";
    base_text_add(out, "  %s: {", name);
    for (int q = 0; q < QUANTITIES; q++) {
        if (!isfinite(published[q])) continue;
        /* four digits, and no exponent where whole ohms will do */
        base_text_add(out, figure[q] < 1e4 ? "%s%s: %.4g" : "%s%s: %.0f", before, names[q],
                      figure[q]);
        before = ", ";
    }
    base_text_add(out, "}\n");
}

static void write_point(const tube_fit *point, base_text *out) {
    int quantity;
    base_text_add(out, "- name: ");
    write_quoted(out, point->name);
    base_text_add(out, "\n");
    if (point->unit >= 0) base_text_add(out, "  unit: %d\n", point->unit + 1);
    if (point->triode) base_text_add(out, "  triode: yes\n");
    base_text_add(out, "  plate_v: %.6g\n", point->plate_v);
    if (isfinite(point->screen_v)) base_text_add(out, "  screen_v: %.6g\n", point->screen_v);
    if (isfinite(point->fitted[GM])) base_text_add(out, "  grid_v: %.6g\n", point->grid_v);
    write_figures("published", point->published, point->published, out);
    write_figures("fitted", point->fitted, point->published, out);
    base_text_add(out, "  source: ");
    write_quoted(out, point->source);
    base_text_add(out, "\n  confidence: %s\n", point->confidence);
    if (fit_worst(point, &quantity) <= 1) return;
    base_text_add(out, "  exception: ");
    write_quoted(out, point->exception ? point->exception : "no reason is known");
    base_text_add(out, "\n");
}

void write_type(const figures *f, base_text *out) {
    base_text_add(out,
                  "# The %s. Written by tools/tubefit from data/figures/%s.yaml: change that file\n"
                  "# and run the tool again. SI units.\n%s",
                  f->type, f->type, f->head);
    base_text_add(out, "units:\n");
    for (int i = 0; i < f->units; i++)
        write_unit(&f->unit[i], out);
    base_text_add(out, f->points ? "fit:\n" : "fit: []\n");
    for (size_t i = 0; i < f->points; i++)
        write_point(&f->point[i], out);
    base_text_add(out, "%s", f->notes);
}
