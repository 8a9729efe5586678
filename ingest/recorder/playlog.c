/* Playlog: the recorder. playlog.h says what it promises, ../FORMAT.md what the bytes mean.
 *
 * A packet is COBS-encoded and checksummed straight into the ring while it is open; nothing is copied twice. `head`
 * moves only when the packet is closed, so the transmitter never meets half a packet. A packet is opened only when the
 * ring has room for the longest one: an open packet can always be filled and closed, and events are dropped only
 * between packets, where the `dropped` counter of the next header tells it. Until something is dropped, headers of
 * events are the short ones.
 */
#include "playlog.h"

#include <string.h>

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
#error "the wire is little-endian, and numbers are sent as they lie in memory"
#endif

enum {
    EVENTS = 0x11,
    DICTIONARY = 0x12,
    SETTINGS = 0x13,
    SHORT_EVENTS = 0x14,
    TYPE_TO_LOW_SEQUENCE = 2,
    TYPE_TO_DROPPED = 5,
    TIME = 4,
    HEADER = TYPE_TO_DROPPED + TIME,
    ABOUT_HEADER = 6,
    MAX_TAG_AND_STEP = 5,
    MAX_FIELDS = 64,
    CRC = 2,
    MAX_PACKET = 128,
    MAX_FRAME = MAX_PACKET + 2, /* COBS adds one byte to a packet of this size, and the delimiter is one more */
    CHUNK = MAX_PACKET - HEADER - ABOUT_HEADER - CRC,
    SETTINGS_PER_PACKET = CHUNK / 4
};

/* Whatever a game logs must fit a packet that is open, that is, not full yet. */
PLAYLOG_REQUIRE(full_bytes_are_10_to_58, PLAYLOG_FULL_BYTES > HEADER
                    && PLAYLOG_FULL_BYTES - 1 + MAX_TAG_AND_STEP + MAX_FIELDS + CRC <= MAX_PACKET);

/* These lie in memory as they go over the wire, the record from `tag` on. */
struct about_header {
    uint16_t id;
    uint16_t nonce_or_length;
    uint16_t first;
};
struct record {
    uint8_t unused[3];
    uint8_t tag;
    uint32_t step;
};

/* The compiler and the machine must finish the frame's bytes before `head` lets them go. */
#ifndef PLAYLOG_BARRIER
#define PLAYLOG_BARRIER() __sync_synchronize()
#endif

/* Flash is dearer than a call. */
#ifdef __GNUC__
#define PLAYLOG_ONCE __attribute__((noinline))
#else
#define PLAYLOG_ONCE
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

    log->length = (uint8_t)(log->length + count);
    while (count-- != 0u) {
        const uint32_t byte = *from++;
        crc = crc_step(crc, byte);
        ring[write] = (uint8_t)byte;
        if (byte == 0u) {
            /* The length of the COBS block that ends here goes to its front; the zero's place waits for the next. */
            ring[code] = (uint8_t)((write - code) & mask);
            code = write;
        }
        write = (write + 1u) & mask;
    }
    log->write = (uint16_t)write;
    log->code = (uint16_t)code;
    log->crc = (uint16_t)crc;
}

int playlog_next_byte(struct playlog *log)
{
    const uint32_t tail = log->tail;
    int byte = -1;

    if (tail != log->head) {
        /* Read before `tail` moves on and lets the place be written again. */
        byte = (int)*(const volatile uint8_t *)&log->ring[tail];
        log->tail = (uint16_t)((tail + 1u) & log->mask);
    }
    return byte;
}

static void close_packet(struct playlog *log)
{
    const struct playlog_port *const port = log->port;
    const uint32_t crc = log->crc;
    uint8_t end[CRC + 1];

    if (log->length == 0u) {
        return;
    }
    end[0] = (uint8_t)((crc >> 8) ^ 0xFFu);
    end[1] = (uint8_t)((crc & 0xFFu) ^ 0xFFu);
    /* The delimiter ends the last COBS block just as a zero in the packet would. */
    end[2] = 0u;
    put(log, end, CRC + 1);
    log->length = 0u;
    PLAYLOG_BARRIER();
    log->head = log->write;
    if (port->send != NULL && !log->sending) {
        log->sending = true;
        port->enable_interrupt(true);
        /* An idle transmitter raises no interrupt on some parts: it has to be given the first byte. */
        port->send((uint8_t)playlog_next_byte(log));
    }
}

/* Opens a packet, for which the ring must have room. */
static PLAYLOG_ONCE void open_packet(struct playlog *log, uint32_t type)
{
    const uint32_t write = log->write;

    log->type = (uint8_t)type;
    log->start = log->last;
    log->code = (uint16_t)write;
    log->write = (uint16_t)((write + 1u) & log->mask);
    log->crc = 0xFFFFu;
    put(log, (const uint8_t *)log + offsetof(struct playlog, type),
        type == SHORT_EVENTS ? TYPE_TO_LOW_SEQUENCE : TYPE_TO_DROPPED);
    put(log, (const uint8_t *)&log->start, TIME);
    log->sequence++;
}

