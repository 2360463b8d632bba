/* The program as a user meets it. Each tests/cli/cases/NAME.test holds cases of lines:
 *
 *   run COMMAND          a line of shell; begins a case
 *   status N             its exit status (0 when not stated)
 *   out TEXT             standard output holds TEXT;  out! TEXT: it does not
 *   out~ REGEX           a line of it matches;        out= : it is empty
 *   err TEXT, err! TEXT, err~ REGEX, err=             the same of standard error
 *   err: LINE            LINE is one whole line of it
 *   width N              no line of standard output is wider
 *   json PATH            standard output is JSON and has PATH: a.0.b
 *   json PATH = TEXT     ... which is this text, or true, false, null
 *   json PATH ~ N T      ... which is a number within T of N
 *   json PATH # N        ... which is a list of at least N
 *   ejson PATH ...       the same of standard error
 *
 * Lines that begin with # and empty lines are for the reader. */
#include "run.h"

#include <glob.h>
#include <jansson.h>
#include <math.h>

/* ---- JSON ---------------------------------------------------------------------------------- */

static json_t *follow(json_t *value, char *path) {
    for (char *key = strtok(path, "."); key && value; key = strtok(NULL, ".")) {
        if (json_is_array(value))
            value = json_array_get(value, (size_t)atoi(key));
        else
            value = json_object_get(value, key);
    }
    return value;
}

static bool is_text(const json_t *value, const char *text) {
    if (strcmp(text, "null") == 0) return json_is_null(value);
    if (strcmp(text, "true") == 0) return json_is_true(value);
    if (strcmp(text, "false") == 0) return json_is_false(value);
    return json_is_string(value) && strcmp(json_string_value(value), text) == 0;
}

static bool json_holds(const char *text, const char *rest) {
    char path[256], sign = 0, wanted[512] = "";
    json_error_t error;
    if (sscanf(rest, "%255s %c %511[^\n]", path, &sign, wanted) < 1) return false;
    json_t *root = json_loads(text, JSON_REJECT_DUPLICATES, &error);
    if (!root) return false;
    json_t *value = follow(root, path);
    double number = 0, within = 0;
    bool holds = value != NULL;
    if (sign == '=') holds = holds && is_text(value, wanted);
    if (sign == '#') holds = holds && json_array_size(value) >= (size_t)atoi(wanted);
    if (sign == '~')
        holds = holds && sscanf(wanted, "%lf %lf", &number, &within) == 2 &&
                json_is_number(value) && fabs(json_number_value(value) - number) <= within;
    json_decref(root);
    return holds;
}

/* ---- one line ------------------------------------------------------------------------------ */

static bool text_holds(const char *text, char sign, const char *rest) {
    switch (sign) {
    case '!':
        return !strstr(text, rest);
    case '~':
        return run_matches(text, rest);
    case '=':
        return !*text;
    case ':':
        return run_has_line(text, rest);
    default:
        return strstr(text, rest) != NULL;
    }
}

static bool line_holds(const run *run, const char *word, const char *rest) {
    size_t last = strlen(word) - 1;
    char sign = strchr("!~=:", word[last]) ? word[last] : 0;
    if (strncmp(word, "out", 3) == 0) return text_holds(run->out, sign, rest);
    if (strncmp(word, "err", 3) == 0) return text_holds(run->err, sign, rest);
    if (strcmp(word, "status") == 0) return run->status == atoi(rest);
    if (strcmp(word, "width") == 0) return run_width(run->out) <= atoi(rest);
    if (strcmp(word, "json") == 0) return json_holds(run->out, rest);
    if (strcmp(word, "ejson") == 0) return json_holds(run->err, rest);
    fail_msg("the word `%s` is not known to the cases", word);
    return false;
}

/* A case that does not state its status must end with 0. */
static bool states_status(const char *from) {
    for (const char *line = from; line; line = strchr(line, '\n')) {
        line += *line == '\n';
        if (strncmp(line, "run ", 4) == 0) return false;
        if (strncmp(line, "status ", 7) == 0) return true;
    }
    return false;
}

static void one_line(run *run, const char *path, int number, const char *line) {
    char word[16] = "";
    const char *rest;
    if (sscanf(line, "%15s", word) < 1 || *word == '#') return;
    rest = line + strspn(line, " ") + strlen(word);
    rest += *rest == ' ';
    if (strcmp(word, "run") == 0) return run_command(run, rest);
    if (run->out && line_holds(run, word, rest)) return;
    fail_msg("%s:%d: does not hold: %s\nstatus %d\n--- out\n%.3000s\n--- err\n%.3000s", path,
             number, line, run->status, run->out ? run->out : "", run->err ? run->err : "");
}

/* ---- one file ------------------------------------------------------------------------------ */

static void test_file(void **state) {
    const char *path = *state;
    char *text = support_file(path + strlen(SOURCE_DIR) + 1, NULL);
    run run;
    int number = 0;
    run_open(&run);
    for (char *line = text, *end; *line; line = end) {
        end = line + strcspn(line, "\n");
        const char *after = end;
        if (*end) *end++ = 0;
        number++;
        one_line(&run, path, number, line);
        if (strncmp(line, "run ", 4) == 0 && !states_status(after < end ? end : after))
            one_line(&run, path, number, "status 0");
    }
    run_close(&run);
    free(text);
}

int main(void) {
    static struct CMUnitTest tests[256];
    glob_t found;
    size_t count = 0;
    if (glob(SOURCE_DIR "/tests/cli/cases/*.test", 0, NULL, &found) != 0) return 1;
    for (; count < found.gl_pathc && count < 256; count++)
        tests[count] = (struct CMUnitTest){.name = strrchr(found.gl_pathv[count], '/') + 1,
                                           .test_func = test_file,
                                           .initial_state = found.gl_pathv[count]};
    int failed = _cmocka_run_group_tests("cases", tests, count, NULL, NULL);
    globfree(&found);
    return failed;
}
