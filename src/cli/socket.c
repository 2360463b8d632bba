/* The socket as the soldering iron sees it: from below, numbered clockwise from the key. */
#include "cli.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define ROWS 7
#define COLUMNS 22
#define MIDDLE 10

/* Angle of a pin from the key or gap at the bottom, clockwise, in turns. An octal base has its key
 * between pins 8 and 1; noval and miniature bases leave one place of an even ring free. */
static double turn(int pins, int pin) {
    return pins == 8 ? (pin - 0.5) / 8 : (double)pin / (pins + 1);
}

static void put(char rows[ROWS][COLUMNS + 1], int row, int column, const char *text) {
    memcpy(&rows[row][column], text, strlen(text));
}

static void draw(char rows[ROWS][COLUMNS + 1], int pins, int marked) {
    for (int row = 0; row < ROWS; row++) {
        memset(rows[row], ' ', COLUMNS);
        rows[row][COLUMNS] = 0;
    }
    for (int pin = 1; pin <= pins; pin++) {
        double angle = 2 * M_PI * turn(pins, pin);
        int column = (int)lround(MIDDLE - 7 * sin(angle));
        int row = (int)lround(3 + 3 * cos(angle));
        char label[8];
        snprintf(label, sizeof label, pin == marked ? "[%d]" : "%d", pin % 10);
        put(rows, row, pin == marked ? column - 1 : column, label);
    }
    put(rows, ROWS - 1, pins == 8 ? MIDDLE : MIDDLE - 1, pins == 8 ? "^" : "gap");
}

void cli_socket(cli *cli, const tube_type *type, int pin, const char *lead) {
    char rows[ROWS][COLUMNS + 1], name[96];
    int lines = type->pins > ROWS ? type->pins : ROWS;
    draw(rows, type->pins, pin);
    base_text_add(&cli->out, "  %s, the socket from below\n", type->name);
    for (int line = 0; line < lines; line++) {
        base_text_add(&cli->out, "  %-*s", COLUMNS, line < ROWS ? rows[line] : "");
        if (line < type->pins) {
            bool here = line + 1 == pin;
            base_text_add(&cli->out, "%s%s %d  %s%s%s%s", here ? cli_style_on(cli, CLI_STRONG) : "",
                          here ? ">" : " ", line + 1,
                          tube_pin_words(type, line + 1, name, sizeof name), here ? "   <- " : "",
                          here ? lead : "", here ? cli_style_on(cli, CLI_PLAIN) : "");
        }
        base_text_add(&cli->out, "\n");
    }
}
