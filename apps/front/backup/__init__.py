"""The whole book in one file, and back again: a ZIP of a manifest and the database as its own tools write it."""
