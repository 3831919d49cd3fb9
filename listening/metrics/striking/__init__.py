"""Strike, onset, decay and what is wrong with a take."""
