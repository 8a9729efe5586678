/* Playlog: the recorder. playlog.h says what it promises, ../FORMAT.md what the bytes mean.
 *
 * A packet is COBS-encoded and checksummed straight into the ring while it is open; nothing is copied twice. `head`
 * moves only when the packet is closed, so the transmitter never meets half a packet. A packet is opened only when the
 * ring has room for the longest one: an open packet can always be filled and closed, and events are dropped only
 * between packets, where the `dropped` counter of the next header tells it.
 */
#include "playlog.h"

#include <string.h>

enum {
    EVENTS = 0x11,
    DICTIONARY = 0x12,
    SETTINGS = 0x13,
    HEADER = 9,
    ABOUT_HEADER = 6,
    CRC = 2,
    MAX_PACKET = 128,
    /* COBS adds one byte to a packet of this size, and the delimiter is one more. */
    MAX_FRAME = MAX_PACKET + 2,
    CHUNK = MAX_PACKET - HEADER - ABOUT_HEADER - CRC,
    SETTINGS_PER_PACKET = CHUNK / 4
};

/* Bits of `about`. */
enum {
    SETTINGS_DUE = 1,     /* the next packet of the round is settings, not dictionary */
    SETTINGS_AT_ONCE = 2, /* they changed, or this is power-up: no event may go before them */
    ALL_AT_ONCE = 4       /* power-up: the whole round without waiting */
};

/* The compiler and the machine must finish the frame's bytes before `head` lets them go. */
#ifndef PLAYLOG_BARRIER
#define PLAYLOG_BARRIER() __sync_synchronize()
#endif

/* One byte of CRC-16 with polynomial 0x1021, without a table: the eight steps folded into shifts. Bits of the result
 * above the 16th are not cleared here. */
static inline uint32_t crc_step(uint32_t crc, uint32_t byte)
{
    uint32_t x = ((crc >> 8) ^ byte) & 0xFFu;
    x ^= x >> 4;
    return (crc << 8) ^ (x << 12) ^ (x << 5) ^ x;
}

/* Appends bytes to the open packet. */
static void put(struct playlog *log, const uint8_t *from, uint32_t count)
{
    uint8_t *const ring = log->ring;
    const uint32_t mask = log->mask;
    uint32_t write = log->write;
    uint32_t code = log->code;
    uint32_t crc = log->crc;
    const uint8_t *const end = from + count;

    log->length = (uint8_t)(log->length + count);
    while (from != end) {
        const uint32_t byte = *from++;
        crc = crc_step(crc, byte);
        ring[write] = (uint8_t)byte;
        if (byte == 0u) {
            /* The zero's place becomes the length byte of the next COBS block. */
            ring[code] = (uint8_t)((write - code) & mask);
            code = write;
        }
        write = (write + 1u) & mask;
    }
    log->write = (uint16_t)write;
    log->code = (uint16_t)code;
    log->crc = (uint16_t)crc;
}

static uint8_t take(struct playlog *log)
{
    const uint16_t tail = log->tail;
    /* Read before `tail` moves on and lets the place be written again. */
    const uint8_t byte = *(const volatile uint8_t *)&log->ring[tail];
    log->tail = (uint16_t)((tail + 1u) & log->mask);
    return byte;
}

/* Lets the transmitter have everything up to `write`. */
static void publish(struct playlog *log)
{
    const struct playlog_port *const port = log->port;

    PLAYLOG_BARRIER();
    log->head = log->write;
    if (port->send != NULL && !log->sending) {
        log->sending = true;
        port->enable_interrupt(true);
        /* An idle transmitter raises no interrupt on some parts: it has to be given the first byte. */
        port->send(take(log));
    }
}

static void close_packet(struct playlog *log)
{
    uint8_t crc[CRC];
    uint32_t write;

    if (log->length == 0u) {
        return;
    }
    crc[0] = (uint8_t)((log->crc >> 8) ^ 0xFFu);
    crc[1] = (uint8_t)((log->crc & 0xFFu) ^ 0xFFu);
    put(log, crc, CRC);
    write = log->write;
    log->ring[log->code] = (uint8_t)((write - log->code) & log->mask);
    log->ring[write] = 0u;
    log->write = (uint16_t)((write + 1u) & log->mask);
    log->length = 0u;
    publish(log);
}

