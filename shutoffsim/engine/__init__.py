"""Who keeps the time: the compiled batch engine, the SimPy trace engine, and their runs."""
