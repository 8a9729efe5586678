/* Playlog: the recorder. playlog.h says what it promises, ../FORMAT.md what the bytes mean.
 *
 * A packet is COBS-encoded and checksummed straight into the ring while it is open; nothing is copied twice. `head`
 * moves only when the packet is closed, so the transmitter never meets half a packet. A packet is opened only when the
 * ring has room for the longest one: an open packet can always be filled and closed, and events are dropped only
 * between packets, where the `dropped` counter of the next header tells it. Until something is dropped, headers of
 * events are the short ones.
 *
 * Settings and dictionary are long packets of known length: their place in the ring is taken with the lock held, and
 * written without it. Events that come meanwhile go behind that place, and `head` waits.
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
    MAX_LOCKED = 12, /* longer fields are written without the lock */
    CRC = 2,
    DELIMITER = 1,
    END = CRC + DELIMITER,
    MAX_PACKET = 128,
    FRAMING = 1 + DELIMITER, /* COBS adds one byte to a packet of at most 254 */
    MAX_FRAME = MAX_PACKET + FRAMING,
    CHUNK = MAX_PACKET - HEADER - ABOUT_HEADER - CRC,
    SETTINGS_PER_PACKET = CHUNK / 4,
    ALL = 0x7FFF /* of the ring: settings are to be sent that no event may overtake */
};

/* Whatever a game logs must fit a packet that is open, that is, not full yet. */
PLAYLOG_REQUIRE(full_bytes_are_10_to_58, PLAYLOG_FULL_BYTES > HEADER
                    && PLAYLOG_FULL_BYTES - 1 + MAX_TAG_AND_STEP + MAX_FIELDS + CRC <= MAX_PACKET);

/* Headers are sent as they lie in memory, in the order of FORMAT.md, with nothing in between. */
#define LIES_BEHIND(field, first, bytes) (offsetof(struct playlog, field) == offsetof(struct playlog, first) + (bytes))
PLAYLOG_REQUIRE(header_lies_as_it_is_sent, LIES_BEHIND(sequence, type, 1) && LIES_BEHIND(dropped, type, 3)
                    && sizeof(((struct playlog *)0)->dropped) == TYPE_TO_DROPPED - 3
                    && sizeof(((struct playlog *)0)->start) == TIME);
PLAYLOG_REQUIRE(header_of_settings_and_dictionary_lies_as_it_is_sent,
                LIES_BEHIND(nonce_or_length, id, 2) && LIES_BEHIND(first, id, 4)
                    && sizeof(((struct playlog *)0)->first) == ABOUT_HEADER - 4);

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

/* Appends bytes to a packet. */
static void put(struct playlog_place *at, const uint8_t *from, unsigned count)
{
    enum { TOP = 8 * sizeof(unsigned) - 16 };
    uint8_t *const ring = at->ring;
    const unsigned mask = at->mask;
    unsigned write = at->write;
    unsigned code = at->code;
    unsigned crc = (unsigned)at->crc << TOP; /* at the top, so that what is shifted out needs no clearing */

    at->length = (uint8_t)(at->length + count);
    if (count == 0u) {
        return;
    }
    do {
        const unsigned byte = *from++;
        /* CRC-16 with polynomial 0x1021, without a table: the eight steps folded into shifts. */
        unsigned x = (crc >> (TOP + 8)) ^ byte;
        x ^= x >> 4;
        crc = (crc << 8) ^ (x << (TOP + 12)) ^ (x << (TOP + 5)) ^ (x << TOP);
        ring[write] = (uint8_t)byte;
        if (byte == 0u) {
            /* The length of the COBS block that ends here goes to its front; the zero's place waits for the next. */
            ring[code] = (uint8_t)((write - code) & mask);
            code = write;
        }
        write = (write + 1u) & mask;
    } while (--count != 0u);
    at->write = (uint16_t)write;
    at->code = (uint16_t)code;
    at->crc = (uint16_t)(crc >> TOP);
}

