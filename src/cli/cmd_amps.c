/* gridleak amps: the amp library. */
#include "cli_impl.h"

#include <stdio.h>
#include <string.h>

static void row(cli *cli, json_t *list, const cli_file *file, const circuit *amp) {
    const circuit_about *about = circuit_about_of(amp);
    const char *base = file->name + strlen("amps/");
    char name[128];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(base, "."), base);
    bool mains = cli_amp_on_mains(amp);
    base_text_add(&cli->out, "  %s%-18s%s ", cli_style_on(cli, CLI_STRONG), name,
                  cli_style_on(cli, CLI_PLAIN));
    cli_fill(cli, 21, 21, about->family ? about->family : "");
    if (mains)
        base_text_add(&cli->out, "%21s%sno power transformer: the chassis may be live%s\n", "",
                      cli_style_on(cli, CLI_WARN), cli_style_on(cli, CLI_PLAIN));
    json_t *object = cli_json_row_in(cli, list);
    cli_json_set(cli, object, "name", http_json_text(name));
    cli_json_set(cli, object, "amp", http_json_text(about->name));
    cli_json_set(cli, object, "family", http_json_text(about->family));
    cli_json_set(cli, object, "story", http_json_text(about->story));
    cli_json_set(cli, object, "parts", json_integer((json_int_t)circuit_parts(amp)));
    cli_json_set(cli, object, "on_mains", json_boolean(mains));
}

static void run(cli *cli) {
    size_t count;
    const cli_file *files = cli_files(&count);
    tube_library *tubes = cli_tubes(cli);
    json_t *list = cli_json_list_in(cli, cli->json, "amps");
    for (size_t i = 0; tubes && i < count; i++) {
        if (strncmp(files[i].name, "amps/", 5) != 0) continue;
        circuit *amp =
            circuit_read(files[i].name, files[i].data, files[i].length, tubes, cli->errors);
        if (amp) row(cli, list, &files[i], amp);
        circuit_free(amp);
    }
    cli->warnings_told = true; /* `check` tells them */
    tube_library_free(tubes);
}

const cli_command cli_amps = {
    .name = "amps",
    .arguments = "",
    .summary = "List the amps of the library",
    .about = "Each is invented, and stands for a family of circuits. Its name, or the beginning "
             "of it, may be given wherever a command asks for AMP.",
    .examples = "  gridleak amps\n",
    .run = run,
};
