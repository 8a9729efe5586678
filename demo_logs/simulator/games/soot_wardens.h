/* The play log of Soot Wardens, the Lantern's staged shooter: what it logs, and what may be tuned.
 *
 * A tuned value comes from soot_wardens_tuned.h in the first folder of the include path that has one; what it does not
 * define keeps the value below.
 */
#ifndef SOOT_WARDENS_H
#define SOOT_WARDENS_H

#include <playlog.h>
#include <soot_wardens_tuned.h>

#define LOG_GAME "Soot Wardens"
#define LOG_FIRMWARE "lantern 1.3"
#define LOG_CLOCK_HZ 1000
#define LOG_SCREEN_WIDTH 160
#define LOG_SCREEN_HEIGHT 128

#define LOG_KINDS(KIND)                                                                                            \
    KIND(run_begin, run_start)                                                                                     \
    KIND(run_over, run_end)                                                                                        \
    KIND(part_begin, stage_start)                                                                                  \
    KIND(part_over, stage_end)                                                                                     \
    KIND(back, spawn)                                                                                              \
    KIND(burnt, death)                                                                                             \
    KIND(oil, pickup)                                                                                              \
    KIND(fire, shot)                                                                                               \
    KIND(cinder, enemy_shot)                                                                                       \
    KIND(struck, hit)                                                                                              \
    KIND(where, position)                                                                                          \
    KIND(knob, input)                                                                                              \
    KIND(slow_frame, slow_frame)                                                                                   \
    KIND(blink, flash)                                                                                             \
    KIND(halt, pause)                                                                                              \
    KIND(go_on, resume)                                                                                            \
    KIND(stars, rating)

#define LOG_run_begin(FIELD, LABEL)                                                                                \
    FIELD(u8, player, player, none)                                                                                \
    FIELD(u8, team, team, none)                                                                                    \
    FIELD(u8, first_time, first_time, none)                                                                        \
    FIELD(u16, seed, seed, none)                                                                                   \
    FIELD(u8, lives, lives, lives)                                                                                 \
    FIELD(u8, tier, tier, none)
#define LOG_run_over(FIELD, LABEL)                                                                                 \
    FIELD(u8, ending, ending, none)                                                                                \
    LABEL(0, "chimneys clean")                                                                                     \
    LABEL(1, "kite burnt")                                                                                         \
    LABEL(2, "put down")                                                                                           \
    FIELD(u16, score, score, points)
#define LOG_part_begin(FIELD, LABEL)                                                                               \
    FIELD(u8, stage, stage, none)                                                                                  \
    LABEL(1, "Bakery chimney")                                                                                     \
    LABEL(2, "Kiln chimney")                                                                                       \
    LABEL(3, "Old gasworks")                                                                                       \
    FIELD(u8, part, stage_kind, none)                                                                              \
    LABEL(0, "climb")                                                                                              \
    LABEL(1, "boss")                                                                                               \
    FIELD(u8, lives, lives, lives)                                                                                 \
    FIELD(u8, tier, tier, none)
#define LOG_part_over(FIELD, LABEL) FIELD(u8, cleared, cleared, none)
#define LOG_back(FIELD, LABEL)                                                                                     \
    FIELD(u8, lives, lives, lives)                                                                                 \
    FIELD(u8, tier, tier, none)
#define LOG_burnt(FIELD, LABEL)                                                                                    \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)                                                                                            \
    FIELD(u8, cause, cause, none)                                                                                  \
    LABEL(1, "falling cinder")                                                                                     \
    LABEL(2, "aimed cinder")                                                                                       \
    LABEL(3, "soot jet")                                                                                           \
    FIELD(u8, lives, lives, lives)                                                                                 \
    FIELD(u8, tier, tier, none)                                                                                    \
    FIELD(u16, shot_ago, shot_ago, ticks)
#define LOG_oil(FIELD, LABEL)                                                                                      \
    FIELD(u8, tier, tier, none)                                                                                    \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)
#define LOG_fire(FIELD, LABEL)                                                                                     \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)
#define LOG_cinder(FIELD, LABEL)                                                                                   \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)                                                                                            \
    FIELD(u8, aimed, aimed, none)
#define LOG_struck(FIELD, LABEL)                                                                                   \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)
#define LOG_where(FIELD, LABEL)                                                                                    \
    FIELD(u8, x, x, px)                                                                                            \
    FIELD(u8, y, y, px)