#ifdef __AVR__
/* Appends bytes of the dictionary, which AVR keeps in flash. */
static void put_text(struct playlog_place *at, const uint8_t *from, unsigned count)
{
    while (count-- != 0u) {
        const uint8_t byte = pgm_read_byte(from++);
        put(at, &byte, 1u);
    }
}
#else
#define put_text put
#endif

/* Appends the checksum, and the delimiter, which ends the last COBS block just as a zero in the packet would. */
static PLAYLOG_ONCE void put_end(struct playlog_place *at)
{
    const unsigned crc = at->crc ^ 0xFFFFu;
    uint8_t end[END];

    end[0] = (uint8_t)(crc >> 8);
    end[1] = (uint8_t)(crc & 0xFFu);
    end[2] = 0u;
    put(at, end, END);
    at->length = 0u;
}

#if SIG_ATOMIC_MAX < 0xFFFF
/* A machine of 8 bits reads and writes an index in two halves: no interrupt may come between them. */
#define next_byte take_byte
static int take_byte(struct playlog *log);

int playlog_next_byte(struct playlog *log)
{
    int byte = -1;

    if (log->port != NULL) {
        const uint32_t was = log->port->lock();
        byte = take_byte(log);
        log->port->unlock(was);
    }
    return byte;
}
static
#else
#define next_byte playlog_next_byte
#endif
int next_byte(struct playlog *log)
{
    const unsigned tail = log->tail;
    int byte = -1;

    if (tail != log->head) {
        /* Read before `tail` moves on and lets the place be written again. */
        byte = (int)*(const volatile uint8_t *)&log->open.ring[tail];
        log->tail = (uint16_t)((tail + 1u) & log->open.mask);
    }
    return byte;
}

static void leave(const struct playlog *log)
{
    log->port->unlock(log->was);
}

/* Opens the lock for a moment: whatever may have been logged meanwhile. */
static void breathe(struct playlog *log)
{
    leave(log);
    log->was = log->port->lock();
}

/* Closes the open packet if there is one, lets go what is whole, and breathes: another packet may be open then. */
static PLAYLOG_ONCE void close_packet(struct playlog *log)
{
    const struct playlog_port *const port = log->port;
    int byte;

    if (log->open.length != 0u) {
        put_end(&log->open);
    }
    if (log->building == 0u) {
        PLAYLOG_BARRIER();
        log->head = log->open.write;
        if (port->send != NULL && !log->sending && (byte = next_byte(log)) >= 0) {
            log->sending = true;
            /* An idle transmitter raises no interrupt on some parts: it has to be given the first byte. On others its
             * interrupt comes as soon as it is turned on, and must not find it empty. */
            port->send((uint8_t)byte);
            port->enable_interrupt(true);
        }
    }
    breathe(log);
}

/* Begins a packet, for which the ring must have room. */
static PLAYLOG_ONCE void begin(struct playlog *log, struct playlog_place *at, unsigned type)
{
    const unsigned write = at->write;
    unsigned header = TYPE_TO_DROPPED;

    if (type == EVENTS && log->dropped == 0u) {
        type = SHORT_EVENTS;
        header = TYPE_TO_LOW_SEQUENCE;
    }
    log->type = (uint8_t)type;
    log->start = log->last;
    at->code = (uint16_t)write;
    at->write = (uint16_t)((write + 1u) & at->mask);
    at->crc = 0xFFFFu;
    put(at, (const uint8_t *)log + offsetof(struct playlog, type), header);
    put(at, (const uint8_t *)&log->start, TIME);
    log->sequence++;
}

/* Makes a whole packet. No packet may be open, and the ring must have room. The lock is held before and after, but not
 * while the body is written: its place is kept, and what comes goes behind it. */
