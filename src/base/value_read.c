/* One reader for every value that a person types. */
#include "value_impl.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Where a complaint goes and what it is about. */
typedef struct asked {
    const char *text;
    base_quantity quantity;
    base_place place;
    base_errors *errors;
} asked;

enum { SHOWN = 40 }; /* characters of a text repeated in a complaint */

static base_code refuse_text(const asked *of, const char *wrong) {
    const char *bar = strchr(wrong, '|');
    if (bar)
        return base_errors_add(of->errors, BASE_SYNTAX, of->place, "\"%.*s\" %.*s|%s", SHOWN,
                               of->text, (int)(bar - wrong), wrong, bar + 1);
    const char *name = value_quantity_name(of->quantity);
    const char *example = value_quantity_example(of->quantity);
    if (strspn(of->text, " \t") == strlen(of->text))
        return base_errors_add(of->errors, BASE_SYNTAX, of->place,
                               "no value is given|write %s, such as %s", name, example);
    return base_errors_add(of->errors, BASE_SYNTAX, of->place, "\"%.*s\" %s|write %s, such as %s",
                           SHOWN, of->text, wrong, name, example);
}

static base_code refuse_unit(const asked *of, const value_number *number) {
    const char *name = value_quantity_name(of->quantity);
    const char *example = value_quantity_example(of->quantity);
    base_quantity other = value_unit_of(number->word);
    if (other != BASE_QUANTITIES && other != of->quantity)
        return base_errors_add(of->errors, BASE_VALUE, of->place,
                               "\"%.*s\" is in %s, but %s must stand here|write it like %s", SHOWN,
                               of->text, value_quantity_name(other), name, example);
    return base_errors_add(of->errors, BASE_VALUE, of->place,
                           "\"%.*s\": \"%s\" means nothing in %s|write it like %s", SHOWN, of->text,
                           number->word, name, example);
}

static base_code ask_word(const asked *of, const value_number *number, value_doubt doubt) {
    char bare[48];
    base_value_write(value_of(number, 0), BASE_NUMBER, bare, sizeof bare);
    return base_errors_add(of->errors, BASE_VALUE, of->place,
                           "\"%.*s\" can be read in two ways|write %s%s or %s%s", SHOWN, of->text,
                           bare, doubt.one, bare, doubt.other);
}

/* `4,700`: a decimal comma, or one that parts the thousands. */
static base_code ask_comma(const asked *of, const value_number *number) {
    char one[48], other[48];
    base_value_write(value_of(number, 0), BASE_NUMBER, one, sizeof one);
    base_value_write(value_of(number, 3), BASE_NUMBER, other, sizeof other);
    return base_errors_add(of->errors, BASE_VALUE, of->place,
                           "\"%.*s\" can be read in two ways|write %s or %s%s", SHOWN, of->text,
                           one, other, number->word[0] ? ", then the unit" : "");
}

/* `4E7` ohms: 40 megohm, or in an old letter code 4.7 ohm. */
static base_code ask_letter(const asked *of) {
    return base_errors_add(of->errors, BASE_VALUE, of->place,
                           "\"%.*s\" can be read in two ways|write R for the decimal point (4R7), "
                           "or write all digits out",
                           SHOWN, of->text);
}

static base_code refuse_size(const asked *of) {
    return base_errors_add(
        of->errors, BASE_VALUE, of->place, "\"%.*s\" is beyond any real value|write %s, such as %s",
        SHOWN, of->text, value_quantity_name(of->quantity), value_quantity_example(of->quantity));
}

static bool may_be_negative(base_quantity quantity) {
    return quantity == BASE_VOLTS || quantity == BASE_AMPERES || quantity == BASE_PERCENT ||
           quantity == BASE_NUMBER;
}

/* IEC 60062 tolerance letters (from memory), in percent. */
static bool tolerance_letter(const char *text, double *value) {
    static const char letters[] = "BCDFGJKMN";
    static const double percents[] = {0.1, 0.25, 0.5, 1, 2, 5, 10, 20, 30};
    const char *found = text[0] && !text[1] ? strchr(letters, text[0]) : NULL;
    if (found) *value = percents[found - letters] / 100;
    return found != NULL;
}

/* What is wrong with the number in this quantity, else BASE_OK and its value. */
static base_code judge(const asked *of, const value_number *number, double *value) {
    int power;
    value_doubt doubt;
    bool zero = strspn(number->digits, "0") == strlen(number->digits);
    if (number->thousands) return ask_comma(of, number);
    if (number->letter_e && of->quantity == BASE_OHMS) return ask_letter(of);
    if (zero && !number->word[0]) {
        *value = 0;
        return BASE_OK;
    }
    if (value_doubtful(number->word, of->quantity, &doubt)) return ask_word(of, number, doubt);
    if (!value_word(number->word, of->quantity, &power)) return refuse_unit(of, number);
    double read = value_of(number, of->quantity == BASE_PERCENT ? power - 2 : power);
    if (!isfinite(read) || (read == 0 && !zero)) return refuse_size(of);
    if (read < 0 && !may_be_negative(of->quantity))
        return base_errors_add(of->errors, BASE_VALUE, of->place,
                               "\"%.*s\" is negative|leave the sign out: %s are never below zero",
                               SHOWN, of->text, value_quantity_name(of->quantity));
    *value = read;
    return BASE_OK;
}

base_code base_value_read(const char *text, base_quantity quantity, base_place place, double *value,
                          base_errors *errors) {
    asked of = {text, quantity, place, errors};
    value_number number;
    *value = NAN;
    if (quantity == BASE_PERCENT && tolerance_letter(text, value)) return BASE_OK;
    const char *wrong = value_scan(text, &number);
    return wrong ? refuse_text(&of, wrong) : judge(&of, &number, value);
}
