"""Worlds: one draw each of everything that nobody knows, with a block of histories."""
