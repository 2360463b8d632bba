/* The handbook's examples are tests. A block ```console holds commands after `$ `, each with the
 * output that it shows; `...` stands for what is left out, and `(exit N)` on a line of its own for
 * a status that is not 0. Words must agree, numbers within a fifth: the handbook shows a picture,
 * not a promise of digits. */
#include "run.h"

#include <math.h>

#define TOKENS 64
#define WORD 128

static int split(char *line, char *token[TOKENS]) {
    int count = 0;
    for (char *word = strtok(line, " \t\r"); word && count < TOKENS; word = strtok(NULL, " \t\r"))
        token[count++] = word;
    return count;
}

/* The number that a word begins with, after a bracket: "(20", "4.5", and "3M3", which is 3.3 and
 * leaves "M" behind. NAN: it is a word. *unit receives what is left. */
static double number_of(const char *word, char unit[WORD]) {
    char *end;
    word += *word == '(';
    double value = strtod(word, &end);
    if (end == word) return NAN;
    size_t kept = 0;
    if (*end && strchr("kMRunp", *end)) {
        unit[kept++] = *end++;
        for (double digit = 0.1; *end >= '0' && *end <= '9'; digit /= 10)
            value += digit * (*end++ - '0');
    }
    snprintf(unit + kept, WORD - kept, "%s", end);
    return value;
}

static bool is_bar(const char *word) {
    return *word == '#' || (unsigned char)*word == 0xE2;
}

static bool same_word(const char *shown, const char *actual) {
    char unit[WORD] = "", other[WORD] = "";
    double a = number_of(shown, unit), b = number_of(actual, other);
    if (is_bar(shown) && is_bar(actual)) return true;
    if (isnan(a) || isnan(b) || strcmp(unit, other) != 0) return strcmp(shown, actual) == 0;
    return fabs(a - b) <= 0.2 * fmax(fabs(a), fabs(b)) + 0.2;
}

static bool same_line(const char *shown, const char *actual, size_t length) {
    char a[512], b[512], *words_a[TOKENS], *words_b[TOKENS];
    snprintf(a, sizeof a, "%s", shown);
    snprintf(b, sizeof b, "%.*s", (int)length, actual);
    int count = split(a, words_a);
    if (count != split(b, words_b)) return false;
    for (int i = 0; i < count; i++)
        if (!same_word(words_a[i], words_b[i])) return false;
    return true;
}

static bool shown_by(const run *run, const char *shown) {
    const char *texts[] = {run->out, run->err};
    for (int t = 0; t < 2; t++)
        for (const char *line = texts[t]; *line;) {
            size_t length = strcspn(line, "\n");
            if (same_line(shown, line, length)) return true;
            line += length + (line[length] == '\n');
        }
    return false;
}

static void check_status(const run *run, int expected, const char *command) {
    if (command && run->status != expected)
        fail_msg("handbook: `%s` ended with %d, not %d\n%s%s", command, run->status, expected,
                 run->out, run->err);
}

static void one_block(run *run, char *block, int *commands) {
    char *command = NULL, *end;
    int expected = 0;
    for (char *line = block; *line; line = end) {
        end = line + strcspn(line, "\n");
        if (*end) *end++ = 0;
        if (strncmp(line, "$ ", 2) == 0) {
            check_status(run, expected, command);
            command = line + 2;
            expected = 0;
            run_command(run, command);
            ++*commands;
        } else if (sscanf(line, "(exit %d)", &expected) != 1 && strcmp(line, "...") != 0 &&
                   command && *line && !shown_by(run, line)) {
            fail_msg("handbook: `%s` does not show\n%s\nbut\n%s%s", command, line, run->out,
                     run->err);
        }
    }
    check_status(run, expected, command);
}

static void test_document(void **state) {
    char *text = support_file(*state, NULL), *at = text;
    int commands = 0;
    run run;
    run_open(&run);
    while ((at = strstr(at, "```console\n"))) {
        char *begin = at + strlen("```console\n"), *end = strstr(begin, "```");
        assert_non_null(end);
        *end = 0;
        at = end + 3;
        one_block(&run, begin, &commands);
    }
    assert_true(commands > 0);
    run_close(&run);
    free(text);
}

int main(void) {
    static char handbook[] = "docs/handbook.md", json[] = "docs/json.md";
    const struct CMUnitTest tests[] = {
        {.name = "handbook.md", .test_func = test_document, .initial_state = handbook},
        {.name = "json.md", .test_func = test_document, .initial_state = json},
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