#define LOG_knob(FIELD, LABEL)                                                                                     \
    FIELD(u16, raw, value, counts)                                                                                 \
    FIELD(u8, which, lane, none)                                                                                   \
    LABEL(0, "slide pot")
#define LOG_slow_frame(FIELD, LABEL) FIELD(u8, lasted, duration, ms)
#define LOG_blink(FIELD, LABEL)
#define LOG_halt(FIELD, LABEL)
#define LOG_go_on(FIELD, LABEL)
#define LOG_stars(FIELD, LABEL) FIELD(u8, liked, value, none)

#ifndef TUNED_START_LIVES
#define TUNED_START_LIVES 3
#endif
#ifndef TUNED_LIVES_REFILL
#define TUNED_LIVES_REFILL 0
#endif
#ifndef TUNED_FIRE_PERIOD_CLIMB_1
#define TUNED_FIRE_PERIOD_CLIMB_1 460
#endif
#ifndef TUNED_FIRE_PERIOD_BOSS_1
#define TUNED_FIRE_PERIOD_BOSS_1 200
#endif
#ifndef TUNED_FIRE_PERIOD_CLIMB_2
#define TUNED_FIRE_PERIOD_CLIMB_2 440
#endif
#ifndef TUNED_FIRE_PERIOD_BOSS_2
#define TUNED_FIRE_PERIOD_BOSS_2 520
#endif
#ifndef TUNED_FIRE_PERIOD_CLIMB_3
#define TUNED_FIRE_PERIOD_CLIMB_3 400
#endif
#ifndef TUNED_FIRE_PERIOD_BOSS_3
#define TUNED_FIRE_PERIOD_BOSS_3 320
#endif
#ifndef TUNED_AIMED_SHARE
#define TUNED_AIMED_SHARE 45
#endif
#ifndef TUNED_PICKUP_RATE
#define TUNED_PICKUP_RATE 18
#endif
#ifndef TUNED_TIERS_SURVIVE
#define TUNED_TIERS_SURVIVE 0
#endif

#define LOG_TUNABLES(TUNABLE)                                                                                      \
    TUNABLE(start_lives, start_lives, TUNED_START_LIVES, 1, 9, 1, lives, PLAYLOG_EVERYWHERE)                       \
    TUNABLE(lives_refill, lives_refill, TUNED_LIVES_REFILL, 0, 2, 1, none, PLAYLOG_EVERYWHERE)                     \
    TUNABLE(fire_period_climb_1, fire_period, TUNED_FIRE_PERIOD_CLIMB_1, 100, 2000, 20, ms, PLAYLOG_STAGE(1) PLAYLOG_STAGE_KIND(0))\
    TUNABLE(fire_period_boss_1, fire_period, TUNED_FIRE_PERIOD_BOSS_1, 100, 2000, 20, ms, PLAYLOG_STAGE(1) PLAYLOG_STAGE_KIND(1))\
    TUNABLE(fire_period_climb_2, fire_period, TUNED_FIRE_PERIOD_CLIMB_2, 100, 2000, 20, ms, PLAYLOG_STAGE(2) PLAYLOG_STAGE_KIND(0))\
    TUNABLE(fire_period_boss_2, fire_period, TUNED_FIRE_PERIOD_BOSS_2, 100, 2000, 20, ms, PLAYLOG_STAGE(2) PLAYLOG_STAGE_KIND(1))\
    TUNABLE(fire_period_climb_3, fire_period, TUNED_FIRE_PERIOD_CLIMB_3, 100, 2000, 20, ms, PLAYLOG_STAGE(3) PLAYLOG_STAGE_KIND(0))\
    TUNABLE(fire_period_boss_3, fire_period, TUNED_FIRE_PERIOD_BOSS_3, 100, 2000, 20, ms, PLAYLOG_STAGE(3) PLAYLOG_STAGE_KIND(1))\
    TUNABLE(aimed_share, aimed_share, TUNED_AIMED_SHARE, 0, 100, 5, percent, PLAYLOG_EVERYWHERE)                   \
    TUNABLE(pickup_rate, pickup_rate, TUNED_PICKUP_RATE, 0, 100, 1, percent, PLAYLOG_EVERYWHERE)                   \
    TUNABLE(tiers_survive, tiers_survive, TUNED_TIERS_SURVIVE, 0, 1, 1, none, PLAYLOG_EVERYWHERE)

PLAYLOG_DECLARE();
#endif
