/* By which names and addresses other devices of the network can ask this machine. */
#include "http_impl.h"

#include <arpa/inet.h>
#include <ctype.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

static void add(http_names *names, const char *name) {
    if (names->count == HTTP_NAMES || strlen(name) >= sizeof names->name[0]) return;
    for (int i = 0; i < names->count; i++)
        if (strcasecmp(names->name[i], name) == 0) return;
    strcpy(names->name[names->count++], name);
}

static void add_address(http_names *names, struct in_addr address) {
    char text[INET_ADDRSTRLEN];
    if (ntohl(address.s_addr) >> 24 == 127 || address.s_addr == 0) return;
    if (inet_ntop(AF_INET, &address, text, sizeof text)) add(names, text);
}

/* The address from which this machine would speak to others: first, since it is the one to show.
 * 192.0.2.1 stands for "elsewhere" (RFC 5737); joining a datagram socket sends nothing. */
static void add_speaking_address(http_names *names) {
    struct sockaddr_in elsewhere = {.sin_family = AF_INET, .sin_port = htons(9)}, own;
    socklen_t size = sizeof own;
    int handle = socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (handle < 0) return;
    inet_pton(AF_INET, "192.0.2.1", &elsewhere.sin_addr);
    if (connect(handle, (struct sockaddr *)&elsewhere, sizeof elsewhere) == 0 &&
        getsockname(handle, (struct sockaddr *)&own, &size) == 0)
        add_address(names, own.sin_addr);
    close(handle);
}

static void add_addresses(http_names *names) {
    struct ifaddrs *list = NULL;
    if (getifaddrs(&list) != 0) return;
    for (const struct ifaddrs *at = list; at; at = at->ifa_next)
        if (at->ifa_addr && at->ifa_addr->sa_family == AF_INET && (at->ifa_flags & IFF_UP))
            add_address(names, ((const struct sockaddr_in *)(const void *)at->ifa_addr)->sin_addr);
    freeifaddrs(list);
}

static bool is_host_name(const char *name) {
    for (const char *c = name; *c; c++)
        if (!isalnum((unsigned char)*c) && *c != '-' && *c != '.') return false;
    return *name != 0;
}

void http_names_find(http_names *names) {
    char host[64] = "", local[72];
    *names = (http_names){0};
    add_speaking_address(names);
    add_addresses(names);
    names->addresses = names->count;
    if (gethostname(host, sizeof host - 1) != 0 || !is_host_name(host)) return;
    add(names, host);
    snprintf(local, sizeof local, "%s.local", host);
    if (!strchr(host, '.')) add(names, local);
}
