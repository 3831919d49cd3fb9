"""The study protocol: its tables, questions and names."""
