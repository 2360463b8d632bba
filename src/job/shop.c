/* The shop: its name, address, rates. Each change is a fact; the last one holds. */
#include "job_impl.h"

#include <stdlib.h>
#include <string.h>

static const job_key shop_keys[] = {{.name = "name", .type = 's'},
                                    {.name = "address", .type = 's'},
                                    {.name = "contact", .type = 's'},
                                    {.name = "currency", .type = 's'},
                                    {.name = "tax_percent", .type = 'n', .least = 0, .most = 100},
                                    {.name = "hourly", .type = 'i', .least = 0, .most = 1e9},
                                    {.name = "paper", .type = 's', .words = "A4|letter"},
                                    {.name = "next_number", .type = 'i', .least = 1, .most = 1e9},
                                    {0}};
static const job_kind shop_kind = {"shop", shop_keys, "the shop's own particulars"};

base_code job_shop_check(const json_t *shop, base_errors *errors) {
    return job_body_check(&shop_kind, shop, errors);
}

static json_t *blank(void) {
    return json_pack("{s:s, s:s, s:s, s:s, s:i, s:i, s:s, s:i}", "name", "", "address", "",
                     "contact", "", "currency", "", "tax_percent", 0, "hourly", 0, "paper", "A4",
                     "next_number", 1);
}

base_code job_shop_load(job_store *store, json_t **shop, base_errors *errors) {
    sqlite3_stmt *row = job_sql(store, "SELECT body FROM shop_fact ORDER BY id DESC LIMIT 1", "");
    const char *body = job_sql_row(row) ? job_column(row, 0) : NULL;
    json_t *said = body ? json_loads(body, 0, NULL) : json_object();
    bool read = job_sql_done(store, row);
    *shop = blank();
    bool well = *shop && said && json_object_update(*shop, said) == 0;
    json_decref(said);
    if (read && well) return BASE_OK;
    json_decref(*shop);
    *shop = NULL;
    return read ? job_no_memory(errors)
                : job_sql_complain(store->db, "the shop was not read", errors);
}

json_t *job_shop(job_store *store, base_errors *errors) {
    json_t *shop;
    job_lock(store);
    job_shop_load(store, &shop, errors);
    job_unlock(store);
    return shop;
}

base_code job_shop_set(job_store *store, const json_t *shop, int64_t now, base_errors *errors) {
    base_code code = job_shop_check(shop, errors);
    if (code == BASE_OK) code = job_begin(store, errors);
    if (code != BASE_OK) return code;
    char *body = job_json_text(shop);
    if (!body)
        code = job_no_memory(errors);
    else if (!job_sql_run(store, "INSERT INTO shop_fact (at, body) VALUES (?, ?)", "is", now, body))
        code = job_sql_complain(store->db, "the shop was not saved", errors);
    free(body);
    return job_end(store, code, errors);
}
