"""Learning from labelled people without leakage: folds, models, decisions, scores, evidence, cards; knows no body."""
