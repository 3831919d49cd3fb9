"""One home each: tasks, kinds of question, metrics."""
