#ifndef GRIDLEAK_TUBE_IMPL_H
#define GRIDLEAK_TUBE_IMPL_H

#include "keys_impl.h"
#include "tube.h"

/* One type from its YAML, in the reader's arena; NULL with complaints. */
tube_type *tube_type_read(base_yaml *reader, const char *text, size_t length);

/* The list of ratings; returns how many. tools/tubefit reads them from the figures too. */
size_t tube_read_ratings(base_yaml *reader, const base_yaml_item *item,
                         const tube_rating **ratings);

#endif
