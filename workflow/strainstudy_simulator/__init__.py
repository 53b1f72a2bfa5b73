"""A physical model of people, soft strain sensors and a test bench, with the truth beside every signal.

It knows how bodies move and how such sensors answer, and nothing of how the pipeline looks for either.
"""
