"""Swallows in a throat that also talks, coughs and turns: candidates, which of them are swallows, their measures.

In: the conditioned throat stream and, where there are any, hand labels. Out: candidates with features, a score
that needs no labels, swallows with their measures. What learns from them is generic and lives in `learn`.
"""
