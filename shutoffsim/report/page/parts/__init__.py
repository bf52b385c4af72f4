"""The parts of the page, in order of what a reader asks; each returns one section."""
