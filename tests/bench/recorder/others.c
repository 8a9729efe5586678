/* What a student might write instead: CBOR arrays, fixed structs, snprintf lines of the same events, into a ring of the
 * same kind with the same lock. They have no framing, no checksum, no sequence number and no dictionary.
 * OTHER is cbor, fixed or text. */
#include "shooter_log.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "board.h"

volatile uint32_t board_now;
static uint8_t ring[1024];
volatile uint16_t head, tail;
static uint16_t dropped;

static void send_to_ring(const uint8_t *from, uint32_t count)
{
    uint32_t write = head;

    if (((tail - write - 1u) & (sizeof ring - 1u)) < count) {
        dropped++;
        return;
    }
    while (count-- != 0u) {
        ring[write] = *from++;
        write = (write + 1u) & (sizeof ring - 1u);
    }
    __sync_synchronize();
    head = (uint16_t)write;
}

extern int next_byte(void);
int next_byte(void)
{
    int byte = -1;

    if (tail != head) {
        byte = ring[tail];
        tail = (uint16_t)((tail + 1u) & (sizeof ring - 1u));
    }
    return byte;
}

#define NO_LABEL(value, text)
#define READ(type, name, role, unit) const playlog_##type name = (playlog_##type)*a++;
#define ONE(type, name, role, unit) +1

#if defined(OTHER_CBOR)

/* RFC 8949, section 3: major type and argument in the first byte, or the argument in the 1, 2 or 4 bytes after it. */
static uint8_t *cbor_head(uint8_t *at, uint32_t major, uint32_t argument)
{
    uint32_t bytes = 0u;

    major <<= 5;
    if (argument < 24u) {
        *at++ = (uint8_t)(major | argument);
        return at;
    }
    if (argument < 0x100u) {
        *at++ = (uint8_t)(major | 24u);
        bytes = 1u;
    } else if (argument < 0x10000u) {
        *at++ = (uint8_t)(major | 25u);
        bytes = 2u;
    } else {
        *at++ = (uint8_t)(major | 26u);
        bytes = 4u;
    }
    while (bytes-- != 0u) {
        *at++ = (uint8_t)(argument >> (8u * bytes));
    }
    return at;
}

static inline uint8_t *cbor_integer(uint8_t *at, int32_t value)
{
    return value >= 0 ? cbor_head(at, 0u, (uint32_t)value) : cbor_head(at, 1u, (uint32_t)(-1 - value));
}

#define cbor_u8(at, value) cbor_head(at, 0u, value)
#define cbor_u16(at, value) cbor_head(at, 0u, value)
#define cbor_u32(at, value) cbor_head(at, 0u, value)
#define cbor_i8(at, value) cbor_integer(at, value)
#define cbor_i16(at, value) cbor_integer(at, value)
#define cbor_i32(at, value) cbor_integer(at, value)
#define WRITE(type, name, role, unit) at = cbor_##type(at, name);
#define BODY(kind)                                                                                                 \
    uint8_t bytes[64];                                                                                             \
    uint8_t *at = cbor_head(bytes, 4u, 2u LOG_##kind(ONE, NO_LABEL));                                              \
    at = cbor_head(at, 0u, LOG_KIND_##kind);                                                                       \
    at = cbor_head(at, 0u, now());                                                                                 \
    LOG_##kind(WRITE, NO_LABEL)                                                                                    \
    send_to_ring(bytes, (uint32_t)(at - bytes));

#elif defined(OTHER_FIXED)

#define MEMBER(type, name, role, unit) playlog_##type name;
#define WRITE(type, name, role, unit) event.name = name;
#define BODY(kind)                                                                                                 \
    struct {                                                                                                       \
        uint32_t event_tick;                                                                                       \
        uint8_t event_kind;                                                                                        \
        LOG_##kind(MEMBER, NO_LABEL)                                                                               \
    } event;                                                                                                       \
    memset(&event, 0, sizeof event);                                                                               \
    event.event_tick = now();                                                                                      \
    event.event_kind = LOG_KIND_##kind;                                                                            \
    LOG_##kind(WRITE, NO_LABEL)                                                                                    \
    send_to_ring((const uint8_t *)&event, sizeof event);

#else

#define long_u8 long
#define long_u16 long
#define long_u32 unsigned long
#define long_i8 long
#define long_i16 long
#define long_i32 long
#define format_u8 " %ld"
#define format_u16 " %ld"
#define format_u32 " %lu"
#define format_i8 " %ld"
#define format_i16 " %ld"
#define format_i32 " %ld"
#define FORMAT(type, name, role, unit) format_##type
#define WRITE(type, name, role, unit) , (long_##type)name
#define BODY(kind)                                                                                                 \
    char line[80];                                                                                                 \
    const int count = snprintf(line, sizeof line, "%lu " #kind LOG_##kind(FORMAT, NO_LABEL) "\n",                  \
                               (unsigned long)now() LOG_##kind(WRITE, NO_LABEL));                                  \
    send_to_ring((const uint8_t *)line, (uint32_t)count);

#endif

#define CALL(kind, role)                                                                                           \
    extern void call_##kind(const int32_t *a);                                                                     \
    void call_##kind(const int32_t *a)                                                                             \
    {                                                                                                              \
        const uint32_t was = lock();                                                                               \
        LOG_##kind(READ, NO_LABEL)                                                                                 \
        BODY(kind)                                                                                                 \
        unlock(was);                                                                                               \
    }
LOG_KINDS(CALL)
