/* The firmware's ELF on an emulated ATmega328P, with an emulated MPU-9250 on its I2C bus.
 *
 * A program of its own: it links libsimavr (GPL-3.0-or-later), the firmware does not, and nothing
 * of the firmware is compiled into it.
 *
 *   emulate FIRMWARE.elf [--motion FILE] [--events FILE] [--seconds S] [--serial-number TEXT]
 *           [--figures FILE] [--output FILE | --pty [--speed X] [--wait]]
 *
 * --motion   rows "t_ms mx my mz fx fy fz gx gy gz temperature" in wire units, body axes: what
 *            the sensor is exposed to; straight lines between rows, held before and after
 * --events   rows "t_ms what ...", see happen() below
 * --output   run as fast as the machine can; what the board sends goes to FILE (- for stdout)
 * --pty      run at the pace of the clock, or --speed times that; the port's name is printed
 *            first; with --wait the power comes on when the host first writes
 * --figures  what was measured, as JSON, written at the end
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_twi.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>

uint32_t avr_twi_irq_msg(uint8_t msg, uint8_t addr, uint8_t data);

enum {
    FREQUENCY = 16000000,
    CYCLES_PER_MS = FREQUENCY / 1000,
    PAINT = 0xC5,
    TIMER0_INTERRUPTS = 0x6E,
    COLUMNS = 10,
    /* What a byte and its acknowledgement take at 400 kHz, and what simavr makes of it */
    I2C_BYTE_CYCLES = 9 * (FREQUENCY / 400000),
    SIMAVR_I2C_BYTE_CYCLES = 9 * (FREQUENCY / 1000000)
};

static avr_t *avr;
static avr_twi_t *twi;
static volatile sig_atomic_t asked_to_stop;

static void fail(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fputs("emulate: ", stderr);
    vfprintf(stderr, format, arguments);
    fputc('\n', stderr);
    va_end(arguments);
    exit(3);
}

static double now_ms(void)
{
    return (double)avr->cycle / CYCLES_PER_MS;
}

/* ---- What the sensor is exposed to ---- */

struct row {
    double t_ms, value[COLUMNS]; /* mx my mz fx fy fz gx gy gz temperature */
};

static struct row *rows;
static size_t row_count;

static void load_motion(const char *path)
{
    FILE *file = fopen(path, "r");
    if (!file)
        fail("%s: %s", path, strerror(errno));
    size_t room = 0;
    struct row row;
    for (;;) {
        if (fscanf(file, "%lf", &row.t_ms) != 1)
            break;
        for (int i = 0; i < COLUMNS; i++)
            if (fscanf(file, "%lf", &row.value[i]) != 1)
                fail("%s: row %zu is too short", path, row_count + 1);
        if (row_count == room) {
            room = room ? 2 * room : 1024;
            rows = realloc(rows, room * sizeof *rows);
            if (!rows)
                fail("out of memory");
        }
        rows[row_count++] = row;
    }
    fclose(file);
    if (!row_count)
        fail("%s holds no rows", path);
}

static double exposed(int column, double t_ms)
{
    static size_t at;
    /* Level, at rest, pointing north, 20 uT ahead and 45 uT down */
    static const double at_rest[COLUMNS] = {2000, 0, 4500, 0, 0, -10000, 0, 0, 0, 230};
    if (!row_count)
        return at_rest[column];
    if (at + 1 >= row_count || rows[at].t_ms > t_ms)
        at = 0;
    while (at + 1 < row_count && rows[at + 1].t_ms <= t_ms)
        at++;
    if (t_ms <= rows[at].t_ms || at + 1 == row_count)
        return rows[at].value[column];
    const double share = (t_ms - rows[at].t_ms) / (rows[at + 1].t_ms - rows[at].t_ms);
    return rows[at].value[column] +
           share * (rows[at + 1].value[column] - rows[at].value[column]);
}

/* ---- The two chips of the sensor ---- */

