"""The edge: files in, files out. Nothing in here knows what a signal means."""
