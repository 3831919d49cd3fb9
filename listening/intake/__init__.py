"""The `check` step: protocol, recordings table and sounds; every problem at once."""