struct chip {
    uint8_t address;
    bool gone;
    uint8_t registers[128];
    uint8_t pointer;
    double news_ms; /* when the values in the registers were measured */
};

static struct chip motion = {.address = 0x68}, magnetometer = {.address = 0x0C};
static struct chip *selected;
static bool pointer_comes;
static bool counts_given;
static int given_counts[COLUMNS]; /* accel x y z, temperature, gyro x y z, magnetometer x y z */
static const uint8_t ADJUSTMENT[3] = {176, 178, 165};
static uint64_t i2c_bytes;

static void power_on(struct chip *chip)
{
    memset(chip->registers, 0, sizeof chip->registers);
    chip->pointer = 0;
    chip->news_ms = -1000;
    if (chip == &motion) {
        chip->registers[0x6B] = 0x40; /* asleep */
        chip->registers[0x75] = 0x71;
    } else {
        chip->registers[0x00] = 0x48;
    }
}

static int counts(double value)
{
    return value >= 32767 ? 32767 : value <= -32768 ? -32768 : (int)lround(value);
}

static void measure_motion(double t_ms)
{
    static const double accel_per_g[4] = {16384, 8192, 4096, 2048};
    static const double gyro_per_deg_s[4] = {131, 65.5, 32.8, 16.4};
    static const int sign[3] = {1, -1, -1};
    const double accel = accel_per_g[motion.registers[0x1C] >> 3 & 3] / 10000;
    const double gyro = gyro_per_deg_s[motion.registers[0x1B] >> 3 & 3] / 100;
    int value[7];
    for (int axis = 0; axis < 3; axis++) {
        value[axis] = counts(sign[axis] * accel * exposed(3 + axis, t_ms));
        value[4 + axis] = counts(sign[axis] * gyro * exposed(6 + axis, t_ms));
    }
    value[3] = counts((exposed(9, t_ms) / 10 - 21) * 333.87);
    for (int i = 0; i < 7; i++) {
        const int shown = counts_given ? given_counts[i] : value[i];
        motion.registers[0x3B + 2 * i] = (uint8_t)(shown >> 8);
        motion.registers[0x3C + 2 * i] = (uint8_t)shown;
    }
}

static void measure_field(double t_ms)
{
    static const int from[3] = {1, 0, 2}, sign[3] = {-1, 1, 1};
    double sum = 0;
    for (int axis = 0; axis < 3; axis++) {
        const double adjusted = (ADJUSTMENT[axis] + 128) / 256.0;
        const double field = sign[axis] * exposed(from[axis], t_ms); /* 0.01 uT */
        const int value = counts_given ? given_counts[7 + axis] : counts(field / 15 / adjusted);
        sum += abs(value);
        magnetometer.registers[3 + 2 * axis] = (uint8_t)value;
        magnetometer.registers[4 + 2 * axis] = (uint8_t)(value >> 8);
    }
    magnetometer.registers[9] = 0x10 | (sum >= 32760 ? 0x08 : 0);
}

/* Brings a chip's registers up to the present, as its own clock would have done. */
static void refresh(struct chip *chip)
{
    const double t_ms = now_ms();
    if (chip == &motion) {
        const double period = 1.0 + chip->registers[0x19];
        const double latest = floor(t_ms / period) * period;
        if (chip->registers[0x6B] & 0x40 || latest <= chip->news_ms)
            return;
        measure_motion(latest);
        if (chip->registers[0x38] & 1)
            chip->registers[0x3A] |= 1;
        chip->news_ms = latest;
    } else {
        const double latest = floor(t_ms / 10) * 10;
        if (chip->registers[0x0A] != 0x16 || latest <= chip->news_ms)
            return;
        measure_field(latest);
        chip->registers[2] |= 1;
        chip->news_ms = latest;
    }
}

static bool answers(const struct chip *chip)
{
    if (chip->gone)
        return false;
    if (chip == &magnetometer) /* only through the bypass */
        return !motion.gone && (motion.registers[0x37] & 0x02) &&
               !(motion.registers[0x6A] & 0x20);
    return true;
}

