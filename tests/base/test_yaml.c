/* YAML as a tree: each value's place and bytes, what is refused and where. */
#include "base.h"
#include "support.h"

#include <math.h>

static const base_yaml_kind kind = {"test files", "test", "`a:` and a number"};

/* Reads `text`; the caller closes with `shut`. */
static bool read_text(base_yaml *yaml, const char *text, base_yaml_item *root) {
    *yaml = (base_yaml){.kind = &kind, .file = "t", .errors = base_errors_new()};
    yaml->arena = base_arena_new();
    return base_yaml_open(yaml, text, strlen(text), root);
}

/* Closes it; what was complained of is `wanted`: each `line:column: cause; remedy` on its line. */
static void shut(base_yaml *yaml, const char *wanted) {
    base_text said;
    base_text_init(&said, 1 << 16);
    for (size_t i = 0; i < base_errors_count(yaml->errors); i++) {
        const base_error *e = base_errors_at(yaml->errors, i);
        assert_string_equal(e->file, "t");
        base_text_add(&said, "%d:%d: %s; %s\n", e->line, e->column, e->cause, e->remedy);
    }
    assert_string_equal(said.data ? said.data : "", wanted);
    assert_int_equal(yaml->worst, base_errors_worst(yaml->errors));
    base_yaml_close(yaml);
    base_text_free(&said);
    base_errors_free(yaml->errors);
    base_arena_free(yaml->arena);
}

static void test_places(void **state) {
    (void)state;
    base_yaml yaml;
    base_yaml_item root;
    base_yaml_items map = {.who = "the file"}, list = {.who = "the file"};
    assert_true(read_text(&yaml, "a: 4k7\nb:\n  c: [1, \" two \", {d: e}]\nempty:\n", &root));
    assert_true(base_yaml_map(&yaml, &root, &map));
    assert_int_equal(map.items, 3);
    const base_yaml_item *a = base_yaml_find(&map, "A"), *b = base_yaml_find(&map, "b");
    assert_int_equal(a->key_at.column, 1);
    assert_int_equal(a->at.column, 4);
    assert_int_equal(b->at.line, 2); /* a mapping: its key's place */
    base_yaml_items inner = {.who = "b"};
    assert_true(base_yaml_map(&yaml, b, &inner) && base_yaml_list(&yaml, &inner.item[0], &list));
    assert_int_equal(list.items, 3);
    assert_string_equal(list.item[1].key, "c");
    assert_string_equal(base_yaml_text(&yaml, &list.item[1], "b"), "two");
    assert_int_equal(list.item[1].at.column, 11);
    assert_int_equal(list.item[2].at.column, 19); /* an entry that is a mapping: its own place */
    assert_null(base_yaml_text_of(&yaml, map.item[2].value));
    assert_null(base_yaml_find(&map, "d"));
    double value;
    assert_true(base_yaml_value(&yaml, a, "the file", BASE_OHMS, &value) && value == 4700);
    shut(&yaml, "");
}

/* Every exact text's bytes are its text, with its quotes; a list's have its brackets. */
static void check_bytes(const base_yaml_node *node, const char *text) {
    char written[100];
    snprintf(written, sizeof written, "%.*s", (int)(node->end - node->start), text + node->start);
    if (node->exact && (*written == '"' || *written == '\'')) {
        assert_int_equal(strlen(written), strlen(node->text) + 2);
        assert_non_null(strstr(written, node->text));
    } else if (node->exact) {
        assert_string_equal(written, node->text);
    } else if (node->flow) {
        assert_true(strchr("[{", written[0]) && strchr("]}", written[strlen(written) - 1]));
    }
    for (const base_yaml_node *child = node->child; child; child = child->next) {
        assert_ptr_equal(child->parent, node);
        assert_true(child->start >= node->start && child->end <= node->end);
        check_bytes(child, text);
    }
}

static void test_bytes(void **state) {
    (void)state;
    static const char text[] =
        "caf\xC3\xA9: \"\xCE\xA9 5\" # \xE2\x82\xAC\nlist: ['x y', [1,2], {k: v} ]\n"
        "block:\n  - one two\n  - key: last\nlines: |\n  two\n  lines\n";
    base_yaml yaml;
    base_yaml_item root;
    assert_true(read_text(&yaml, text, &root));
    check_bytes(root.value, text);
    const base_yaml_node *quoted = root.value->child->next, *lines = root.value->last;
    assert_true(quoted->exact && !lines->exact);
    assert_string_equal(lines->text, "two\nlines\n");
    shut(&yaml, "");
}

