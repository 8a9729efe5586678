/* Nothing is tuned yet: tin_drizzle.h has the values. */
