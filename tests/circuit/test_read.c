/* What a well-formed amp file becomes: values, ends, nodes, supplies, places. */
#include "circuit.h"
#include "support.h"
#include "tubes.h"

#include <math.h>

typedef struct bench {
    base_errors *errors;
    tube_library *tubes;
    circuit *amp;
} bench;

static bench bench_read(const char *file) {
    bench bench = {.errors = base_errors_new()};
    size_t length;
    char *text = support_file(file, &length);
    bench.tubes = test_tubes_new(bench.errors);
    bench.amp = circuit_read(file, text, length, bench.tubes, bench.errors);
    free(text);
    assert_non_null(bench.amp);
    return bench;
}

static void bench_free(bench *bench) {
    circuit_free(bench->amp);
    tube_library_free(bench->tubes);
    base_errors_free(bench->errors);
}

static const circuit_part *part_named(const bench *bench, const char *name) {
    int index = circuit_part_find(bench->amp, name);
    assert_true(index >= 0);
    return circuit_part_at(bench->amp, (size_t)index);
}

static int node_of(const bench *bench, const char *name) {
    circuit_place place;
    base_place at = {"test", 1, 1};
    assert_int_equal(circuit_place_find(bench->amp, name, at, &place, bench->errors), BASE_OK);
    return place.node;
}

static void assert_end(const bench *bench, const char *part, int end, const char *node) {
    assert_int_equal(part_named(bench, part)->end[end], node ? node_of(bench, node) : -1);
}

static void assert_close(double got, double want) {
    assert_true(fabs(got - want) <= 1e-12 * fabs(want));
}

#define SINGLE_ENDED "tests/circuit/cases/read_single_ended.yaml"
#define SUPPLIES "tests/circuit/cases/read_supplies.yaml"
#define STRING "tests/circuit/cases/read_series_string.yaml"

static void test_about(void **state) {
    (void)state;
    bench bench = bench_read(SINGLE_ENDED);
    const circuit_about *about = circuit_about_of(bench.amp);
    assert_string_equal(about->name, "Test lamp");
    assert_string_equal(about->file, SINGLE_ENDED);
    assert_null(about->story);
    assert_close(about->mains_volts, 120);
    assert_close(about->mains_drawn_volts, 117);
    assert_close(about->mains_hertz, 60);
    assert_close(about->printed_meter_ohms_per_volt, 20e3);
    assert_true(isnan(about->printed_meter_ohms));
    bench_free(&bench);
}

static void test_values(void **state) {
    (void)state;
    bench bench = bench_read(SINGLE_ENDED);
    const circuit_part *r7 = part_named(&bench, "r7"), *r8 = part_named(&bench, "R8");
    assert_close(r7->value, 220e3);
    assert_close(r7->watts, 0.5);
    assert_close(r7->tolerance, 0.10);
    assert_string_equal(r7->written, "220k");
    assert_int_equal(r7->original, 1);
    assert_int_equal(r7->site, CIRCUIT_SOCKET);
    assert_int_equal(r8->original, -1);
    assert_int_equal(r8->material, CIRCUIT_WIREWOUND);
    assert_close(r8->tolerance, 0.05);
    assert_true(isnan(r8->volts));
    const circuit_part *c2 = part_named(&bench, "C2"), *p1 = part_named(&bench, "P1");
    assert_close(c2->value, 22e-9);
    assert_close(c2->volts, 400);
    assert_close(c2->tolerance, 0.20);
    assert_close(p1->taper, 0.15); /* common practice, no source */
    assert_close(p1->position, 5);
    assert_close(part_named(&bench, "PL1")->value, 6.3 / 0.15);
    assert_close(part_named(&bench, "L1")->value, 8);
    assert_close(part_named(&bench, "L1")->dc_ohms[0], 250);
    assert_close(part_named(&bench, "S1")->position, 1);
    assert_close(part_named(&bench, "J1")->position, 0);
    bench_free(&bench);
}

