/* The board's UART as a pseudo-terminal with a lasting name. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <pty.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <simavr/avr_uart.h>

#include "rig.h"

enum { BYTES_A_MILLISECOND = 11 };

static int master;
static const char *name;
static avr_irq_t *input;
static bool room = true;

struct serial_counts serial_counts;

static void on_output(struct avr_irq_t *irq, uint32_t byte, void *p)
{
    (void)irq, (void)p;
    char c = (char)byte;
    serial_counts.sent++;
    if (write(master, &c, 1) != 1)
        serial_counts.lost++;
}

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *p)
{
    (void)irq, (void)value, (void)p;
    room = true;
}

static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *p)
{
    (void)irq, (void)value, (void)p;
    room = false;
}

static avr_irq_t *uart_irq(int which)
{
    return avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), which);
}

static void attach_uart(void)
{
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(uart_irq(UART_IRQ_OUTPUT), on_output, NULL);
    avr_irq_register_notify(uart_irq(UART_IRQ_OUT_XON), on_xon, NULL);
    avr_irq_register_notify(uart_irq(UART_IRQ_OUT_XOFF), on_xoff, NULL);
    input = uart_irq(UART_IRQ_INPUT);
}

bool serial_attach(const char *link)
{
    int slave; /* stays open: a reader that comes and goes must not end the line */
    struct termios settings;
    if (openpty(&master, &slave, NULL, NULL, NULL))
        return false;
    tcgetattr(slave, &settings);
    cfmakeraw(&settings);
    tcsetattr(slave, TCSANOW, &settings);
    fcntl(master, F_SETFL, O_NONBLOCK);
    attach_uart();
    name = link;
    unlink(link);
    return symlink(ptsname(master), link) == 0;
}

void serial_carry(void)
{
    char c;
    for (int i = 0; i < BYTES_A_MILLISECOND && room && read(master, &c, 1) == 1; i++)
        avr_raise_irq(input, (uint8_t)c);
}

void serial_detach(void)
{
    unlink(name);
}
