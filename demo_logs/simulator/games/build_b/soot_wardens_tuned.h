/* The second playtest's values: kinder first two bosses, and a life back at each chimney. */
#define TUNED_LIVES_REFILL 1
#define TUNED_FIRE_PERIOD_BOSS_1 340
#define TUNED_FIRE_PERIOD_BOSS_2 760
