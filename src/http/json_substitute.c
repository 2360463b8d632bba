/* A substitute as JSON: docs/json.md. */
#include "http.h"

static json_t *choice_row(const service_choice *choice) {
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "text", http_json_text(choice->text), "value",
                     http_json_number(choice->value), "volts", http_json_number(choice->volts),
                     "watts", http_json_number(choice->watts), "kind", http_json_text(choice->kind),
                     "note", http_json_text(choice->note));
}

static json_t *effect_row(const service_effect *effect) {
    static const char *const units[BASE_QUANTITIES] = {
        [BASE_VOLTS] = "V", [BASE_AMPERES] = "A", [BASE_HERTZ] = "Hz"};
    return json_pack("{s:o,s:o,s:o,s:o}", "what", http_json_text(effect->what), "in",
                     http_json_text(units[effect->quantity]), "before",
                     http_json_number(effect->before), "after", http_json_number(effect->after));
}

json_t *http_json_substitute(const service_substitute *found) {
    json_t *choices = json_array(), *effects = json_array();
    for (size_t i = 0; i < found->choices; i++)
        choices = http_json_append(choices, choice_row(&found->choice[i]));
    for (size_t i = 0; i < found->effects; i++)
        effects = http_json_append(effects, effect_row(&found->effect[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "part", http_json_text(found->part),
                     "across", http_json_number(found->old.across), "burns",
                     http_json_number(found->old.burns), "choices", choices, "keep",
                     http_json_text(found->keep), "can", http_json_words(found->can), "effects",
                     effects, "difference", http_json_words(found->difference));
}
