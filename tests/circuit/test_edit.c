/* Edits of an amp's text keep every other character; differences say how to go back. */
#include "../support.h"

#include "circuit.h"
#include "tubes.h"

static const char AMP[] = "# An amp.\n"
                          "amp: \"Small \u00d8 one\"   # its name\n"
                          "family: single-ended\n"
                          "mains: {volts: 120, hertz: 60}\n"
                          "power transformer:\n"
                          "  T1:\n"
                          "    primary: {volts: 117, ohms: 5, at: [line, neutral]}\n"
                          "    windings:\n"
                          "      high voltage: {volts: 300, ohms: 90, at: [hva, ground]}\n"
                          "      heaters: {volts: 6.3, amps: 1, heater: true, at: [ha, ground]}\n"
                          "rectifiers:\n"
                          "  main: {form: half wave, by: silicon, from: T1 high voltage, out: B1}\n"
                          "tubes:\n"
                          "  V1: {type: 12AX7, pins: {4: ha, 5: ha, 9: ground}}\n"
                          "resistors:\n"
                          "  R1: {value: 100k, at: [B1, V1.1], kind: 'carbon film'}  # plate load\n"
                          "  # in a block\n"
                          "  R2:\n"
                          "    value: 1k5   # cathode\n"
                          "    at: [V1.3, ground]\n"
                          "  R3: {value: 1M, at: [V1.2, ground]}\n"
                          "  R5: {value: 220k, at: [B1, B3],\n"
                          "       watts: 1}\n"
                          "  R4: {value: 220k, at: [B1, ground]}\n"
                          "capacitors:\n"
                          "  C1: {value: 20u, volts: 450, kind: electrolytic, at: [B1, ground]}\n"
                          "fuses: {F1: {amps: 1, at: [line, fused]}, F2: {amps: 2, at: [a, b]}}\n"
                          "speaker: {LS1: {ohms: 8, at: [spk, ground]}}\n";

static char *edit(const char *text, circuit_edit edit, base_errors *errors) {
    return circuit_edit_text(text, strlen(text), &edit, errors);
}

/* After the edit, `from` has become `to` and nothing else has changed. */
static void turns(circuit_edit how, const char *from, const char *to) {
    base_errors *errors = base_errors_new();
    char *text = edit(AMP, how, errors);
    if (!text) fail_msg("%s", base_errors_at(errors, 0)->cause);
    const char *at = strstr(AMP, from);
    assert_non_null(at);
    char wanted[4096];
    snprintf(wanted, sizeof wanted, "%.*s%s%s", (int)(at - AMP), AMP, to, at + strlen(from));
    assert_string_equal(text, wanted);
    free(text);
    base_errors_free(errors);
}

static void refuses(circuit_edit how, const char *words) {
    base_errors *errors = base_errors_new();
    char *text = edit(AMP, how, errors);
    if (text) fail_msg("%s", text);
    assert_int_equal(base_errors_count(errors), 1);
    if (!strstr(base_errors_at(errors, 0)->cause, words))
        fail_msg("%s", base_errors_at(errors, 0)->cause);
    assert_true(base_errors_at(errors, 0)->remedy[0]);
    base_errors_free(errors);
}

static circuit_edit change(const char *part, const char *key, const char *value) {
    return (circuit_edit){CIRCUIT_CHANGE, part, key, value};
}

static circuit_edit add(const char *section, const char *part, const char *yaml) {
    return (circuit_edit){CIRCUIT_ADD, part, section, yaml};
}

static circuit_edit take_out(const char *part) {
    return (circuit_edit){CIRCUIT_REMOVE, part, NULL, NULL};
}

static void test_change(void **state) {
    (void)state;
    turns(change("R1", "value", "120k"), "100k", "120k");
    turns(change("r1", "Value", "0.1 meg"), "100k", "0.1 meg");
    turns(change("R1", "kind", "metal film"), "'carbon film'", "metal film");
    turns(change("R2", "value", "1k8"), "1k5 ", "1k8 ");
    turns(change("R2", "at", "[V1.8, ground]"), "[V1.3, ground]", "[V1.8, ground]");
    turns(change("V1", "type", "12AX7"), "12AX7", "12AX7");
    turns(change("T1 high voltage", "volts", "325-0-325"), "volts: 300", "volts: 325-0-325");
    turns(change("T1 primary", "ohms", "6"), "ohms: 5", "ohms: 6");
    turns(change("LS1", "ohms", "16"), "ohms: 8", "ohms: 16");
    turns(change("F2", "amps", "1.5"), "amps: 2", "amps: 1.5");
}

static void test_new_key(void **state) {
    (void)state;
    turns(change("R3", "watts", "1"), "{value: 1M,", "{value: 1M, watts: 1,");
    turns(change("R2", "watts", "1"), "    value: 1k5", "    watts: 1\n    value: 1k5");
    turns(change("R3", "does", "leak: of #2, \"odd\""), "{value: 1M,",
          "{value: 1M, does: \"leak: of #2, \\\"odd\\\"\",");
}

