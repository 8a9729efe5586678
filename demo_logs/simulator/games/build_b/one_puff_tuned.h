/* The second playtest's values: slower candles. */
#define TUNED_CANDLE_SPEED 80
