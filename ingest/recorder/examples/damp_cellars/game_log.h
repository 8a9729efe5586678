/* What Damp Cellars logs. */
#ifndef GAME_LOG_H
#define GAME_LOG_H

#include "playlog.h"

#define LOG_GAME "Damp Cellars"
#define LOG_FIRMWARE "1.0"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128
#define LOG_KINDS(KIND)                                                                                            \
    KIND(begin, run_start)                                                                                         \
    KIND(cellar, stage_start)                                                                                      \
    KIND(lit, spawn)                                                                                               \
    KIND(drip, enemy_shot)                                                                                         \
    KIND(at, position)                                                                                             \
    KIND(out, death)                                                                                               \
    KIND(leave, stage_end)                                                                                         \
    KIND(over, run_end)
#define LOG_begin(FIELD, LABEL) FIELD(u8, who, player, none) FIELD(u16, noise, seed, none)
#define LOG_cellar(FIELD, LABEL) FIELD(u8, number, stage, none) FIELD(u8, lives, lives, none)
#define LOG_lit(FIELD, LABEL) FIELD(u8, lives, lives, none)
#define LOG_drip(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px) FIELD(u8, aimed, aimed, none)
#define LOG_at(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px)
#define LOG_out(FIELD, LABEL)                                                                                      \
    FIELD(u8, x, x, px) FIELD(u8, y, y, px) FIELD(u8, why, cause, none) LABEL(1, "drip") LABEL(2, "gush")          \
    FIELD(u8, lives, lives, none) FIELD(u16, fell, shot_ago, ms)
#define LOG_leave(FIELD, LABEL) FIELD(u8, through, cleared, none)
#define LOG_over(FIELD, LABEL) FIELD(u8, how, ending, none) FIELD(u8, cellars, score, none)
#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(lives, start_lives, 3, 1, 9, 1, lives, PLAYLOG_EVERYWHERE)                                             \
    TUNABLE(drip_ms, fire_period, 300, 100, 2000, 20, ms, PLAYLOG_EVERYWHERE)                                      \
    TUNABLE(aimed, aimed_share, 40, 0, 100, 5, percent, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
