"""Where constants are kept, with their history."""
