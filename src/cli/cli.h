/* cli: the program. One file per command (cmd_NAME.c); one table (main.c) gives dispatch, --help
 * and the man page. A command adds what it has to say to `out` or `json`, and its complaints to
 * `errors`; only cli_finish prints, so that a failed command never prints half a result. */
#ifndef GRIDLEAK_CLI_H
#define GRIDLEAK_CLI_H

#include "base.h"
#include "circuit.h"
#include "diagnose.h"
#include "http.h"
#include "meter.h"
#include "service.h"
#include "solve.h"
#include "tube.h"

#include <argp.h>
#include <jansson.h>

/* ---- commands ------------------------------------------------------------------------------ */

/* The keys of every option of every command: above the characters, so none has a short form. */
typedef enum cli_key {
    CLI_JSON = 256,
    CLI_METER,
    CLI_MAINS,
    CLI_ALL,
    CLI_HEALTHY,
    CLI_PAIRS,
    CLI_WIRING,
    CLI_PLATE,
    CLI_SCREEN,
    CLI_GRID,
    CLI_UNIT,
    CLI_FROM,
    CLI_TO,
    CLI_AT,
    CLI_SWEEP,
    CLI_SCOPE,
    CLI_PORT,
    CLI_LAN,
    CLI_NO_BROWSER,
    CLI_ONCE,
    CLI_KEEP,
    CLI_JOB,
    CLI_OHMS,
    CLI_SEED,
    CLI_FAULTS,
    CLI_TCP,
    CLI_PTY,
    CLI_WORKED,
    CLI_SEEDS,
    CLI_PROFILE,
    CLI_WATCH,
    CLI_STANDBY,
    CLI_SPEAKER,
    CLI_SUPPLY,
    CLI_HELP,
    CLI_KEYS
} cli_key;

typedef struct cli cli;

typedef struct cli_command {
    const char *name;
    const char *arguments;             /* as the usage line shows them: "AMP" */
    const char *summary;               /* one line, no full stop */
    const char *about;                 /* paragraphs for --help and the man page */
    const char *examples;              /* lines, each a command */
    const struct argp_option *options; /* ended by {0}; --json is common to all, not listed */
    int least, most;                   /* how many arguments */
    bool hidden;
    void (*run)(cli *cli);
} cli_command;

extern const cli_command cli_check, cli_chart, cli_suspects, cli_tube, cli_amps, cli_manual;
extern const cli_command cli_response, cli_tremolo, cli_hum;
extern const cli_command cli_margins, cli_swap, cli_value, cli_drain, cli_mains, cli_fuse,
    cli_substitute;
extern const cli_command cli_powerup, cli_output, cli_symptoms;
extern const cli_command cli_bench_page, cli_backup, cli_restore, cli_export, cli_import, cli_csv;
extern const cli_command cli_meter_list, cli_practice_bench;
extern const cli_command *const cli_commands[]; /* NULL-ended; the one table */

#define CLI_ARGUMENTS 512
#define CLI_OUT_MAXIMUM (8u << 20)

struct cli {
    const cli_command *command;
    const char *option[CLI_KEYS - CLI_JSON]; /* text; "" for a flag; NULL where not given */
    const char *argument[CLI_ARGUMENTS];
    int arguments;
    bool utf8, colour;
    base_errors *errors;
    bool helped;        /* --help has been printed: nothing is left to run */
    bool warnings_told; /* the command has told the warnings itself */
    base_text out;
    json_t *json; /* printed instead of `out` when --json is given */
    bool json_failed;
};

/* Parses argv[0..] (argv[0] is "gridleak NAME") by the command's own options. */
void cli_parse(cli *cli, int argc, char **argv);
static inline const char *cli_option(const cli *cli, cli_key key) {
    return cli->option[key - CLI_JSON];
}
static inline bool cli_wants_json(const cli *cli) {
    return cli_option(cli, CLI_JSON) != NULL;
}
/* Prints the complaints, or the result if a command `ran`; checks that it could be written. Returns
 * the exit status. */