static PLAYLOG_ONCE void make_packet(struct playlog *log, unsigned type, const uint8_t *body, unsigned count)
{
    const unsigned head = type == EVENTS ? 0u : (unsigned)ABOUT_HEADER;
    struct playlog_place place = log->open;

    begin(log, &place, type);
    log->open.write = (uint16_t)((place.write + head + count + END) & place.mask);
    log->building++;
    leave(log);
    put(&place, (const uint8_t *)&log->id, head);
    if (type == DICTIONARY) {
        put_text(&place, body, count);
    } else {
        put(&place, body, count);
    }
    put_end(&place);
    log->was = log->port->lock();
    log->building--;
    close_packet(log);
}

static PLAYLOG_ONCE unsigned room(const struct playlog *log)
{
    return ((unsigned)log->tail - log->open.write - 1u) & log->open.mask;
}

/* Sends one packet of the round: settings, then the dictionary. No packet may be open, and the ring must have room. */
static PLAYLOG_ONCE void send_about(struct playlog *log)
{
    const struct playlog_schema *const schema = log->schema;
    const unsigned about = log->about;
    const uint8_t *from = (const uint8_t *)schema->text;
    unsigned bytes = schema->length;
    unsigned most = CHUNK;
    unsigned first = log->next[about];
    unsigned next = first;
    unsigned count;

    log->first = (uint16_t)first;
    log->nonce_or_length = (uint16_t)bytes;
    if (about != PLAYLOG_TEXT) {
        from = (const uint8_t *)log->values;
        bytes = 4u * schema->tunables;
        most = 4u * SETTINGS_PER_PACKET;
        log->nonce_or_length = log->nonce;
    }
    count = bytes - first;
    if (count <= most) {
        next = 0u;
        log->about = PLAYLOG_TEXT;
        log->reserve = 0u;
        if (about == PLAYLOG_TEXT) {
            log->about = PLAYLOG_SETTINGS;
            log->repeat_s = log->repeat_s == 0u ? 2u : PLAYLOG_REPEAT_S;
        }
    } else {
        count = most;
        next = first + count;
    }
    if (about != PLAYLOG_TEXT) {
        log->first = (uint16_t)(first / 4u | count << 6);
    }
    log->next[about] = (uint16_t)next;
    log->repeated = log->last;
    /* As a number, because values may be NULL, and NULL + 0 is not defined for pointers. */
    make_packet(log, DICTIONARY + about, (const uint8_t *)((uintptr_t)from + first), count);
}

/* Takes the lock, reads the clock and closes a packet that has waited long enough. Returns the ticks since the last
 * record. */
static PLAYLOG_ONCE uint32_t enter(struct playlog *log)
{
    const uint32_t hz = log->schema->clock_hz;
    uint32_t step, back;

    log->was = log->port->lock();
    step = log->port->now() - log->last;
    back = 0u - step;
    /* A clock put together from two registers may step back by a little; time must not. */
    if (back <= hz / 256u) {
        step = 0u;
    }
    log->last += step;
    if ((step & 0x80000000u) != 0u) {
        /* One that is too narrow or wraps early goes back by more. To the reader that is a power-up: it begins with a
         * packet of its own, and with settings. */
        log->start = log->last - hz;
        log->about = PLAYLOG_SETTINGS;
        log->repeat_s = 0u;
    }
    if (log->open.length != 0u && log->last - log->start >= hz / 2u) {
        close_packet(log);
        step = 0u;
    }
    return step;
}

