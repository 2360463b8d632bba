/* Asks the bench's own server for a page, to see that it answers. */
#include "fetch_impl.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#define PATIENCE_S 10

static int open_loopback(int port) {
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
    struct timeval patience = {.tv_sec = PATIENCE_S};
    int handle = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (handle < 0) return -1;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    setsockopt(handle, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    if (connect(handle, (struct sockaddr *)&address, sizeof address) == 0) return handle;
    close(handle);
    return -1;
}

int cli_fetch(int port, const char *path, size_t *length) {
    char text[4096];
    int status = 0, handle = open_loopback(port);
    ssize_t got;
    *length = 0;
    if (handle < 0) return 0;
    int size =
        snprintf(text, sizeof text,
                 "GET %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n\r\n", path, port);
    if (send(handle, text, (size_t)size, MSG_NOSIGNAL) == size)
        while ((got = recv(handle, text, sizeof text - 1, 0)) > 0) {
            text[got] = 0;
            if (*length == 0) sscanf(text, "HTTP/1.1 %d", &status);
            *length += (size_t)got;
        }
    close(handle);
    return status;
}
