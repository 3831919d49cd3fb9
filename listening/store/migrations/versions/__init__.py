"""One file a step; never changed once a study was kept with it."""
