"""What a study folder must be: the rules of its sheets, how their rows refer to one another, its files.

In: sheets as frames of strings. Out: lists of problems. Reads nothing but file names.
"""
