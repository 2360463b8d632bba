/* A client that can be as slow, rude or malformed as a test wants. */
#ifndef GRIDLEAK_TESTS_HTTP_CLIENT_H
#define GRIDLEAK_TESTS_HTTP_CLIENT_H

#include "../support.h"

#include <arpa/inet.h>
#include <jansson.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdbool.h>
#include <strings.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define CLIENT_MOST (8u << 20)

typedef struct client_answer {
    int status; /* 0: the server closed without one */
    char *text; /* the whole answer, 0-ended */
    size_t length;
    const char *body; /* in `text`, its chunks joined */
    size_t body_length;
    json_t *json; /* of the body, or NULL */
} client_answer;

static inline int64_t client_ms(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static inline void client_sleep(int ms) {
    struct timespec time = {ms / 1000, ms % 1000 * 1000000L};
    nanosleep(&time, NULL);
}

static inline int client_open(int port) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int handle = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    assert_true(handle >= 0);
    if (connect(handle, (struct sockaddr *)&address, sizeof address) == 0) return handle;
    close(handle);
    return -1;
}

/* false: the other side has closed. */
static inline bool client_send(int handle, const void *data, size_t length) {
    const char *at = data;
    while (length) {
        ssize_t sent = send(handle, at, length, MSG_NOSIGNAL);
        if (sent <= 0) return false;
        at += sent;
        length -= (size_t)sent;
    }
    return true;
}

static inline bool client_say(int handle, const char *text) {
    return client_send(handle, text, strlen(text));
}

/* Bytes that arrive within `ms`; 0 at the end, -1 when nothing came. */
static inline long client_get(int handle, char *data, size_t most, int ms) {
    struct pollfd wait = {.fd = handle, .events = POLLIN};
    if (poll(&wait, 1, ms) <= 0) return -1;
    ssize_t got = recv(handle, data, most, 0);
    return got < 0 ? 0 : got;
}

static inline const char *client_header(const client_answer *answer, const char *name) {
    static _Thread_local char value[1024];
    size_t length = strlen(name);
    for (const char *line = answer->text; line; line = strstr(line, "\r\n")) {
        if (line != answer->text) line += 2;
        if (strncmp(line, "\r\n", 2) == 0) break;
        if (strncasecmp(line, name, length) != 0 || line[length] != ':') continue;
        line += length + 1;
        line += strspn(line, " ");
        snprintf(value, sizeof value, "%.*s", (int)strcspn(line, "\r"), line);
        return value;
    }
    return NULL;
}

static inline void client_join_chunks(client_answer *answer) {
    char *in = (char *)answer->body, *out = in;
    size_t size;
    while ((size = strtoul(in, NULL, 16)) > 0) {
        in = strstr(in, "\r\n") + 2;
        memmove(out, in, size);
        out += size;
        in += size + 2;
    }
    *out = 0;
    answer->body_length = (size_t)(out - answer->body);
}

/* Is the answer whole? */
static inline bool client_whole(const client_answer *answer, bool head) {
    const char *end = strstr(answer->text, "\r\n\r\n");
    if (!end) return false;
    const char *length = client_header(answer, "Content-Length");
    if (head || strncmp(answer->text + 9, "304", 3) == 0) return true;
    if (length)
        return answer->length >= (size_t)(end + 4 - answer->text) + strtoul(length, NULL, 10);
    return strstr(end, "\r\n0\r\n\r\n") != NULL;
}

/* Reads one answer; status 0 where the server closes or says nothing for `ms`. */
static inline client_answer client_read(int handle, bool head, int ms) {
    client_answer answer = {.text = calloc(1, CLIENT_MOST)};
    assert_non_null(answer.text);
    while (!client_whole(&answer, head)) {
        long got =
            client_get(handle, answer.text + answer.length, CLIENT_MOST - answer.length - 1, ms);
        if (got <= 0) return answer;
        answer.length += (size_t)got;
    }
    answer.status = atoi(answer.text + 9);
    answer.body = strstr(answer.text, "\r\n\r\n") + 4;
    answer.body_length = answer.length - (size_t)(answer.body - answer.text);
    if (client_header(&answer, "Transfer-Encoding")) client_join_chunks(&answer);
    answer.json = json_loadb(answer.body, answer.body_length, JSON_REJECT_DUPLICATES, NULL);
    return answer;
}

static inline void client_free(client_answer *answer) {
    json_decref(answer->json);
    free(answer->text);
    *answer = (client_answer){0};
}

typedef struct client_ask {
    int port;
    const char *method, *path;
    const char *more; /* header lines, each with its end; NULL: none */
    const char *host; /* NULL: the right one */
    const void *body;
    size_t length; /* of body; 0 with a body: a text */
    const char *type;
} client_ask;

static inline size_t client_request(const client_ask *ask, char **text) {
    char host[64], more[256] = "";
    size_t length = ask->body && !ask->length ? strlen(ask->body) : ask->length;
    snprintf(host, sizeof host, "127.0.0.1:%d", ask->port);
    if (ask->body)
        snprintf(more, sizeof more, "Content-Type: %s\r\nContent-Length: %zu\r\n",
                 ask->type ? ask->type : "application/json", length);
    size_t room = 4096 + length + strlen(ask->path);
    *text = malloc(room);
    assert_non_null(*text);
    int head = snprintf(*text, room, "%s %s HTTP/1.1\r\nHost: %s\r\n%s%s\r\n", ask->method,
                        ask->path, ask->host ? ask->host : host, more, ask->more ? ask->more : "");
    if (length) memcpy(*text + head, ask->body, length);
    return (size_t)head + length;
}

/* One request on a connection that stays open. */
static inline client_answer client_ask_on(int handle, const client_ask *ask) {
    char *text;
    size_t length = client_request(ask, &text);
    client_send(handle, text, length);
    free(text);
    return client_read(handle, strcmp(ask->method, "HEAD") == 0, 20000);
}

static inline client_answer client_do(const client_ask *ask) {
    int handle = client_open(ask->port);
    assert_true(handle >= 0);
    client_answer answer = client_ask_on(handle, ask);
    close(handle);
    return answer;
}

static inline client_answer client_fetch(int port, const char *path) {
    return client_do(&(client_ask){.port = port, .method = "GET", .path = path});
}

static inline client_answer client_post(int port, const char *path, const char *body) {
    return client_do(&(client_ask){.port = port, .method = "POST", .path = path, .body = body});
}

/* "errors.0.code" of an answer, or a number of its list by place. */
static inline json_t *client_at(const json_t *json, const char *path) {
    char part[128];
    json_t *at = (json_t *)json;
    while (at && *path) {
        size_t length = strcspn(path, ".");
        snprintf(part, sizeof part, "%.*s", (int)length, path);
        at = json_is_array(at) ? json_array_get(at, (size_t)atoi(part)) : json_object_get(at, part);
        path += length + (path[length] == '.');
    }
    return at;
}

static inline const char *client_text(const client_answer *answer, const char *path) {
    const char *text = json_string_value(client_at(answer->json, path));
    return text ? text : "";
}

#endif