/* Only while no packet is open. */
static bool has_room(const struct playlog *log, uint32_t bytes)
{
    return (((uint32_t)log->tail - log->write - 1u) & log->mask) >= bytes;
}

/* Opens a packet, for which has_room() must have been asked. */
static void open_packet(struct playlog *log, uint8_t type)
{
    uint8_t header[HEADER];
    uint8_t *at = playlog_put_u8(header, type);

    at = playlog_put_u16(at, log->sequence);
    at = playlog_put_u16(at, log->dropped);
    (void)playlog_put_u32(at, log->last);
    log->sequence++;
    log->code = log->write;
    log->write = (uint16_t)((log->write + 1u) & log->mask);
    log->crc = 0xFFFFu;
    log->start = log->last;
    put(log, header, HEADER);
}

/* Sends one packet of the round settings, dictionary, settings, ... */
static void send_about(struct playlog *log)
{
    const struct playlog_schema *const schema = log->schema;
    const bool settings = (log->about & SETTINGS_DUE) != 0u;
    const uint32_t from = settings ? log->setting_next : log->text_next;
    const uint32_t most = settings ? SETTINGS_PER_PACKET : CHUNK;
    const uint32_t left = (settings ? schema->tunables : schema->length) - from;
    const uint32_t count = left < most ? left : most;
    uint8_t header[ABOUT_HEADER];
    uint8_t *at = playlog_put_u16(header, log->id);

    open_packet(log, settings ? (uint8_t)SETTINGS : (uint8_t)DICTIONARY);
    if (settings) {
        uint32_t i;
        at = playlog_put_u16(at, log->nonce);
        at = playlog_put_u8(at, (uint8_t)from);
        (void)playlog_put_u8(at, (uint8_t)count);
        put(log, header, ABOUT_HEADER);
        for (i = 0u; i < count; i++) {
            (void)playlog_put_i32(header, log->values[from + i]);
            put(log, header, 4u);
        }
        log->setting_next = (uint8_t)(from + count);
        if (count == left) {
            log->setting_next = 0u;
            log->about &= (uint8_t)~(SETTINGS_DUE | SETTINGS_AT_ONCE);
        }
    } else {
        at = playlog_put_u16(at, schema->length);
        (void)playlog_put_u16(at, (uint16_t)from);
        put(log, header, ABOUT_HEADER);
        put(log, (const uint8_t *)schema->text + from, count);
        log->text_next = (uint16_t)(from + count);
        if (count == left) {
            log->text_next = 0u;
            log->about = SETTINGS_DUE;
        }
    }
    log->repeated = log->last;
    close_packet(log);
}

/* Settings that may not be overtaken by events, as far as there is room. */
static void send_changed_settings(struct playlog *log)
{
    while ((log->about & SETTINGS_AT_ONCE) != 0u && has_room(log, MAX_FRAME)) {
        send_about(log);
    }
}

/* Reads the clock and closes a packet that has waited long enough; returns the ticks since the last record. */
static uint32_t catch_up(struct playlog *log)
{
    uint32_t step = log->port->now() - log->last;

    /* A clock put together from two registers may step back by a little; time must not. */
    if ((step & 0x80000000u) != 0u) {
        step = 0u;
    }
    log->last += step;
    if (log->last - log->start >= log->schema->clock_hz / 2u) {
        close_packet(log);
    }
    return step;
}