static void test_ends(void **state) {
    (void)state;
    bench bench = bench_read(SINGLE_ENDED);
    assert_end(&bench, "V1", 4, "heatA");
    assert_end(&bench, "V1", 2, "R1.2");
    assert_end(&bench, "V1", 6, "C3.+");
    assert_end(&bench, "V3", 1, NULL);
    assert_end(&bench, "R1", 0, "in1");
    assert_end(&bench, "P1", 1, "V1.7");
    assert_end(&bench, "P1", 0, "ground");
    assert_end(&bench, "T2", 2, NULL);
    assert_end(&bench, "T2", 3, "spk");
    assert_end(&bench, "main", 0, "V3.8");
    assert_end(&bench, "main", 1, "ground");
    const circuit_part *v1 = part_named(&bench, "V1");
    assert_int_equal(v1->ends, 10);
    assert_string_equal(v1->tube->name, "12AX7");
    int top = node_of(&bench, "top");
    assert_int_equal(circuit_node_at(bench.amp, (size_t)top)->leads, 2);
    assert_int_equal(circuit_node_at(bench.amp, (size_t)node_of(&bench, "line"))->leads, 2);
    bench_free(&bench);
}

static void test_transformers(void **state) {
    (void)state;
    bench bench = bench_read(SUPPLIES);
    const circuit_part *primary = part_named(&bench, "T1 primary");
    const circuit_part *tapped = part_named(&bench, "t1 Tapped");
    const circuit_part *heaters = part_named(&bench, "T1 heaters");
    assert_true(primary->winding.primary && !tapped->winding.primary);
    assert_string_equal(tapped->winding.transformer, "T1");
    assert_int_equal(tapped->ends, 3);
    assert_close(tapped->winding.volts[0], 300);
    assert_close(tapped->winding.volts[1], 290);
    assert_close(tapped->winding.ohms[0], 50);
    assert_close(tapped->winding.ohms[1], 50);
    assert_close(tapped->tolerance, 0.05); /* of the whole transformer */
    assert_int_equal(tapped->site, CIRCUIT_CHASSIS);
    assert_true(heaters->winding.heater);
    assert_true(heaters->winding.ohms[0] == 0);
    assert_close(heaters->value, 3);
    bench_free(&bench);
    bench = bench_read("tests/circuit/cases/warn_assumed.yaml");
    const circuit_part *output = part_named(&bench, "T2");
    assert_close(output->ratio, sqrt(1000));
    assert_close(output->dc_ohms[0], 200);
    assert_close(output->dc_ohms[1], 200);
    assert_close(part_named(&bench, "T3")->primary_ohms, 3600);
    assert_close(part_named(&bench, "T1 rated")->winding.ohms[0], 0.05 * 300 / 0.06);
    bench_free(&bench);
}

static void test_rectifier_leads(void **state) {
    (void)state;
    bench bench = bench_read(SUPPLIES);
    const circuit_rectifier *full = &part_named(&bench, "full")->rectifier;
    assert_int_equal(full->winding, circuit_part_find(bench.amp, "T1 tapped"));
    assert_int_equal(full->tube, circuit_part_find(bench.amp, "V1"));
    static const struct {
        const char *part;
        int side;
    } through[] = {{"R2", 1}, {"R3", 2}, {"F3", 0}};
    for (int i = 0; i < 3; i++) {
        assert_int_equal(full->through[i], circuit_part_find(bench.amp, through[i].part));
        assert_int_equal(full->side[i], through[i].side);
    }
    assert_int_equal(full->through[3], -1);
    assert_int_equal(full->ac[0], node_of(&bench, "plateA"));
    assert_int_equal(full->ac[1], node_of(&bench, "plateB"));
    const circuit_rectifier *bridge = &part_named(&bench, "bridged")->rectifier;
    assert_int_equal(bridge->form, CIRCUIT_BRIDGE);
    assert_int_equal(bridge->side[1], 0);
    assert_int_equal(bridge->ac[0], node_of(&bench, "p4"));
    assert_int_equal(bridge->ac[1], node_of(&bench, "p2"));
    bench_free(&bench);
}

static void test_rectifier_returns(void **state) {
    (void)state;
    bench bench = bench_read(SUPPLIES);
    const circuit_rectifier *bias = &part_named(&bench, "bias")->rectifier;
    assert_true(bias->from_b && bias->negative);
    assert_int_equal(bias->ac[0], node_of(&bench, "sel"));
    assert_int_equal(part_named(&bench, "bias")->material, CIRCUIT_SELENIUM);
    assert_end(&bench, "bias", 1, "tap");
    assert_end(&bench, "full", 1, "ground"); /* behind F3 */
    assert_end(&bench, "half", 1, "ground");
    assert_end(&bench, "bridged", 1, "ground");
    bench_free(&bench);
    bench = bench_read(STRING);
    const circuit_part *main_supply = part_named(&bench, "main");
    assert_int_equal(main_supply->rectifier.winding, -1);
    assert_int_equal(main_supply->rectifier.ac[0], node_of(&bench, "V2.5"));
    assert_end(&bench, "main", 0, "V2.7");
    assert_end(&bench, "main", 1, "ground");
    bench_free(&bench);
}

