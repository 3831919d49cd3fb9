"""Sound in memory and on disk: `sound` holds samples, `wav` reads and writes files, `resample` converts."""
