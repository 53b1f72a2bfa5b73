"""Pages on which a rater looks at one recording and corrects its labels."""
