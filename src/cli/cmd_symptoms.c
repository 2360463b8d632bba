/* gridleak symptoms: what may be told beside readings. */
#include "cli_impl.h"

#include <stdio.h>
#include <string.h>

/* What may stand behind it. */
static const char *example_of(const char *names) {
    static const char *const examples[][2] = {{"part", ": R7"},
                                              {"control", ": P1"},
                                              {"tube", ": V2"},
                                              {"pin", ": V2.3"},
                                              {"speed", ": 3 Hz"}};
    for (size_t i = 0; names && i < sizeof examples / sizeof *examples; i++)
        if (strcmp(examples[i][0], names) == 0) return examples[i][1];
    return "";
}

static void tell(cli *cli, const diagnose_symptom *symptom) {
    char line[640] = "", key[64];
    snprintf(key, sizeof key, "%.40s%s", symptom->key, example_of(symptom->names));
    for (size_t i = 0; symptom->also[i] && strlen(line) < 500; i++)
        snprintf(line + strlen(line), sizeof line - strlen(line), "%s%.60s", i ? ", " : "or ",
                 symptom->also[i]);
    base_text_add(&cli->out, "  %s%-20s%s ", cli_style_on(cli, CLI_STRONG), key,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 23, 23, line);
}

static void run(cli *cli) {
    diagnose_symptoms *symptoms = diagnose_symptoms_read(NULL, NULL, 0, cli->errors);
    for (size_t i = 0; symptoms && i < diagnose_symptoms_count(symptoms); i++)
        tell(cli, diagnose_symptoms_at(symptoms, i));
    if (symptoms) cli_json_take(cli, json_pack("{s:o}", "symptoms", http_json_symptoms(symptoms)));
    diagnose_symptoms_free(symptoms);
}

const cli_command cli_symptoms = {
    .name = "symptoms",
    .arguments = "",
    .summary = "List the symptoms and findings that suspects understands",
    .about = "What is heard, seen or found by hand, as `gridleak suspects` and the readings file "
             "take it. Some name what they are of: \"scratchy: P2\". With \"not\" before it, a "
             "symptom was looked for and is not there.",
    .examples =
        "  gridleak symptoms\n  gridleak suspects tidemark \"no tremolo\" \"scratchy: P1\"\n",
    .run = run,
};
