/* A Modbus/TCP server as libmodbus offers it, for many clients: modbus_receive and modbus_reply over
 * poll(). Prints its port; ends when its standard input closes. The few prototypes of libmodbus 3.1
 * stand here because its headers are not needed otherwise. */
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

typedef struct _modbus modbus_t;
typedef struct {
    int nb_bits, start_bits, nb_input_bits, start_input_bits;
    int nb_input_registers, start_input_registers, nb_registers, start_registers;
    uint8_t *tab_bits, *tab_input_bits;
    uint16_t *tab_input_registers, *tab_registers;
} modbus_mapping_t;
modbus_t *modbus_new_tcp(const char *ip, int port);
int modbus_tcp_listen(modbus_t *ctx, int backlog);
int modbus_tcp_accept(modbus_t *ctx, int *listener);
int modbus_set_socket(modbus_t *ctx, int s);
int modbus_receive(modbus_t *ctx, uint8_t *request);
int modbus_reply(modbus_t *ctx, const uint8_t *request, int length, modbus_mapping_t *mapping);
modbus_mapping_t *modbus_mapping_new(int bits, int input_bits, int registers, int input_registers);

#define MOST 1026

int main(void) {
    modbus_t *ctx = modbus_new_tcp("127.0.0.1", 0);
    modbus_mapping_t *mapping = modbus_mapping_new(200, 200, 200, 200);
    int listener = modbus_tcp_listen(ctx, 128);
    struct sockaddr_in where;
    socklen_t size = sizeof where;
    if (listener < 0 || mapping == NULL || getsockname(listener, (struct sockaddr *)&where, &size)) {
        perror("libmodbus server");
        return 1;
    }
    for (int i = 0; i < 200; i++)
        mapping->tab_registers[i] = mapping->tab_input_registers[i] = (uint16_t)(i * 257);
    printf("%d\n", ntohs(where.sin_port));
    fflush(stdout);

    static struct pollfd watched[MOST];
    int count = 2;
    watched[0] = (struct pollfd){.fd = STDIN_FILENO, .events = POLLIN};
    watched[1] = (struct pollfd){.fd = listener, .events = POLLIN};
    while (poll(watched, count, -1) > 0 && !watched[0].revents) {
        int before = count;
        if (watched[1].revents && count < MOST) {
            int fd = modbus_tcp_accept(ctx, &listener);
            if (fd >= 0)
                watched[count++] = (struct pollfd){.fd = fd, .events = POLLIN};
        }
        for (int i = before - 1; i >= 2; i--) {
            if (!watched[i].revents)
                continue;
            uint8_t request[260];
            modbus_set_socket(ctx, watched[i].fd);
            int length = modbus_receive(ctx, request);
            if (length > 0) {
                modbus_reply(ctx, request, length, mapping);
            } else if (length < 0) {
                close(watched[i].fd);
                watched[i] = watched[--count];
            }
        }
    }
    return 0;
}
