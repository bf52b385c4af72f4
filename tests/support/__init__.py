"""Test oracles: other ways to the same numbers, which no command uses."""
