"""From coded answers to decided questions: open the key, collect, screen, fit, decide."""