static void test_remove(void **state) {
    (void)state;
    turns(take_out("R1"),
          "  R1: {value: 100k, at: [B1, V1.1], kind: 'carbon film'}  # plate load\n", "");
    turns(take_out("R2"), "  R2:\n    value: 1k5   # cathode\n    at: [V1.3, ground]\n", "");
    turns(take_out("R4"), "  R4: {value: 220k, at: [B1, ground]}\n", "");
    turns(take_out("F1"), "F1: {amps: 1, at: [line, fused]}, ", "");
    turns(take_out("F2"), ", F2: {amps: 2, at: [a, b]}", "");
    /* The last of its section takes the section along. */
    turns(take_out("LS1"), "speaker: {LS1: {ohms: 8, at: [spk, ground]}}\n", "");
    turns(take_out("C1"),
          "capacitors:\n  C1: {value: 20u, volts: 450, kind: electrolytic, at: [B1, ground]}\n",
          "");
}

static void test_add(void **state) {
    (void)state;
    turns(add("resistors", "R9", "{value: 1k, at: [B1, B2]}"),
          "  R4: {value: 220k, at: [B1, ground]}\n",
          "  R4: {value: 220k, at: [B1, ground]}\n  R9: {value: 1k, at: [B1, B2]}\n");
    turns(add("fuses", "F3", "{amps: 1, at: [c, d]}"), "[a, b]}}",
          "[a, b]}, F3: {amps: 1, at: [c, d]}}");
    turns(add("pots", "P1", "{value: 1M, at: [ground, w, a]}"), "[spk, ground]}}\n",
          "[spk, ground]}}\npots:\n  P1: {value: 1M, at: [ground, w, a]}\n");
}

static void test_refused(void **state) {
    (void)state;
    refuses(change("R77", "value", "1k"), "no part R77");
    refuses(change("mains", "volts", "1"), "no part mains");
    refuses(take_out("R77"), "no part R77");
    refuses(add("resistors", "R1", "{value: 1k, at: [a, b]}"), "has a part R1 already");
    refuses(add("resistors", "C1", "{value: 1k, at: [a, b]}"), "has a part C1 already");
    refuses(add("resistors", "R9", "1k"), "cannot stand behind R9");
    refuses(add("resistors", "R9", "{value: 1k"), "cannot change");
    refuses(add("resistors", "R9", "{value: 1k}\nspeaker: {}"), "cannot stand behind R9");
    refuses(add("fuses", "F3", "{amps: 1} # {"), "cannot change");
    refuses(change("R5", "at", "[B1, B2] #"), "cannot change");
    refuses(add("amp", "R9", "{value: 1k}"), "cannot change");
    refuses(change("R1", "value", "1k\nR5: 3"), "cannot stand behind R1");
    refuses(change("R1", "value", ""), "cannot stand behind R1");
    refuses(change("R1", "value", "[1k"), "cannot change");
    refuses(change("R1", "value: 3, x", "1k"), "cannot be the name");
    refuses(change("R1}", "value", "1k"), "cannot be the name");
    refuses(change("R1", "at", "[a]]"), "cannot change");
}

/* What is no YAML, or no mapping, is a complaint whatever is asked. */
static void test_broken(void **state) {
    (void)state;
    static const char *const texts[] = {"", "a: [", "- a\n- b\n", "just words", "a: b: c", "\xff"};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        base_errors *errors = base_errors_new();
        assert_null(edit(texts[i], change("R1", "value", "1k"), errors));
        assert_int_equal(base_errors_count(errors), 1);
        base_errors_free(errors);
        assert_null(circuit_outline_new(texts[i], strlen(texts[i]), NULL));
    }
}

