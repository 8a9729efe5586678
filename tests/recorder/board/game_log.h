#ifndef GAME_LOG_H
#define GAME_LOG_H

#include "playlog.h"

#define LOG_GAME "Board Test"
#define LOG_FIRMWARE "1"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128
#define LOG_KINDS(KIND)                                                                                            \
    KIND(begin, run_start)                                                                                         \
    KIND(at, position)                                                                                             \
    KIND(button, press)                                                                                            \
    KIND(fell, death)                                                                                              \
    KIND(over, run_end)
#define LOG_begin(FIELD, LABEL) FIELD(u8, who, player, none)
#define LOG_at(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(i16, y, y, px)
#define LOG_button(FIELD, LABEL) FIELD(u8, which, lane, none) FIELD(u8, ago, ago, ms)
#define LOG_fell(FIELD, LABEL) FIELD(u32, score, none, none)
#define LOG_over(FIELD, LABEL) FIELD(u8, how, ending, none)
#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(lives, start_lives, 3, 1, 9, 1, lives, PLAYLOG_EVERYWHERE)                                             \
    TUNABLE(speed, target_speed, 1, 0, 100000, 1, px, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
