"""The questions that a study answers."""
