/* The play log of Crate Loft, the Lantern's falling-block game: what it logs, and what may be tuned.
 *
 * A tuned value comes from crate_loft_tuned.h in the first folder of the include path that has one; what it does not
 * define keeps the value below.
 */
#ifndef CRATE_LOFT_H
#define CRATE_LOFT_H

#include <playlog.h>
#include <crate_loft_tuned.h>

#define LOG_GAME "Crate Loft"
#define LOG_FIRMWARE "lantern 1.2"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128

#define LOG_KINDS(KIND)                                                                                            \
    KIND(run_begin, run_start)                                                                                     \
    KIND(run_over, run_end)                                                                                        \
    KIND(piece, piece)                                                                                             \
    KIND(rest, landed)                                                                                             \
    KIND(shelf, rows)                                                                                              \
    KIND(faster, level)                                                                                            \
    KIND(jammed, death)                                                                                            \
    KIND(stars, rating)

#define LOG_run_begin(FIELD, LABEL)                                                                                \
    FIELD(u8, player, player, none)                                                                                \
    FIELD(u8, team, team, none)                                                                                    \
    FIELD(u8, first_time, first_time, none)                                                                        \
    FIELD(u16, seed, seed, none)                                                                                   \
    FIELD(u8, level, level, none)
#define LOG_run_over(FIELD, LABEL)                                                                                 \
    FIELD(u8, ending, ending, none)                                                                                \
    LABEL(0, "never")                                                                                              \
    LABEL(1, "loft full")                                                                                          \
    LABEL(2, "put down")                                                                                           \
    FIELD(u16, score, score, points)
#define LOG_piece(FIELD, LABEL)                                                                                    \
    FIELD(u8, shape, piece, none)                                                                                  \
    LABEL(0, "plank")                                                                                              \
    LABEL(1, "long plank")                                                                                         \
    LABEL(2, "corner")                                                                                             \
    LABEL(3, "crate")                                                                                              \
    LABEL(4, "stairs")                                                                                             \
    LABEL(5, "hook")                                                                                               \
    FIELD(u8, level, level, none)
#define LOG_rest(FIELD, LABEL)                                                                                     \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)                                                                                            \
    FIELD(u8, shape, piece, none)
#define LOG_shelf(FIELD, LABEL) FIELD(u8, rows, rows, rows)
#define LOG_faster(FIELD, LABEL) FIELD(u8, level, level, none)
#define LOG_jammed(FIELD, LABEL)                                                                                   \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)                                                                                            \
    FIELD(u8, why, cause, none)                                                                                    \
    LABEL(0, "no room")                                                                                            \
    LABEL(1, "no room for the long plank")                                                                         \
    FIELD(u8, level, level, none)
#define LOG_stars(FIELD, LABEL) FIELD(u8, liked, value, none)

#ifndef TUNED_DROP_INTERVAL_1
#define TUNED_DROP_INTERVAL_1 520
#endif
#ifndef TUNED_DROP_INTERVAL_2
#define TUNED_DROP_INTERVAL_2 420
#endif
#ifndef TUNED_DROP_INTERVAL_3
#define TUNED_DROP_INTERVAL_3 330
#endif
#ifndef TUNED_DROP_INTERVAL_4
#define TUNED_DROP_INTERVAL_4 260
#endif
#ifndef TUNED_DROP_INTERVAL_5
#define TUNED_DROP_INTERVAL_5 200
#endif
#ifndef TUNED_DROP_INTERVAL_6
#define TUNED_DROP_INTERVAL_6 150
#endif
#ifndef TUNED_DROP_INTERVAL_7
#define TUNED_DROP_INTERVAL_7 110
#endif
#ifndef TUNED_DROP_INTERVAL_8
#define TUNED_DROP_INTERVAL_8 80
#endif

#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(drop_interval_1, drop_interval, TUNED_DROP_INTERVAL_1, 40, 2000, 10, ms, PLAYLOG_LEVEL(1))             \
    TUNABLE(drop_interval_2, drop_interval, TUNED_DROP_INTERVAL_2, 40, 2000, 10, ms, PLAYLOG_LEVEL(2))             \
    TUNABLE(drop_interval_3, drop_interval, TUNED_DROP_INTERVAL_3, 40, 2000, 10, ms, PLAYLOG_LEVEL(3))             \
    TUNABLE(drop_interval_4, drop_interval, TUNED_DROP_INTERVAL_4, 40, 2000, 10, ms, PLAYLOG_LEVEL(4))             \
    TUNABLE(drop_interval_5, drop_interval, TUNED_DROP_INTERVAL_5, 40, 2000, 10, ms, PLAYLOG_LEVEL(5))             \
    TUNABLE(drop_interval_6, drop_interval, TUNED_DROP_INTERVAL_6, 40, 2000, 10, ms, PLAYLOG_LEVEL(6))             \
    TUNABLE(drop_interval_7, drop_interval, TUNED_DROP_INTERVAL_7, 40, 2000, 10, ms, PLAYLOG_LEVEL(7))             \
    TUNABLE(drop_interval_8, drop_interval, TUNED_DROP_INTERVAL_8, 40, 2000, 10, ms, PLAYLOG_LEVEL(8))

PLAYLOG_DECLARE();
#endif
