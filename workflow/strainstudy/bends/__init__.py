"""Knee bends and holds: found, measured, told apart from steps. Knows nothing of gait or swallowing."""
