"""Pictures of results; no result knows how it is drawn."""
