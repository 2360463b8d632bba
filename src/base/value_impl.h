/* Between the files that read and write values: the digits of a number and the words of its unit.
 */
#ifndef GRIDLEAK_BASE_VALUE_IMPL_H
#define GRIDLEAK_BASE_VALUE_IMPL_H

#include "base.h"

enum { VALUE_LONGEST = 64 }; /* bytes of a value's text, blanks at its ends left out */

/* What value_scan found: digits x 10^exponent, then a word ("k", "uF", "mfd", "Rohm"). */
typedef struct value_number {
    bool negative;
    char digits[VALUE_LONGEST + 1];
    int exponent;
    char word[VALUE_LONGEST + 1]; /* blanks dropped; the two signs for micro are `u`, ohm `R` */
    bool thousands;               /* `4,700`: a decimal comma or a thousands comma, nobody knows */
    bool letter_e; /* `4E7`: an exponent without a sign, in old letter code 4.7 ohms */
} value_number;

/* Takes the text apart; NULL, or what is wrong with it as "cause|remedy" without the text. */
const char *value_scan(const char *text, value_number *number);

/* The number without its word; not finite when it is beyond what a double holds. */
double value_of(const value_number *number, int power);

/* The power of ten that the word stands for in this quantity; false if it is no such word. */
bool value_word(const char *word, base_quantity quantity, int *power);

/* The quantity whose unit the word names outright ("uF", "volts"), or BASE_QUANTITIES. */
base_quantity value_unit_of(const char *word);

/* For a word that means two things in this quantity: the two words that mean one each. */
typedef struct value_doubt {
    const char *one, *other;
} value_doubt;
bool value_doubtful(const char *word, base_quantity quantity, value_doubt *doubt);

/* How the quantity is spoken of: "ohms", and "4k7, 470R or 1M". */
const char *value_quantity_name(base_quantity quantity);
const char *value_quantity_example(base_quantity quantity);

#endif
