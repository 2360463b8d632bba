/* gridleak practice: an amp with something hidden wrong in it, on the bench page, with a simulated
 * meter. */
#include "cli_impl.h"
#include "page.h"
#include "practice_impl.h"
#include "serving_impl.h"
#include "shop_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define METER_OHMS 10e6

typedef struct bench {
    cli *cli;
    cli_amp amp;
    cli_shop shop;
    cli_amp_names names;
    diagnose_priors *priors;
    meter_profiles *meters;
    practice *practice;
    meter_sim *sim;
    http_server *server;
    char meter[64], pty[64];
    int64_t job;
} bench;

/* ---- numbers ------------------------------------------------------------------------------- */

long cli_practice_number(cli *cli, cli_key key, long least, long most, long otherwise) {
    const char *text = cli_option(cli, key);
    char *end = NULL;
    long number = text ? strtol(text, &end, 10) : otherwise;
    if (text && (end == text || *end || number < least || number > most))
        cli_usage(cli, "`%.20s` is not what is wanted here|give a whole number, %ld to %ld", text,
                  least, most);
    return number;
}

/* ---- what is on the bench ------------------------------------------------------------------ */

static bool make_shop(bench *bench) {
    const char *folder = getenv("TMPDIR");
    cli *cli = bench->cli;
    snprintf(bench->shop.folder, sizeof bench->shop.folder, "%s/gridleak-practice-XXXXXX",
             folder && *folder == '/' ? folder : "/tmp");
    if (!mkdtemp(bench->shop.folder)) {
        *bench->shop.folder = 0;
        base_errors_add(cli->errors, BASE_FILE, (base_place){0},
                        "no folder can be made for the practice shop|make room in TMPDIR");
        return false;
    }
    snprintf(bench->shop.path, sizeof bench->shop.path, "%.4000s/shop.db", bench->shop.folder);
    bench->shop.tubes = cli_tubes(cli);
    bench->shop.store = bench->shop.tubes ? job_store_open(bench->shop.path, cli->errors) : NULL;
    if (!bench->shop.store) return false;
    job_store_use_library(bench->shop.store, bench->shop.tubes, cli_shop_amp, NULL);
    return true;
}

/* Names of the store and of what the store leaves beside it. */
static void remove_shop(bench *bench) {
    static const char *const ends[] = {"shop.db", "shop.db-wal", "shop.db-shm", "shop.db-journal"};
    char path[CLI_PATH + 32];
    for (size_t i = 0; *bench->shop.folder && i < sizeof ends / sizeof *ends; i++) {
        snprintf(path, sizeof path, "%s/%s", bench->shop.folder, ends[i]);
        unlink(path);
    }
    if (*bench->shop.folder) rmdir(bench->shop.folder);
}

/* The job for which the amp came in. A file's amp becomes one of the shop's own. */
static bool take_in(bench *bench) {
    cli *cli = bench->cli;
    char name[128] = "practice";
    if (bench->amp.text) {
        job_store *store = bench->shop.store;
        if (job_amp_save(store, name, bench->amp.text, cli_now(), cli->errors) != BASE_OK)
            return false;
    } else {
        const cli_file *file = cli_library_amp(cli, cli->argument[0]);
        if (!file) return false;
        const char *base = file->name + strlen("amps/");
        snprintf(name, sizeof name, "%.*s", (int)strcspn(base, "."), base);
    }
    json_t *body = json_pack("{s:s,s:s,s:s}", "owner", "Practice", "complaint",
                             "something is wrong with it", "amp", name);
    base_code code = job_create(bench->shop.store, body, cli_now(), &bench->job, cli->errors);
    json_decref(body);
    return code == BASE_OK;
}

static bool make_meter(bench *bench, const practice_options *options) {
    cli *cli = bench->cli;
    int wanted = (int)cli_practice_number(cli, CLI_TCP, 0, 65535, 0);
    meter_sim_options sim = {.seed = options->seed + 1,
                             .volts = practice_volts,
                             .context = bench->practice,
                             .noise = 2e-4,
                             .rate = 10,
                             .range_v = 1000};
    if (base_errors_worst(cli->errors) != BASE_OK) return false;
    bench->sim = meter_sim_new(&sim, cli->errors);
    int port = bench->sim ? meter_sim_tcp(bench->sim, wanted, cli->errors) : 0;
    if (!port) return false;
    snprintf(bench->meter, sizeof bench->meter, "tcp:127.0.0.1:%d", port);
    if (!cli_option(cli, CLI_PTY)) return true;
    const char *pty = meter_sim_pty(bench->sim, cli->errors);
    if (pty) snprintf(bench->pty, sizeof bench->pty, "pty:%s", pty);
    return pty != NULL;
}

static bool start(bench *bench) {
    cli *cli = bench->cli;
    http_options options = {.version = GRIDLEAK_VERSION,
                            .port = (int)cli_practice_number(cli, CLI_PORT, 0, 65534, 0),
                            .state = bench->shop.folder,
                            .tubes = bench->shop.tubes,
                            .priors = bench->priors,
                            .amp = cli_shop_amp,
                            .amps = cli_shop_amp_name,
                            .library = &bench->names,
                            .meters = bench->meters,
                            .practice = bench->practice};
    options.file = cli_page(&options.files);
    cli_amp_names_find(&bench->names);
    if (base_errors_worst(cli->errors) != BASE_OK) return false;
    bench->server = http_start(bench->shop.store, &options, cli->errors);
    return bench->server &&
           http_meter(bench->server, *bench->pty ? bench->pty : bench->meter, cli->errors);
}

