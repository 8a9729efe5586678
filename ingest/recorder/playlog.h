/* Playlog: records what happens in a game and sends it over a serial line, so that play can be studied.
 *
 * Two files, C99, no allocation, no stdio, no floats. Copy playlog.h and playlog.c beside the game's sources.
 * README.md shows a whole game's log in ten lines, WIRING.md how to connect it, ../FORMAT.md every bit of the wire.
 *
 * What may be relied on:
 *   - The caller owns all memory: one struct playlog (72 bytes on a 32-bit machine), all zero before
 *     playlog_init(), and one ring buffer.
 *   - No function blocks or waits. A ring without room for a whole packet drops the event and counts it; the count
 *     travels with every packet, so the PC knows that, and how much, is missing. The next one comes after
 *     PLAYLOG_REPEAT_S at the latest, while the console is on and polled.
 *   - log_<kind>() may be called from any interrupt that port->lock() turns off, once playlog_init() has returned.
 *     Everything that two sides could change at once happens between port->lock() and port->unlock(). Where two cores
 *     log, lock() must also take a spin lock.
 *   - Interrupts stay locked for at most 400 instructions of a Cortex-M4 at a time, 640 of a Cortex-M0+: COSTS.md has
 *     the measured numbers.
 *   - A recorder that was not started drops what is logged, and counts it.
 */
#ifndef PLAYLOG_H
#define PLAYLOG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* AVR reads constants from flash only where it is told to. */
#ifdef __AVR__
#include <avr/pgmspace.h>
#define PLAYLOG_FLASH PROGMEM
#else
#define PLAYLOG_FLASH
#endif

