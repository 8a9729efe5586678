/* What Pan Lids logs. */
#ifndef GAME_LOG_H
#define GAME_LOG_H

#include "playlog.h"

#define LOG_GAME "Pan Lids"
#define LOG_FIRMWARE "1.0"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128
#define LOG_KINDS(KIND)                                                                                            \
    KIND(begin, run_start)                                                                                         \
    KIND(song, stage_start)                                                                                        \
    KIND(note, note)                                                                                               \
    KIND(press, press)                                                                                             \
    KIND(judged, verdict)                                                                                          \
    KIND(song_over, stage_end)                                                                                     \
    KIND(over, run_end)
#define LOG_begin(FIELD, LABEL) FIELD(u8, who, player, none)
#define LOG_song(FIELD, LABEL) FIELD(u8, number, stage, none) FIELD(u8, song, song, none)
#define LOG_note(FIELD, LABEL) FIELD(u8, lid, lane, none) FIELD(u16, ahead, ahead, ms)
#define LOG_press(FIELD, LABEL) FIELD(u8, lid, lane, none)
#define LOG_judged(FIELD, LABEL)                                                                                   \
    FIELD(u8, grade, grade, none) LABEL(0, "missed") LABEL(1, "hit") FIELD(i16, error, error, ms)                  \
    FIELD(u8, lid, lane, none)
#define LOG_song_over(FIELD, LABEL) FIELD(u8, through, cleared, none)
#define LOG_over(FIELD, LABEL) FIELD(u8, how, ending, none) FIELD(u8, hits, score, none)
#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(early, window_early, 90, 20, 200, 5, ms, PLAYLOG_EVERYWHERE)                                           \
    TUNABLE(late, window_late, 90, 20, 200, 5, ms, PLAYLOG_EVERYWHERE)                                             \
    TUNABLE(offset, input_offset, 0, -100, 100, 5, ms, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