/* ---- what it tells ------------------------------------------------------------------------- */

static void tell(cli *cli, const char *format, const char *text) {
    if (!cli_wants_json(cli)) printf(format, text);
    fflush(stdout);
}

static void tell_start(bench *bench) {
    cli *cli = bench->cli;
    const char *address = http_address(bench->server);
    tell(cli, "The practice bench is open at %s\n", address);
    tell(cli, "Simulated meter: %s\n", bench->meter);
    if (*bench->pty) tell(cli, "                 %s\n", bench->pty);
    tell(cli, "%s", "Nothing here is kept. Ctrl-C ends it.\n");
    cli_json_set(cli, cli->json, "address", http_json_text(address));
    cli_json_set(cli, cli->json, "meter", http_json_text(bench->meter));
    cli_json_set(cli, cli->json, "job", json_integer(bench->job));
}

static void tell_end(bench *bench) {
    practice_score score;
    char text[400];
    if (practice_finish(bench->practice, &score, bench->cli->errors) != BASE_OK) return;
    for (size_t i = 0; i < score.faults; i++) {
        snprintf(text, sizeof text, "Hidden was: %s, %s%s.\n", score.fault[i].part,
                 score.fault[i].what, score.fault[i].found ? " (found)" : "");
        tell(bench->cli, "%s", text);
    }
    snprintf(text, sizeof text, "Readings: %zu. Wrong parts replaced: %zu. Risky steps: %zu.\n",
             score.readings, score.now.wrong, score.now.risky);
    tell(bench->cli, "%s", text);
}

static void serve(bench *bench) {
    cli_catch_signals();
    if (!start(bench)) return;
    tell_start(bench);
    bool once = cli_option(bench->cli, CLI_ONCE) != NULL;
    if (!once && !cli_option(bench->cli, CLI_NO_BROWSER) && cli_has_desktop())
        cli_open_browser(http_address(bench->server));
    while (!once && !cli_ended())
        continue;
    if (!once) tell_end(bench);
}

/* ---- the command --------------------------------------------------------------------------- */

static uint64_t seed_of(cli *cli) {
    uint64_t now = (uint64_t)cli_now() % 1000000;
    return (uint64_t)cli_practice_number(cli, CLI_SEED, 0, 1000000000, (long)now);
}

static bool open_all(bench *bench) {
    cli *cli = bench->cli;
    practice_options options = {.system = bench->amp.system,
                                .priors = bench->priors,
                                .seed = seed_of(cli),
                                .faults = (int)cli_practice_number(cli, CLI_FAULTS, 1, 2, 1)};
    if (base_errors_worst(cli->errors) != BASE_OK) return false;
    bench->practice = practice_new(&options, cli->errors);
    return bench->practice && make_shop(bench) && take_in(bench) && make_meter(bench, &options);
}

static void close_all(bench *bench) {
    http_stop(bench->server);
    meter_sim_free(bench->sim);
    practice_free(bench->practice);
    cli_shop_close(&bench->shop);
    remove_shop(bench);
}

static void run(cli *cli) {
    bench bench = {.cli = cli};
    if (cli_amp_open(cli, cli->argument[0], &bench.amp) && (bench.priors = cli_priors(cli)) &&
        (bench.meters = cli_meters(cli))) {
        if (cli_option(cli, CLI_WORKED))
            cli_practice_worked(cli, &bench.amp, bench.priors);
        else if (open_all(&bench))
            serve(&bench);
        close_all(&bench);
    }
    meter_profiles_free(bench.meters);
    diagnose_priors_free(bench.priors);
    cli_amp_close(&bench.amp);
}

static const struct argp_option options[] = {
    {"seed", CLI_SEED, "N", 0, "The same number hides the same fault; by the clock where not given",
     0},
    {"faults", CLI_FAULTS, "N", 0, "How many are hidden: 1 or 2", 0},
    {"tcp", CLI_TCP, "PORT", 0, "Where the simulated meter listens; any free port where not given",
     0},
    {"pty", CLI_PTY, 0, 0, "The simulated meter on a pseudo-terminal too, and used from there", 0},
    {"worked", CLI_WORKED, 0, 0, "Let the program find hidden faults by itself, and count", 0},
    {"seeds", CLI_SEEDS, "N", 0, "With --worked: how many; 20", 0},
    {"port", CLI_PORT, "N", 0, "Of the page; any free one where not given", 0},
    {"no-browser", CLI_NO_BROWSER, 0, 0, "Print the address, and open no browser", 0},
    {"once", CLI_ONCE, 0, 0, "Set it all up, then end", 0},
    {0}};

const cli_command cli_practice_bench = {
    .name = "practice",
    .arguments = "AMP",
    .summary = "Find a fault that is hidden in a simulated amp",
    .about =
        "Hides a fault in AMP (a library amp or a file) as real amps have them, and opens the "
        "bench page with a simulated meter connected. The probe is moved on the drawing; the "
        "meter's noise, loading and settling, the mains and the draining of the capacitors are "
        "simulated. At the end it tells how many readings were taken and how many would have done, "
        "which parts were changed for nothing, and which steps would have been risky.\n\n"
        "With --worked nobody practises: the program works seeded faults by the bench's own code, "
        "in the guide's order and in the chart's, and counts what it finds with how many readings.",
    .examples = "  gridleak practice wren-hollow\n  gridleak practice wren-hollow --seed 7 "
                "--faults 2\n  gridleak practice wren-hollow --worked --seeds 100\n",
    .options = options,
    .least = 1,
    .most = 1,
    .run = run,
};
