"""Statistics of paired comparisons, ratings and discrimination tests: arrays in, frozen results out."""