static uint8_t give(struct chip *chip)
{
    const uint8_t at = chip->pointer++ & 127;
    if (chip == &magnetometer && at >= 0x10 && at <= 0x12)
        return chip->registers[0x0A] == 0x0F ? ADJUSTMENT[at - 0x10] : 0;
    const uint8_t value = chip->registers[at];
    if (chip == &motion && at == 0x3A)
        chip->registers[at] = 0; /* read is cleared */
    if (chip == &magnetometer && at == 9)
        chip->registers[2] = 0; /* the second status ends a reading */
    return value;
}

static void i2c(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    const avr_twi_msg_irq_t message = {.u.v = value};
    const uint8_t what = message.u.twi.msg;
    avr_irq_t *const to_board = avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT);
    if (what & TWI_COND_STOP)
        selected = NULL;
    if (what & TWI_COND_START) {
        /* simavr takes the address in the data register for data that waits to be sent, and
         * would report "data taken" for "address taken" */
        twi->state &= (uint8_t)~TWI_COND_WRITE;
        struct chip *const asked =
            message.u.twi.addr >> 1 == motion.address         ? &motion
            : message.u.twi.addr >> 1 == magnetometer.address ? &magnetometer
                                                              : NULL;
        selected = asked && answers(asked) ? asked : NULL;
        pointer_comes = !(message.u.twi.addr & 1);
        i2c_bytes++;
        if (selected) {
            if (message.u.twi.addr & 1)
                refresh(selected);
            avr_raise_irq(to_board, avr_twi_irq_msg(TWI_COND_ACK, message.u.twi.addr, 1));
        }
        return;
    }
    if (!selected)
        return;
    if (what & TWI_COND_WRITE) {
        i2c_bytes++;
        avr_raise_irq(to_board, avr_twi_irq_msg(TWI_COND_ACK, message.u.twi.addr, 1));
        if (pointer_comes)
            selected->pointer = message.u.twi.data;
        else
            selected->registers[selected->pointer++ & 127] = message.u.twi.data;
        pointer_comes = false;
    }
    if (what & TWI_COND_READ) {
        i2c_bytes++;
        avr_raise_irq(to_board,
                      avr_twi_irq_msg(TWI_COND_READ, message.u.twi.addr, give(selected)));
    }
}

/* ---- Pins ---- */

static bool key_down[2];
static bool bus_held_low;
static bool pins_forgotten = true; /* a reset clears simavr's input registers */
static uint8_t twi_vector;

static void drive(char port, int pin, bool high)
{
    avr_irq_t *const irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), pin);
    if (pins_forgotten)
        avr_raise_irq(irq, !high); /* simavr passes on changes only */
    avr_raise_irq(irq, high);
}

static void drive_pins(void)
{
    for (int key = 0; key < 2; key++)
        drive('D', 2 + key, !key_down[key]);
    drive('C', 4, !bus_held_low);
    drive('C', 5, true);
    pins_forgotten = false;
}

static uint64_t light_changes;

static void light(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    static uint32_t last;
    (void)irq;
    (void)unused;
    light_changes += value != last;
    last = value;
}

/* ---- The serial port ---- */

static FILE *output;
static int pty = -1, pty_far_end = -1;
static uint64_t bytes_sent, bytes_unread;
static bool board_listens = true;
static uint8_t to_board[65536];
static size_t to_board_in, to_board_out;

static void sent(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    const uint8_t byte = (uint8_t)value;
    bytes_sent++;
    if (output)
        fputc(byte, output);
    if (pty >= 0 && write(pty, &byte, 1) != 1)
        bytes_unread++; /* nobody reads: the bytes are gone, as on a real line */
}

static void listens(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    if (value)
        board_listens = true;
}

static void does_not_listen(struct avr_irq_t *irq, uint32_t value, void *unused)
{
    (void)irq;
    (void)unused;
    if (value)
        board_listens = false;
}