/* Sends one packet of the round: settings, then the dictionary. */
static void send_about(struct playlog *log)
{
    const struct playlog_schema *const schema = log->schema;
    const bool settings = log->about != PLAYLOG_TEXT;
    uint16_t *const next = settings ? &log->setting_next : &log->text_next;
    const uint32_t first = *next;
    const uint32_t most = settings ? SETTINGS_PER_PACKET : CHUNK;
    uint32_t count = (settings ? schema->tunables : schema->length) - first;
    const uint8_t *from = (const uint8_t *)schema->text + first;
    struct about_header header;

    if (count > most) {
        count = most;
        *next = (uint16_t)(first + most);
    } else {
        *next = 0u;
        log->about = PLAYLOG_TEXT;
        if (!settings) {
            log->about = PLAYLOG_SETTINGS;
            log->repeat_s = log->repeat_s == 0u ? 2u : PLAYLOG_REPEAT_S;
        }
    }
    header.id = log->id;
    header.nonce_or_length = schema->length;
    header.first = (uint16_t)first;
    if (settings) {
        header.nonce_or_length = log->nonce;
        header.first = (uint16_t)(first | (count << 8));
        /* As a number, because values may be NULL, and NULL + 0 is not defined for pointers. */
        from = (const uint8_t *)((uintptr_t)log->values + 4u * first);
        count *= 4u;
    }
    open_packet(log, settings ? SETTINGS : DICTIONARY);
    put(log, (const uint8_t *)&header, ABOUT_HEADER);
    put(log, from, count);
    log->repeated = log->last;
    close_packet(log);
}

/* Sends settings that no event may overtake; returns whether there is room then. Only while no packet is open. */
static bool ready(struct playlog *log, uint32_t bytes)
{
    for (;;) {
        const uint32_t room = ((uint32_t)log->tail - log->write - 1u) & log->mask;

        if (log->about != PLAYLOG_SETTINGS_FIRST || room < MAX_FRAME) {
            return room >= bytes;
        }
        send_about(log);
    }
}

/* Takes the lock, reads the clock and closes a packet that has waited long enough. Returns the ticks since the last
 * record. */
static uint32_t enter(struct playlog *log)
{
    const uint32_t was = log->port->lock();
    uint32_t step = log->port->now() - log->last;

    log->was = was;
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

static void leave(const struct playlog *log)
{
    log->port->unlock(log->was);
}

void playlog_event(struct playlog *log, uint8_t tag, const uint8_t *fields, uint8_t width)
{
    struct record record;
    uint32_t step = enter(log);
    uint32_t code = tag & 0xFCu;
    uint32_t bytes = 1u;

    if (log->length == 0u) {
        if (!ready(log, MAX_FRAME)) {
            log->dropped++;
            leave(log);
            return;
        }
        open_packet(log, log->dropped == 0u ? SHORT_EVENTS : EVENTS);
        step = 0u;
    }
    if (step != 0u) {
        code += 1u;
        bytes = 2u;
    }
    if (step > 0xFFu) {
        code += 1u;
        bytes = 3u;
    }
    if (step > 0xFFFFu) {
        code += 1u;
        bytes = 5u;
    }
    record.step = step;
    record.tag = (uint8_t)code;
    put(log, &record.tag, bytes);
    put(log, fields, width);
    if ((tag & 1u) != 0u || log->length >= PLAYLOG_FULL_BYTES) {
        close_packet(log);
    }
    leave(log);
}

void playlog_poll(struct playlog *log)
{
    const uint32_t step = enter(log);
    const bool due = log->last - log->repeated >= log->repeat_s * log->schema->clock_hz;

    if (due) {
        close_packet(log);
    }
    if (log->length != 0u) {
        /* The next record's step counts from the last record. */
        log->last -= step;
    } else if (ready(log, 2u * MAX_FRAME) && due) { /* leave events a packet's room */
        send_about(log);
    }
    leave(log);
}

void playlog_settings_changed(struct playlog *log)
{
    (void)enter(log);
    close_packet(log);
    log->about = PLAYLOG_SETTINGS_FIRST;
    log->setting_next = 0u;
    (void)ready(log, 0u);
    leave(log);
}

void playlog_flush(struct playlog *log)
{
    (void)enter(log);
    close_packet(log);
    leave(log);
}

void playlog_on_transmitter_empty(struct playlog *log)
{
    const struct playlog_port *const port = log->port;
    int byte = playlog_next_byte(log);

    if (byte < 0) {
        /* An interrupt above this one may have logged while `sending` was still true: look again with that shut out. */
        const uint32_t was = port->lock();
        byte = playlog_next_byte(log);
        if (byte < 0) {
            log->sending = false;
            port->enable_interrupt(false);
        }
        port->unlock(was);
    }
    if (byte >= 0) {
        port->send((uint8_t)byte);
    }
}

bool playlog_init(struct playlog *log, const struct playlog_schema *schema, const int32_t *values,
                  uint8_t *ring, size_t ring_bytes, const struct playlog_port *port, uint16_t nonce)
{
    if (ring_bytes < PLAYLOG_MIN_RING || ring_bytes > PLAYLOG_MAX_RING || (ring_bytes & (ring_bytes - 1u)) != 0u) {
        return false;
    }
    (void)memset(log, 0, sizeof *log);
    log->schema = schema;
    log->port = port;
    log->values = values;
    log->ring = ring;
    log->mask = (uint16_t)(ring_bytes - 1u);
    log->nonce = nonce;
    /* The id of the dictionary is its checksum; what put() writes into the ring meanwhile means nothing. */
    log->crc = 0xFFFFu;
    put(log, (const uint8_t *)schema->text, schema->length);
    log->id = log->crc ^ 0xFFFFu;
    log->length = 0u;
    /* A zero closes off whatever was on the line before. */
    ring[0] = 0u;
    log->write = 1u;
    /* Time starts here, wherever the clock stands. */
    log->last = port->now();
    playlog_settings_changed(log);
    return true;
}
