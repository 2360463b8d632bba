/* gridleak meter: what is connected, and does it answer. */
#include "cli.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define TRY_S 4.0
#define PORTS 32

/* ---- one meter ----------------------------------------------------------------------------- */

static void json_now(cli *cli, json_t *row, const meter_now *now) {
    cli_json_set(cli, row, "identity", http_json_text(now->identity));
    cli_json_set(cli, row, "profile", http_json_text(now->profile));
    cli_json_set(cli, row, "volts", http_json_number(now->last.volts));
    cli_json_set(cli, row, "overload", json_boolean(now->last.word == METER_OVERLOAD));
    cli_json_set(cli, row, "range_v", http_json_number(now->range_v));
}

static const char *shows(const meter_now *now, char text[32]) {
    if (now->last.word == METER_OVERLOAD) return "an overload: more than its range";
    if (now->last.word != METER_NUMBER) return "no number";
    snprintf(text, 32, "%.6g V", now->last.volts);
    return text;
}

/* Asks one; says what it is, or what is the matter. */
static bool try_one(cli *cli, const char *address, const meter_options *options, json_t *row) {
    base_errors *own = base_errors_new();
    meter_now now;
    char text[32];
    bool answers = own && meter_try(address, options, TRY_S, &now, own);
    cli_json_set(cli, row, "answers", json_boolean(answers));
    if (answers) {
        json_now(cli, row, &now);
        base_text_add(&cli->out, "    %s\n    shows %s (profile: %s)\n", now.identity,
                      shows(&now, text), now.profile);
    } else if (own && base_errors_count(own)) {
        const base_error *error = base_errors_at(own, 0);
        cli_json_set(cli, row, "cause", http_json_text(error->cause));
        cli_json_set(cli, row, "remedy", http_json_text(error->remedy));
        base_text_add(&cli->out, "    no answer: %s; %s\n", error->cause, error->remedy);
    }
    base_errors_free(own);
    return answers;
}

/* ---- the list ------------------------------------------------------------------------------ */

static void list(cli *cli, const meter_options *options) {
    meter_found found[PORTS];
    size_t count = meter_list(found, PORTS), answering = 0;
    json_t *rows = cli_json_list_in(cli, cli->json, "found");
    cli_heading(cli, "Connected");
    for (size_t i = 0; i < count && i < PORTS; i++) {
        json_t *row = cli_json_row_in(cli, rows);
        cli_json_set(cli, row, "address", http_json_text(found[i].address));
        cli_json_set(cli, row, "about", http_json_text(found[i].about));
        base_text_add(&cli->out, "  %s  %s\n", found[i].address, found[i].about);
        answering += try_one(cli, found[i].address, options, row);
    }
    if (count == 0) base_text_add(&cli->out, "  nothing on a serial line or USB\n");
    if (answering == 0)
        cli_fill(cli, 0, 0,
                 "No meter answers. One on the network is not found by looking: give its address, "
                 "as in gridleak meter tcp:192.168.1.30. Without a wire, readings can be typed.");
}

static void list_profiles(cli *cli, const meter_profiles *profiles) {
    json_t *names = cli_json_list_in(cli, cli->json, "profiles");
    base_text_add(&cli->out, "\n");
    cli_heading(cli, "Profiles");
    for (size_t i = 0; i < meter_profiles_count(profiles); i++) {
        const meter_profile *one = meter_profile_at(profiles, i);
        cli_json_add(cli, names, http_json_text(one->name));
        base_text_add(&cli->out, "  %-16s %d baud %s, %.0f Mohm\n", one->name, one->baud,
                      one->frame, one->ohms / 1e6);
    }
}

/* ---- watching one -------------------------------------------------------------------------- */

