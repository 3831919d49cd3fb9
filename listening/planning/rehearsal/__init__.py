"""A whole study rehearsed by simulation: what the plan promises beside what was seen."""