void playlog_event(struct playlog *log, uint8_t tag, uint8_t *record, uint8_t width)
{
    const uint32_t was = log->port->lock();
    uint32_t step = catch_up(log);
    uint8_t *from = record + PLAYLOG_HEADROOM;
    uint32_t bytes;

    if (log->length + (uint32_t)width + PLAYLOG_HEADROOM + CRC > MAX_PACKET) {
        close_packet(log);
    }
    if (log->length == 0u) {
        send_changed_settings(log);
        if ((log->about & SETTINGS_AT_ONCE) != 0u || !has_room(log, MAX_FRAME)) {
            log->dropped++;
            log->port->unlock(was);
            return;
        }
        open_packet(log, EVENTS);
        step = 0u;
    }
    /* Tag and step go before the fields, so that the record is put in one piece. */
    bytes = (uint32_t)width + 1u;
    if (step == 0u) {
        from -= 1;
        from[0] = (uint8_t)(tag & 0xFCu);
    } else if (step < 0x100u) {
        from -= 2;
        from[0] = (uint8_t)((tag & 0xFCu) | 1u);
        from[1] = (uint8_t)step;
        bytes += 1u;
    } else if (step < 0x10000u) {
        from -= 3;
        from[0] = (uint8_t)((tag & 0xFCu) | 2u);
        (void)playlog_put_u16(from + 1, (uint16_t)step);
        bytes += 2u;
    } else {
        from -= 5;
        from[0] = (uint8_t)(tag | 3u);
        (void)playlog_put_u32(from + 1, step);
        bytes += 4u;
    }
    put(log, from, bytes);
    if ((tag & 1u) != 0u) {
        close_packet(log);
    }
    log->port->unlock(was);
}

void playlog_poll(struct playlog *log)
{
    const uint32_t was = log->port->lock();
    const uint32_t before = log->last;

    (void)catch_up(log);
    if ((log->about & ALL_AT_ONCE) != 0u || log->last - log->repeated >= PLAYLOG_REPEAT_S * log->schema->clock_hz) {
        close_packet(log);
        /* Leave events a packet's room. */
        if (has_room(log, 2u * MAX_FRAME)) {
            send_about(log);
        }
    }
    send_changed_settings(log);
    /* The next record's step counts from the last record. */
    if (log->length != 0u) {
        log->last = before;
    }
    log->port->unlock(was);
}

void playlog_settings_changed(struct playlog *log)
{
    const uint32_t was = log->port->lock();

    (void)catch_up(log);
    close_packet(log);
    log->about |= SETTINGS_DUE | SETTINGS_AT_ONCE;
    log->setting_next = 0u;
    send_changed_settings(log);
    log->port->unlock(was);
}

void playlog_flush(struct playlog *log)
{
    const uint32_t was = log->port->lock();

    close_packet(log);
    log->port->unlock(was);
}

void playlog_on_transmitter_empty(struct playlog *log)
{
    /* A handler that is shared with the receiver may come when nothing is being sent. */
    if (!log->sending) {
        return;
    }
    if (log->tail == log->head) {
        /* Another interrupt may log and find `sending` still true: look again with that shut out. */
        const uint32_t was = log->port->lock();
        const bool idle = log->tail == log->head;
        if (idle) {
            log->sending = false;
            log->port->enable_interrupt(false);
        }
        log->port->unlock(was);
        if (idle) {
            return;
        }
    }
    log->port->send(take(log));
}

int playlog_next_byte(struct playlog *log)
{
    return log->tail == log->head ? -1 : (int)take(log);
}

bool playlog_init(struct playlog *log, const struct playlog_schema *schema, const int32_t *values,
                  uint8_t *ring, size_t ring_bytes, const struct playlog_port *port, uint16_t nonce)
{
    uint32_t crc = 0xFFFFu;
    uint32_t was;
    uint32_t i;

    if (ring_bytes < PLAYLOG_MIN_RING || ring_bytes > PLAYLOG_MAX_RING || (ring_bytes & (ring_bytes - 1u)) != 0u
        || schema->length == 0u || schema->length > 16384u) {
        return false;
    }
    (void)memset(log, 0, sizeof *log);
    log->schema = schema;
    log->port = port;
    log->values = values;
    log->ring = ring;
    log->mask = (uint16_t)(ring_bytes - 1u);
    log->nonce = nonce;
    for (i = 0u; i < schema->length; i++) {
        crc = crc_step(crc, (uint8_t)schema->text[i]);
    }
    log->id = (uint16_t)((crc & 0xFFFFu) ^ 0xFFFFu);
    log->about = SETTINGS_DUE | SETTINGS_AT_ONCE | ALL_AT_ONCE;
    was = port->lock();
    log->last = port->now();
    /* A zero closes off whatever was on the line before. */
    ring[0] = 0u;
    log->write = 1u;
    send_changed_settings(log);
    port->unlock(was);
    return true;
}
