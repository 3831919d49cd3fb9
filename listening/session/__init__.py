"""The blind sitting without a screen: steps, trials, answers; it knows clip codes only."""
