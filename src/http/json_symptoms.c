/* The list of symptoms and findings as JSON: docs/json.md. */
#include "http.h"

static json_t *other_words(const diagnose_symptom *symptom) {
    json_t *list = json_array();
    for (size_t i = 0; symptom->also[i]; i++)
        list = http_json_append(list, http_json_text(symptom->also[i]));
    return list;
}

json_t *http_json_symptoms(const diagnose_symptoms *symptoms) {
    json_t *list = json_array();
    for (size_t i = 0; i < diagnose_symptoms_count(symptoms); i++) {
        const diagnose_symptom *one = diagnose_symptoms_at(symptoms, i);
        list = http_json_append(
            list, json_pack("{s:o,s:o,s:o,s:o,s:o}", "key", http_json_text(one->key), "also",
                            other_words(one), "names", http_json_words(one->names), "sign",
                            http_json_words(one->sign), "ground", http_json_text(one->ground)));
    }
    return list;
}
