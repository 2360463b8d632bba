/* Any bytes as a meter profile: it never crashes, and says with a remedy why it refuses. */
#include "meter.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(bool holds) {
    if (!holds) abort();
}

static void look(const meter_profile *profile) {
    demand(*profile->name && *profile->read && strlen(profile->frame) == 3);
    demand(profile->timeout_s > 0 && profile->quiet_s > 0 && profile->delay_s >= 0);
    demand(profile->starts <= METER_STARTS && profile->ohms > 0 && profile->baud > 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    base_errors *errors = base_errors_new();
    meter_profiles *profiles = meter_profiles_new();
    demand(errors && profiles);
    base_code code = meter_profiles_add(profiles, "fuzz", (const char *)data, size, errors);
    demand((code == BASE_OK) == (base_errors_worst(errors) == BASE_OK));
    for (size_t i = 0; i < base_errors_count(errors); i++)
        demand(base_errors_at(errors, i)->cause[0] && base_errors_at(errors, i)->remedy[0]);
    for (size_t i = 0; i < meter_profiles_count(profiles); i++)
        look(meter_profile_at(profiles, i));
    meter_profile_for(profiles, "SOMEBODY,M1,0,1");
    meter_profiles_free(profiles);
    base_errors_free(errors);
    return 0;
}
