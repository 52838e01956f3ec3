"""Players, charts, takes and ladders in a local database."""
