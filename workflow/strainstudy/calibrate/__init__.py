"""Volts to resistance, relative change and strain; the angle map of each sensor and session."""
