/* Nothing is tuned yet: soot_wardens.h has the values. */
