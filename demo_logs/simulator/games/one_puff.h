/* The play log of One Puff, the Lantern's one shot at a time game: what it logs, and what may be tuned.
 *
 * A tuned value comes from one_puff_tuned.h in the first folder of the include path that has one; what it does not
 * define keeps the value below.
 */
#ifndef ONE_PUFF_H
#define ONE_PUFF_H

#include <playlog.h>
#include <one_puff_tuned.h>

#define LOG_GAME "One Puff"
#define LOG_FIRMWARE "lantern 1.2"
#define LOG_CLOCK_HZ 1000000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128

#define LOG_KINDS(KIND)                                                                                            \
    KIND(run_begin, run_start)                                                                                     \
    KIND(run_over, run_end)                                                                                        \
    KIND(puff, trial)                                                                                              \
    KIND(stars, rating)

#define LOG_run_begin(FIELD, LABEL)                                                                                \
    FIELD(u8, player, player, none)                                                                                \
    FIELD(u8, team, team, none)                                                                                    \
    FIELD(u8, first_time, first_time, none)                                                                        \
    FIELD(u16, seed, seed, none)
#define LOG_run_over(FIELD, LABEL)                                                                                 \
    FIELD(u8, ending, ending, none)                                                                                \
    LABEL(0, "all candles out")                                                                                    \
    LABEL(1, "missed")                                                                                             \
    LABEL(2, "put down")                                                                                           \
    FIELD(u16, score, score, points)
#define LOG_puff(FIELD, LABEL)                                                                                     \
    FIELD(u8, out, success, none)                                                                                  \
    FIELD(i8, off, error, px)                                                                                      \
    FIELD(u16, speed, speed, px_s)
#define LOG_stars(FIELD, LABEL) FIELD(u8, liked, value, none)

#ifndef TUNED_CANDLE_SPEED
#define TUNED_CANDLE_SPEED 90
#endif
#ifndef TUNED_SPEED_GAIN
#define TUNED_SPEED_GAIN 6
#endif
#ifndef TUNED_WICK_WIDTH
#define TUNED_WICK_WIDTH 6
#endif

#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(candle_speed, target_speed, TUNED_CANDLE_SPEED, 20, 400, 5, px_s, PLAYLOG_EVERYWHERE)                  \
    TUNABLE(speed_gain, none, TUNED_SPEED_GAIN, 0, 30, 1, percent, PLAYLOG_EVERYWHERE)                             \
    TUNABLE(wick_width, none, TUNED_WICK_WIDTH, 1, 30, 1, px, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
