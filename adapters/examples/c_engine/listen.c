/* A program that speaks the protocol on its standard streams, put behind a TCP port of this machine:
 *
 *     cc -O2 -o listen listen.c
 *     ./listen PORT ./corrie_c [argument ...]
 *
 * It waits for one connection, makes it the standard input and output, and becomes the program. Exit codes: 2 for a
 * wrong command line, 1 when the system refuses.
 */
#define _POSIX_C_SOURCE 200809L

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

static int fail(const char *what) {
    perror(what);
    return 1;
}

int main(int count, char **words) {
    struct sockaddr_in address;
    int yes = 1, port = count > 2 ? atoi(words[1]) : 0;
    if (port < 1 || port > 65535) {
        fputs("usage: listen PORT PROGRAM [argument ...]\n", stderr);
        return 2;
    }
    memset(&address, 0, sizeof address);
    address.sin_family = AF_INET;
    address.sin_port = htons((unsigned short)port);
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int listener = socket(AF_INET, SOCK_STREAM, 0);
    if (listener < 0) return fail("socket");
    setsockopt(listener, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    if (bind(listener, (struct sockaddr *)&address, sizeof address) || listen(listener, 1)) return fail("bind");
    int connection = accept(listener, NULL, NULL);
    if (connection < 0) return fail("accept");
    /* Without this a reply may wait 40 ms for more to come. */
    setsockopt(connection, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
    close(listener);
    if (dup2(connection, 0) < 0 || dup2(connection, 1) < 0) return fail("dup2");
    close(connection);
    execv(words[2], words + 2);
    return fail(words[2]);
}
