/* The one place that prints: a result, or every complaint. */
#include "cli.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void place_of(const base_error *error, char *buffer, size_t size) {
    if (!error->file)
        snprintf(buffer, size, "gridleak");
    else if (error->line <= 0)
        snprintf(buffer, size, "%s", error->file);
    else if (error->column <= 0)
        snprintf(buffer, size, "%s:%d", error->file, error->line);
    else
        snprintf(buffer, size, "%s:%d:%d", error->file, error->line, error->column);
}

static void print_complaints(const cli *cli) {
    for (size_t i = 0; i < base_errors_count(cli->errors); i++) {
        const base_error *error = base_errors_at(cli->errors, i);
        bool warning = error->code == BASE_SUSPICIOUS;
        char place[4352];
        if (warning && cli->warnings_told) continue;
        place_of(error, place, sizeof place);
        fprintf(stderr, "%s: %s%s%s%s\n", place, warning ? "warning: " : "", error->cause,
                error->remedy && *error->remedy ? "; " : "", error->remedy ? error->remedy : "");
    }
    size_t dropped = base_errors_dropped(cli->errors);
    if (dropped) fprintf(stderr, "gridleak: and %zu more; put these right first\n", dropped);
}

static bool write_json(const json_t *json, FILE *file) {
    return json_dumpf(json, file, JSON_INDENT(2) | JSON_REAL_PRECISION(6)) == 0 &&
           fputc('\n', file) != EOF;
}

static bool print_result(cli *cli) {
    if (!cli_wants_json(cli))
        return fwrite(cli->out.data ? cli->out.data : "", 1, cli->out.length, stdout) ==
               cli->out.length;
    cli_json_set(cli, cli->json, "warnings", http_json_errors(cli->errors, true));
    return write_json(cli->json, stdout);
}

static int fail(cli *cli, base_code code) {
    if (cli_wants_json(cli)) {
        json_t *object = json_object();
        cli_json_set(cli, object, "errors", http_json_errors(cli->errors, false));
        write_json(object, stderr);
        json_decref(object);
    } else {
        print_complaints(cli);
    }
    return base_code_of(code)->exit_status;
}

int cli_finish(cli *cli, bool ran) {
    base_code worst = base_errors_worst(cli->errors);
    bool json = cli_wants_json(cli);
    if (worst == BASE_OK && (json ? cli->json_failed : cli->out.failed))
        worst = base_errors_add(cli->errors, BASE_MEMORY, (base_place){0},
                                "no memory left for the output|close other programs");
    if (worst != BASE_OK) return fail(cli, worst);
    if (ran) {
        if (!json) print_complaints(cli);
        print_result(cli);
    }
    if (fflush(stdout) == 0 && !ferror(stdout)) return 0;
    base_errors_add(cli->errors, BASE_FILE, (base_place){0},
                    "standard output cannot be written: %s|make room, then run it again",
                    strerror(errno));
    return fail(cli, BASE_FILE);
}
