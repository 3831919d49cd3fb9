"""One file a command: `arguments(parser)` declares, `run(args)` acts and returns the exit code."""
