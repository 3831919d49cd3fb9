"""From checked recordings to verified stimuli: align, fade, match, prepare, and the coded clips."""
