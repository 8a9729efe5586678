/* Nothing is tuned yet: one_puff.h has the values. */
