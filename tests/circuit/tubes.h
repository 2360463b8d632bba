/* A small tube library for tests of the amp file: basings and heaters as published (receiving tube
 * manual RC-30, from memory); the curves are made up, since nothing here looks at them. */
#ifndef GRIDLEAK_TESTS_CIRCUIT_TUBES_H
#define GRIDLEAK_TESTS_CIRCUIT_TUBES_H

#include "tube.h"

#include <string.h>

#define MADE_UP_DIODE                                                                              \
    "{kind: diode, spread: 0.1, curve: {perveance: 0.001},"                                        \
    " region: {plate_v: [0, 100], plate_a: [0, 0.3]}}"
#define MADE_UP_TRIODE                                                                             \
    "{kind: triode, spread: 0.1, curve: {perveance: 0.001, mu: 100, kp: 500, kvb: 20, contact: 0," \
    " grid_perveance: 0.001, grid_contact: 0},"                                                    \
    " region: {plate_v: [0, 300], plate_a: [0, 0.01], grid_v: [-5, 0]}}"
#define MADE_UP_PENTODE                                                                            \
    "{kind: pentode, spread: 0.1, curve: {perveance: 0.001, mu: 10, kp: 50, kvb: 20, contact: 0,"  \
    " grid_perveance: 0.001, grid_contact: 0, mu_plate: 200, share: 0.1, knee: 0.2, draw: 0.5},"   \
    " region: {plate_v: [0, 400], plate_a: [0, 0.1], grid_v: [-40, 0], screen_v: [0, 300]}}"

#define TYPE(name, base, extra, heater, units, pins)                                               \
    "type: " name "\nclass: of its kind\nbase: " base "\nbasing: as published\n"                   \
    "pins_source: receiving tube manual RC-30, from memory\n" extra "heater: {" heater             \
    ", source: \"receiving tube manual RC-30, from memory\"}\nunits: [" units "]\n"                \
    "pins: {" pins "}\nratings: []\nfit: []\n"
#define PIN(number, electrode) #number ": {electrode: " #electrode ", written: as printed}, "
#define UNIT_PIN(number, electrode, unit)                                                          \
#number ": {electrode: " #electrode ", unit: " #unit ", written: as printed}, "

static const char *const test_tube_texts[] = {
    TYPE("12AX7", "noval 9", "also: [ECC83]\n", "volts: 12.6, amps: 0.15",
         MADE_UP_TRIODE ", " MADE_UP_TRIODE,
         UNIT_PIN(1, plate, 2) UNIT_PIN(2, grid, 2) UNIT_PIN(3, cathode, 2) PIN(4, heater)
             PIN(5, heater) UNIT_PIN(6, plate, 1) UNIT_PIN(7, grid, 1) UNIT_PIN(8, cathode, 1)
                 PIN(9, heater_tap)),
    TYPE("6V6GT", "octal 8", "", "volts: 6.3, amps: 0.45", MADE_UP_PENTODE,
         PIN(2, heater) UNIT_PIN(3, plate, 1) UNIT_PIN(4, screen, 1) UNIT_PIN(5, grid, 1)
             PIN(7, heater) UNIT_PIN(8, cathode, 1)),
    TYPE("50C5", "miniature 7", "", "volts: 50, amps: 0.15", MADE_UP_PENTODE,
         UNIT_PIN(1, cathode, 1) UNIT_PIN(2, grid, 1) PIN(3, heater) PIN(4, heater)
             UNIT_PIN(6, screen, 1) UNIT_PIN(7, plate, 1)),
    TYPE("5Y3GT", "octal 8", "direct: yes\n", "volts: 5, amps: 2", MADE_UP_DIODE ", " MADE_UP_DIODE,
         PIN(2, heater) UNIT_PIN(4, plate, 2) UNIT_PIN(6, plate, 1) PIN(8, cathode)),
    TYPE("6X4", "miniature 7", "", "volts: 6.3, amps: 0.6", MADE_UP_DIODE ", " MADE_UP_DIODE,
         UNIT_PIN(1, plate, 1) PIN(3, heater) PIN(4, heater) UNIT_PIN(6, plate, 2) PIN(7, cathode)),
    TYPE("35W4", "miniature 7", "", "volts: 35, amps: 0.15", MADE_UP_DIODE,
         PIN(3, heater) PIN(4, heater) UNIT_PIN(5, plate, 1) PIN(6, heater_tap)
             UNIT_PIN(7, cathode, 1)),
};

/* NULL with complaints when a type above cannot be read. */
static inline tube_library *test_tubes_new(base_errors *errors) {
    tube_library *library = tube_library_new();
    size_t count = sizeof test_tube_texts / sizeof *test_tube_texts;
    for (size_t i = 0; library && i < count; i++)
        tube_library_add(library, "tubes.h", test_tube_texts[i], strlen(test_tube_texts[i]),
                         errors);
    return library;
}

#endif
