/* The table of commands, and the way in. */
#include "cli.h"

#include <errno.h>
#include <langinfo.h>
#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

const cli_command *const cli_commands[] = {
    &cli_check,          &cli_chart,   &cli_suspects,   &cli_response,
    &cli_tremolo,        &cli_hum,     &cli_margins,    &cli_swap,
    &cli_value,          &cli_drain,   &cli_mains,      &cli_fuse,
    &cli_substitute,     &cli_powerup, &cli_output,     &cli_tube,
    &cli_symptoms,       &cli_amps,    &cli_bench_page, &cli_meter_list,
    &cli_practice_bench, &cli_backup,  &cli_restore,    &cli_export,
    &cli_import,         &cli_csv,     &cli_manual,     NULL};

static const cli_command none = {.name = "", .arguments = "COMMAND", .most = CLI_ARGUMENTS};

static const cli_command *find(const char *name) {
    for (size_t i = 0; cli_commands[i]; i++)
        if (strcmp(cli_commands[i]->name, name) == 0) return cli_commands[i];
    return NULL;
}

static void print_help(void) {
    printf("Usage: gridleak COMMAND [ARGUMENT...]\n\n"
           "Finds the part to blame in a tube guitar amplifier, from its circuit and the\n"
           "volts that a meter shows.\n\n");
    for (size_t i = 0; cli_commands[i]; i++)
        if (!cli_commands[i]->hidden)
            printf("  %-10s %s\n", cli_commands[i]->name, cli_commands[i]->summary);
    printf("\n  gridleak COMMAND --help tells more. --json works with every command.\n\n"
           "Tube amplifiers hold lethal voltages, also when unplugged. Before hands go in:\n"
           "unplug, drain the capacitors, and MEASURE that they are empty.\n");
}

/* A full disk shows only when the last of the text is written. */
static void close_output(void) {
    if (fflush(stdout) == 0 && fclose(stdout) == 0) return;
    fprintf(stderr, "gridleak: standard output: %s; make room, then run it again\n",
            strerror(errno));
    _exit(base_code_of(BASE_FILE)->exit_status);
}

/* Where OpenBLAS stands in for BLAS it wakes a thread a core, which for matrices of 60 only spin.
 */
extern void openblas_set_num_threads(int threads) __attribute__((weak));

static bool set_up(cli *cli) {
    if (openblas_set_num_threads) openblas_set_num_threads(1);
    setlocale(LC_CTYPE, ""); /* numbers stay in the C locale */
    const char *term = getenv("TERM"), *no_color = getenv("NO_COLOR");
    *cli = (struct cli){.command = &none, .errors = base_errors_new()};
    cli->utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
    cli->colour =
        isatty(STDOUT_FILENO) && !(no_color && *no_color) && term && strcmp(term, "dumb") != 0;
    base_text_init(&cli->out, CLI_OUT_MAXIMUM);
    cli->json = json_object();
    return cli->errors && cli->json;
}

static void unknown_command(cli *cli, const char *name) {
    const char *names[32];
    size_t count = 0;
    for (size_t i = 0; cli_commands[i] && count < 32; i++)
        if (!cli_commands[i]->hidden) names[count++] = cli_commands[i]->name;
    const char *near = base_nearest_name(name, names, count);
    base_errors_add(cli->errors, BASE_USAGE, (base_place){0},
                    "there is no command `%.40s`|%s%s%sgridleak --help lists the commands", name,
                    near ? "did you mean `" : "", near ? near : "", near ? "`? " : "");
}

/* --help, --version, or a command's name. Returns false where there is nothing left to run. */
static bool dispatch(cli *cli, int argc, char **argv) {
    static char title[64];
    if (argc < 2) {
        base_errors_add(cli->errors, BASE_USAGE, (base_place){0},
                        "no command is given|gridleak --help lists them; a first one to try: "
                        "gridleak amps");
        return false;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-?") == 0) {
        print_help();
        return false;
    }
    if (strcmp(argv[1], "--version") == 0) {
        printf("gridleak %s\n", GRIDLEAK_VERSION);
        return false;
    }
    cli->command = find(argv[1]);
    if (!cli->command) {
        cli->command = &none;
        unknown_command(cli, argv[1]);
        return false;
    }
    snprintf(title, sizeof title, "gridleak %s", argv[1]);
    argv[1] = title;
    cli_parse(cli, argc - 1, argv + 1);
    return !cli->helped && base_errors_worst(cli->errors) == BASE_OK;
}

int main(int argc, char **argv) {
    cli cli;
    atexit(close_output);
    if (!set_up(&cli)) {
        fprintf(stderr, "gridleak: no memory left; close other programs\n");
        return base_code_of(BASE_MEMORY)->exit_status;
    }
    bool ran = dispatch(&cli, argc, argv);
    if (ran) cli.command->run(&cli);
    int status = cli_finish(&cli, ran);
    base_errors_free(cli.errors);
    base_text_free(&cli.out);
    json_decref(cli.json);
    return status;
}
