#include "tube.h"

#include <stdio.h>

bool tube_heater_pin(const tube_type *type, int pin) {
    tube_electrode electrode = type->pin[pin].electrode;
    return electrode == TUBE_HEATER || electrode == TUBE_HEATER_TAP ||
           (type->direct && electrode == TUBE_CATHODE);
}

const char *tube_pin_words(const tube_type *type, int pin, char *buffer, size_t size) {
    static const char *const names[] = {"not used", "plate",      "screen", "grid",
                                        "cathode",  "suppressor", "heater", "heater tap"};
    const tube_pin *at = &type->pin[pin];
    bool named = at->unit >= 0 && at->unit < type->units && *type->unit[at->unit].name;
    snprintf(buffer, size, "%s%s%s", names[at->electrode], named ? ", " : "",
             named ? type->unit[at->unit].name : "");
    return buffer;
}
