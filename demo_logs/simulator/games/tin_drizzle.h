/* The play log of Tin Drizzle, the Lantern's rhythm game: what it logs, and what may be tuned.
 *
 * A tuned value comes from tin_drizzle_tuned.h in the first folder of the include path that has one; what it does not
 * define keeps the value below.
 */
#ifndef TIN_DRIZZLE_H
#define TIN_DRIZZLE_H

#include <playlog.h>
#include <tin_drizzle_tuned.h>

#define LOG_GAME "Tin Drizzle"
#define LOG_FIRMWARE "lantern 1.3"
#define LOG_CLOCK_HZ 10000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128

#define LOG_KINDS(KIND)                                                                                            \
    KIND(run_begin, run_start)                                                                                     \
    KIND(run_over, run_end)                                                                                        \
    KIND(tune_begin, stage_start)                                                                                  \
    KIND(tune_over, stage_end)                                                                                     \
    KIND(drop, note)                                                                                               \
    KIND(tap, press)                                                                                               \
    KIND(judged, verdict)                                                                                          \
    KIND(knob, input)                                                                                              \
    KIND(slow_frame, slow_frame)                                                                                   \
    KIND(stars, rating)

#define LOG_run_begin(FIELD, LABEL)                                                                                \
    FIELD(u8, player, player, none)                                                                                \
    FIELD(u8, team, team, none)                                                                                    \
    FIELD(u8, first_time, first_time, none)                                                                        \
    FIELD(u16, seed, seed, none)
#define LOG_run_over(FIELD, LABEL)                                                                                 \
    FIELD(u8, ending, ending, none)                                                                                \
    LABEL(0, "tune played")                                                                                        \
    LABEL(1, "never")                                                                                              \
    LABEL(2, "put down")                                                                                           \
    FIELD(u16, score, score, points)
#define LOG_tune_begin(FIELD, LABEL)                                                                               \
    FIELD(u8, tune, song, none)                                                                                    \
    LABEL(1, "Gutter Waltz")                                                                                       \
    LABEL(2, "Five Buckets")                                                                                       \
    LABEL(3, "Leaky Attic")
#define LOG_tune_over(FIELD, LABEL) FIELD(u8, through, cleared, none)
#define LOG_drop(FIELD, LABEL)                                                                                     \
    FIELD(u8, roof, lane, none)                                                                                    \
    LABEL(0, "left roof")                                                                                          \
    LABEL(1, "middle roof")                                                                                        \
    LABEL(2, "right roof")                                                                                         \
    FIELD(u16, ahead, ahead, ticks)
#define LOG_tap(FIELD, LABEL)                                                                                      \
    FIELD(u8, roof, lane, none)                                                                                    \
    FIELD(u8, ago, ago, ticks)
#define LOG_judged(FIELD, LABEL)                                                                                   \
    FIELD(u8, grade, grade, none)                                                                                  \
    LABEL(0, "clean")                                                                                              \
    LABEL(1, "loose")                                                                                              \
    LABEL(2, "let go")                                                                                             \
    FIELD(i16, error, error, ticks)                                                                                \
    FIELD(u8, roof, lane, none)
#define LOG_knob(FIELD, LABEL)                                                                                     \
    FIELD(u16, raw, value, counts)                                                                                 \
    FIELD(u8, which, lane, none)                                                                                   \
    LABEL(3, "slide pot")
#define LOG_slow_frame(FIELD, LABEL) FIELD(u8, lasted, duration, ms)
#define LOG_stars(FIELD, LABEL) FIELD(u8, liked, value, none)

#ifndef TUNED_WINDOW_EARLY_CLEAN
#define TUNED_WINDOW_EARLY_CLEAN 22
#endif
#ifndef TUNED_WINDOW_LATE_CLEAN
#define TUNED_WINDOW_LATE_CLEAN 22
#endif
#ifndef TUNED_WINDOW_EARLY_LOOSE
#define TUNED_WINDOW_EARLY_LOOSE 45
#endif
#ifndef TUNED_WINDOW_LATE_LOOSE
#define TUNED_WINDOW_LATE_LOOSE 45
#endif
#ifndef TUNED_INPUT_OFFSET
#define TUNED_INPUT_OFFSET 0
#endif
#ifndef TUNED_POLL_PERIOD
#define TUNED_POLL_PERIOD 8
#endif
#ifndef TUNED_NOTE_SPEED
#define TUNED_NOTE_SPEED 96
#endif

#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(window_early_clean, window_early, TUNED_WINDOW_EARLY_CLEAN, 5, 200, 1, ms, PLAYLOG_GRADE(0))           \
    TUNABLE(window_late_clean, window_late, TUNED_WINDOW_LATE_CLEAN, 5, 200, 1, ms, PLAYLOG_GRADE(0))              \
    TUNABLE(window_early_loose, window_early, TUNED_WINDOW_EARLY_LOOSE, 5, 200, 1, ms, PLAYLOG_GRADE(1))           \
    TUNABLE(window_late_loose, window_late, TUNED_WINDOW_LATE_LOOSE, 5, 200, 1, ms, PLAYLOG_GRADE(1))              \
    TUNABLE(input_offset, input_offset, TUNED_INPUT_OFFSET, -100, 100, 1, ms, PLAYLOG_EVERYWHERE)                  \
    TUNABLE(poll_period, poll_period, TUNED_POLL_PERIOD, 1, 50, 1, ms, PLAYLOG_EVERYWHERE)                         \
    TUNABLE(note_speed, note_speed, TUNED_NOTE_SPEED, 20, 400, 4, px_s, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
