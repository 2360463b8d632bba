/* The priors file: the one that is shipped is whole; a broken one is refused with its place. */
#include "amp.h"

static char *whole;

static int read_whole(void **state) {
    (void)state;
    whole = support_file("data/priors/faults.yaml", NULL);
    return 0;
}

static int free_whole(void **state) {
    (void)state;
    free(whole);
    return 0;
}

/* The shipped file with its first `from` turned into `to` gets a complaint with these words. */
static void refuse(const char *from, const char *to, const char *words) {
    char *at = strstr(whole, from);
    assert_non_null(at);
    char *text = malloc(strlen(whole) + strlen(to) + 1);
    sprintf(text, "%.*s%s%s", (int)(at - whole), whole, to, at + strlen(from));
    base_errors *errors = base_errors_new();
    diagnose_priors *priors = diagnose_priors_read("priors", text, strlen(text), errors);
    assert_null(priors);
    bool said = false;
    for (size_t i = 0; i < base_errors_count(errors); i++)
        said |= strstr(base_errors_at(errors, i)->cause, words) != NULL;
    if (!said) fail_msg("no complaint of \"%s\" but %s", words, base_errors_at(errors, 0)->cause);
    base_errors_free(errors);
    free(text);
}

static void refusals(void **state) {
    (void)state;
    refuse("carbon composition drift:", "carbon composition drifts:", "carbon composition drifts");
    refuse("value: 0.05", "value: -0.05", "cannot be a weight or a spread");
    refuse("value: 0.05", "value: .nan", "nan");
    refuse("  pot turn:", "  # pot turn:\n  winding ohms:", "winding ohms");
    refuse("part: tube, mode: weak", "part: tubb, mode: weak", "tubb");
    refuse("part: tube, mode: weak", "part: tube, mode: wek", "wek");
    refuse("part: tube, mode: weak", "part: fuse, mode: weak", "cannot be");
    refuse("{part: pot, mode: wiper open, weight: 20, ground",
           "{part: pot, mode: wiper open, ground", "weight");
    refuse("{part: pot, mode: wiper open", "{part: pot, kind: paper, mode: wiper open",
           "no weight");
    refuse("weights:", "wights:", "wights");
    refuse("when: replaced", "when: renewed", "renewed");
    refuse(", ground: \"each side; judgement\"", "", "ground");
}

static void broken(void **state) {
    (void)state;
    static const char *const texts[] = {"", "- 3", "numbers: {", "numbers: 3\nweights: 4"};
    for (size_t i = 0; i < 4; i++) {
        base_errors *errors = base_errors_new();
        assert_null(diagnose_priors_read("priors", texts[i], strlen(texts[i]), errors));
        assert_true(base_errors_count(errors) > 0);
        base_errors_free(errors);
    }
    diagnose_priors_free(NULL);
}

/* The rules: the first weight that matches, times every factor that matches. */
static void weights(void **state) {
    (void)state;
    base_errors *errors = base_errors_new();
    diagnose_priors *priors = diagnose_priors_read("priors", whole, strlen(whole), errors);
    assert_non_null(priors);
    circuit_part part = {.material = CIRCUIT_PAPER, .original = 0, .value = 22e-9};
    diagnose_stress stress = {.sort = SORT_CAPACITOR, .part = &part, .volts = 5};
    double low = diagnose_weight(priors, &stress, DIAGNOSE_LEAKY);
    stress.volts = -200;
    assert_close(diagnose_weight(priors, &stress, DIAGNOSE_LEAKY), 1.5 * low, 1e-9);
    part.original = -1;
    assert_close(diagnose_weight(priors, &stress, DIAGNOSE_LEAKY), 1.5 * low / 0.3, 1e-9);
    part.material = CIRCUIT_UNSTATED;
    double unstated = diagnose_weight(priors, &stress, DIAGNOSE_LEAKY);
    assert_true(unstated > 0 && unstated < 1.5 * low / 0.3);
    diagnose_stress mains = {.sort = SORT_MAINS, .volts = NAN};
    assert_true(diagnose_weight(priors, &mains, DIAGNOSE_MAINS_OFF) > 0);
    assert_true(diagnose_weight(priors, &mains, DIAGNOSE_OPEN) == 0);
    diagnose_priors_free(priors);
    base_errors_free(errors);
}

static void names(void **state) {
    (void)state;
    for (int mode = 0; mode < DIAGNOSE_MODES; mode++) {
        assert_true(diagnose_mode_name((diagnose_mode)mode)[0] != 0);
        assert_int_equal(diagnose_mode_find(diagnose_mode_key((diagnose_mode)mode)), mode);
    }
    assert_int_equal(diagnose_mode_find("rotten"), -1);
    assert_string_equal(diagnose_mode_name(DIAGNOSE_MODES), "unknown");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(refusals), cmocka_unit_test(broken),
                                       cmocka_unit_test(weights), cmocka_unit_test(names)};
    return cmocka_run_group_tests(tests, read_whole, free_whole);
}
