/* gridleak bench: the server of the bench page. It is the one command that prints while it runs. */
#include "fetch_impl.h"
#include "page.h"
#include "serving_impl.h"
#include "shop_impl.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PORT 8473

typedef struct bench {
    cli *cli;
    cli_shop shop;
    cli_amp_names names;
    diagnose_priors *priors;
    meter_profiles *meters;
    http_server *server;
    char code[12]; /* the last pairing code told */
} bench;

static int port_of(cli *cli) {
    const char *text = cli_option(cli, CLI_PORT);
    char *end = NULL;
    long port = text ? strtol(text, &end, 10) : PORT;
    if (text && (end == text || *end || port < 0 || port > 65534))
        cli_usage(cli, "--port %.20s is no port|give 1024 to 65534, or 0 for any that is free",
                  text);
    return (int)port;
}

/* ---- what it tells ------------------------------------------------------------------------- */

/* Filled text, at once. */
static void tell(cli *cli, const char *text) {
    if (cli_wants_json(cli)) return;
    cli_fill(cli, 0, 0, text);
    fputs(cli->out.data ? cli->out.data : "", stdout);
    fflush(stdout);
    base_text_free(&cli->out);
    base_text_init(&cli->out, CLI_OUT_MAXIMUM);
}

static void tell_line(cli *cli, const char *before, const char *text) {
    if (cli_wants_json(cli)) return;
    printf("%s%s%s%s\n", before, cli_style_on(cli, CLI_STRONG), text, cli_style_on(cli, CLI_PLAIN));
    fflush(stdout);
}

static void tell_code(bench *bench, const http_lan *lan) {
    char link[160];
    strcpy(bench->code, lan->code);
    if (cli_wants_json(bench->cli)) return;
    snprintf(link, sizeof link, "%spair?code=%.4s%.4s", lan->address ? lan->address : "", lan->code,
             lan->code + 5);
    char *drawn = bench->cli->utf8 && lan->address ? http_qr_text(link) : NULL;
    if (drawn) fputs(drawn, stdout);
    free(drawn);
    tell_line(bench->cli, "  Code for the next device: ", lan->code);
}

static void tell_lan(bench *bench) {
    http_lan lan;
    if (!http_lan_now(bench->server, &lan)) return;
    tell(bench->cli, "");
    tell_line(bench->cli, "Open to the local network: ",
              lan.address ? lan.address : "this machine has no address on a network");
    tell(bench->cli,
         "Every device that gives the code can read and change everything in this shop: owners "
         "and their telephone numbers, jobs, photos. Leave --lan out where strangers are in the "
         "network. The connection is encrypted by a certificate of the bench's own making; the "
         "browser warns of it once. Compare the fingerprint there:");
    tell_line(bench->cli, "  ", lan.fingerprint);
    tell_code(bench, &lan);
}

static void tell_start(bench *bench) {
    cli *cli = bench->cli;
    const char *address = http_address(bench->server);
    tell_line(cli, "The bench is open at ", address);
    tell_line(cli, "Shop: ", bench->shop.path);
    if (!cli_option(cli, CLI_LAN)) tell(cli, "It answers on this computer only.");
    tell_lan(bench);
    if (!cli_option(cli, CLI_ONCE)) tell(cli, "Ctrl-C ends it; nothing is lost.");
    cli_json_set(cli, cli->json, "address", http_json_text(address));
    cli_json_set(cli, cli->json, "shop", http_json_text(bench->shop.path));
}

/* ---- start, wait, end ---------------------------------------------------------------------- */

static bool start(bench *bench) {
    cli *cli = bench->cli;
    http_options options = {.version = GRIDLEAK_VERSION,
                            .port = port_of(cli),
                            .lan = cli_option(cli, CLI_LAN) != NULL,
                            .state = bench->shop.folder,
                            .tubes = bench->shop.tubes,
                            .priors = bench->priors,
                            .meters = bench->meters,
                            .amp = cli_shop_amp,
                            .amps = cli_shop_amp_name,
                            .library = &bench->names};
    options.file = cli_page(&options.files);
    cli_amp_names_find(&bench->names);
    if (base_errors_worst(cli->errors) == BASE_OK)
        bench->server = http_start(bench->shop.store, &options, cli->errors);
    return bench->server != NULL;
}

/* Tells the new code when a device was paired. */
static void wait_for_end(bench *bench) {
    http_lan lan;
    while (!cli_ended())
        if (http_lan_now(bench->server, &lan) && strcmp(lan.code, bench->code) != 0)
            tell_code(bench, &lan);
    tell(bench->cli, "The bench is closed.");
}

/* Does the page answer? */
static void look_once(bench *bench) {
    cli *cli = bench->cli;
    size_t length = 0;
    int port = http_port(bench->server), page = cli_fetch(port, "/", &length);
    int api = cli_fetch(port, "/api/jobs", &(size_t){0});
    if (page != 200 || api != 200)
        base_errors_add(cli->errors, BASE_FILE, (base_place){.file = http_address(bench->server)},
                        "the page answers %d, the list of jobs %d|build the program with node and "
                        "npm there; look at the shop's store",
                        page, api);
    else
        tell(cli, "The page answers.");
    cli_json_set(cli, cli->json, "page_bytes", json_integer((json_int_t)length));
}

static void serve(bench *bench) {
    cli_catch_signals();
    if (!start(bench)) return;
    tell_start(bench);
    bool once = cli_option(bench->cli, CLI_ONCE) != NULL;
    if (!once && !cli_option(bench->cli, CLI_NO_BROWSER) && cli_has_desktop())
        cli_open_browser(http_address(bench->server));
    if (once)
        look_once(bench);
    else
        wait_for_end(bench);
    http_stop(bench->server);
}

static void run(cli *cli) {
    bench bench = {.cli = cli};
    if (cli_shop_open(cli, 0, true, &bench.shop) && (bench.priors = cli_priors(cli)) &&
        (bench.meters = cli_meters(cli)))
        serve(&bench);
    meter_profiles_free(bench.meters);
    diagnose_priors_free(bench.priors);
    cli_shop_close(&bench.shop);
}

static const struct argp_option options[] = {
    {"port", CLI_PORT, "N", 0, "The port: 8473 when not given, 0 for any that is free", 0},
    {"lan", CLI_LAN, 0, 0, "Open to other devices of the local network, by a pairing code", 0},
    {"no-browser", CLI_NO_BROWSER, 0, 0, "Print the address, and open no browser", 0},
    {"once", CLI_ONCE, 0, 0, "Look whether the page answers, then end", 0},
    {0}};

const cli_command cli_bench_page = {
    .name = "bench",
    .arguments = "[SHOP]",
    .summary = "Open the bench page: jobs from intake to hand-over",
    .about =
        "Starts the server of the bench page on this computer and opens the page in a browser. "
        "Every fact is on the disk before the page is told so: pulling the plug loses nothing "
        "that was recorded. Without --lan nothing outside of this computer can reach it.\n\n"
        "With --lan a tablet beside the chassis can join. The bench shows a code of eight digits, "
        "also as QR; who gives it can read and change everything in the shop.\n\n" CLI_SHOP_HELP,
    .examples = "  gridleak bench\n  gridleak bench my-shop.db --port 0 --no-browser\n"
                "  gridleak bench --lan\n",
    .options = options,
    .most = 1,
    .run = run,
};