/* A line for each change of what it shows, for some seconds. */
static void watch(cli *cli, const char *address, const meter_options *options, double seconds) {
    meter *meter = meter_start(address, options, cli->errors);
    json_t *rows = cli_json_list_in(cli, cli->json, "readings");
    uint64_t seen = 0;
    meter_now now;
    char text[32];
    for (double until = meter_ticks() + seconds; meter && meter_ticks() < until;) {
        struct timespec pause = {0, 50000000};
        nanosleep(&pause, NULL);
        meter_get(meter, &now);
        if (now.samples == seen) continue;
        seen = now.samples;
        json_t *row = cli_json_row_in(cli, rows);
        cli_json_set(cli, row, "volts", http_json_number(now.last.volts));
        cli_json_set(cli, row, "state", json_string(meter_state_name(now.settled.state)));
        base_text_add(&cli->out, "  %14s  %s\n", shows(&now, text),
                      meter_state_name(now.settled.state));
    }
    if (meter && seen == 0)
        base_errors_add(cli->errors, BASE_FILE, (base_place){.file = address}, "%s|%s",
                        *now.words ? now.words : "nothing came from the meter in that time",
                        "switch it on; look at its cable and its address");
    meter_stop(meter);
}

static bool add_file(cli *cli, meter_profiles *profiles, const char *path, char name[48]) {
    size_t length, before = meter_profiles_count(profiles);
    char *text = cli_read_file(cli, path, &length);
    bool good = text && meter_profiles_add(profiles, path, text, length, cli->errors) == BASE_OK;
    if (good && meter_profiles_count(profiles) > before)
        strcpy(name, meter_profile_at(profiles, before)->name);
    free(text);
    return good;
}

/* --profile NAME, or a file. */
static bool choose_profile(cli *cli, meter_profiles *profiles, char name[48]) {
    const char *given = cli_option(cli, CLI_PROFILE);
    if (!given) return true;
    if (strchr(given, '/') || strstr(given, ".yaml")) return add_file(cli, profiles, given, name);
    snprintf(name, 48, "%s", given);
    return true;
}

static void run(cli *cli) {
    char profile[48] = "";
    meter_profiles *profiles = cli_meters(cli);
    double seconds = cli_number(cli, CLI_WATCH, BASE_NUMBER, 0.5, 3600);
    if (!profiles || base_errors_worst(cli->errors) != BASE_OK ||
        !choose_profile(cli, profiles, profile)) {
        meter_profiles_free(profiles);
        return;
    }
    meter_options options = {.profiles = profiles, .profile = *profile ? profile : NULL};
    if (cli->arguments == 0) {
        list(cli, &options);
        list_profiles(cli, profiles);
    } else if (isfinite(seconds)) {
        watch(cli, cli->argument[0], &options, seconds);
    } else {
        meter_now now;
        char text[32];
        if (meter_try(cli->argument[0], &options, TRY_S, &now, cli->errors)) {
            json_now(cli, cli->json, &now);
            base_text_add(&cli->out, "%s\nshows %s (profile: %s)\n", now.identity,
                          shows(&now, text), now.profile);
        }
    }
    meter_profiles_free(profiles);
}

static const struct argp_option options[] = {
    {"profile", CLI_PROFILE, "NAME", 0, "How to speak to it: a profile, or a file of one", 0},
    {"watch", CLI_WATCH, "SECONDS", 0, "Print what it shows for so long", 0},
    {0}};

const cli_command cli_meter_list = {
    .name = "meter",
    .arguments = "[ADDRESS]",
    .summary = "List the bench meters that are connected, and try them",
    .about =
        "Without ADDRESS it looks at every serial port and USB test-class device of this computer "
        "and asks each what it is and what it shows. ADDRESS is tcp:HOST (port 5025 where none is "
        "given), serial:/dev/ttyUSB0, usb:/dev/usbtmc0 or pty:/dev/pts/3. Meters are spoken to in "
        "SCPI; one that wants another speed, frame or line end has a profile (docs/meters.md).\n\n"
        "The meter is set to its 1000 V DC range and left in local when the command ends.",
    .examples = "  gridleak meter\n  gridleak meter tcp:192.168.1.30 --watch 10\n"
                "  gridleak meter serial:/dev/ttyUSB0 --profile \"slow serial\"\n",
    .options = options,
    .most = 1,
    .run = run,
};
