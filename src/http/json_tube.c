/* A tube type as JSON: docs/json.md. */
#include "http.h"

#include <math.h>

static const char *const limit_keys[TUBE_LIMITS] = {
    [TUBE_PLATE_V] = "plate_v",
    [TUBE_PLATE_W] = "plate_w",
    [TUBE_PLATE_W_BOTH] = "plate_w_both",
    [TUBE_SCREEN_V] = "screen_v",
    [TUBE_SCREEN_W] = "screen_w",
    [TUBE_CATHODE_A] = "cathode_a",
    [TUBE_HEATER_CATHODE_V] = "heater_cathode_v",
    [TUBE_GRID_OHMS_FIXED] = "grid_ohms_fixed",
    [TUBE_GRID_OHMS_CATHODE] = "grid_ohms_cathode",
    [TUBE_PEAK_INVERSE_V] = "peak_inverse_v",
    [TUBE_AC_V_CAP_INPUT] = "ac_v_cap_input",
    [TUBE_AC_V_CHOKE_INPUT] = "ac_v_choke_input",
    [TUBE_DC_A] = "dc_a",
    [TUBE_PEAK_PLATE_A] = "peak_plate_a",
    [TUBE_FIRST_CAP_F] = "first_cap_f",
    [TUBE_SOURCE_OHMS] = "source_ohms",
};

static json_t *unit_name(const tube_type *type, int unit) {
    return http_json_words(unit >= 0 && unit < type->units ? type->unit[unit].name : NULL);
}

/* `object` with `value` under `key`, stealing both; NULL where either is NULL. */
static json_t *with(json_t *object, const char *key, json_t *value) {
    if (object && value && json_object_set_new(object, key, value) == 0) return object;
    if (!object) json_decref(value);
    json_decref(object);
    return NULL;
}

static json_t *rating_row(const tube_type *type, const tube_rating *rating) {
    json_t *row = json_pack("{s:o,s:o}", "system", http_json_text(rating->system), "unit",
                            unit_name(type, rating->unit));
    for (int i = 0; i < TUBE_LIMITS; i++)
        if (!isnan(rating->limit[i]))
            row = with(row, limit_keys[i],
                       json_pack("{s:o,s:o}", "value", http_json_number(rating->limit[i]), "source",
                                 http_json_text(rating->source[i])));
    return row;
}

static json_t *fit_row(const tube_type *type, const tube_fit *fit) {
    static const char *const keys[] = {"plate_a", "screen_a", "mu", "rp_ohm", "gm_s"};
    json_t *row = json_pack("{s:o,s:o,s:o,s:o}", "point", http_json_text(fit->name), "unit",
                            unit_name(type, fit->unit), "source", http_json_text(fit->source),
                            "exception", http_json_text(fit->exception));
    for (int i = 0; i < 5; i++)
        if (!isnan(fit->published[i]) && fit->published[i] != 0)
            row = with(row, keys[i],
                       json_pack("{s:o,s:o}", "published", http_json_number(fit->published[i]),
                                 "curve", http_json_number(fit->fitted[i])));
    return row;
}

static json_t *pin_row(const tube_type *type, int pin) {
    char words[96];
    return json_pack("{s:i,s:o,s:o}", "pin", pin, "electrode",
                     http_json_text(tube_pin_words(type, pin, words, sizeof words)), "written",
                     http_json_text(type->pin[pin].written));
}

json_t *http_json_tube(const tube_type *type) {
    json_t *pins = json_array(), *ratings = json_array(), *fits = json_array();
    for (int pin = 1; pin <= type->pins; pin++)
        pins = http_json_append(pins, pin_row(type, pin));
    for (size_t i = 0; i < type->ratings; i++)
        ratings = http_json_append(ratings, rating_row(type, &type->rating[i]));
    for (size_t i = 0; i < type->fits; i++)
        fits = http_json_append(fits, fit_row(type, &type->fit[i]));
    json_t *heater =
        json_pack("{s:o,s:o,s:o}", "volts", http_json_number(type->heater_v), "amps",
                  http_json_number(type->heater_a), "source", http_json_text(type->heater_source));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "type", http_json_text(type->name),
                     "class", http_json_text(type->class_name), "base",
                     http_json_text(type->base_name), "basing", http_json_text(type->basing),
                     "heater", heater, "pins", pins, "ratings", ratings, "fits", fits);
}