static void test_names_meet(void **state) {
    (void)state;
    bench bench = bench_read(STRING);
    assert_int_equal(node_of(&bench, "R5.2"), node_of(&bench, "R6.1"));
    assert_int_equal(node_of(&bench, "S1.common"), node_of(&bench, "FUSED"));
    assert_int_equal(node_of(&bench, "v2.5"), node_of(&bench, "R3.2"));
    assert_string_equal(circuit_node_at(bench.amp, (size_t)node_of(&bench, "S1.2"))->name, "hot");
    assert_string_equal(circuit_node_at(bench.amp, 0)->name, "ground");
    circuit_place place;
    base_place at = {"test", 1, 1};
    assert_int_equal(circuit_place_find(bench.amp, "v1.7", at, &place, NULL), BASE_OK);
    assert_int_equal(place.part, circuit_part_find(bench.amp, "V1"));
    assert_int_equal(place.pin, 7);
    assert_int_equal(circuit_place_find(bench.amp, "plate", at, &place, NULL), BASE_OK);
    assert_int_equal(place.part, -1);
    bench_free(&bench);
}

static void test_places_refused(void **state) {
    (void)state;
    static const struct {
        const char *name, *cause, *remedy;
    } cases[] = {
        {"heatC", "there is no place called heatC", "did you mean heatA?"},
        {"V1.99", "there is no place called V1.99", "did you mean V1.9?"},
        {"V3.1", "nothing joins V3.1 in this amp", "name a pin or node that is in use"},
        {"R7", "R7 is a part, not one place", "name one of its ends: R7.1"},
        {"", "there is no place called ",
         "write a node (B1), a tube's pin (V2.3) or a part's end (R7.1)"},
    };
    bench bench = bench_read(SINGLE_ENDED);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        circuit_place place;
        base_place at = {"readings", 3, 4};
        assert_int_equal(circuit_place_find(bench.amp, cases[i].name, at, &place, bench.errors),
                         BASE_UNKNOWN);
        const base_error *error = base_errors_at(bench.errors, i);
        assert_string_equal(error->cause, cases[i].cause);
        assert_string_equal(error->remedy, cases[i].remedy);
        assert_int_equal(error->line, 3);
    }
    bench_free(&bench);
}

static void test_printed(void **state) {
    (void)state;
    bench bench = bench_read(SINGLE_ENDED);
    const circuit_node *b1 = circuit_node_at(bench.amp, (size_t)node_of(&bench, "B1"));
    assert_close(b1->printed, 330);
    assert_true(isnan(circuit_node_at(bench.amp, (size_t)node_of(&bench, "B2"))->printed));
    assert_true(circuit_node_at(bench.amp, (size_t)node_of(&bench, "V2.5"))->printed == 0);
    bench_free(&bench);
}

static void test_kinds_have_names(void **state) {
    (void)state;
    for (int kind = 0; kind < CIRCUIT_KINDS; kind++)
        assert_true(strlen(circuit_kind_name((circuit_kind)kind)) > 2);
    for (int material = 0; material < CIRCUIT_MATERIALS; material++)
        assert_true(strlen(circuit_material_name((circuit_material)material)) > 3);
    assert_string_equal(circuit_kind_name(CIRCUIT_OUTPUT_TRANSFORMER), "output transformer");
    assert_string_equal(circuit_kind_name(CIRCUIT_SPEAKER), "speaker");
    assert_string_equal(circuit_material_name(CIRCUIT_FIELD_COIL), "field coil");
    circuit_free(NULL);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_about),
        cmocka_unit_test(test_values),
        cmocka_unit_test(test_ends),
        cmocka_unit_test(test_transformers),
        cmocka_unit_test(test_rectifier_leads),
        cmocka_unit_test(test_rectifier_returns),
        cmocka_unit_test(test_names_meet),
        cmocka_unit_test(test_places_refused),
        cmocka_unit_test(test_printed),
        cmocka_unit_test(test_kinds_have_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
