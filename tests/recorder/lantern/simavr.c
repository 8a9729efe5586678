/* Runs firmware for an ATmega328P in simavr's library and writes what its UART sends to a file: simavr itself shows
 * text only. Usage: simavr FIRMWARE FILE. The declarations are simavr's (sim_avr.h, sim_elf.h, sim_irq.h, avr_uart.h),
 * whose package has no headers; the firmware's structure is read and written by the library alone. */
#include <stdint.h>
#include <stdio.h>

typedef struct avr_t avr_t;
typedef struct avr_irq_t avr_irq_t;

avr_t *avr_make_mcu_by_name(const char *name);
int avr_init(avr_t *avr);
int avr_run(avr_t *avr);
int elf_read_firmware(const char *file, void *firmware);
void avr_load_firmware(avr_t *avr, void *firmware);
avr_irq_t *avr_io_getirq(avr_t *avr, uint32_t ioctl, int index);
void avr_irq_register_notify(avr_irq_t *irq, void (*notify)(avr_irq_t *irq, uint32_t value, void *file), void *file);

enum { UART_OUTPUT = 1, DONE = 6, CRASHED = 7 };
#define UART_0 ((uint32_t)'u' << 24 | (uint32_t)'a' << 16 | (uint32_t)'r' << 8 | (uint32_t)'0')

static void keep(avr_irq_t *irq, uint32_t value, void *file)
{
    (void)irq;
    (void)putc((int)(value & 0xFFu), file);
}

int main(int count, char **words)
{
    static uint64_t firmware[8192]; /* much more than the structure needs */
    avr_t *const avr = avr_make_mcu_by_name("atmega328p");
    FILE *const file = count == 3 ? fopen(words[2], "wb") : NULL;
    int state;

    if (avr == NULL || file == NULL || avr_init(avr) != 0 || elf_read_firmware(words[1], firmware) != 0) {
        return 2;
    }
    avr_load_firmware(avr, firmware);
    avr_irq_register_notify(avr_io_getirq(avr, UART_0, UART_OUTPUT), keep, file);
    do {
        state = avr_run(avr);
    } while (state != DONE && state != CRASHED);
    return fclose(file) != 0 || state == CRASHED;
}
