"""What happened at the bench: attempts at each part, and how far each part has come, kept in SQLite."""
