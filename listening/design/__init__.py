"""From a protocol and verified stimuli to balanced orders, a plan and a sealed key."""
