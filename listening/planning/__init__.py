"""Before anybody listens: panel size, power, trial budget, criticism."""