static void queue_for_board(uint8_t byte)
{
    if (to_board_in - to_board_out < sizeof to_board)
        to_board[to_board_in++ % sizeof to_board] = byte;
}

static void feed_board(void)
{
    if (pty >= 0) {
        uint8_t bytes[256];
        const ssize_t count = read(pty, bytes, sizeof bytes);
        for (ssize_t i = 0; i < count; i++)
            queue_for_board(bytes[i]);
    }
    avr_irq_t *const line = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    /* 115200 baud are 11.5 bytes a millisecond */
    for (int room = 11; room && board_listens && to_board_out != to_board_in; room--)
        avr_raise_irq(line, to_board[to_board_out++ % sizeof to_board]);
}

static void open_pty(void)
{
    pty = posix_openpt(O_RDWR | O_NOCTTY);
    if (pty < 0 || grantpt(pty) || unlockpt(pty))
        fail("no pseudo terminal: %s", strerror(errno));
    const char *name = ptsname(pty);
    /* Held open here so that the line stays up, and raw, while no one else has it open */
    pty_far_end = open(name, O_RDWR | O_NOCTTY);
    if (pty_far_end < 0)
        fail("%s: %s", name, strerror(errno));
    struct termios settings;
    tcgetattr(pty_far_end, &settings);
    cfmakeraw(&settings);
    tcsetattr(pty_far_end, TCSANOW, &settings);
    fcntl(pty, F_SETFL, fcntl(pty, F_GETFL) | O_NONBLOCK);
    printf("%s\n", name);
    fflush(stdout);
}

/* ---- Events ---- */

struct event {
    double t_ms;
    char what[400];
};

static struct event *events;
static size_t event_count, events_done;

static void load_events(const char *path)
{
    FILE *file = fopen(path, "r");
    if (!file)
        fail("%s: %s", path, strerror(errno));
    struct event event;
    while (fscanf(file, "%lf %399[^\n]", &event.t_ms, event.what) == 2) {
        events = realloc(events, (event_count + 1) * sizeof *events);
        if (!events)
            fail("out of memory");
        events[event_count++] = event;
    }
    fclose(file);
}

static struct chip *chip_named(const char *name)
{
    if (strcmp(name, "motion") == 0)
        return &motion;
    if (strcmp(name, "magnetometer") == 0)
        return &magnetometer;
    fail("no such chip: %s", name);
    return NULL;
}

static void hold_bus(bool low)
{
    bus_held_low = low;
    /* A line that does not move: the unit never finishes what it was told to do */
    twi->twi.vector = low ? 0 : twi_vector;
}

static void happen(const char *what)
{
    char word[32], name[32];
    int key, used = 0;
    int *const c = given_counts;
    if (sscanf(what, "press %d", &key) == 1 && key >= 1 && key <= 2) {
        key_down[key - 1] = true;
    } else if (sscanf(what, "release %d", &key) == 1 && key >= 1 && key <= 2) {
        key_down[key - 1] = false;
    } else if (sscanf(what, "take-away %31s", name) == 1) {
        chip_named(name)->gone = true;
    } else if (sscanf(what, "put-back %31s", name) == 1) {
        chip_named(name)->gone = false;
        power_on(chip_named(name));
    } else if (strcmp(what, "power-dip") == 0) { /* too short to be missed on the bus */
        power_on(&motion);
        power_on(&magnetometer);
    } else if (strcmp(what, "hold-bus-low") == 0) {
        hold_bus(true);
    } else if (strcmp(what, "let-bus-go") == 0) {
        hold_bus(false);
    } else if (strcmp(what, "stop-clock") == 0) { /* the board's own millisecond interrupt */
        avr->data[TIMER0_INTERRUPTS] = 0;
    } else if (sscanf(what, "counts %d %d %d %d %d %d %d %d %d %d", c, c + 1, c + 2, c + 3, c + 4,
                      c + 5, c + 6, c + 7, c + 8, c + 9) == COLUMNS) {
        counts_given = true;
    } else if (strcmp(what, "counts-free") == 0) {
        counts_given = false;
    } else if (sscanf(what, "host %n%31s", &used, word) == 1) { /* bytes in hex */
        unsigned byte;
        for (const char *at = what + used; sscanf(at, "%2x", &byte) == 1; at += 2)
            queue_for_board((uint8_t)byte);
    } else {
        fail("no such event: %s", what);
    }
}