/* Without an end of line at the end, and with the ends of lines of another system. */
static void test_ends_of_lines(void **state) {
    (void)state;
    static const struct {
        const char *from, *to;
    } cases[] = {{"a: b\nresistors:\n  R1: {value: 1k}",
                  "a: b\nresistors:\n  R1: {value: 1k}\nfuses:\n  F1: {amps: 1}\n"},
                 {"a: b\r\nfuses:\r\n  F9: {amps: 1}\r\n",
                  "a: b\r\nfuses:\r\n  F9: {amps: 1}\r\n  F1: {amps: 1}\n"},
                 {"{a: b}", "{a: b, fuses: {F1: {amps: 1}}}"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *text = edit(cases[i].from, add("fuses", "F1", "{amps: 1}"), NULL);
        assert_non_null(text);
        if (i != 1) assert_string_equal(text, cases[i].to);
        circuit_outline *outline = circuit_outline_new(text, strlen(text), NULL);
        assert_non_null(outline);
        assert_string_equal(circuit_outline_section(outline, "f1"), "fuses");
        circuit_outline_free(outline);
        free(text);
    }
}

static void test_outline(void **state) {
    (void)state;
    circuit_outline *outline = circuit_outline_new(AMP, strlen(AMP), NULL);
    assert_non_null(outline);
    assert_string_equal(outline->name, "Small \u00d8 one");
    assert_string_equal(outline->family, "single-ended");
    assert_null(outline->story);
    assert_string_equal(circuit_outline_section(outline, "c1"), "capacitors");
    assert_string_equal(circuit_outline_section(outline, "T1"), "power transformer");
    assert_null(circuit_outline_section(outline, "hertz"));
    circuit_outline_free(outline);
}

/* Each amp of the library, with each of its values replaced in turn, reads again as before but for
 * that value: no edit touches another part. */
static void test_differences(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    tube_library *tubes = test_tubes_new(errors);
    circuit *from = circuit_read("a", AMP, strlen(AMP), tubes, errors);
    assert_non_null(from);
    static const struct {
        circuit_edit edit;
        const char *key, *does, *undo;
    } cases[] = {
        {{CIRCUIT_CHANGE, "R2", "value", "1k8"}, "value", "change", "put R2 back to 1k5"},
        {{CIRCUIT_CHANGE, "R2", "value", "1500"}, NULL, NULL, NULL}, /* the same value */
        {{CIRCUIT_CHANGE, "R1", "kind", "metal film"},
         "kind",
         "change",
         "put R1 back to kind carbon film"},
        {{CIRCUIT_CHANGE, "C1", "volts", "350"}, "volts", "change", "put C1 back to volts 450"},
        {{CIRCUIT_CHANGE, "R3", "at", "[V1.2, V1.3]"},
         "at",
         "change",
         "join R3 as it was: [V1.2, ground]"},
        {{CIRCUIT_REMOVE, "R2", NULL, NULL},
         NULL,
         "remove",
         "put R2 back in: 1k5 at [V1.3, ground]"},
        {{CIRCUIT_ADD, "C9", "capacitors", "{value: 25u, volts: 25, at: [V1.3, ground]}"},
         NULL,
         "add",
         "take C9 out again"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *text = edit(AMP, cases[i].edit, errors);
        assert_non_null(text);
        circuit *to = circuit_read("b", text, strlen(text), tubes, errors);
        assert_non_null(to);
        base_arena *arena = base_arena_new();
        size_t count = 99;
        const circuit_difference *list = circuit_differences(from, to, arena, &count);
        assert_non_null(list);
        if (count != (cases[i].does ? 1 : 0))
            fail_msg("%zu: %s and %s", i, list[0].undo, count > 1 ? list[1].undo : "");
        if (cases[i].does) {
            assert_string_equal(list->part, cases[i].edit.part);
            assert_string_equal(list->does, cases[i].does);
            assert_string_equal(list->undo, cases[i].undo);
            if (cases[i].key) assert_string_equal(list->key, cases[i].key);
        }
        base_arena_free(arena);
        circuit_free(to);
        free(text);
    }
    circuit_free(from);
    tube_library_free(tubes);
    base_errors_free(errors);
}

/* A lead on another node: the amp that it came from stays as it was, and the places of the lead
 * follow it. */
static void test_rewired(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    tube_library *tubes = test_tubes_new(errors);
    circuit *amp = circuit_read("a", AMP, strlen(AMP), tubes, errors);
    assert_non_null(amp);
    circuit_place cathode, plate, found;
    base_place here = {0};
    assert_int_equal(circuit_place_find(amp, "V1.3", here, &cathode, errors), BASE_OK);
    assert_int_equal(circuit_place_find(amp, "V1.1", here, &plate, errors), BASE_OK);
    int part = circuit_part_find(amp, "R1");
    circuit_lead lead = {part, 1, cathode.node};
    circuit *wired = circuit_rewired(amp, &lead, 1);
    assert_non_null(wired);
    assert_int_equal(circuit_nodes(wired), circuit_nodes(amp));
    assert_int_equal(circuit_part_at(wired, (size_t)part)->end[1], cathode.node);
    assert_int_equal(circuit_part_at(amp, (size_t)part)->end[1], plate.node);
    assert_int_equal(circuit_place_find(wired, "R1.2", here, &found, errors), BASE_OK);
    assert_int_equal(found.node, cathode.node);
    assert_int_equal(circuit_place_find(wired, "V1.1", here, &found, errors), BASE_OK);
    assert_int_equal(found.node, plate.node);
    size_t node = (size_t)plate.node;
    assert_int_equal(circuit_node_at(wired, node)->leads + 1, circuit_node_at(amp, node)->leads);
    circuit_free(wired);
    circuit_free(amp);
    tube_library_free(tubes);
    base_errors_free(errors);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_change),        cmocka_unit_test(test_new_key),
        cmocka_unit_test(test_remove),        cmocka_unit_test(test_add),
        cmocka_unit_test(test_refused),       cmocka_unit_test(test_broken),
        cmocka_unit_test(test_ends_of_lines), cmocka_unit_test(test_outline),
        cmocka_unit_test(test_differences),   cmocka_unit_test(test_rewired),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
