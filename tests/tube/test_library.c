/* The library of types as it is shipped. */
#include "tube/types.h"

#include <math.h>

static void found_by_any_name(void **state) {
    assert_true(tube_library_count(*state) >= 45);
    assert_ptr_equal(tube_find(*state, "ecc83"), tube_find(*state, "12AX7"));
    assert_ptr_equal(tube_find(*state, "6V6"), tube_find(*state, "6v6gt"));
    assert_ptr_equal(tube_find(*state, "6SN7"), tube_find(*state, "6SN7GTB"));
    assert_null(tube_find(*state, "12AX77"));
    assert_string_equal(tube_nearest(*state, "12AX77"), "12AX7");
    assert_null(tube_nearest(*state, "a very long word"));
    assert_null(tube_library_at(*state, tube_library_count(*state)));
}

/* Receiving tube manual RC-30, basing of the 12AX7 (9A) and 6V6GT (7S), from memory. */
static void basing(void **state) {
    const tube_type *t = tube_find(*state, "12AX7"), *p = tube_find(*state, "6V6GT");
    assert_int_equal(t->unit[0].pin[TUBE_PLATE], 6);
    assert_int_equal(t->unit[0].pin[TUBE_GRID], 7);
    assert_int_equal(t->unit[0].pin[TUBE_CATHODE], 8);
    assert_int_equal(t->unit[1].pin[TUBE_PLATE], 1);
    assert_int_equal(t->pin[9].electrode, TUBE_HEATER_TAP);
    assert_int_equal(p->unit[0].pin[TUBE_SCREEN], 4);
    assert_int_equal(p->pin[1].electrode, TUBE_NONE);
}

static void shared_cathodes_and_filaments(void **state) {
    const tube_type *y = tube_find(*state, "5Y3GT"), *q = tube_find(*state, "6SQ7");
    assert_true(y->direct && y->pin[8].electrode == TUBE_CATHODE && y->pin[8].unit == -1);
    assert_int_equal(y->unit[0].pin[TUBE_CATHODE], 8);
    assert_int_equal(y->unit[1].pin[TUBE_PLATE], 4);
    assert_int_equal(q->units, 3);
    for (int u = 0; u < 3; u++)
        assert_int_equal(q->unit[u].pin[TUBE_CATHODE], 3);
    assert_false(q->direct);
}

/* Every type says where its figures come from, and where its curve may be trusted. */
static void sources_and_regions(void **state) {
    for (size_t t = 0; t < tube_library_count(*state); t++) {
        const tube_type *type = tube_library_at(*state, t);
        assert_true(type->pins_source[0] && type->heater_source[0] && type->ratings > 0);
        for (size_t r = 0; r < type->ratings; r++)
            for (int i = 0; i < TUBE_LIMITS; i++)
                assert_int_equal(isnan(type->rating[r].limit[i]), !type->rating[r].source[i]);
        for (size_t i = 0; i < type->fits; i++) {
            const tube_fit *f = &type->fit[i];
            tube_volts volts = {f->plate_v, f->screen_v, f->grid_v};
            const tube_unit *unit = &type->unit[f->unit < 0 ? 0 : f->unit];
            if (!f->triode) assert_true(tube_in_region(unit, &volts, f->published[0]));
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(found_by_any_name),
        cmocka_unit_test(basing),
        cmocka_unit_test(shared_cathodes_and_filaments),
        cmocka_unit_test(sources_and_regions),
    };
    return cmocka_run_group_tests(tests, types_set_up, types_tear_down);
}