/* ---- The run ---- */

static uint64_t asleep_cycles, resets;
static void (*own_reset)(struct avr_t *);

static void slept(struct avr_t *unused, avr_cycle_count_t cycles)
{
    (void)unused;
    asleep_cycles += cycles + 1;
}

static void was_reset(struct avr_t *a)
{
    resets++;
    selected = NULL;
    pins_forgotten = true;
    if (own_reset)
        own_reset(a);
}

static void quiet(avr_t *unused, const int level, const char *format, va_list arguments)
{
    (void)unused;
    if (level <= LOG_ERROR)
        vfprintf(stderr, format, arguments);
}

static void stop(int unused)
{
    (void)unused;
    asked_to_stop = 1;
}

static uint16_t end_of_statics(const elf_firmware_t *firmware)
{
    for (uint32_t i = 0; i < firmware->symbolcount; i++)
        if (strcmp(firmware->symbol[i]->symbol, "_end") == 0)
            return (uint16_t)firmware->symbol[i]->addr;
    fail("the ELF does not say where its variables end");
    return 0;
}

static void write_figures(const char *path, uint16_t statics_end)
{
    FILE *file = fopen(path, "w");
    if (!file)
        fail("%s: %s", path, strerror(errno));
    uint16_t deepest = statics_end;
    while (deepest <= avr->ramend && avr->data[deepest] == PAINT)
        deepest++;
    const double busy = (double)(avr->cycle - asleep_cycles);
    const double i2c_short = (double)i2c_bytes * (I2C_BYTE_CYCLES - SIMAVR_I2C_BYTE_CYCLES);
    fprintf(file,
            "{\"simulated_s\": %.3f, \"bytes_sent\": %llu, \"bytes_unread\": %llu, "
            "\"i2c_bytes\": %llu, \"busy_share\": %.5f, \"busy_share_at_400_khz\": %.5f, "
            "\"resets\": %llu, \"light_changes\": %llu, \"statics_bytes\": %u, "
            "\"stack_bytes\": %u, \"ram_bytes\": %u}\n",
            now_ms() / 1000, (unsigned long long)bytes_sent, (unsigned long long)bytes_unread,
            (unsigned long long)i2c_bytes, busy / (double)avr->cycle,
            (busy + i2c_short) / (double)avr->cycle, (unsigned long long)resets,
            (unsigned long long)light_changes, statics_end - 0x100, avr->ramend + 1 - deepest,
            avr->ramend + 1 - 0x100);
    fclose(file);
}

static void wait_for_clock(double speed)
{
    static struct timespec begin;
    static double begin_ms;
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    if (!begin.tv_sec) {
        begin = now;
        begin_ms = now_ms();
    }
    const double real_ms = (double)(now.tv_sec - begin.tv_sec) * 1e3 +
                           (double)(now.tv_nsec - begin.tv_nsec) / 1e6;
    const double ahead_ms = (now_ms() - begin_ms) / speed - real_ms;
    if (ahead_ms > 0.5) {
        const struct timespec pause = {(time_t)(ahead_ms / 1e3),
                                       (long)(fmod(ahead_ms, 1e3) * 1e6)};
        nanosleep(&pause, NULL);
    }
}

