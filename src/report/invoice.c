/* The invoice: lines, tax, total. Its sum is checked before it is printed. */
#include "report_impl.h"

/* ---- the sum ------------------------------------------------------------------------------- */

typedef struct bill {
    double lines, tax, total, percent; /* money in the smallest coin */
    bool inside;                       /* the lines contain the tax already */
} bill;

static bool near(double a, double b) {
    return fabs(a - b) <= 1; /* one coin of rounding */
}

/* Lines and tax make the total, or lines that contain the tax do. */
static base_code add_up(const json_t *invoice, bill *bill, base_errors *errors) {
    const json_t *one;
    size_t i;
    *bill = (struct bill){.total = report_number(invoice, "total"),
                          .percent = report_number(invoice, "tax_percent")};
    json_array_foreach(json_object_get(invoice, "lines"), i, one) {
        double amount = report_number(one, "amount");
        if (!isnan(amount)) bill->lines += amount;
    }
    if (isnan(bill->percent)) bill->percent = 0;
    double on_top = bill->lines * bill->percent / 100;
    bill->inside = bill->percent > 0 && near(bill->total, bill->lines);
    bill->tax = bill->inside ? bill->lines - bill->lines / (1 + bill->percent / 100)
                             : bill->total - bill->lines;
    if (isnan(bill->total))
        return base_errors_add(errors, BASE_VALUE, (base_place){0},
                               "the invoice has no total|add up its lines and its tax");
    if (bill->inside || near(bill->total, bill->lines + on_top)) return BASE_OK;
    return base_errors_add(errors, BASE_VALUE, (base_place){0},
                           "the invoice's lines come to %.0f and its tax of %g %% to %.0f, but its "
                           "total says %.0f|correct the lines, the tax or the total",
                           bill->lines, bill->percent, on_top, bill->total);
}

/* ---- the page ------------------------------------------------------------------------------ */

typedef struct writer {
    report_sheet *sheet;
    const report_given *given;
    bill bill;
} writer;

static void add_sum(const writer *to, report_table *table, const char *text, double amount) {
    report_row row = {.cell = {text, report_money(to->sheet, to->given->shop, amount)}};
    report_table_add(to->sheet, table, row);
}

static void lines(const writer *to, const json_t *invoice) {
    static const report_column columns[] = {{.head = "For", .share = 360},
                                            {.head = "Amount", .share = 110, .right = true}};
    report_table table = {.style = REPORT_BODY, .column = columns, .columns = 2};
    const json_t *one;
    size_t i;
    json_array_foreach(json_object_get(invoice, "lines"), i, one)
        add_sum(to, &table, report_words(one, "text"), report_number(one, "amount"));
    report_space(to->sheet, 12);
    report_table_draw(to->sheet, NULL, &table, NULL);
}

static void sums(const writer *to) {
    static const report_column columns[] = {{.head = "", .share = 230},
                                            {.head = "", .share = 130, .right = true},
                                            {.head = "", .share = 110, .right = true}};
    const bill *bill = &to->bill;
    report_sheet *sheet = to->sheet;
    report_table table = {.style = REPORT_BODY, .column = columns, .columns = 3, .plain = true};
    const json_t *shop = to->given->shop;
    const char *lines = report_money(sheet, shop, bill->lines);
    const char *tax = report_money(sheet, shop, bill->tax);
    const char *total = report_money(sheet, shop, bill->total);
    const char *percent =
        report_say(sheet, "%s %g %%", bill->inside ? "Tax in it," : "Tax", bill->percent);
    if (!bill->inside && bill->percent > 0)
        report_table_add(sheet, &table, (report_row){.cell = {"", "Together", lines}});
    if (bill->percent > 0)
        report_table_add(sheet, &table, (report_row){.cell = {"", percent, tax}});
    report_table_add(sheet, &table, (report_row){.cell = {"Total", "", total}, .total = true});
    report_space(sheet, 6);
    report_table_draw(sheet, NULL, &table, NULL);
}

static double first_time(double a, double b, double c) {
    return !isnan(a) ? a : !isnan(b) ? b : c;
}

static void facts(const writer *to, const json_t *invoice) {
    const json_t *job = to->given->job, *estimate = json_object_get(job, "estimate");
    const json_t *word = json_object_get(job, "acceptance");
    report_sheet *sheet = to->sheet;
    double when = first_time(report_number(invoice, "when"), report_number(job, "closed"),
                             (double)to->given->now);
    double told = report_number(estimate, "total");
    const report_fact facts[] = {
        {"For", report_words(job, "owner")},
        {"Date", report_date(sheet, when)},
        {"Contact", report_words(job, "contact")},
        {"Amp", report_words(json_object_get(job, "amp"), "name")},
        {"Estimate", isnan(told) ? "" : report_money(sheet, to->given->shop, told)},
        {"Serial", report_words(job, "serial")},
        {"Accepted",
         report_true(word, "accepted")
             ? report_say(sheet, "%s, %s", report_words(word, "by"), report_words(word, "how"))
             : ""},
    };
    report_facts(sheet, facts, sizeof facts / sizeof *facts);
}

static void compose(report_sheet *sheet, void *what) {
    const writer *given = what;
    writer to = {.sheet = sheet, .given = given->given, .bill = given->bill};
    const json_t *invoice = json_object_get(to.given->job, "invoice");
    const char *number = report_number_words(sheet, to.given, "Job");
    sheet->foot = report_foot(sheet, to.given, number);
    report_head(sheet, to.given->shop, "Invoice", number);
    facts(&to, invoice);
    lines(&to, invoice);
    sums(&to);
}

void *report_invoice(const report_given *given, size_t *length, base_errors *errors) {
    writer writer = {.given = given};
    const json_t *invoice = json_object_get(given->job, "invoice");
    if (!json_is_object(invoice)) {
        base_errors_add(errors, BASE_VALUE, (base_place){0},
                        "this job has no invoice yet|write its lines under Hand back first");
        return NULL;
    }
    if (add_up(invoice, &writer.bill, errors) != BASE_OK) return NULL;
    report_print print = {.paper = given->paper,
                          .now = given->now,
                          .title = "Invoice",
                          .compose = compose,
                          .what = &writer};
    return report_pdf(&print, length, errors);
}