int cli_finish(cli *cli, bool ran);
/* A complaint about the command line itself. */
base_code cli_usage(cli *cli, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* ---- input --------------------------------------------------------------------------------- */

#define CLI_FILE_MAXIMUM (4u << 20)

/* The whole file as bytes, 0-ended, to be freed. NULL with a complaint. */
char *cli_read_file(cli *cli, const char *path, size_t *length);

/* A number from an option's text within [low, high]; NAN when the option is not given (no
 * complaint) or on a complaint (*bad set). */
double cli_number(cli *cli, cli_key key, base_quantity quantity, double low, double high);

typedef struct cli_amp {
    char *read;       /* of a file, to be freed; NULL: inside the program */
    const char *text; /* 0-ended */
    tube_library *tubes;
    circuit *amp;
    solve_system *system;
} cli_amp;

/* Opens AMP: a path to a YAML file, or the name of a library amp (case folded, a unique beginning
 * is enough). false with complaints. Tells the danger of an amp without a power transformer
 * first. Close it in any case. */
bool cli_amp_open(cli *cli, const char *name, cli_amp *amp);
void cli_amp_close(cli_amp *amp);
/* Does the mains itself feed a rectifier? Then the chassis may be live. */
bool cli_amp_on_mains(const circuit *amp);
/* --meter and --mains. false on a complaint. */
bool cli_bench(cli *cli, diagnose_meter *meter, double *mains);

/* The tube library inside the program: every type. NULL with a complaint. */
tube_library *cli_tubes(cli *cli);
diagnose_priors *cli_priors(cli *cli); /* NULL with a complaint; as the tubes, to be freed */
meter_profiles *cli_meters(cli *cli);  /* the same */

/* ---- text ---------------------------------------------------------------------------------- */

#define CLI_WIDTH 80

typedef enum cli_style { CLI_PLAIN, CLI_HEAD, CLI_STRONG, CLI_WARN, CLI_DIM } cli_style;
const char *cli_style_on(const cli *cli, cli_style style); /* "" without colour */
void cli_heading(cli *cli, const char *text);
void cli_end_line(cli *cli); /* with no blanks before the end */
/* Words filled to 80 columns, every line after the first indented by `indent`. */
void cli_fill(cli *cli, int column, int indent, const char *text);
#define CLI_DANGER                                                                                 \
    "This amp has no power transformer: the mains is in its circuit, and the chassis may be live " \
    "even when it is switched off. Run it from an isolation transformer before you clip a meter "  \
    "to it or touch it. If you have none, do not measure it live."
void cli_danger(cli *cli);

#define CLI_CELL 80
typedef struct cli_cell { /* a short text by value, for use in one printf */
    char text[CLI_CELL];
} cli_cell;
cli_cell cli_volts(double volts);  /* "168 V", "12.4 V", "0.00 V"; "" for NAN */
cli_cell cli_signed(double volts); /* with + before what is above zero */
cli_cell cli_amperes(double amperes);
cli_cell cli_watts(double watts);
cli_cell cli_ohms(double ohms);
/* A value with its unit, three figures. */
cli_cell cli_value_of(double value, base_quantity quantity);
cli_cell cli_chance(double probability);         /* "about 60 %", "under 1 %" */
cli_cell cli_chance_words(double probability);   /* "about 9 in 10" */
cli_cell cli_meter(const diagnose_meter *meter); /* "10 Mohm" */
cli_cell cli_bar(const cli *cli, double part, int width);

/* The socket of a type as seen from below, its pins named beside it; `pin` (0: none) is marked,
 * with the `lead` that goes there. */
void cli_socket(cli *cli, const tube_type *type, int pin, const char *lead);

/* ---- JSON ---------------------------------------------------------------------------------- */

/* Steals `value`; a failure is remembered and reported by cli_finish. */
void cli_json_set(cli *cli, json_t *object, const char *key, json_t *value);
void cli_json_add(cli *cli, json_t *list, json_t *value);
/* A new object or list put under `key`. */
json_t *cli_json_object_in(cli *cli, json_t *object, const char *key);
json_t *cli_json_list_in(cli *cli, json_t *object, const char *key);
json_t *cli_json_row_in(cli *cli, json_t *list);
/* Adds all of a result that the API has too (http_json_chart and so on), stealing it. */
void cli_json_take(cli *cli, json_t *result);

#endif