#ifdef __cplusplus
extern "C" {
#endif

/* What the recorder needs of the board. All are called with the lock held, in the transmitter's interrupt or in
 * playlog_init(), so they must be short, and none may log. */
struct playlog_port {
    /* The console's clock: ticks that only go forward and wrap at 2^32, not earlier (README.md shows how to make a
     * timer of 16 bits longer); LOG_CLOCK_HZ of them make a second. A step back by up to a 256th of a second counts as
     * none. One by more goes into the log, whose reader takes it for another power-up. */
    uint32_t (*now)(void);

    /* Turns interrupts off and returns what unlock() needs to put them back as they were (locks may nest).
     * Cortex-M: `uint32_t was = __get_PRIMASK(); __disable_irq(); return was;` and `__set_PRIMASK(was);`.
     * They must also turn off the interrupt of the transmitter, on two cores that of both. Without any interrupts: one
     * function that returns 0, one that does nothing. */
    uint32_t (*lock)(void);
    void (*unlock)(uint32_t was);

    /* Transmission by interrupt: writes one byte into the transmitter, which is empty then. NULL: by polling. */
    void (*send)(uint8_t byte);

    /* Transmission by interrupt: turns the transmitter-empty interrupt on or off; its handler must call
     * playlog_on_transmitter_empty(). It is turned on right after a byte was sent, and again by playlog_poll() while
     * there is something to send. Not used, and may be NULL, when send is NULL. */
    void (*enable_interrupt)(bool on);
};

/* What a game's events and tunables are called and mean. PLAYLOG_DEFINE() makes one; it lives in flash. */
struct playlog_schema {
    const char *text;       /* the dictionary, FORMAT.md section 4; on AVR an address in flash (PROGMEM) */
    uint16_t length;        /* of the text in bytes, 1 to 16384 */
    uint8_t tunables;       /* how many of them the dictionary has */
    uint32_t clock_hz;      /* ticks a second, 100 to 10,000,000 */
};

enum { PLAYLOG_TEXT, PLAYLOG_SETTINGS };

/* A packet that is being written into the ring. */
struct playlog_place {
    uint8_t *ring;
    uint16_t mask;           /* size of the ring - 1; 0: the recorder was not started */
    uint16_t write;          /* where the frame's next byte goes */
    uint16_t code;           /* where the open COBS block's length goes */
    uint16_t crc;            /* of the packet so far */
    uint8_t length;          /* of the packet in bytes; 0: none is open */
};

/* The recorder's memory. Only playlog.c touches it. */
struct playlog {
    struct playlog_place open;
    volatile bool sending;   /* a byte is in the transmitter and its interrupt will come */
    uint8_t building;        /* packets that have their place before the open one, and are still being written */
    uint8_t about;           /* what comes next of settings and dictionary */
    uint8_t repeat_s;        /* time between two packets of them */
    uint8_t unused;          /* keeps type next to sequence */
    uint8_t type;            /* from here to dropped, and start: the header of a packet, as it goes over the wire */
    uint16_t sequence;
    uint16_t dropped;
    uint16_t reserve;        /* room in the ring that events leave */
    uint32_t start;          /* tick of the open packet's first event */
    uint32_t last;           /* tick of the last record or packet */
    uint32_t repeated;       /* tick of the last packet of settings or dictionary */
    uint32_t was;            /* what lock() returned */
    volatile uint16_t head;  /* end of the last frame that is whole: what may be sent ends here */
    volatile uint16_t tail;  /* next byte to send */
    uint16_t id;             /* of the dictionary; from here to first: as it goes over the wire */
    uint16_t nonce_or_length;
    uint16_t first;
    uint16_t nonce;
    uint16_t next[2];        /* next byte of each to send: of the dictionary, of the values */
    const struct playlog_schema *schema;
    const struct playlog_port *port;
    const int32_t *values;
};

/* Starts the recorder, and writes the first settings packet into the ring.
 *   values: the tunables' values in the order of the dictionary, in flash or RAM; NULL when there are none.
 *   ring, ring_bytes: the caller's buffer. Its size is a power of two from 512 to 32768.
 *   nonce: a number that differs from one power-up to the next as well as the board can manage: a counter in
 *     flash, the noise of an open ADC pin. It is how the PC tells a reset from damage.
 * Returns false when the size of the ring is not allowed: the recorder is not started then.
 * schema, port, values and ring must stay where they are. Call it again only for a new power-up. */
bool playlog_init(struct playlog *log, const struct playlog_schema *schema, const int32_t *values,
                  uint8_t *ring, size_t ring_bytes, const struct playlog_port *port, uint16_t nonce);

/* Call once a frame, at least every 100 ms, from the main loop. Sends what has waited 500 ms, the dictionary after
 * power-up, and again and again one packet of it every PLAYLOG_REPEAT_S, so that a capture may begin at any time. Where
 * events leave it no room for a second, they have to: they are dropped until it has gone out. */
void playlog_poll(struct playlog *log);

/* Call from the main loop after changing a tunable's value in the array given to playlog_init(): sends all of them
 * before any further event. Where the ring has no room for them, events are dropped until playlog_poll() has sent them. */
void playlog_settings_changed(struct playlog *log);

/* From the main loop: closes the open packet so that it is sent without waiting: before the console sleeps or is turned off. */
void playlog_flush(struct playlog *log);

/* By interrupt: the handler of the transmitter-empty interrupt calls this. Sends the next byte, or turns the
 * interrupt off. Call it only while the transmitter is empty *and* its interrupt is on: a handler that is shared with
 * the receiver has to look at both. */
void playlog_on_transmitter_empty(struct playlog *log);

/* By polling (port->send is NULL): the next byte to send, or -1 when there is none. Call it from one place only,
 * when the transmitter can take a byte. */
int playlog_next_byte(struct playlog *log);

/* Events dropped since power-up, modulo 65536: for the console's own screen while a game is being made. It counts too
 * where the recorder was not started. */
static inline uint16_t playlog_dropped(const struct playlog *log) { return log->dropped; }

/* What log_<kind>() calls. tag: 4 * kind, + 1 when it is to be sent at once; fields: as they go over the wire, behind
 * PLAYLOG_HEAD_ROOM bytes that are written over; width: bytes of the fields, at most 64. */
enum { PLAYLOG_HEAD_ROOM = 5 };
void playlog_event(struct playlog *log, uint8_t tag, uint8_t *fields, uint8_t width);

/* Seconds between two packets of the periodic dictionary, 2 to 60. The first round after power-up goes out as fast as
 * the line takes it, the second at a packet every 2 s, so that a capture which began a little late need not wait. */
#ifndef PLAYLOG_REPEAT_S
#define PLAYLOG_REPEAT_S 15u
#endif

/* A packet of events is sent once it has so many bytes before its checksum, 10 to 58. A bad byte on the line costs what
 * is in its packet, and each packet costs ten bytes besides: at 45, ten of a busy shooter's events and a byte for each.
 * At three events a second packets are sent by time, and this makes no difference. */
#ifndef PLAYLOG_FULL_BYTES
#define PLAYLOG_FULL_BYTES 45
#endif

#define PLAYLOG_MIN_RING 512
#define PLAYLOG_MAX_RING 32768

/* ---- A game's own kinds, fields and tunables ---------------------------------------------------------------------
 *
 * The game's header defines:
 *   LOG_GAME, LOG_FIRMWARE   string literals, 1 to 80 characters
 *   LOG_CLOCK_HZ             ticks a second of port->now(), a plain number
 *   LOG_SCREEN_WIDTH, LOG_SCREEN_HEIGHT   pixels, plain numbers
 *   LOG_KINDS(KIND)          one KIND(name, role) an event kind, 1 to 63 of them
 *   LOG_<name>(FIELD, LABEL) for every kind: its fields, 0 to 16, each FIELD(type, name, role, unit),
 *                            followed by LABEL(value, "text") for values that have a name
 *   LOG_TUNABLES(TUNABLE)    one TUNABLE(name, role, value, min, max, step, unit, scope) each, or nothing
 * and ends with PLAYLOG_DECLARE(). One .c file says PLAYLOG_DEFINE(some_name), which defines
 * `const struct playlog_schema some_name`.
 *
 * type is u8, i8, u16, i16, u32 or i32. name is lower case, at most 32 characters. role is a word of FORMAT.md
 * section 6, or none; unit is a lower-case word, or none. scope is PLAYLOG_EVERYWHERE, or one or more of
 * PLAYLOG_STAGE(2) PLAYLOG_STAGE_KIND(1) PLAYLOG_SONG(n) PLAYLOG_LEVEL(n) PLAYLOG_GRADE(n), without commas.
 * Numbers that go into the dictionary are plain: 1000, -5 or a macro that is just that, also 1000UL or (5); but no sum,
 * no enumerator, no 0x10. value may be any constant.
 *
 * PLAYLOG_DECLARE() makes
 *   LOG_KIND_<kind>, LOG_KIND_COUNT, LOG_TUNABLE_<tunable>, LOG_TUNABLE_COUNT   enumerations
 *   void log_<kind>(struct playlog *log, fields...)   logs one event; never blocks; may be called in interrupts
 *   LOG_VALUES        initialiser of the tunables' values: int32_t tunables[LOG_TUNABLE_COUNT] = LOG_VALUES;
 *
 * A role that does not exist, a name, role or label twice, a value outside its range, too many of anything: a compile
 * error. What C cannot see (a control character, a label outside its field's type, a role of two tunables that both have
 * PLAYLOG_STAGE(2)) the PC refuses, naming the line.
 */
#define PLAYLOG_EVENT_ROLES(X)                                                                                     \
    X(run_start) X(run_end) X(stage_start) X(stage_end) X(spawn) X(death) X(pickup) X(shot) X(enemy_shot) X(hit)   \
    X(position) X(note) X(press) X(verdict) X(piece) X(landed) X(rows) X(level) X(trial) X(rating) X(input)         \
    X(slow_frame) X(flash) X(pause) X(resume)
#define PLAYLOG_FIELD_ROLES(X)                                                                                     \
    X(player) X(team) X(first_time) X(seed) X(ending) X(stage) X(stage_kind) X(song) X(cleared) X(lives) X(tier)   \
    X(level) X(x) X(y) X(cause) X(aimed) X(shot_ago) X(lane) X(ago) X(ahead) X(grade) X(error) X(success) X(speed) \
    X(piece) X(rows) X(score) X(value) X(duration)
#define PLAYLOG_TUNABLE_ROLES(X)                                                                                   \
    X(start_lives) X(lives_refill) X(fire_period) X(aimed_share) X(pickup_rate) X(tiers_survive) X(drop_interval)  \
    X(target_speed) X(window_early) X(window_late) X(input_offset) X(poll_period) X(note_speed)

#define PLAYLOG_EVENT_ROLE(role) PLAYLOG_EVENT_ROLE_##role,
#define PLAYLOG_FIELD_ROLE(role) PLAYLOG_FIELD_ROLE_##role,
#define PLAYLOG_TUNABLE_ROLE(role) PLAYLOG_TUNABLE_ROLE_##role,
enum { PLAYLOG_EVENT_ROLE_none, PLAYLOG_EVENT_ROLES(PLAYLOG_EVENT_ROLE) PLAYLOG_EVENT_ROLE_COUNT };
enum { PLAYLOG_FIELD_ROLE_none, PLAYLOG_FIELD_ROLES(PLAYLOG_FIELD_ROLE) PLAYLOG_FIELD_ROLE_COUNT };
enum { PLAYLOG_TUNABLE_ROLE_none, PLAYLOG_TUNABLE_ROLES(PLAYLOG_TUNABLE_ROLE) PLAYLOG_TUNABLE_ROLE_COUNT };

#define PLAYLOG_EVERYWHERE ""
#define PLAYLOG_STAGE(n) " stage=" #n
#define PLAYLOG_STAGE_KIND(n) " stage_kind=" #n
#define PLAYLOG_SONG(n) " song=" #n
#define PLAYLOG_LEVEL(n) " level=" #n
#define PLAYLOG_GRADE(n) " grade=" #n

/* What a field holds when it does not apply (FORMAT.md, section 3): the shot that killed where none did, the place where
 * nobody is. It is no number to the PC, so a field's own values must stay clear of it, also where they are cut off at a
 * maximum. */
#define PLAYLOG_NONE_U8 0xFFu
#define PLAYLOG_NONE_U16 0xFFFFu
#define PLAYLOG_NONE_U32 0xFFFFFFFFu
#define PLAYLOG_NONE_I8 (-0x7F - 1)
#define PLAYLOG_NONE_I16 (-0x7FFF - 1)
#define PLAYLOG_NONE_I32 (-0x7FFFFFFF - 1)

typedef uint8_t playlog_u8;
typedef int8_t playlog_i8;
typedef uint16_t playlog_u16;
typedef int16_t playlog_i16;
typedef uint32_t playlog_u32;
typedef int32_t playlog_i32;

#define LOG_VALUES { LOG_TUNABLES(PLAYLOG_TUNABLE_VALUE) }
#define PLAYLOG_TUNABLE_VALUE(name, role, value, min, max, step, unit, scope) (value),

#define PLAYLOG_DECLARE()                                                                                          \
    enum { LOG_KINDS(PLAYLOG_KIND_NUMBER) LOG_KIND_COUNT };                                                        \
    enum { LOG_TUNABLES(PLAYLOG_TUNABLE_NUMBER) LOG_TUNABLE_COUNT };                                               \
    PLAYLOG_REQUIRE(has_1_to_63_kinds, LOG_KIND_COUNT >= 1 && LOG_KIND_COUNT <= 63);                               \
    PLAYLOG_REQUIRE(has_at_most_255_tunables, LOG_TUNABLE_COUNT <= 255);                                           \
    PLAYLOG_REQUIRE(clock_is_100_to_10000000_hz, (LOG_CLOCK_HZ) >= 100 && (LOG_CLOCK_HZ) <= 10000000);             \
    PLAYLOG_REQUIRE(clock_is_a_plain_number, PLAYLOG_PLAIN(LOG_CLOCK_HZ));                                         \
    PLAYLOG_REQUIRE(screen_is_1_to_4096_pixels, (LOG_SCREEN_WIDTH) >= 1 && (LOG_SCREEN_WIDTH) <= 4096 &&           \
                                                    (LOG_SCREEN_HEIGHT) >= 1 && (LOG_SCREEN_HEIGHT) <= 4096);      \
    PLAYLOG_REQUIRE(screen_is_two_plain_numbers,                                                                   \
                    PLAYLOG_PLAIN(LOG_SCREEN_WIDTH) && PLAYLOG_PLAIN(LOG_SCREEN_HEIGHT));                          \
    PLAYLOG_REQUIRE(game_and_firmware_have_names, sizeof(LOG_GAME) > 1 && sizeof(LOG_FIRMWARE) > 1);               \
    PLAYLOG_REQUIRE(tunables_that_hold_everywhere_have_no_role_twice,                                              \
                    (0 LOG_TUNABLES(PLAYLOG_TUNABLE_ADD)) == (0 LOG_TUNABLES(PLAYLOG_TUNABLE_OR)));                \
    LOG_TUNABLES(PLAYLOG_TUNABLE_CHECK)                                                                            \
    LOG_KINDS(PLAYLOG_KIND_FUNCTION)                                                                               \
    PLAYLOG_REQUIRE(end, 1)

#define PLAYLOG_DEFINE(schema)                                                                                     \
    static const char schema##_text[] PLAYLOG_FLASH =                                                                            \
        "playlog 1\ngame " LOG_GAME "\nfirmware " LOG_FIRMWARE "\nclock " PLAYLOG_DIGITS(LOG_CLOCK_HZ)             \
        "\nscreen " PLAYLOG_DIGITS(LOG_SCREEN_WIDTH) " " PLAYLOG_DIGITS(LOG_SCREEN_HEIGHT) "\n"                    \
        LOG_KINDS(PLAYLOG_KIND_TEXT) LOG_TUNABLES(PLAYLOG_TUNABLE_TEXT);                                           \
    PLAYLOG_REQUIRE(dictionary_has_at_most_16384_bytes, sizeof schema##_text <= 16385);                            \
    extern const struct playlog_schema schema;                                                                     \
    const struct playlog_schema schema = {schema##_text, (uint16_t)(sizeof schema##_text - 1), LOG_TUNABLE_COUNT,  \
                                          (LOG_CLOCK_HZ)}

/* ---- How those macros work; nothing below is for games ------------------------------------------------------- */

/* C99 has no static assertion: an array of negative size is the error, and its name says what is wrong. */
#define PLAYLOG_REQUIRE(what, holds) typedef char playlog_require_##what[(holds) ? 1 : -1]

#define PLAYLOG_DIGITS(number) PLAYLOG_DIGITS_(number)
#define PLAYLOG_DIGITS_(number) #number

/* Whether what the dictionary will say of a number is what it is: as many characters as the number has digits, and
 * besides at most one pair of parentheses and a suffix. That tells an enumerator, a sum or 0x10 from a number. */
#define PLAYLOG_PLAIN(number) PLAYLOG_PLAIN_(number, (long long)(number))
#define PLAYLOG_PLAIN_(number, value)                                                                              \
    (sizeof(#number) == 1 + PLAYLOG_WIDE(value) + 2 * (PLAYLOG_SECOND(PLAYLOG_PAIR number, 0, 0))                  \
     || (((0 * (number)) - 1 > 0 || sizeof(number) > sizeof(int))                                                  \
         && sizeof(#number) > 1 + PLAYLOG_WIDE(value) && sizeof(#number) <= 6 + PLAYLOG_WIDE(value)))
#define PLAYLOG_PAIR(...) , 1
#define PLAYLOG_WIDE(n)                                                                                            \
    (1u + ((n) < 0) + PLAYLOG_OVER(n, 9) + PLAYLOG_OVER(n, 99) + PLAYLOG_OVER(n, 999) + PLAYLOG_OVER(n, 9999)      \
     + PLAYLOG_OVER(n, 99999) + PLAYLOG_OVER(n, 999999) + PLAYLOG_OVER(n, 9999999) + PLAYLOG_OVER(n, 99999999)     \
     + PLAYLOG_OVER(n, 999999999))
#define PLAYLOG_OVER(n, most) ((n) > most || (n) < -most)

/* What is left when all that may be there is taken away. */
#define PLAYLOG_REST(...) PLAYLOG_REST_(__VA_ARGS__)
#define PLAYLOG_REST_(...) #__VA_ARGS__

/* "-" for none, else the word: PLAYLOG_NONE_none pushes a second argument in, any other word does not. */
#define PLAYLOG_NONE_none , "-"
#define PLAYLOG_WORD(marker, word) PLAYLOG_SECOND(marker, word, 0)
#define PLAYLOG_SECOND(...) PLAYLOG_SECOND_(__VA_ARGS__)
#define PLAYLOG_SECOND_(first, second, ...) second

#define PLAYLOG_KIND_NUMBER(name, role) LOG_KIND_##name,
#define PLAYLOG_TUNABLE_NUMBER(name, role, value, min, max, step, unit, scope) LOG_TUNABLE_##name,

#define PLAYLOG_KIND_TEXT(name, role)                                                                              \
    "kind " #name " " PLAYLOG_WORD(PLAYLOG_NONE_##role, #role) "\n" LOG_##name(PLAYLOG_FIELD_TEXT, PLAYLOG_LABEL_TEXT)
#define PLAYLOG_FIELD_TEXT(type, name, role, unit)                                                                 \
    "field " #type " " #name " " PLAYLOG_WORD(PLAYLOG_NONE_##role, #role) " "                                      \
    PLAYLOG_WORD(PLAYLOG_NONE_##unit, #unit) "\n"
#define PLAYLOG_LABEL_TEXT(value, text) "label " PLAYLOG_DIGITS(value) " " text "\n"
#define PLAYLOG_TUNABLE_TEXT(name, role, value, min, max, step, unit, scope)                                       \
    "tunable " #name " " PLAYLOG_WORD(PLAYLOG_NONE_##role, #role) " " PLAYLOG_DIGITS(min) " " PLAYLOG_DIGITS(max)  \
    " " PLAYLOG_DIGITS(step) " " PLAYLOG_WORD(PLAYLOG_NONE_##unit, #unit) scope "\n"

#define PLAYLOG_TUNABLE_CHECK(name, role, value, min, max, step, unit, scope)                                      \
    enum { playlog_role_of_tunable_##name = PLAYLOG_TUNABLE_ROLE_##role };                                         \
    PLAYLOG_REQUIRE(value_of_##name##_is_between_min_and_max, (min) <= (value) && (value) <= (max));               \
    PLAYLOG_REQUIRE(step_of_##name##_is_positive, (step) > 0);                                                     \
    PLAYLOG_REQUIRE(min_max_and_step_of_##name##_are_plain_numbers,                                                \
                    PLAYLOG_PLAIN(min) && PLAYLOG_PLAIN(max) && PLAYLOG_PLAIN(step));                              \
    PLAYLOG_REQUIRE(name_##name##_has_at_most_32_characters, sizeof(#name) <= 33);

/* Roles as bits: their sum is their union exactly when none comes twice. Bit 0 is none and counts for nothing. */
#define PLAYLOG_ROLE_BIT(role) ((1ull << PLAYLOG_FIELD_ROLE_##role) & ~1ull)
#define PLAYLOG_ROLE_ADD(type, name, role, unit) +PLAYLOG_ROLE_BIT(role)
#define PLAYLOG_ROLE_OR(type, name, role, unit) | PLAYLOG_ROLE_BIT(role)
#define PLAYLOG_TUNABLE_ADD(name, role, value, min, max, step, unit, scope) +PLAYLOG_EVERYWHERE_BIT(role, scope)
#define PLAYLOG_TUNABLE_OR(name, role, value, min, max, step, unit, scope) | PLAYLOG_EVERYWHERE_BIT(role, scope)
#define PLAYLOG_EVERYWHERE_BIT(role, scope) (sizeof(scope) == 1 ? (1ull << PLAYLOG_TUNABLE_ROLE_##role) & ~1ull : 0ull)
#define PLAYLOG_COUNT_ONE(type, name, role, unit) +1
#define PLAYLOG_WIDTH(type, name, role, unit) +sizeof(playlog_##type)
#define PLAYLOG_NAME_FITS(type, name, role, unit) &&sizeof(#name) <= 33
#define PLAYLOG_PARAMETER(type, name, role, unit) , playlog_##type name
#define PLAYLOG_STORE(type, name, role, unit) playlog_at = playlog_put_##type(playlog_at, name);
#define PLAYLOG_NO_LABEL(value, text)
#define PLAYLOG_NO_FIELD(type, name, role, unit)
#define PLAYLOG_LABEL_PLAIN(value, text) &&PLAYLOG_PLAIN(value)
#define PLAYLOG_LABEL_SAYS(value, text) &&sizeof(text) > 1
#define PLAYLOG_NEXT_SWITCH(type, name, role, unit) } switch (playlog_value) { default: break;
#define PLAYLOG_CASE(value, text) case (long)(value): break;
#define PLAYLOG_URGENT(role)                                                                                       \
    (PLAYLOG_EVENT_ROLE_##role == PLAYLOG_EVENT_ROLE_death                                                         \
     || PLAYLOG_EVENT_ROLE_##role == PLAYLOG_EVENT_ROLE_stage_end                                                  \
     || PLAYLOG_EVENT_ROLE_##role == PLAYLOG_EVENT_ROLE_run_start                                                  \
     || PLAYLOG_EVENT_ROLE_##role == PLAYLOG_EVENT_ROLE_run_end)

#define PLAYLOG_KIND_FUNCTION(kind, role)                                                                          \
    PLAYLOG_REQUIRE(there_is_a_define_of_LOG_##kind##_with_FIELD_and_LABEL_only,                                   \
                    sizeof(PLAYLOG_REST(LOG_##kind(PLAYLOG_NO_FIELD, PLAYLOG_NO_LABEL))) == 1);                    \
    PLAYLOG_REQUIRE(labels_of_##kind##_are_plain_numbers, 1 LOG_##kind(PLAYLOG_NO_FIELD, PLAYLOG_LABEL_PLAIN));    \
    PLAYLOG_REQUIRE(labels_of_##kind##_have_a_text, 1 LOG_##kind(PLAYLOG_NO_FIELD, PLAYLOG_LABEL_SAYS));           \
    PLAYLOG_REQUIRE(name_##kind##_has_at_most_32_characters, sizeof(#kind) <= 33);                                 \
    PLAYLOG_REQUIRE(fields_of_##kind##_have_names_of_at_most_32_characters,                                        \
                    1 LOG_##kind(PLAYLOG_NAME_FITS, PLAYLOG_NO_LABEL));                                            \
    PLAYLOG_REQUIRE(kind_##kind##_has_at_most_16_fields, (0 LOG_##kind(PLAYLOG_COUNT_ONE, PLAYLOG_NO_LABEL)) <= 16);\
    PLAYLOG_REQUIRE(fields_of_##kind##_have_no_role_twice,                                                         \
                    (0 LOG_##kind(PLAYLOG_ROLE_ADD, PLAYLOG_NO_LABEL))                                             \
                        == (0 LOG_##kind(PLAYLOG_ROLE_OR, PLAYLOG_NO_LABEL)));                                     \
    PLAYLOG_REQUIRE(fields_of_##kind##_are_not_both_ago_and_ahead,                                                 \
                    ((0 LOG_##kind(PLAYLOG_ROLE_OR, PLAYLOG_NO_LABEL))                                             \
                     & (PLAYLOG_ROLE_BIT(ago) | PLAYLOG_ROLE_BIT(ahead)))                                          \
                        != (PLAYLOG_ROLE_BIT(ago) | PLAYLOG_ROLE_BIT(ahead)));                                     \
    /* Never called: a label that a field has twice is a duplicate case value here. */                             \
    static inline void playlog_labels_of_##kind##_once_each(long playlog_value)                                    \
    {                                                                                                              \
        (void)playlog_value;                                                                                       \
        {                                                                                                          \
            LOG_##kind(PLAYLOG_NEXT_SWITCH, PLAYLOG_CASE)                                                          \
        }                                                                                                          \
    }                                                                                                              \
    static inline void log_##kind(struct playlog *playlog_log LOG_##kind(PLAYLOG_PARAMETER, PLAYLOG_NO_LABEL))     \
    {                                                                                                              \
        uint8_t playlog_fields[PLAYLOG_HEAD_ROOM LOG_##kind(PLAYLOG_WIDTH, PLAYLOG_NO_LABEL)];                     \
        uint8_t *playlog_at = playlog_fields + PLAYLOG_HEAD_ROOM;                                                  \
        LOG_##kind(PLAYLOG_STORE, PLAYLOG_NO_LABEL)                                                                \
        playlog_event(playlog_log, (uint8_t)(4 * LOG_KIND_##kind + (PLAYLOG_URGENT(role) ? 1 : 0)), \
                      playlog_fields + PLAYLOG_HEAD_ROOM,                                                          \
                      (uint8_t)(playlog_at - (playlog_fields + PLAYLOG_HEAD_ROOM)));                                                     \
    }

static inline uint8_t *playlog_put_u8(uint8_t *at, uint8_t value)
{
    at[0] = value;
    return at + 1;
}

static inline uint8_t *playlog_put_u16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFu);
    at[1] = (uint8_t)(value >> 8);
    return at + 2;
}

static inline uint8_t *playlog_put_u32(uint8_t *at, uint32_t value)
{
    return playlog_put_u16(playlog_put_u16(at, (uint16_t)(value & 0xFFFFu)), (uint16_t)(value >> 16));
}

static inline uint8_t *playlog_put_i8(uint8_t *at, int8_t value) { return playlog_put_u8(at, (uint8_t)value); }
static inline uint8_t *playlog_put_i16(uint8_t *at, int16_t value) { return playlog_put_u16(at, (uint16_t)value); }
static inline uint8_t *playlog_put_i32(uint8_t *at, int32_t value) { return playlog_put_u32(at, (uint32_t)value); }

#ifdef __cplusplus
}
#endif

/* A ring of another size is a compile error: `playlog_init(...)` looks before it calls. Where the size is not a constant,
 * `(playlog_init)(...)` calls without looking; it returns false then. */
#define PLAYLOG_RING_HAS_512_TO_32768_BYTES_A_POWER_OF_TWO(bytes)                                                  \
    sizeof(char[(bytes) >= PLAYLOG_MIN_RING && (bytes) <= PLAYLOG_MAX_RING && ((bytes) & ((bytes)-1)) == 0 ? 1 : -1])
#define playlog_init(log, schema, values, ring, ring_bytes, port, nonce)                                           \
    playlog_init(log, schema, values, ring,                                                                        \
                 (size_t)(ring_bytes) + 0u * PLAYLOG_RING_HAS_512_TO_32768_BYTES_A_POWER_OF_TWO(ring_bytes), port, nonce)

#endif
