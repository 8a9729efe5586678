/* The second playtest's values: a gentler start. */
#define TUNED_DROP_INTERVAL_1 900
#define TUNED_DROP_INTERVAL_2 760
#define TUNED_DROP_INTERVAL_3 620
#define TUNED_DROP_INTERVAL_4 500
#define TUNED_DROP_INTERVAL_5 400
