/* Nothing is tuned yet: crate_loft.h has the values. */
