/* The play log of the benchmark's shooter: shooter.py says the same in Python, and a test compares the two. */
#ifndef SHOOTER_LOG_H
#define SHOOTER_LOG_H

#include "playlog.h"

#define LOG_GAME "Comet Orchard"
#define LOG_FIRMWARE "2.1"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128

#define LOG_KINDS(KIND)                                                                                            \
    KIND(start, run_start)                                                                                         \
    KIND(over, run_end)                                                                                            \
    KIND(stage, stage_start)                                                                                       \
    KIND(cleared, stage_end)                                                                                       \
    KIND(died, death)                                                                                              \
    KIND(again, spawn)                                                                                             \
    KIND(upgrade, pickup)                                                                                          \
    KIND(fired, shot)                                                                                              \
    KIND(enemy_fired, enemy_shot)                                                                                  \
    KIND(struck, hit)                                                                                              \
    KIND(at, position)

#define LOG_start(FIELD, LABEL) FIELD(u8, player, player, none) FIELD(u8, lives, lives, none) FIELD(u32, seed, seed, none)
#define LOG_over(FIELD, LABEL) FIELD(u8, how, ending, none) FIELD(u32, points, score, none)
#define LOG_stage(FIELD, LABEL) FIELD(u8, number, stage, none) FIELD(u8, boss, stage_kind, none) FIELD(u8, tier, tier, none)
#define LOG_cleared(FIELD, LABEL) FIELD(u8, through, cleared, none)
#define LOG_died(FIELD, LABEL)                                                                                     \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)                                                                                            \
    FIELD(u8, cause, cause, none)                                                                                  \
    LABEL(1, "bullet")                                                                                             \
    LABEL(2, "crash")                                                                                              \
    FIELD(u8, lives, lives, none)                                                                                  \
    FIELD(u16, shot_ago, shot_ago, none)
#define LOG_again(FIELD, LABEL) FIELD(u8, lives, lives, none)
#define LOG_upgrade(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px) FIELD(u8, tier, tier, none)
#define LOG_fired(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px)
#define LOG_enemy_fired(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px) FIELD(u8, aimed, aimed, none)
#define LOG_struck(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px)
#define LOG_at(FIELD, LABEL) FIELD(u8, x, x, px) FIELD(u8, y, y, px)

#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(lives, start_lives, 3, 1, 9, 1, lives, PLAYLOG_EVERYWHERE)                                             \
    TUNABLE(enemy_period, fire_period, 900, 200, 3000, 50, ms, PLAYLOG_EVERYWHERE)                                 \
    TUNABLE(aimed, aimed_share, 40, 0, 100, 5, percent, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
