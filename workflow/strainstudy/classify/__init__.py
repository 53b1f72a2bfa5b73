"""Normal or limping, swallow or not: training without leakage, safe storage, evidence, predictions to bouts."""