void playlog_event(struct playlog *log, uint8_t tag, uint8_t *fields, uint8_t width)
{
    uint32_t step;
    unsigned code = tag & 0xFCu;
    unsigned count = width + 1u;
    unsigned bytes;
    bool full = false;

    if (log->open.mask == 0u) {
        log->dropped++;
        return;
    }
    step = enter(log);
    while (width > MAX_LOCKED && log->open.length != 0u) {
        close_packet(log);
    }
    while (log->open.length == 0u) {
        if (room(log) < MAX_FRAME + (unsigned)log->reserve) {
            log->dropped++;
            goto done;
        }
        step = 0u;
        if (width > MAX_LOCKED) {
            break;
        }
        begin(log, &log->open, EVENTS);
        breathe(log);
    }
    if (step != 0u) {
        bytes = step > 0xFFFFu ? 4u : step > 0xFFu ? 2u : 1u;
        /* Into the head room: the low bytes of the step end where the fields begin. */
        step <<= 32u - 8u * bytes;
        (void)memcpy(fields - sizeof step, &step, sizeof step);
        code += bytes == 4u ? 3u : bytes;
        count += bytes;
        fields -= bytes;
    }
    *--fields = (uint8_t)code;
    if (width > MAX_LOCKED) {
        make_packet(log, EVENTS, fields, count);
    } else {
        put(&log->open, fields, count);
        full = (tag & 1u) != 0u || log->open.length >= PLAYLOG_FULL_BYTES;
    }
done:
    leave(log);
    if (full) {
        playlog_flush(log);
    }
}

void playlog_poll(struct playlog *log)
{
    uint32_t step;

    if (log->open.mask == 0u) {
        return;
    }
    step = enter(log);
    if (log->sending) {
        /* It may have been turned off behind our back, or by whoever set the UART up late. */
        log->port->enable_interrupt(true);
    }
    for (;;) {
        if (log->reserve <= MAX_FRAME) {
            const uint32_t hz = log->schema->clock_hz;
            const uint32_t period = log->repeat_s * hz;
            const uint32_t since = log->last - log->repeated;

            /* Events are left a packet's room, if they have not taken all of it for a second. */
            log->reserve = since >= period + hz ? (unsigned)MAX_FRAME : 0u;
            if (since < period) {
                break;
            }
        }
        if (log->building != 0u || room(log) < (log->reserve != 0u ? MAX_FRAME + END : 2u * MAX_FRAME + END)) {
            break;
        }
        step = 0u;
        if (log->open.length != 0u) {
            /* Only here: where the other packet does not fit yet, this one waits for more events. */
            close_packet(log);
            continue;
        }
        send_about(log);
        if (log->reserve <= MAX_FRAME) {
            break;
        }
    }
    if (log->open.length != 0u) {
        /* The next record's step counts from the last record. */
        log->last -= step;
    }
    leave(log);
}

void playlog_settings_changed(struct playlog *log)
{
    log->about = PLAYLOG_SETTINGS;
    log->next[PLAYLOG_SETTINGS] = 0u;
    log->reserve = ALL;
    playlog_flush(log);
    playlog_poll(log);
}

void playlog_flush(struct playlog *log)
{
    if (log->open.mask != 0u) {
        (void)enter(log);
        close_packet(log);
        leave(log);
    }
}

void playlog_on_transmitter_empty(struct playlog *log)
{
    const struct playlog_port *const port = log->port;
    int byte = playlog_next_byte(log);

    if (byte < 0 && port != NULL) {
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

bool(playlog_init)(struct playlog *log, const struct playlog_schema *schema, const int32_t *values,
                   uint8_t *ring, size_t ring_bytes, const struct playlog_port *port, uint16_t nonce)
{
    (void)memset(log, 0, sizeof *log);
    if (ring_bytes < PLAYLOG_MIN_RING || ring_bytes > PLAYLOG_MAX_RING || (ring_bytes & (ring_bytes - 1u)) != 0u) {
        return false;
    }
    log->schema = schema;
    log->port = port;
    log->values = values;
    log->open.ring = ring;
    log->nonce = nonce;
    /* The id of the dictionary is its checksum; what put() writes into the ring meanwhile means nothing. */
    log->open.crc = 0xFFFFu;
    put_text(&log->open, (const uint8_t *)schema->text, schema->length);
    log->id = log->open.crc ^ 0xFFFFu;
    log->open.length = 0u;
    /* A zero closes off whatever was on the line before. */
    ring[0] = 0u;
    log->open.write = 1u;
    /* Time starts here, wherever the clock stands. */
    log->last = port->now();
    log->open.mask = (uint16_t)(ring_bytes - 1u);
    playlog_settings_changed(log);
    return true;
}
