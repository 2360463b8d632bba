/* Runs the program as a user does: a line of shell in a folder of its own, with `gridleak` on the
 * path, a few good and bad files beside it, and both outputs kept. */
#ifndef GRIDLEAK_TESTS_CLI_RUN_H
#define GRIDLEAK_TESTS_CLI_RUN_H

#include "../support.h"

#include <dirent.h>
#include <fcntl.h>
#include <regex.h>
#include <stdbool.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

typedef struct run {
    char folder[64]; /* where the commands run; removed by run_close */
    int status;
    char *out, *err;
} run;

static inline void run_system(const char *format, const char *a, const char *b) {
    char line[2048];
    snprintf(line, sizeof line, format, a, b);
    assert_int_equal(system(line), 0);
}

static inline void run_open(run *run) {
    *run = (struct run){.folder = "/tmp/gridleak-test-XXXXXX"};
    assert_non_null(mkdtemp(run->folder));
    run_system("mkdir %s/.bin && ln -s " PROGRAM " %s/.bin/gridleak", run->folder, run->folder);
    run_system("cp %s/tests/cli/files/* %s", SOURCE_DIR, run->folder);
    run_system("cp %s/data/amps/wren-hollow.yaml %s/my-amp.yaml", SOURCE_DIR, run->folder);
    run_system("cp %s/data/demo/wren-hollow.yaml %s/readings.yaml", SOURCE_DIR, run->folder);
}

static inline void run_forget(run *run) {
    free(run->out);
    free(run->err);
    run->out = run->err = NULL;
}

static inline void run_close(run *run) {
    run_forget(run);
    run_system("chmod -R u+rwX %s && rm -rf %s", run->folder, run->folder);
}

static inline char *run_text(const run *run, const char *name) {
    char path[128];
    size_t room = 1u << 22, length;
    snprintf(path, sizeof path, "%s/.%s", run->folder, name);
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    char *text = malloc(room + 1);
    assert_non_null(text);
    length = fread(text, 1, room, file);
    text[length] = 0;
    fclose(file);
    return text;
}

static inline void run_child(const run *run, const char *command) {
    char path[4096];
    snprintf(path, sizeof path, "%s/.bin:%s", run->folder, getenv("PATH"));
    if (chdir(run->folder) != 0) _exit(125);
    int out = open(".out", O_CREAT | O_TRUNC | O_WRONLY, 0600);
    int err = open(".err", O_CREAT | O_TRUNC | O_WRONLY, 0600);
    if (dup2(out, 1) < 0 || dup2(err, 2) < 0) _exit(125);
    setenv("PATH", path, 1);
    setenv("LC_ALL", "C.UTF-8", 1);
    unsetenv("NO_COLOR");
    execl("/bin/sh", "sh", "-c", command, (char *)NULL);
    _exit(125);
}

/* The status is the shell's: 128 + N for a signal N. */
static inline void run_command(run *run, const char *command) {
    int status = 0;
    run_forget(run);
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) run_child(run, command);
    assert_int_equal(waitpid(child, &status, 0), child);
    run->status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    run->out = run_text(run, "out");
    run->err = run_text(run, "err");
}

static inline bool run_matches(const char *text, const char *pattern) {
    regex_t regex;
    assert_int_equal(regcomp(&regex, pattern, REG_EXTENDED | REG_NOSUB | REG_NEWLINE), 0);
    bool found = regexec(&regex, text, 0, NULL, 0) == 0;
    regfree(&regex);
    return found;
}

/* Is `line` one whole line of `text`? */
static inline bool run_has_line(const char *text, const char *line) {
    size_t length = strlen(line);
    for (const char *at = strstr(text, line); at; at = strstr(at + 1, line))
        if ((at == text || at[-1] == '\n') && (at[length] == '\n' || !at[length])) return true;
    return false;
}

/* Columns of the widest line; a UTF-8 character counts once. */
static inline int run_width(const char *text) {
    int widest = 0, width = 0;
    for (; *text; text++) {
        if (*text == '\n')
            width = 0;
        else if ((*text & 0xC0) != 0x80)
            width++;
        if (width > widest) widest = width;
    }
    return widest;
}

#endif
