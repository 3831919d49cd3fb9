"""Recordings, measures and stimuli as they lie on disk."""
