/* An amp on another mains as JSON: docs/json.md. */
#include "http.h"

static json_t *remedy_row(const service_remedy *remedy) {
    return json_pack(
        "{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "name",
        http_json_text(remedy->name), "fit", http_json_text(remedy->fit), "exact",
        http_json_number(remedy->exact), "stock", http_json_number(remedy->stock), "carries_a",
        http_json_number(remedy->carries_a), "burns_w", http_json_number(remedy->burns_w), "fit_w",
        http_json_number(remedy->fit_w), "primary_v", http_json_number(remedy->primary_v),
        "supply_v", http_json_number(remedy->supply_v), "heater_percent",
        http_json_number(100 * remedy->heater_part), "mends", http_json_words(remedy->mends),
        "left", http_json_words(remedy->left), "note", http_json_words(remedy->note));
}

json_t *http_json_mains(const service_mains *mains) {
    json_t *remedies = json_array();
    for (size_t i = 0; i < mains->remedies; i++)
        remedies = http_json_append(remedies, remedy_row(&mains->remedy[i]));
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "amp", http_json_text(mains->amp),
                     "drawn_v", http_json_number(mains->drawn_v), "now_v",
                     http_json_number(mains->now_v), "heater_drawn_percent",
                     http_json_number(100 * mains->heater_part[0]), "heater_now_percent",
                     http_json_number(100 * mains->heater_part[1]), "current_a",
                     http_json_number(mains->current_a), "watts", http_json_number(mains->watts),
                     "swap", http_json_swap(mains->swap), "remedies", remedies);
}