static void test_refused_by_a_mapping(void **state) {
    (void)state;
    base_yaml yaml;
    base_yaml_item root;
    base_yaml_items map = {.who = "the file"}, again = {.who = "twice", .repeats = true};
    assert_true(
        read_text(&yaml, "a: 1\nA: 2\n[x]: 3\nb: *c\n? *c\n: 4\n\"e\\e|\": 5\nknwn: 6\n", &root));
    assert_true(base_yaml_map(&yaml, &root, &map));
    assert_int_equal(map.items, 3);
    assert_true(base_yaml_map(&yaml, &root, &again));
    assert_int_equal(again.items, 4);
    base_yaml_check_keys(&yaml, &map, (const char *const[]){"a", "known", NULL});
    shut(&yaml,
         "2:1: `A` is given twice in the file, first at line 1; keep one of them, or give it "
         "another name\n"
         "3:1: a key of the file is no word; write `key: value`\n"
         "4:5: an alias (`*name`) is not used in test files; write the value itself\n"
         "5:4: an alias (`*name`) is not used in test files; write the value itself\n"
         "3:1: a key of twice is no word; write `key: value`\n"
         "4:5: an alias (`*name`) is not used in test files; write the value itself\n"
         "5:4: an alias (`*name`) is not used in test files; write the value itself\n"
         "7:2: the file has the key `e /`, which is not known; remove it\n"
         "8:1: the file has the key `knwn`, which is not known; did you mean `known`?\n");
}

static void test_refused_values(void **state) {
    (void)state;
    base_yaml yaml;
    base_yaml_item root;
    base_yaml_items map = {.who = "R1"}, list = {.who = "R1"};
    double value = 0;
    assert_true(read_text(&yaml, "a: {b: c}\nd: '  '\ne: [1, *x]\nf: ten\n", &root));
    assert_true(base_yaml_map(&yaml, &root, &map));
    assert_null(base_yaml_text(&yaml, &map.item[0], "R1"));
    assert_null(base_yaml_text(&yaml, &map.item[1], "R1"));
    assert_false(base_yaml_list(&yaml, &map.item[0], &list));
    assert_false(base_yaml_list(&yaml, &map.item[2], &list));
    assert_false(base_yaml_value(&yaml, &map.item[3], "R1", BASE_NUMBER, &value) || !isnan(value));
    assert_false(base_yaml_map(&yaml, &map.item[3], &(base_yaml_items){.who = "f"}));
    assert_int_equal(base_errors_count(yaml.errors), 6);
    assert_int_equal(base_errors_at(yaml.errors, 4)->line, 4);
    base_yaml_close(&yaml);
    base_errors_free(yaml.errors);
    base_arena_free(yaml.arena);
}

static void test_refused_files(void **state) {
    (void)state;
    static const struct {
        const char *text, *said;
    } files[] = {
        {"", "1:1: the file is empty; begin it with `a:` and a number\n"},
        {"a: 1\n---\nb: 2\n", "2:1: the file holds more than one document; one test, one file: "
                              "remove the line `---` or split the file\n"},
        {"a: \xFF", "1:4: a byte that is no UTF-8 text; save the file as UTF-8 text\n"},
        {"a: [1\n", "2:1: this is not YAML: flow sequence without a closing bracket; check the "
                    "indentation, the colons, the brackets and the quotes here and on the line "
                    "above\n"},
        {"a: 'it''s'\nb: 'x''''y'\n",
         "2:5: two quotes in a row between single quotes; put the text between double quotes\n"},
        {"%YAML 1.2\n", NULL},
        {"a: b: c\n", NULL},
    };
    for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
        base_yaml yaml;
        base_yaml_item root;
        assert_false(read_text(&yaml, files[i].text, &root));
        assert_int_equal(yaml.worst, BASE_SYNTAX);
        if (files[i].said) {
            shut(&yaml, files[i].said);
            continue;
        }
        base_yaml_close(&yaml);
        base_errors_free(yaml.errors);
        base_arena_free(yaml.arena);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_places),
        cmocka_unit_test(test_bytes),
        cmocka_unit_test(test_refused_by_a_mapping),
        cmocka_unit_test(test_refused_values),
        cmocka_unit_test(test_refused_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
