"""Many refits: bootstrap, and where they run."""
