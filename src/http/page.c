/* The page's files: gzip inside the program, named by their content. */
#include "http_impl.h"

#include <string.h>

static const http_file *find(const http_server *server, const http_request *request) {
    const char *name = request->target.segments ? request->target.segment[0] : "index.html";
    for (size_t i = 0; i < server->options.files; i++)
        if (strcmp(server->options.file[i].name, name) == 0) return &server->options.file[i];
    return NULL;
}

/* A client that says which codings it takes, and leaves out gzip, gets none of the page. */
static bool takes_gzip(const http_request *request) {
    const char *given = request->accept_encoding;
    return !given || strstr(given, "gzip") || strchr(given, '*');
}

void http_page(http_server *server, const http_request *request, http_answer *answer) {
    const http_file *file = find(server, request);
    if (!file && server->options.files == 0 && request->target.segments == 0) {
        http_refuse(answer, 404, BASE_UNKNOWN,
                    "this program was built without its page|install node and npm, then build it "
                    "again; the API is there: docs/api.md");
    } else if (!file) {
        http_refuse(answer, 404, BASE_UNKNOWN, "there is nothing at this path|open /");
    } else if (!takes_gzip(request)) {
        http_refuse(answer, 406, BASE_USAGE, "the page is sent as gzip only|accept gzip");
    } else {
        *answer = (http_answer){.status = 200,
                                .type = file->type,
                                .data = (void *)file->data,
                                .length = file->length,
                                .borrowed = true,
                                .gzip = true};
        bool named = strchr(file->name, '-') != NULL; /* by its content */
        answer->cache = named ? "public, max-age=31536000, immutable" : "no-cache";
        http_answer_tag(answer, request);
    }
}
