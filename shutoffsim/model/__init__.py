"""How the system behaves: compiled functions on plain numbers, one file a subsystem."""