int main(int argc, char **argv)
{
    const char *elf = NULL, *figures = NULL, *serial_number = NULL;
    double seconds = INFINITY, speed = 1;
    bool wants_pty = false, waits = false;
    for (int i = 1; i < argc; i++) {
        const char *option = argv[i];
        if (strcmp(option, "--pty") == 0) {
            wants_pty = true;
            continue;
        }
        if (strcmp(option, "--wait") == 0) {
            waits = true;
            continue;
        }
        if (option[0] != '-') {
            elf = option;
            continue;
        }
        if (++i == argc)
            fail("%s needs a value", option);
        if (strcmp(option, "--motion") == 0)
            load_motion(argv[i]);
        else if (strcmp(option, "--events") == 0)
            load_events(argv[i]);
        else if (strcmp(option, "--seconds") == 0)
            seconds = atof(argv[i]);
        else if (strcmp(option, "--speed") == 0)
            speed = atof(argv[i]);
        else if (strcmp(option, "--figures") == 0)
            figures = argv[i];
        else if (strcmp(option, "--serial-number") == 0)
            serial_number = argv[i];
        else if (strcmp(option, "--output") == 0)
            output = strcmp(argv[i], "-") == 0 ? stdout : fopen(argv[i], "wb");
        else
            fail("no such option: %s", option);
    }
    if (!elf || (!output && !wants_pty))
        fail("usage: emulate FIRMWARE.elf (--output FILE | --pty) [options]");

    avr_global_logger_set(quiet);
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    if (elf_read_firmware(elf, &firmware) != 0)
        fail("%s is no firmware", elf);
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        fail("libsimavr knows no atmega328p");
    avr_init(avr);
    avr->log = LOG_ERROR;
    firmware.frequency = FREQUENCY;
    avr_load_firmware(avr, &firmware);
    avr->frequency = FREQUENCY;
    if (serial_number) {
        avr_eeprom_desc_t eeprom = {(uint8_t *)(uintptr_t)serial_number, 0,
                                    (uint32_t)strlen(serial_number) + 1};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &eeprom);
    }
    const uint16_t statics_end = end_of_statics(&firmware);
    memset(avr->data + statics_end, PAINT, avr->ramend + 1U - statics_end);
    avr->sleep = slept;
    own_reset = avr->reset;
    avr->reset = was_reset;

    for (avr_io_t *port = avr->io_port; port; port = port->next)
        if (strcmp(port->kind, "twi") == 0)
            twi = (avr_twi_t *)port;
    if (!twi)
        fail("libsimavr's atmega328p has no I2C");
    twi->twi.raise_sticky = 0; /* or the flag would stay set when the firmware clears it */
    twi_vector = twi->twi.vector;
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags); /* no console, no sleeping */
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), i2c,
                            NULL);
    avr_irq_t *const serial = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), 0);
    avr_irq_register_notify(serial + UART_IRQ_OUTPUT, sent, NULL);
    avr_irq_register_notify(serial + UART_IRQ_OUT_XON, listens, NULL);
    avr_irq_register_notify(serial + UART_IRQ_OUT_XOFF, does_not_listen, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 5), light, NULL);
    power_on(&motion);
    power_on(&magnetometer);
    signal(SIGTERM, stop);
    signal(SIGINT, stop);
    if (wants_pty)
        open_pty();
    struct pollfd host = {.fd = pty, .events = POLLIN};
    while (wants_pty && waits && !asked_to_stop && poll(&host, 1, 100) < 1)
        ;

    int state = cpu_Running;
    uint64_t ms = 0;
    drive_pins();
    while (!asked_to_stop && state != cpu_Done && state != cpu_Crashed) {
        state = avr_run(avr);
        if (avr->cycle < ms * CYCLES_PER_MS)
            continue;
        if (now_ms() >= seconds * 1000)
            break;
        ms++;
        while (events_done < event_count && events[events_done].t_ms <= now_ms())
            happen(events[events_done++].what);
        drive_pins();
        feed_board();
        if (wants_pty)
            wait_for_clock(speed);
    }
    if (output && fclose(output) != 0)
        fail("output: %s", strerror(errno));
    if (figures)
        write_figures(figures, statics_end);
    return state == cpu_Crashed ? 4 : 0;
}
