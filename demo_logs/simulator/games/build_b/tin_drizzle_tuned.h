/* The second playtest's values: wider windows, and the press judged where hands really are. */
#define TUNED_WINDOW_EARLY_LOOSE 50
#define TUNED_WINDOW_LATE_LOOSE 50
#define TUNED_INPUT_OFFSET -8
