"""The acts behind the commands on plain values: commands and notebooks call the same ones."""
